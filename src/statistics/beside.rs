//! Many things worked out side by side, on as many threads as there are processors, since
//! somebody waits for the answer.

use std::{
    sync::{
        OnceLock,
        atomic::{AtomicUsize, Ordering},
    },
    thread,
};

/// Fewer cases are looked at before a thread has begun.
const WORTH_A_THREAD: u64 = 20_000;

/// Threads beyond these wait for memory, not for a processor.
const MOST_THREADS: usize = 4;

/// What becomes of each of `all`, in order; `cases` is about how many cases are looked at.
pub(super) fn beside<T: Sync, R: Send>(
    all: &[T],
    cases: u64,
    of: impl Fn(&T) -> R + Sync,
) -> Vec<R> {
    let threads = if cases < WORTH_A_THREAD {
        1
    } else {
        processors().min(all.len())
    };
    if threads < 2 {
        return all.iter().map(of).collect();
    }
    let next = AtomicUsize::new(0);
    // Whoever is done takes the next, since they differ much in size.
    let take = || {
        let mut done = Vec::new();
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(one) = all.get(at) else { return done };
            done.push((at, of(one)));
        }
    };
    let mut done = thread::scope(|scope| {
        // A thread that cannot be had leaves its share to the others.
        let others: Vec<_> = (1..threads)
            .filter_map(|_| thread::Builder::new().spawn_scoped(scope, take).ok())
            .collect();
        let mut done = take();
        for other in others {
            match other.join() {
                Ok(theirs) => done.extend(theirs),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        done
    });
    done.sort_unstable_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, result)| result).collect()
}

/// Asking the system takes longer than many an answer.
fn processors() -> usize {
    static PROCESSORS: OnceLock<usize> = OnceLock::new();
    *PROCESSORS.get_or_init(|| {
        thread::available_parallelism().map_or(1, |known| known.get().min(MOST_THREADS))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_come_in_order_whoever_worked_them_out() {
        let all: Vec<u64> = (0..1000).collect();
        for cases in [0, WORTH_A_THREAD] {
            let squares = beside(&all, cases, |one| one * one);
            assert!(squares.iter().zip(&all).all(|(square, one)| *square == one * one));
            assert_eq!(squares.len(), all.len());
            assert_eq!(beside(&[0u64; 0], cases, |one| *one), []);
        }
    }
}
