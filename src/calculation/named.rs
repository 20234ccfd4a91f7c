//! Every calculation by its name: JSON of a request in, the computed report out.
//!
//! What the API answers, what a page shows and what is computed again later from a stored
//! request all go through [`run`]. Fields that are unknown or of the wrong type are named with
//! what would be taken, as the calculations themselves name values out of range.

use serde::{Serialize, de::DeserializeOwned};

use super::{
    FieldError, Outcome, conductance, gas_load, gauge, leak_conversion,
    log::Columns,
    pump_down,
    read::{Misfits, Unread, read},
    residual_gas, rise,
    sent::{AllColumns, Logs, SentLog},
};
use crate::vacuum::residual_gas::Patterns;

/// A calculation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Named {
    /// Pressure-rise test.
    Rise,
    /// Pump-down against the healthy one.
    PumpDown,
    /// Base-pressure balance.
    GasLoad,
    /// Gauge plausibility.
    Gauge,
    /// Residual gas.
    ResidualGas,
    /// Leak rates in other gases and units.
    LeakConversion,
    /// Conductance and speed at the chamber.
    Conductance,
}

/// A request with its report.
#[derive(Clone, Debug)]
pub enum Computed {
    /// Pressure-rise test.
    Rise(Box<(rise::Request, rise::Report)>),
    /// Pump-down against the healthy one.
    PumpDown(Box<(pump_down::Request, pump_down::Report)>),
    /// Base-pressure balance.
    GasLoad(Box<(gas_load::Request, gas_load::Report)>),
    /// Gauge plausibility.
    Gauge(Box<(gauge::Request, gauge::Report)>),
    /// Residual gas.
    ResidualGas(Box<(residual_gas::Request, residual_gas::Report)>),
    /// Leak rates in other gases and units.
    LeakConversion(Box<(leak_conversion::Request, leak_conversion::Report)>),
    /// Conductance and speed at the chamber.
    Conductance(Box<(conductance::Request, conductance::Report)>),
}

/// Why there is no report.
#[derive(Debug)]
pub enum Refused {
    /// The body is not JSON.
    NotJson(serde_json::Error),
    /// Fields that cannot be taken.
    Fields(Vec<FieldError>),
}

impl Named {
    /// Every calculation, in the order in which a person is offered them.
    pub const ALL: [Self; 7] = [
        Self::Rise,
        Self::Gauge,
        Self::GasLoad,
        Self::PumpDown,
        Self::ResidualGas,
        Self::LeakConversion,
        Self::Conductance,
    ];

    /// Its name in addresses and data.
    pub fn id(self) -> &'static str {
        match self {
            Self::Rise => "rise",
            Self::PumpDown => "pump-down",
            Self::GasLoad => "gas-load",
            Self::Gauge => "gauge",
            Self::ResidualGas => "residual-gas",
            Self::LeakConversion => "leak-conversion",
            Self::Conductance => "conductance",
        }
    }

    /// Whether it takes a log or a spectrum, which may be large.
    pub fn takes_file(self) -> bool {
        matches!(self, Self::Rise | Self::PumpDown | Self::ResidualGas)
    }

    /// Every field in which a calculation takes a log.
    pub const LOGS: &'static [&'static str] = &["log", "healthy_log"];

    /// Every field in which a calculation takes the column of the pressures of a log.
    pub const LOG_COLUMNS: &'static [&'static str] =
        &["pressure_column", "healthy_pressure_column"];

    /// The field with the column of the pressures of the log in this one.
    pub fn column_of(log: &str) -> String {
        format!("{}pressure_column", log.strip_suffix("log").unwrap_or(log))
    }

    /// The fields of its request with logs, which may be read while they arrive.
    pub fn logs(self) -> &'static [&'static str] {
        match self {
            Self::Rise => &["log"],
            Self::PumpDown => Self::LOGS,
            _ => &[],
        }
    }

    /// The fields of its request with columns of numbers, which may be read while they arrive.
    pub fn columns(self) -> &'static [&'static str] {
        match self {
            Self::Rise => &["readings"],
            Self::PumpDown => &["readings", "healthy_readings"],
            _ => &[],
        }
    }

    /// The calculation of this name, if there is one.
    pub fn of(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|named| named.id() == id)
    }
}

impl Computed {
    /// Which calculation it is.
    pub fn named(&self) -> Named {
        match self {
            Self::Rise(_) => Named::Rise,
            Self::PumpDown(_) => Named::PumpDown,
            Self::GasLoad(_) => Named::GasLoad,
            Self::Gauge(_) => Named::Gauge,
            Self::ResidualGas(_) => Named::ResidualGas,
            Self::LeakConversion(_) => Named::LeakConversion,
            Self::Conductance(_) => Named::Conductance,
        }
    }

    /// What every report has.
    pub fn outcome(&self) -> &Outcome {
        match self {
            Self::Rise(both) => &both.1.outcome,
            Self::PumpDown(both) => &both.1.outcome,
            Self::GasLoad(both) => &both.1.outcome,
            Self::Gauge(both) => &both.1.outcome,
            Self::ResidualGas(both) => &both.1.outcome,
            Self::LeakConversion(both) => &both.1.outcome,
            Self::Conductance(both) => &both.1.outcome,
        }
    }

    /// The report as JSON.
    ///
    /// # Errors
    /// A report that cannot be written as JSON.
    pub fn report(&self) -> serde_json::Result<String> {
        match self {
            Self::Rise(both) => serde_json::to_string(&both.1),
            Self::PumpDown(both) => serde_json::to_string(&both.1),
            Self::GasLoad(both) => serde_json::to_string(&both.1),
            Self::Gauge(both) => serde_json::to_string(&both.1),
            Self::ResidualGas(both) => serde_json::to_string(&both.1),
            Self::LeakConversion(both) => serde_json::to_string(&both.1),
            Self::Conductance(both) => serde_json::to_string(&both.1),
        }
    }

    /// The request as JSON, from which [`run`] gives the same report again.
    ///
    /// # Errors
    /// A request that cannot be written as JSON.
    pub fn request(&self) -> serde_json::Result<String> {
        match self {
            Self::Rise(both) => serde_json::to_string(&both.0),
            Self::PumpDown(both) => serde_json::to_string(&both.0),
            Self::GasLoad(both) => serde_json::to_string(&both.0),
            Self::Gauge(both) => serde_json::to_string(&both.0),
            Self::ResidualGas(both) => serde_json::to_string(&both.0),
            Self::LeakConversion(both) => serde_json::to_string(&both.0),
            Self::Conductance(both) => serde_json::to_string(&both.0),
        }
    }
}

/// Computes a calculation from the JSON of its request.
///
/// # Errors
/// Text that is not JSON, or fields that cannot be taken.
pub fn run(named: Named, request: &[u8], patterns: &Patterns) -> Result<Computed, Refused> {
    run_with(named, request, Logs::new(), AllColumns::new(), patterns)
}

/// Computes a calculation from the JSON of its request, and the logs and columns that were read while
/// they arrived. Columns become part of the request, and logs whose text was kept.
///
/// # Errors
/// Text that is not JSON, or fields that cannot be taken.
pub fn run_with(
    named: Named,
    request: &[u8],
    mut logs: Logs,
    mut columns: AllColumns,
    patterns: &Patterns,
) -> Result<Computed, Refused> {
    let mut arrived = |name: &str| logs.remove(name).map(SentLog::into_parts).unzip();
    let (log, text) = arrived("log");
    let (healthy_log, healthy_text) = arrived("healthy_log");
    let mut computed = match named {
        Named::Rise => Computed::Rise(computed(
            request,
            |q: &mut rise::Request| put(&mut columns, "readings", &mut q.readings),
            |q| rise::run_with(q, log),
        )?),
        Named::PumpDown => Computed::PumpDown(computed(
            request,
            |q: &mut pump_down::Request| {
                put(&mut columns, "readings", &mut q.readings);
                put(&mut columns, "healthy_readings", &mut q.healthy_readings);
            },
            |q| pump_down::run_with(q, log, healthy_log),
        )?),
        Named::GasLoad => Computed::GasLoad(computed(request, |_| {}, gas_load::run)?),
        Named::Gauge => Computed::Gauge(computed(request, |_| {}, gauge::run)?),
        Named::ResidualGas => Computed::ResidualGas(computed(
            request,
            |_| {},
            |request| residual_gas::run(request, patterns),
        )?),
        Named::LeakConversion => {
            Computed::LeakConversion(computed(request, |_| {}, leak_conversion::run)?)
        }
        Named::Conductance => Computed::Conductance(computed(request, |_| {}, conductance::run)?),
    };
    match &mut computed {
        Computed::Rise(both) => {
            if let Some(text) = text {
                both.0.log = text;
            }
        }
        Computed::PumpDown(both) => {
            if let Some(text) = text {
                both.0.log = text;
            }
            if let Some(text) = healthy_text {
                both.0.healthy_log = text;
            }
        }
        _ => {}
    }
    Ok(computed)
}

/// Puts columns that were read while they arrived where their empty ones stand.
fn put(columns: &mut AllColumns, field: &str, readings: &mut Option<Columns>) {
    if let (Some(readings), Some(arrived)) = (readings, columns.remove(field)) {
        for (list, arrived) in [
            (&mut readings.seconds, arrived.seconds),
            (&mut readings.pressures, arrived.pressures),
        ] {
            if !arrived.is_empty() {
                *list = arrived;
            }
        }
    }
}

fn computed<Q: DeserializeOwned, R: Serialize>(
    json: &[u8],
    complete: impl FnOnce(&mut Q),
    run: impl FnOnce(&Q) -> Result<R, Vec<FieldError>>,
) -> Result<Box<(Q, R)>, Refused> {
    match read(json) {
        Ok(mut request) => {
            complete(&mut request);
            let report = run(&request).map_err(Refused::Fields)?;
            Ok(Box::new((request, report)))
        }
        Err(Unread::NotJson(error)) => Err(Refused::NotJson(error)),
        Err(Unread::Misfits(misfits)) => {
            let Misfits {
                mut errors,
                without,
            } = *misfits;
            // What is wrong with the other fields is told with it.
            let others = without.and_then(|mut request| {
                complete(&mut request);
                run(&request).err()
            });
            for error in others.unwrap_or_default() {
                if !errors
                    .iter()
                    .any(|known| concerns(&known.field, &error.field))
                {
                    errors.push(error);
                }
            }
            Err(Refused::Fields(errors))
        }
    }
}

/// Whether an error of `field` could come from one of `known`: it is in the same field of the
/// request.
fn concerns(known: &str, field: &str) -> bool {
    let outermost = |path: &str| path.split(['.', '[']).next().map(str::to_owned);
    outermost(known) == outermost(field)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(named: Named, json: &str) -> FieldError {
        let patterns = crate::catalogue::source::built_in_patterns().expect("shipped patterns");
        match run(named, json.as_bytes(), &patterns) {
            Err(Refused::Fields(errors)) => errors.into_iter().next().expect("an error"),
            other => panic!("{json} gave {other:?}"),
        }
    }

    #[test]
    fn a_field_that_does_not_fit_is_named_with_what_would() {
        let pressure = r#"{"value": 5e-7, "unit": "torr"}"#;
        let cases = [
            (
                Named::GasLoad,
                "{}".to_owned(),
                "healthy",
                "is missing",
                "value",
            ),
            (
                Named::GasLoad,
                format!(r#"{{"healthy": {pressure}, "fault": 1}}"#),
                "fault",
                "is not a field",
                "faulty",
            ),
            (
                Named::Gauge,
                format!(
                    r#"{{"readings": [{{"kind": "pirani", "pressure": {pressure}, "lid": true}}]}}"#
                ),
                "readings[0].lid",
                "is not a field",
                "lit",
            ),
            (
                Named::Gauge,
                format!(r#"{{"readings": [{{"kind": "dial", "pressure": {pressure}}}]}}"#),
                "readings[0].kind",
                "\"dial\"",
                "pirani",
            ),
            (
                Named::GasLoad,
                r#"{"healthy": {"value": "low", "unit": "torr"}}"#.to_owned(),
                "healthy.value",
                "string \"low\"",
                "a number",
            ),
            (
                Named::GasLoad,
                r#"{"healthy": {"value": 1e-6, "unit": "psi"}}"#.to_owned(),
                "healthy.unit",
                "psi",
                "mbar",
            ),
            (
                Named::GasLoad,
                r#"{"healthy": 5e-7}"#.to_owned(),
                "healthy",
                "floating point",
                "an object like",
            ),
            (Named::GasLoad, "[]".to_owned(), "healthy", "", ""),
        ];
        for (named, json, field, problem, accepted) in cases {
            let error = refused(named, &json);
            if json == "[]" {
                assert!(!error.field.is_empty(), "{error}");
                continue;
            }
            assert_eq!(error.field, field, "{json}: {error}");
            assert!(error.problem.contains(problem), "{json}: {error}");
            assert!(error.accepted.contains(accepted), "{json}: {error}");
        }
    }

    #[test]
    fn every_name_leads_back_to_its_calculation() {
        for named in Named::ALL {
            assert_eq!(Named::of(named.id()), Some(named));
        }
        assert_eq!(Named::of("none"), None);
    }
}
