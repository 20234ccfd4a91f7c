//! Words for made-up incidents, in several hands.

use rand::{Rng, RngExt};

use crate::{
    casebook::{Site, SiteCode},
    catalogue::Cause,
    vacuum::units::TypedPressure,
};

const SYLLABLES: [&str; 12] = [
    "Bren", "Tol", "Mar", "Vel", "Kor", "Lun", "Ost", "Pel", "Ras", "Sund", "Fen", "Gar",
];

/// The n-th site.
pub(super) fn site(index: usize) -> Site {
    let first = SYLLABLES[index % SYLLABLES.len()];
    let second = SYLLABLES[(index * 5 + 3) % SYLLABLES.len()].to_lowercase();
    Site {
        code: SiteCode::new(format!("S{:02}", index + 1)),
        name: format!("{first}{second} works"),
        place: String::new(),
        help_minutes: None,
    }
}

/// How one person writes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Hand {
    name: &'static str,
    stuck: [&'static str; 4],
    saw: &'static str,
    before: &'static str,
    terse: bool,
}

const HANDS: [Hand; 6] = [
    Hand {
        name: "arn",
        stuck: [
            "stuck at {p}",
            "won't go below {p}",
            "sits at {p}, used to do {h}",
            "base {p} instead of {h}",
        ],
        saw: "saw: ",
        before: "before that: ",
        terse: true,
    },
    Hand {
        name: "Mirela",
        stuck: [
            "The tool does not reach its base pressure any more, it stays at {p}.",
            "After the weekend it only pumps to {p}; healthy is {h}.",
            "Pump-down ends at {p}, normally {h}.",
            "Pressure hangs at {p}.",
        ],
        saw: "We noticed ",
        before: "Shortly before: ",
        terse: false,
    },
    Hand {
        name: "tk",
        stuck: [
            "cant get under {p}",
            "{p} after 6h pumping, spec {h}",
            "bad base press {p}",
            "slow, hangs ~{p}",
        ],
        saw: "obs ",
        before: "recent ",
        terse: true,
    },
    Hand {
        name: "Jorun",
        stuck: [
            "Base pressure lost: {p} against {h} last month.",
            "Chamber will not get better than {p} overnight.",
            "Called to the tool at {p}, should be {h}.",
            "Leak suspected, reading {p} since yesterday.",
        ],
        saw: "On site: ",
        before: "History: ",
        terse: false,
    },
    Hand {
        name: "ob",
        stuck: [
            "vac {p}",
            "no base. {p}",
            "{p} / was {h}",
            "pumpdown stalls {p}",
        ],
        saw: "",
        before: "after ",
        terse: true,
    },
    Hand {
        name: "Desta",
        stuck: [
            "Operators report the recipe does not start because pressure is {p}.",
            "Interlock on base pressure, gauge shows {p}, limit follows {h}.",
            "Pump speed seems low, we see {p} where it used to be {h}.",
            "Pressure does not fall below {p} whatever we try.",
        ],
        saw: "Findings so far: ",
        before: "Beforehand: ",
        terse: false,
    },
];

impl Hand {
    pub(super) fn drawn(rng: &mut impl Rng) -> Self {
        HANDS[rng.random_range(0..HANDS.len())]
    }

    pub(super) fn name(&self) -> &'static str {
        self.name
    }

    pub(super) fn symptom(
        &self,
        rng: &mut impl Rng,
        seen: &[&str],
        before: &[&str],
        healthy: TypedPressure,
        faulty: TypedPressure,
    ) -> String {
        let phrase = self.stuck[rng.random_range(0..self.stuck.len())];
        let mut text = phrase
            .replace("{p}", &faulty.to_string())
            .replace("{h}", &healthy.to_string());
        let mut some = |all: &[&str], most: usize| -> Vec<String> {
            all.iter()
                .filter(|_| rng.random::<f64>() < 0.6)
                .take(most)
                .map(|words| words.to_lowercase())
                .collect()
        };
        let seen = some(seen, 4);
        let before = some(before, 2);
        let join = if self.terse { ", " } else { "; " };
        let gap = if self.terse { ". " } else { " " };
        if !seen.is_empty() {
            text.push_str(gap);
            text.push_str(self.saw);
            text.push_str(&seen.join(join));
            if !self.terse {
                text.push('.');
            }
        }
        if !before.is_empty() {
            text.push_str(gap);
            text.push_str(self.before);
            text.push_str(&before.join(join));
            if !self.terse {
                text.push('.');
            }
        }
        text
    }

    pub(super) fn fix(&self, rng: &mut impl Rng, cause: Option<&Cause>) -> String {
        let Some(cause) = cause else {
            return "nothing found; kept under watch".to_owned();
        };
        let done = [
            "cleaned and remade",
            "replaced",
            "refitted",
            "put right",
            "exchanged and tested",
        ];
        let done = done[rng.random_range(0..done.len())];
        if self.terse {
            format!("{}: {done}", cause.mechanism)
        } else {
            format!("{}. It was {done}.", cause.name)
        }
    }

    pub(super) fn proof(&self, rng: &mut impl Rng, restored: TypedPressure) -> String {
        let ways = [
            "overnight",
            "after two hours",
            "with an empty chamber",
            "on the next run",
        ];
        let way = ways[rng.random_range(0..ways.len())];
        if self.terse {
            format!("{restored} {way}")
        } else {
            format!("Pumped to {restored} {way}.")
        }
    }
}
