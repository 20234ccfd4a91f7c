//! Peaks of a spectrum pasted as text, each mass with its height: `RGA 18=8.1e-7 28=2e-8`, `m/e 2: 3e-9,
//! 18: 4e-7`. A height is a partial pressure or a current, and no pressure of the tool.

use std::ops::Range;

use super::number::number;
use crate::search::reading::{
    lexer::{Lex, Piece},
    quantity::{is_known_mass, is_sure_mass, tells_spectrum},
};

/// A mass and its height.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::search) struct Peak {
    /// Its mass number.
    pub(in crate::search) mass: f64,
    /// Power of ten of its height, in whatever unit.
    pub(in crate::search) height: f64,
    /// Which pieces of the text tell it.
    pub(in crate::search) pieces: Range<usize>,
}

impl Peak {
    /// Whether it is of a size with the highest of several: what is a tenth of it or less is told of any tool.
    pub(in crate::search) fn stands_out(&self, all: &[Self]) -> bool {
        all.iter().all(|other| self.height > other.height - 1.0)
    }
}

/// The peaks of a text, if it tells a spectrum: two masses of residual gases, or one beside a word that says so.
pub(in crate::search) fn peaks(pieces: &[Piece<'_>]) -> Vec<Peak> {
    let mut found = Vec::new();
    let mut at = 0;
    while at < pieces.len() {
        match peak(pieces, at) {
            Some(peak) => {
                at = peak.pieces.end;
                found.push(peak);
            }
            None => at += 1,
        }
    }
    let sure = found.iter().filter(|peak| is_sure_mass(&peak.mass)).count();
    let told = || pieces.iter().any(tells_spectrum);
    if sure > 1 || (sure > 0 && told()) {
        found
    } else {
        Vec::new()
    }
}

fn peak(pieces: &[Piece<'_>], at: usize) -> Option<Peak> {
    let Lex::Number(figures) = pieces[at].lex else {
        return None;
    };
    let labels = matches!(pieces.get(at + 1)?.lex, Lex::Sign('=' | ':'));
    if !labels || figures.starts_with('0') || figures.len() > 3 {
        return None;
    }
    // None of `BRK-18: 4e-6`.
    let glued = at.checked_sub(1).is_some_and(|before| {
        !pieces[at].spaced && !matches!(pieces[before].lex, Lex::Sign(',' | ';' | '('))
    });
    let mass = figures.parse().ok().filter(is_known_mass)?;
    let height = number(pieces, at + 2).filter(|number| number.power.is_some())?;
    (!glued).then_some(Peak {
        mass,
        height: height.low,
        pieces: at..height.next,
    })
}
