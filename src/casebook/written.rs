//! An incident as JSON, put together piece by piece: an import writes one for every row, and the derived way,
//! which looks at every byte by itself, takes several times as long.
//!
//! What it gives is what the derived way gives, byte by byte; a test holds the two side by side.

use std::io::Write;

use jiff::Timestamp;
use serde_json::to_writer;

use super::{CheckDone, Incident, Pressures};
use crate::vacuum::units::TypedPressure;

/// Bytes that most incidents take.
const USUAL: usize = 3 << 10;

/// Writes an incident.
///
/// # Errors
/// What cannot be JSON.
pub fn to_json(incident: &Incident) -> Result<String, serde_json::Error> {
    // Named one by one, so that a field more is not forgotten here.
    let Incident {
        status,
        tool,
        occurred_at,
        closed_at,
        symptom,
        signs,
        antecedents,
        pressures,
        checks,
        cause,
        fix,
        parts,
        labour_minutes,
        down_hours,
        proof,
        not_restored_reason,
        notes,
        author,
    } = incident;
    let mut json = Json(Vec::with_capacity(USUAL));
    json.put("{\"status\":\"");
    json.put(status.id());
    json.put("\",\"tool\":");
    json.text(tool.as_str())?;
    json.put(",\"occurred_at\":");
    json.moment(*occurred_at)?;
    if let Some(closed) = closed_at {
        json.put(",\"closed_at\":");
        json.moment(*closed)?;
    }
    json.put(",\"symptom\":");
    json.text(symptom)?;
    json.put(",\"signs\":{");
    json.flags(signs.iter().map(|(id, seen)| (id.as_str(), *seen)))?;
    json.put("},\"antecedents\":{");
    json.flags(antecedents.iter().map(|(id, told)| (id.as_str(), *told)))?;
    json.put("},\"pressures\":{");
    json.pressures(pressures)?;
    json.put("},\"checks\":[");
    json.each(checks, Json::check)?;
    json.put("]");
    if let Some(cause) = cause {
        json.put(",\"cause\":");
        json.text(cause.id())?;
    }
    json.put(",\"fix\":");
    json.text(fix)?;
    json.put(",\"parts\":[");
    json.each(parts, |json, part| json.text(part))?;
    json.put("]");
    json.number(",\"labour_minutes\":", *labour_minutes)?;
    json.number(",\"down_hours\":", *down_hours)?;
    json.put(",\"proof\":");
    json.text(proof)?;
    if !not_restored_reason.is_empty() {
        json.put(",\"not_restored_reason\":");
        json.text(not_restored_reason)?;
    }
    json.put(",\"notes\":");
    json.text(notes)?;
    json.put(",\"author\":");
    json.text(author)?;
    json.put("}");
    String::from_utf8(json.0).map_err(serde::ser::Error::custom)
}

struct Json(Vec<u8>);

type Written = Result<(), serde_json::Error>;

impl Json {
    fn put(&mut self, text: &str) {
        self.0.extend_from_slice(text.as_bytes());
    }

    /// A text in quotation marks.
    fn text(&mut self, text: &str) -> Written {
        // Without a way out half-way, which takes a fraction of the time.
        let plain =
            |so_far: bool, byte: u8| so_far & (byte >= b' ') & (byte != b'"') & (byte != b'\\');
        if !text.bytes().fold(true, plain) {
            return to_writer(&mut self.0, text);
        }
        self.put("\"");
        self.put(text);
        self.put("\"");
        Ok(())
    }

    fn moment(&mut self, moment: Timestamp) -> Written {
        write!(self.0, "\"{moment}\"").map_err(serde_json::Error::io)
    }

    /// A number that there may be, behind its name; 20.0 as 20, as a person would have typed it.
    fn number(&mut self, name: &str, number: Option<f64>) -> Written {
        let Some(number) = number else {
            return Ok(());
        };
        self.put(name);
        match number.fract() == 0.0 && number.abs() < 9e15 {
            true => to_writer(&mut self.0, &(number as i64)),
            false => to_writer(&mut self.0, &number),
        }
    }

    /// The parts of a list.
    fn each<T>(&mut self, parts: &[T], mut put: impl FnMut(&mut Self, &T) -> Written) -> Written {
        for (at, part) in parts.iter().enumerate() {
            if at > 0 {
                self.put(",");
            }
            put(self, part)?;
        }
        Ok(())
    }

    fn flags<'a>(&mut self, flags: impl Iterator<Item = (&'a str, bool)>) -> Written {
        for (at, (name, told)) in flags.enumerate() {
            if at > 0 {
                self.put(",");
            }
            self.text(name)?;
            self.put(if told { ":true" } else { ":false" });
        }
        Ok(())
    }

    fn pressures(&mut self, pressures: &Pressures) -> Written {
        let Pressures {
            healthy,
            faulty,
            restored,
        } = pressures;
        let mut parted = "";
        for (name, typed) in [
            ("\"healthy\":", healthy),
            ("\"faulty\":", faulty),
            ("\"restored\":", restored),
        ] {
            let Some(TypedPressure { value, unit }) = typed else {
                continue;
            };
            self.put(parted);
            parted = ",";
            self.put(name);
            self.put("{\"value\":");
            to_writer(&mut self.0, value)?;
            self.put(",\"unit\":");
            self.text(unit.id())?;
            self.put("}");
        }
        Ok(())
    }

    fn check(&mut self, check: &CheckDone) -> Written {
        let CheckDone {
            check,
            outcome,
            minutes,
            note,
        } = check;
        self.put("{\"check\":");
        self.text(check.as_str())?;
        self.put(",\"outcome\":\"");
        self.put(outcome.id());
        self.put("\"");
        self.number(",\"minutes\":", *minutes)?;
        if !note.is_empty() {
            self.put(",\"note\":");
            self.text(note)?;
        }
        self.put("}");
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::{
        casebook::{Finding, Outcome, Status, ToolId},
        catalogue::{AntecedentId, CauseId, CheckId, SignId, source},
        synthesise,
        vacuum::units::PressureUnit,
    };

    fn agree(incident: &Incident) {
        let derived = serde_json::to_string(incident).expect("it can be written");
        assert_eq!(to_json(incident).expect("it can be written"), derived);
    }

    #[test]
    fn a_made_up_fleet_is_written_as_the_derived_way_writes_it() {
        let catalogue = source::built_in().expect("the catalogue is right");
        for made in synthesise::Fleet::new(&catalogue, 5).incidents(300) {
            agree(&made.incident);
        }
    }

    fn text() -> impl Strategy<Value = String> {
        prop_oneof![
            Just(String::new()),
            "[a-z \"\\\\/\u{0}-\u{1f}\u{7f}\u{202e}é]{0,9}",
            any::<String>(),
        ]
    }

    fn number() -> impl Strategy<Value = Option<f64>> {
        prop::option::of(prop_oneof![
            any::<f64>(),
            (-99_i32..9_999).prop_map(f64::from),
            Just(9e15),
            Just(-0.0),
        ])
    }

    fn pressure() -> impl Strategy<Value = Option<TypedPressure>> {
        let unit = (0..PressureUnit::ALL.len()).prop_map(|at| PressureUnit::ALL[at]);
        prop::option::of(
            (any::<f64>(), unit).prop_map(|(value, unit)| TypedPressure { value, unit }),
        )
    }

    proptest! {
        #[test]
        fn whatever_stands_in_it(
            (texts, closed, cause) in (prop::collection::vec(text(), 9), any::<bool>(), 0..3_usize),
            [healthy, faulty, restored] in [pressure(), pressure(), pressure()],
            [minutes, labour_minutes, down_hours] in [number(), number(), number()],
            (flags, nanoseconds) in (prop::collection::btree_map(text(), any::<bool>(), 0..4), 0..4_000_000_000_i64),
        ) {
            let own = |at: usize| texts[at].clone();
            let causes = [None, Some(Finding::NotFound), Some(Finding::Cause(CauseId::new(own(2))))];
            let moment = Timestamp::from_nanosecond(i128::from(nanoseconds)).expect("a moment");
            let outcomes = Outcome::ALL.into_iter().cycle();
            let checks = texts.iter().zip(outcomes).take(cause * 2).map(|(note, outcome)| CheckDone {
                check: CheckId::new(note),
                outcome,
                minutes,
                note: note.clone(),
            });
            agree(&Incident {
                status: if closed { Status::Closed } else { Status::Open },
                tool: ToolId::new(own(0)),
                occurred_at: moment,
                closed_at: closed.then_some(moment),
                symptom: own(1),
                signs: flags.iter().map(|(id, seen)| (SignId::new(id), *seen)).collect(),
                antecedents: flags.iter().map(|(id, told)| (AntecedentId::new(id), *told)).collect(),
                pressures: Pressures { healthy, faulty, restored },
                checks: checks.collect(),
                cause: causes[cause].clone(),
                fix: own(3),
                parts: texts[..cause].to_vec(),
                labour_minutes,
                down_hours,
                proof: own(4),
                not_restored_reason: own(5),
                notes: own(6),
                author: own(7),
            });
        }
    }
}
