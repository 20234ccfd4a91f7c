//! The replay of the closed incidents behind its page: computed beside the threads that
//! answer requests, one at a time, and kept until the fleet knows more.

use std::sync::{
    Arc, Mutex, MutexGuard, PoisonError,
    atomic::{AtomicUsize, Ordering},
};

use super::state::App;
use crate::{advice::Replay, casebook::Asker, replay::History};

/// Cases replayed at most, the newest; more would keep a processor busy for minutes.
pub(super) const MOST: usize = 2_000;

/// The last replay, and one that may be under way.
#[derive(Debug, Default)]
pub struct Replays {
    state: Mutex<State>,
}

#[derive(Debug, Default)]
struct State {
    kept: Option<Arc<Kept>>,
    running: Option<Arc<Running>>,
    /// Of which revision a replay failed, so that it is not tried again until something
    /// changed.
    failed: Option<u64>,
}

#[derive(Debug, Default)]
struct Running {
    done: AtomicUsize,
    all: AtomicUsize,
}

/// A replay with what it was made of.
#[derive(Debug)]
pub(super) struct Kept {
    revision: u64,
    asker: Asker,
    /// The figures.
    pub(super) replay: Replay,
    /// Older cases beyond [`MOST`].
    pub(super) older: usize,
}

/// What there is to show.
#[derive(Debug)]
pub(super) struct Look {
    /// The last replay.
    pub(super) kept: Option<Arc<Kept>>,
    /// Cases done and to do of one under way.
    pub(super) running: Option<(usize, usize)>,
    /// Whether the last try failed; the log says why.
    pub(super) failed: bool,
}

impl Replays {
    /// The last replay; begins another if the fleet knows more by now.
    pub(super) fn look(self: &Arc<Self>, app: &App) -> Look {
        let asker = app.asker();
        let revision = app.knowledge.revision();
        let mut state = self.state();
        // Figures of one asker are not another's to see.
        let kept = state.kept.clone().filter(|kept| kept.asker == asker);
        let fresh = kept.as_ref().is_some_and(|kept| kept.revision == revision);
        let failed = state.failed == Some(revision);
        if !fresh && !failed && state.running.is_none() {
            let running = Arc::new(Running::default());
            state.running = Some(Arc::clone(&running));
            tokio::spawn(run(Arc::clone(self), app.clone(), asker, revision, running));
        }
        Look {
            kept,
            running: state.running.as_ref().map(|running| {
                (
                    running.done.load(Ordering::Relaxed),
                    running.all.load(Ordering::Relaxed),
                )
            }),
            failed,
        }
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

async fn run(replays: Arc<Replays>, app: App, asker: Asker, revision: u64, running: Arc<Running>) {
    let result = replay(&app, &asker, running).await;
    let mut state = replays.state();
    state.running = None;
    match result {
        Ok((replay, older)) => {
            state.kept = Some(Arc::new(Kept {
                revision,
                asker,
                replay,
                older,
            }));
        }
        Err(error) => {
            tracing::error!(%error, "the closed incidents could not be replayed");
            state.failed = Some(revision);
        }
    }
}

async fn replay(
    app: &App,
    asker: &Asker,
    running: Arc<Running>,
) -> anyhow::Result<(Replay, usize)> {
    let history = History::read(&app.store, &app.catalogue, asker, MOST).await?;
    let older = history.older;
    running.all.store(history.cases.len(), Ordering::Relaxed);
    let knowledge = Arc::clone(&app.knowledge);
    let replay = tokio::task::spawn_blocking(move || {
        knowledge.replay(
            &history.cases,
            &|tool| history.components(tool),
            &mut |done| running.done.store(done, Ordering::Relaxed),
        )
    })
    .await??;
    Ok((replay, older))
}
