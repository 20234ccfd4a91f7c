//! The readings of a request: the text of a log, a log that was read while it arrived, or columns.

use serde::{Deserialize, Serialize};

use super::{FieldError, FieldErrors};
use crate::vacuum::log::{LogError, LogOptions, LogReader, PressureLog, read_log};
use crate::vacuum::units::PressureUnit;

/// Readings in columns.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Columns {
    /// Seconds.
    pub seconds: Vec<f64>,
    /// Pressures, in `pressure_unit`.
    pub pressures: Vec<f64>,
}

/// Where the readings of a request may stand.
pub(super) struct Source<'a> {
    /// Name of the field with the log.
    pub(super) log: &'a str,
    /// Name of the field with columns.
    pub(super) readings: &'a str,
    /// The log as it was read while it arrived.
    pub(super) arrived: Option<LogReader>,
    /// The log as text.
    pub(super) text: Option<&'a str>,
    /// The columns.
    pub(super) columns: Option<&'a Columns>,
    /// Name of the field with the column of the pressures.
    pub(super) column: &'a str,
}

/// The most readings of columns that are refused one by one.
const LISTED: usize = 100;

impl Source<'_> {
    /// The readings, if there are any; none with the errors noted if they cannot be read.
    pub(super) fn read(
        self,
        options: &LogOptions<'_>,
        errors: &mut FieldErrors,
    ) -> Option<PressureLog> {
        let read = match (self.arrived, self.text, self.columns) {
            (None, None, None) => return None,
            (Some(arrived), _, None) => arrived.finish(options),
            (None, Some(text), None) => read_log(text.as_bytes(), options),
            (None, None, Some(columns)) => {
                return from_columns(columns, self.readings, options.pressure_unit, errors);
            }
            (_, _, Some(_)) => {
                errors.refuse(
                    self.log,
                    "give the log or the readings, and not both",
                    format!(
                        "`{}` with the text of the log, or `{}` with columns",
                        self.log, self.readings
                    ),
                );
                return None;
            }
        };
        let mut log = read
            .map_err(|error| errors.note(log_error(&error, self.log, self.column)))
            .ok()?;
        if let (Some(chosen), Some(unit)) = (options.pressure_unit, log.unit)
            && chosen != unit
        {
            log.assumed.push(format!(
                "pressures are in {unit}, as `{}` itself says, and not in {chosen} as chosen",
                self.log
            ));
        }
        Some(log)
    }
}

/// The error of a log as that of the field it came in.
fn log_error(error: &LogError, log: &str, column: &str) -> FieldError {
    let field = match error {
        LogError::UnitMissing { .. } => "pressure_unit",
        LogError::NoSuchColumn { .. } => column,
        _ => log,
    };
    let message = error.to_string();
    let (problem, accepted) = message.split_once("; accepted: ").unwrap_or((
        &message,
        "lines with a time and a pressure, separated by comma, semicolon, tab, bar or spaces",
    ));
    if field == log {
        FieldError::new(field, problem, accepted)
    } else {
        // The unit may be missing in either log, and is given once for both.
        FieldError::new(field, format!("{log}, {problem}"), accepted)
    }
}

/// Columns as a log whose lines are the positions, counted from one.
fn from_columns(
    columns: &Columns,
    field: &str,
    unit: Option<PressureUnit>,
    errors: &mut FieldErrors,
) -> Option<PressureLog> {
    let mut refused = 0;
    let mut refuse = |field: String, problem: String, accepted: &str| {
        refused += 1;
        if refused <= LISTED {
            errors.refuse(field, problem, accepted);
        }
    };
    if unit.is_none() {
        refuse(
            "pressure_unit".to_owned(),
            "the pressures have no unit".to_owned(),
            "a pressure unit",
        );
    }
    if columns.seconds.len() != columns.pressures.len() {
        refuse(
            field.to_owned(),
            format!(
                "{} times and {} pressures",
                columns.seconds.len(),
                columns.pressures.len()
            ),
            "as many times as pressures",
        );
    } else if columns.seconds.len() < 2 {
        refuse(
            field.to_owned(),
            match columns.seconds.len() {
                0 => "there are no readings".to_owned(),
                _ => "there is one reading alone".to_owned(),
            },
            "two readings or more",
        );
    }
    let mut log = PressureLog {
        unit,
        ..PressureLog::default()
    };
    let per_unit = unit.map_or(1.0, PressureUnit::pascals_per_unit);
    for (index, (&seconds, &pressure)) in columns.seconds.iter().zip(&columns.pressures).enumerate()
    {
        let pascals = pressure * per_unit;
        if !seconds.is_finite() {
            refuse(
                format!("{field}.seconds[{index}]"),
                "not finite".to_owned(),
                "a finite number",
            );
        } else if !(pascals.is_finite() && pascals > 0.0) {
            refuse(
                format!("{field}.pressures[{index}]"),
                format!("{pressure} is no pressure to fit"),
                "a finite number above zero",
            );
        } else {
            log.seconds.push(seconds);
            log.pascals.push(pascals);
            log.lines.push(index as u32 + 1);
        }
    }
    if refused > LISTED {
        errors.refuse(
            field,
            format!("{} more faults of single readings", refused - LISTED),
            "finite times, and finite pressures above zero",
        );
    }
    (refused == 0).then_some(log)
}
