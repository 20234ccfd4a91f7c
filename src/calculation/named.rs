//! Every calculation by its name: JSON of a request in, the computed report out.
//!
//! What the API answers, what a page shows and what is computed again later from a stored
//! request all go through [`run`]. Fields that are unknown or of the wrong type are named with
//! what would be taken, as the calculations themselves name values out of range.

use std::borrow::Cow;

use serde::{Serialize, de::DeserializeOwned};

use super::{
    FieldError, Outcome, conductance, gas_load, gauge, leak_conversion, pump_down, residual_gas,
    rise,
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
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refused {
    /// The body is not JSON; in words, with line and column.
    NotJson(String),
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
    Ok(match named {
        Named::Rise => Computed::Rise(computed(request, rise::run)?),
        Named::PumpDown => Computed::PumpDown(computed(request, pump_down::run)?),
        Named::GasLoad => Computed::GasLoad(computed(request, gas_load::run)?),
        Named::Gauge => Computed::Gauge(computed(request, gauge::run)?),
        Named::ResidualGas => Computed::ResidualGas(computed(request, |request| {
            residual_gas::run(request, patterns)
        })?),
        Named::LeakConversion => Computed::LeakConversion(computed(request, leak_conversion::run)?),
        Named::Conductance => Computed::Conductance(computed(request, conductance::run)?),
    })
}

fn computed<Q: DeserializeOwned, R: Serialize>(
    json: &[u8],
    run: impl FnOnce(&Q) -> Result<R, Vec<FieldError>>,
) -> Result<Box<(Q, R)>, Refused> {
    let request: Q = read(json)?;
    let report = run(&request).map_err(Refused::Fields)?;
    Ok(Box::new((request, report)))
}

/// Reads JSON; a field that does not fit is named with its path.
fn read<Q: DeserializeOwned>(json: &[u8]) -> Result<Q, Refused> {
    let mut reader = serde_json::Deserializer::from_slice(json);
    let request = serde_path_to_error::deserialize(&mut reader).map_err(|error| {
        let path = error.path().to_string();
        let inner = error.into_inner();
        if inner.is_data() {
            Refused::Fields(vec![misfit(&path, &inner)])
        } else {
            Refused::NotJson(inner.to_string())
        }
    })?;
    reader
        .end()
        .map_err(|error| Refused::NotJson(error.to_string()))?;
    Ok(request)
}

/// What does not fit, in the words of the other refusals.
fn misfit(path: &str, error: &serde_json::Error) -> FieldError {
    let words = error.to_string();
    let place = format!(" at line {} column {}", error.line(), error.column());
    let words = words.strip_suffix(&place).unwrap_or(&words);
    let path = if path == "." { "" } else { path };
    let below = |name: &str| match path {
        "" => name.to_owned(),
        path => format!("{path}.{name}"),
    };
    if let Some(name) = words
        .strip_prefix("missing field `")
        .and_then(|rest| rest.strip_suffix('`'))
    {
        return FieldError::new(below(name), "is missing", "this field with a value");
    }
    if let Some((name, expected)) = words
        .strip_prefix("unknown field `")
        .and_then(|rest| rest.split_once('`'))
    {
        let accepted = match listed(expected) {
            Some(names) => format!("one of {names}"),
            None => "no field here".to_owned(),
        };
        let field = if path == name || path.ends_with(&format!(".{name}")) {
            path.to_owned()
        } else {
            below(name)
        };
        return FieldError::new(field, "is not a field known here", accepted);
    }
    let field = if path.is_empty() { "body" } else { path };
    if let Some((value, expected)) = words
        .strip_prefix("unknown variant `")
        .and_then(|rest| rest.split_once('`'))
    {
        return FieldError::new(
            field,
            format!("{value:?} is not one of the values"),
            listed(expected).unwrap_or_else(|| "one of the values".to_owned()),
        );
    }
    if let Some((given, expected)) = words
        .strip_prefix("invalid type: ")
        .or_else(|| words.strip_prefix("invalid value: "))
        .and_then(|rest| rest.rsplit_once(", expected "))
    {
        return FieldError::new(field, format!("is {}", given_kind(given)), kind(expected));
    }
    match words.split_once("; accepted: ") {
        Some((problem, accepted)) => FieldError::new(field, problem, accepted),
        None => FieldError::new(field, words, "a value of the kind described"),
    }
}

/// The names of `, expected one of `a`, `b``, without their marks.
fn listed(expected: &str) -> Option<String> {
    let names = expected.strip_prefix(", expected ")?;
    let names = names.strip_prefix("one of ").unwrap_or(names);
    Some(names.replace('`', ""))
}

/// What was given, in words.
fn given_kind(given: &str) -> Cow<'_, str> {
    match given {
        "map" => "an object".into(),
        "sequence" => "a list".into(),
        "null" => "null".into(),
        other => format!("the {other}").into(),
    }
}

/// What a type of the program is called outside it.
fn kind(expected: &str) -> String {
    match expected {
        "f64" | "f32" => "a number".to_owned(),
        "u64" | "u32" | "usize" => "a whole number, zero or more".to_owned(),
        "a sequence" => "a list".to_owned(),
        "struct Typed" => r#"an object like {"value": 5e-6, "unit": "torr"}"#.to_owned(),
        other if other.starts_with("struct ") => "an object".to_owned(),
        other => other.to_owned(),
    }
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
