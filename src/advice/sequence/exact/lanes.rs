//! Outcomes of the isolating checks, laid side by side.
//!
//! A lane is one combination of outcomes, each not made, found or clear. Lanes with as many
//! checks not made form a level, those with the fewest first, since what a check tells leads
//! there. Each level begins a new pack, so that packs of a level can be worked through as
//! one; lanes that only fill a pack up have no outcomes.

/// Lanes worked through as one.
pub(super) const PACK: usize = 4;

pub(super) struct Lanes {
    /// By lane: outcomes by isolating check (0 not made, 1 found, 2 clear).
    pub(super) outcomes: Vec<Option<Vec<u8>>>,
    /// By lane: what can be made.
    pub(super) telling: Vec<Vec<Telling>>,
}

#[derive(Clone, Copy)]
pub(super) struct Telling {
    /// The check, by position.
    pub(super) check: usize,
    /// Lanes it leads to.
    pub(super) found: usize,
    pub(super) clear: usize,
}

impl Lanes {
    /// `needs`: by isolating check, those that have to come before.
    pub(super) fn new(needs: &[Vec<usize>]) -> Self {
        let count = needs.len();
        let all = 3usize.pow(count as u32);
        let digit = |number: usize, at: usize| number / 3usize.pow(at as u32) % 3;
        let open = |number: usize| (0..count).filter(|&at| digit(number, at) == 0).count();
        let mut lane_of = vec![0; all];
        let mut outcomes = Vec::new();
        for level in 0..=count {
            let mut of_level: Vec<usize> =
                (0..all).filter(|&number| open(number) == level).collect();
            // Lanes with the same checks not made lie side by side.
            let made = |number: usize| (0..count).map(|at| digit(number, at) == 0).collect();
            of_level.sort_by_cached_key(|&number| -> Vec<bool> { made(number) });
            for number in of_level {
                lane_of[number] = outcomes.len();
                outcomes.push(Some((0..count).map(|at| digit(number, at) as u8).collect()));
            }
            outcomes.resize(outcomes.len().next_multiple_of(PACK), None);
        }
        let mut telling = vec![Vec::new(); outcomes.len()];
        for number in 0..all {
            let may = |at: &usize| {
                digit(number, *at) == 0 && needs[*at].iter().all(|&need| digit(number, need) != 0)
            };
            let told = |at: usize| Telling {
                check: at,
                found: lane_of[number + 3usize.pow(at as u32)],
                clear: lane_of[number + 2 * 3usize.pow(at as u32)],
            };
            telling[lane_of[number]] = (0..count).filter(may).map(told).collect();
        }
        Self { outcomes, telling }
    }

    /// How many lanes so many isolating checks come to.
    pub(super) fn count(isolating: usize) -> Option<usize> {
        let mut lanes = 0usize;
        // As many ways to choose the checks made, with two outcomes each.
        let mut ways = 1usize;
        for made in 0..=isolating {
            let of_level = ways.checked_mul(1usize.checked_shl(made as u32)?)?;
            lanes = lanes.checked_add(of_level.next_multiple_of(PACK))?;
            ways = ways.checked_mul(isolating - made)? / (made + 1);
        }
        Some(lanes)
    }

    pub(super) fn width(&self) -> usize {
        self.outcomes.len()
    }

    /// The lane in which no isolating check has been made: the only one of its level.
    pub(super) fn no_outcome(&self) -> usize {
        self.outcomes.len() - PACK
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lanes_are_counted_as_they_are_laid_out() {
        for isolating in 0..6 {
            let lanes = Lanes::new(&vec![Vec::new(); isolating]);
            assert_eq!(Lanes::count(isolating), Some(lanes.width()));
        }
        assert_eq!(Lanes::count(3), Some(32));
        assert_eq!(Lanes::count(300), None);
    }
}
