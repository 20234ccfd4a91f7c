//! What each thing a case has in common with what is asked is worth, in one place.
//!
//! `bash tests/benches/search_quality.sh fit` takes the tables below as its start, fits them on the
//! tuning halves of the judged queries and cases, says by k-fold cross-validation what that gains on
//! those it has not seen, and prints the weights it would choose (DEVELOPERS.md has the figures).
//! Exponents and widths beside them are fixed.

use crate::search::indexed::document::Part;

/// The weights of a search. All are 0 or above.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weights {
    /// What a word is worth in each part of a case: symptom, cause, fix, notes, signs and
    /// circumstances.
    pub parts: [f32; Part::ALL.len()],
    /// What a pressure that fits exactly adds to the worth of the words.
    pub pressure: f32,
    /// What another quantity that fits adds: minutes, kelvin, watts, a mass number.
    pub quantity: f32,
    /// How much a case gains that is told in the very words of the query.
    pub likeness: f32,
    /// How much a case gains that holds all words side by side as they were typed.
    pub side_by_side: f32,
    /// How much a case gains that says of the same thing that it lacks the same: `gate valve not closing`.
    pub lacks: f32,
    /// What a case gains by its cause being the likeliest that the words asked tell of, in the same
    /// shares.
    pub tells: f32,
    /// How much a case loses that holds what is said not to be it.
    pub denied: f32,
    /// How much the cases of a cause gain if all of the nearest share it.
    pub shared_cause: f32,
    /// What each further case of a cause already shown is worth.
    pub again: f32,
    /// The same tool class. This and what follows is in shares of the best case's worth by words
    /// and pressures.
    pub class: f32,
    /// The same high-vacuum pump.
    pub pump: f32,
    /// The same gauge.
    pub gauge: f32,
    /// A sign seen in both that hardly any other case has; less the commoner it is.
    pub sign: f32,
    /// Such a sign that one has and the other was looked at for in vain: so much less.
    pub against: f32,
    /// Something in both that happened before hardly any other case.
    pub antecedent: f32,
    /// A cause that was named, mended and proven by a restored pressure.
    pub confirmed: f32,
    /// A case as new as the newest; less the older it is.
    pub age: f32,
    /// How far the outcomes of checks lower and raise the cases of a cause.
    pub outcome: f32,
}

impl Default for Weights {
    fn default() -> Self {
        Self::QUERY
    }
}

impl Weights {
    /// For what somebody typed.
    pub const QUERY: Self = Self {
        parts: [1.3, 0.85, 1.1, 0.95, 0.9],
        pressure: 6.0,
        quantity: 3.0,
        likeness: 2.0,
        side_by_side: 0.15,
        lacks: 0.8,
        denied: 0.5,
        tells: 0.0,
        shared_cause: 4.0,
        again: 0.96,
        class: 0.12,
        pump: 0.12,
        gauge: 0.03,
        sign: 0.0,
        against: 0.0,
        antecedent: 0.3,
        confirmed: 0.12,
        age: 0.03,
        outcome: 0.0,
    };

    /// For a whole case that others like it are looked for.
    pub const CASE: Self = Self {
        likeness: 0.0,
        side_by_side: 0.0,
        lacks: 0.0,
        tells: 0.4,
        shared_cause: 2.0,
        class: 0.03,
        pump: 0.0,
        sign: 0.1,
        against: 0.05,
        antecedent: 0.03,
        confirmed: 0.03,
        outcome: 0.3,
        ..Self::QUERY
    };

    /// The weight of a part.
    pub(in crate::search) fn part(&self, part: Part) -> f32 {
        self.parts[part as usize]
    }

    /// Every weight by name.
    pub fn each(&mut self) -> Vec<(&'static str, &mut f32)> {
        let [symptom, cause, fix, notes, facts] = &mut self.parts;
        vec![
            ("symptom", symptom),
            ("cause", cause),
            ("fix", fix),
            ("notes", notes),
            ("facts", facts),
            ("pressure", &mut self.pressure),
            ("quantity", &mut self.quantity),
            ("likeness", &mut self.likeness),
            ("side_by_side", &mut self.side_by_side),
            ("lacks", &mut self.lacks),
            ("denied", &mut self.denied),
            ("tells", &mut self.tells),
            ("shared_cause", &mut self.shared_cause),
            ("again", &mut self.again),
            ("class", &mut self.class),
            ("pump", &mut self.pump),
            ("gauge", &mut self.gauge),
            ("sign", &mut self.sign),
            ("against", &mut self.against),
            ("antecedent", &mut self.antecedent),
            ("confirmed", &mut self.confirmed),
            ("age", &mut self.age),
            ("outcome", &mut self.outcome),
        ]
    }
}
