//! The record of a kept pump-down as the healthy one that later pump-downs of its tool are held
//! against.
//!
//! Which kept one counts is for whoever asks: the web takes the newest made after a fix. Here its
//! request is turned into readings short enough to be kept along with the new one, so that the
//! comparison gives the same again whatever is kept later.

use serde::Deserialize;
use serde_json::{Map, Value, json};

use super::FieldErrors;
use super::log::{Columns, Source};
use super::pump_down::{self, HealthyFrom};
use crate::vacuum::log::{LogOptions, LogReader, TidyRecord, tidy};
use crate::vacuum::pump_down::{
    Course, NoLatePhase, late_phase, pumping_begins, volume_phase, without_end,
};
use crate::vacuum::units::PressureUnit;

/// About the most readings of a record that are taken over.
const MOST: f64 = 2000.0;

/// A healthy record with where it is kept.
#[derive(Clone, Debug)]
pub struct HealthyPumpDown {
    from: HealthyFrom,
    /// In seconds and Pa.
    readings: Columns,
}

/// Whether a kept report is of a pump-down that can be the healthy one: with a phase to compare, and
/// not itself found worse than an earlier one.
pub fn may_be_healthy(report: &Value) -> bool {
    let has_phase = ["speed_over_volume_per_second", "outgassing_exponent"]
        .iter()
        .any(|field| report.get(field).is_some_and(|phase| !phase.is_null()));
    let signs = report.get("signs").and_then(Value::as_object);
    let worse = signs.is_some_and(|signs| signs.values().any(|seen| seen == &Value::Bool(true)));
    has_phase && !worse
}

impl HealthyPumpDown {
    /// The record of a kept request, whose log may be kept beside it; `None` where this program finds
    /// no phase in it, an interruption, or a reading at its gauge's limit.
    pub fn of(request: &Value, log: Option<LogReader>, from: HealthyFrom) -> Option<Self> {
        let request = pump_down::Request::deserialize(request).ok()?;
        let source = Source {
            log: "log",
            readings: "readings",
            arrived: log,
            text: request.log.as_deref(),
            columns: request.readings.as_ref(),
            column: "pressure_column",
        };
        let options = LogOptions {
            pressure_unit: request.pressure_unit,
            time_unit: request.time_unit,
            pressure_column: request.pressure_column.as_deref(),
        };
        let log = source.read(&options, &mut FieldErrors::new())?;
        let record = without_end(tidy(log));
        let late = late_phase(&record, &Course::of(&record));
        let has_phase = volume_phase(&record).is_some() || late.is_ok();
        let is_whole = !matches!(
            late,
            Err(NoLatePhase::Interrupted(_) | NoLatePhase::Stops(_))
        );
        (has_phase && is_whole).then(|| Self {
            from,
            readings: shortened(&record),
        })
    }

    /// Puts it into a request that gives no healthy record itself; gives whether it did.
    pub fn put_into(&self, request: &mut Map<String, Value>) -> bool {
        let given = ["healthy_log", "healthy_readings"]
            .iter()
            .any(|field| request.get(*field).is_some_and(|given| !given.is_null()));
        if !given {
            request.insert("healthy_readings".to_owned(), json!(self.readings));
            request.insert(
                "healthy_pressure_unit".to_owned(),
                json!(PressureUnit::Pascal),
            );
            request.insert("healthy_from".to_owned(), json!(self.from));
        }
        !given
    }
}

/// Readings that lie closer to the start of pumping the earlier they are; all of a short record.
fn shortened(record: &TidyRecord) -> Columns {
    let origin = record.seconds.get(pumping_begins(record));
    let (origin, first, last) = match (origin, record.seconds.first(), record.seconds.last()) {
        (Some(origin), Some(first), Some(last)) => (*origin, *first, *last),
        _ => return Columns::default(),
    };
    let all = record.seconds.len() as f64 <= MOST;
    let unit = ((last - first) / 1000.0).max(1e-9);
    let place = |time: f64| {
        let away = time - origin;
        away.signum() * (away.abs() / unit).ln_1p()
    };
    let width = (place(last) - place(first)) / MOST;
    let mut columns = Columns::default();
    let mut before = f64::NEG_INFINITY;
    for (&time, &pascals) in record.seconds.iter().zip(&record.pascals) {
        let here = (place(time) / width).floor();
        if all || here > before {
            before = here;
            columns.seconds.push(time);
            columns.pressures.push(pascals);
        }
    }
    columns
}

#[cfg(test)]
mod tests {
    use super::*;

    fn log(rows: usize) -> String {
        let mut text = "time (s),pressure (mbar)\n".to_owned();
        for row in 0..rows {
            let time = row as f64;
            let scatter = 0.02 * ((row as f64 * 0.618_033_988_75).fract() - 0.5);
            let pressure = if time < 60.0 {
                1013.0
            } else {
                let pumped = time - 60.0;
                1013.0 * (-0.02 * pumped).exp() + 2e-6 * 3600.0 / pumped.max(72.0)
            };
            text.push_str(&format!("{time},{:e}\n", pressure * (1.0 + scatter)));
        }
        text
    }

    #[test]
    fn a_long_record_is_shortened_and_says_the_same() {
        let from = HealthyFrom {
            incident: 3,
            calculation: 5,
        };
        let request = json!({"log": log(20_000)});
        let healthy = HealthyPumpDown::of(&request, None, from).unwrap();
        let count = healthy.readings.seconds.len();
        assert!((800..=2100).contains(&count), "{count}");
        let mut held = Map::new();
        held.insert("log".to_owned(), json!(log(20_000)));
        assert!(healthy.put_into(&mut held));
        assert!(!healthy.put_into(&mut held));
        let request = pump_down::Request::deserialize(&Value::Object(held)).unwrap();
        let report = pump_down::run(&request).unwrap();
        assert_eq!(report.healthy_from, Some(from));
        assert!(report.outcome.concluded, "{}", report.outcome.verdict);
        let [ratio, ..] = report.roughing_speed_over_healthy.unwrap();
        assert!((ratio - 1.0).abs() < 0.01, "{ratio}");
        assert!(report.leaves.is_none());
    }

    #[test]
    fn what_was_worse_or_has_no_phase_is_not_healthy() {
        let exponent = json!([1.0, 0.9, 1.1]);
        assert!(may_be_healthy(
            &json!({"outgassing_exponent": exponent, "signs": {"a": false}})
        ));
        assert!(!may_be_healthy(
            &json!({"outgassing_exponent": exponent, "signs": {"a": true}})
        ));
        assert!(!may_be_healthy(&json!({"outgassing_exponent": null})));
        let from = HealthyFrom {
            incident: 1,
            calculation: 1,
        };
        assert!(HealthyPumpDown::of(&json!({"log": "0,1\n1,2\n"}), None, from).is_none());
        assert!(HealthyPumpDown::of(&json!(3), None, from).is_none());
    }
}
