//! A filled form as the JSON of a request, and the fields that many forms share.
//!
//! A field's dotted name is its path in the request; numbers in it count the rows of a list.
//! Empty fields and empty rows are left out. Numbers are read as people write them.

use std::collections::{BTreeMap, HashMap};

use serde_json::{Map, Value, json};

use super::upload::{Content, FILE, File};
use crate::{
    calculation::{
        FieldError,
        named::Named,
        sent::{Logs, SentRequest},
    },
    vacuum::{
        gas::Gas,
        units::{
            LengthUnit, PressureUnit, ReadingError, SpeedUnit, TemperatureUnit, ThroughputUnit,
            TimeUnit, VolumeUnit, read_number, read_signed_pressure,
        },
    },
    web::{
        computing::FILE_LIMIT,
        holding::{Arriving, HeldLogs},
        views::{
            calculation::{CalculationForm, FieldGroup},
            form::{Control, Field, Fields, LineKind, SelectOption},
        },
    },
};

/// A file up to this length comes back in the form as text, in bytes.
const SHOWN: usize = 200_000;

/// A form as read.
pub(super) struct Read {
    /// The request, without the fields that cannot be read.
    pub(super) request: SentRequest,
    /// The fields that cannot be read.
    pub(super) errors: Vec<FieldError>,
    /// Logs too long to be sent back.
    pub(super) held: HeldLogs,
    /// Whether all that went in is in the request or held.
    pub(super) whole: bool,
    /// Whether a file is larger than is taken.
    pub(super) too_large: bool,
    /// Which row of the form each row of the request came from.
    pub(super) rows: Rows,
    /// The fields for text in whose place a file was sent.
    pub(super) from_files: Vec<String>,
    /// The fields for the texts of files, and those texts, where they are short enough to come back.
    pub(super) kept: Vec<(String, String)>,
    /// The fields of files that cannot come back, since no page can choose a file for a person.
    pub(super) lost: Vec<String>,
    /// Where a unit was typed that differs from the one chosen beside it, which of them was taken.
    pub(super) taken: Vec<String>,
}

/// Which row of the form each row of a list came from, by the list's name.
#[derive(Default)]
pub(super) struct Rows(HashMap<String, Vec<usize>>);

impl Rows {
    /// An error about a row of the request as one about the row of the form.
    pub(super) fn as_typed(&self, mut error: FieldError) -> FieldError {
        if let Some((list, rest)) = error.field.split_once('[')
            && let Some((row, rest)) = rest.split_once(']')
            && let Some(row) = row
                .parse::<usize>()
                .ok()
                .and_then(|row| self.0.get(list)?.get(row))
        {
            error.field = format!("{list}[{row}]{rest}");
        }
        error
    }
}

/// Reads a filled form, with the files that were sent with it; the fields `log_names` hold logs.
pub(super) fn read(form: &CalculationForm, files: Vec<File>, log_names: &[&str]) -> Read {
    let mut errors = Vec::new();
    let mut logs = Logs::new();
    let mut held = HeldLogs::new();
    let mut taken = Vec::new();
    let mut root = Node::default();
    for field in form.fields() {
        let text = field.value().trim();
        if text.is_empty() {
            let in_a_row = field
                .id
                .split('.')
                .any(|part| part.parse::<usize>().is_ok());
            let has_file = files
                .iter()
                .any(|file| file.field == format!("{}{FILE}", field.id));
            if !field.optional && !in_a_row && !has_file && asks(field) {
                errors.push(FieldError::new(&field.id, "is missing", accepted(field)));
            }
            continue;
        }
        if log_names.contains(&field.id.as_str()) {
            let (mut log, mut arriving) = (Arriving::log(), Arriving::default());
            let column = Named::column_of(&field.id);
            if let Some(column) = form.fields().into_iter().find(|field| field.id == column) {
                log.choose(column.value());
            }
            // As typed, so that its lines keep their numbers.
            log.push(field.value().as_bytes());
            arriving.take(&mut log);
            held.extend(arriving.finish().map(|log| (field.id.clone(), log)));
            logs.insert(field.id.clone(), log);
            continue;
        }
        match value(field, text) {
            Ok(value) => {
                taken.extend(unit_taken(field, &value));
                root.put(&field.id, value);
            }
            Err(problem) => errors.push(FieldError::new(&field.id, problem, accepted(field))),
        }
    }
    let mut from_files = Vec::new();
    let mut kept = Vec::new();
    let mut lost = Vec::new();
    let mut too_large = false;
    for file in files {
        let name = file.field.strip_suffix(FILE).unwrap_or(&file.field);
        if root.holds(name) || logs.contains_key(name) {
            errors.push(FieldError::new(
                &file.field,
                "was sent, and so was text beside it",
                "the file or the text, not both",
            ));
            lost.push(file.field);
            continue;
        }
        from_files.push(name.to_owned());
        match file.content {
            Content::Log(log, long) => {
                held.extend(long.map(|log| (name.to_owned(), log)));
                match log.text().filter(|_| log.bytes() <= SHOWN) {
                    Some(text) => kept.push((name.to_owned(), text.into_owned())),
                    None => lost.push(file.field.clone()),
                }
                logs.insert(name.to_owned(), *log);
            }
            Content::Text(text) => {
                if text.len() <= SHOWN {
                    kept.push((name.to_owned(), text.clone()));
                } else {
                    lost.push(file.field.clone());
                }
                root.put(name, Value::String(text));
            }
            Content::TooLarge(most) => {
                too_large = true;
                let megabytes = most >> 20;
                let instead = match most {
                    FILE_LIMIT => "one test alone, or a longer time between readings",
                    _ => "one scan alone",
                };
                errors.push(FieldError::new(
                    &file.field,
                    format!("the file is larger than {megabytes} MB"),
                    format!("a file of at most {megabytes} MB: {instead}"),
                ));
                lost.push(file.field);
            }
        }
    }
    let whole = logs
        .iter()
        .all(|(name, log)| log.text().is_some() || held.contains_key(name));
    let mut rows = Rows::default();
    let json = root.into_value("", &mut rows).to_string();
    Read {
        request: SentRequest::new(json.into_bytes(), logs),
        errors,
        held,
        whole,
        too_large,
        rows,
        from_files,
        kept,
        lost,
        taken,
    }
}

/// What is said where the unit typed behind a number is not the one chosen beside it.
fn unit_taken(field: &Field, value: &Value) -> Option<String> {
    let Control::Quantity { units, .. } = &field.control else {
        return None;
    };
    let chosen = chosen(units)?;
    let typed = units
        .iter()
        .find(|unit| value["unit"] == unit.value.as_str())?;
    (typed.value != chosen.value).then(|| {
        format!(
            "{}: {} {} was taken, as typed, and not {} as chosen beside it",
            field.label,
            plain(value["value"].as_f64().unwrap_or_default()),
            typed.label,
            chosen.label,
        )
    })
}

/// The unit chosen.
fn chosen(units: &[SelectOption]) -> Option<&SelectOption> {
    units.iter().find(|unit| unit.selected).or(units.first())
}

fn asks(field: &Field) -> bool {
    !matches!(
        field.control,
        Control::Tick { .. } | Control::File { .. } | Control::Choice { .. }
    )
}

fn accepted(field: &Field) -> String {
    match &field.control {
        Control::Quantity { units, .. } if pressure_unit(units).is_some() => {
            "a number like 5e-6, 5.0x10^-6 or 2,3e-4, and its unit".to_owned()
        }
        Control::Quantity { units, .. } => {
            let labels: Vec<&str> = units.iter().map(|unit| unit.label.as_str()).collect();
            format!("a number and its unit, one of {}", labels.join(", "))
        }
        Control::Line {
            kind: LineKind::Number,
            ..
        } => "a number".to_owned(),
        Control::Area { .. } => "a file or pasted text".to_owned(),
        _ => "a choice of the list".to_owned(),
    }
}

fn value(field: &Field, text: &str) -> Result<Value, String> {
    Ok(match &field.control {
        Control::Quantity { units, .. } => match pressure_unit(units) {
            Some(unit) => {
                // Whether it may be below zero, the calculation says.
                json!(read_signed_pressure(text, Some(unit)).map_err(|e| e.to_string())?)
            }
            None => {
                let (value, typed) = number(text)?;
                let unit = match typed.as_str() {
                    "" => chosen(units).map_or("", |unit| unit.value.as_str()),
                    typed => unit_of(units, typed).ok_or_else(|| no_unit(units, typed))?,
                };
                json!({"value": value, "unit": unit})
            }
        },
        Control::Line {
            kind: LineKind::Number,
            ..
        } => match number(text)? {
            (value, behind) if behind.is_empty() => json!(value),
            _ => return Err(not_a_number(text)),
        },
        Control::Tick { .. } => json!(true),
        Control::Choice { .. } => json!(text == "seen"),
        _ => json!(text),
    })
}

/// The unit chosen, if it is one of pressure.
fn pressure_unit(units: &[SelectOption]) -> Option<PressureUnit> {
    let unit = chosen(units)?;
    PressureUnit::ALL.into_iter().find(|p| p.id() == unit.value)
}

/// The one of these units that was typed, in any spelling known.
fn unit_of<'a>(units: &'a [SelectOption], typed: &str) -> Option<&'a str> {
    let known = [
        typed.parse().map(ThroughputUnit::id).ok(),
        typed.parse().map(SpeedUnit::id).ok(),
        typed.parse().map(VolumeUnit::id).ok(),
        typed.parse().map(LengthUnit::id).ok(),
        typed.parse().map(TemperatureUnit::id).ok(),
        typed.parse().map(TimeUnit::id).ok(),
    ];
    let offered = |id: &str| units.iter().find(|unit| unit.value == id);
    known
        .into_iter()
        .flatten()
        .find_map(offered)
        .map(|unit| unit.value.as_str())
}

/// What is wrong with a unit that was typed behind a number.
fn no_unit(units: &[SelectOption], typed: &str) -> String {
    let of_throughput = units
        .iter()
        .any(|unit| unit.value == ThroughputUnit::MillibarLitre.id());
    let why = ThroughputUnit::why_not(typed).filter(|_| of_throughput);
    let why = why.map_or_else(String::new, |why| format!(": {why}"));
    format!("{typed:?} is not one of its units{why}")
}

/// A number as people write it, `-3,5`, `2e-4` or `2x10^-4`, and what stands behind it.
fn number(text: &str) -> Result<(f64, String), String> {
    read_number(text).map_err(|error| match error {
        ReadingError::Ambiguous { .. } => error.to_string(),
        _ => not_a_number(text),
    })
}

fn not_a_number(text: &str) -> String {
    format!("{text:?} is not a number")
}

/// A number without zeros that say nothing: `5e-7`, `0.25`, `400`.
pub(super) fn plain(value: f64) -> String {
    if value != 0.0 && !(0.01..1e5).contains(&value.abs()) {
        format!("{value:e}")
    } else {
        value.to_string()
    }
}

#[derive(Default)]
struct Node {
    below: BTreeMap<String, Node>,
    value: Option<Value>,
}

impl Node {
    fn put(&mut self, path: &str, value: Value) {
        let mut node = self;
        for part in path.split('.') {
            node = node.below.entry(part.to_owned()).or_default();
        }
        node.value = Some(value);
    }

    fn holds(&self, path: &str) -> bool {
        self.below.contains_key(path)
    }

    fn into_value(self, path: &str, rows: &mut Rows) -> Value {
        if let Some(value) = self.value {
            return value;
        }
        let numbers: Option<Vec<usize>> = self.below.keys().map(|name| name.parse().ok()).collect();
        match numbers {
            Some(numbers) if !numbers.is_empty() => {
                let mut listed: Vec<_> =
                    numbers.into_iter().zip(self.below.into_values()).collect();
                listed.sort_by_key(|(row, _)| *row);
                rows.0.insert(
                    path.to_owned(),
                    listed.iter().map(|(row, _)| *row).collect(),
                );
                listed
                    .into_iter()
                    .map(|(row, node)| node.into_value(&format!("{path}.{row}"), rows))
                    .collect()
            }
            _ => Value::Object(
                self.below
                    .into_iter()
                    .map(|(name, node)| {
                        let path = if path.is_empty() {
                            name.clone()
                        } else {
                            format!("{path}.{name}")
                        };
                        let value = node.into_value(&path, rows);
                        (name, value)
                    })
                    .collect::<Map<_, _>>(),
            ),
        }
    }
}

/// Choices of the units of a quantity, one of them chosen.
macro_rules! units {
    ($unit:ty, $chosen:expr) => {
        <$unit>::ALL
            .into_iter()
            .map(|unit| $crate::web::views::form::SelectOption {
                selected: unit == $chosen,
                ..$crate::web::views::form::SelectOption::new(unit.id(), unit.to_string())
            })
            .collect::<Vec<_>>()
    };
}
pub(super) use units;

/// A pressure with its unit.
pub(super) fn pressure(id: &str, label: &str) -> Field {
    Field::quantity(id, label, units!(PressureUnit, PressureUnit::Torr))
}

/// A gas, or none.
pub(super) fn gas(id: &str, label: &str, none: &str) -> Field {
    let mut options = vec![SelectOption {
        selected: true,
        ..SelectOption::new("", none)
    }];
    options.extend(Gas::ALL.into_iter().map(|gas| {
        let id = serde_json::to_value(gas).unwrap_or_default();
        SelectOption::new(id.as_str().unwrap_or_default(), gas.name())
    }));
    Field::flat_select(id, label, options).optional()
}

/// Fields under a title.
pub(super) fn group(title: &str, about: &str, fields: Vec<Field>) -> FieldGroup {
    FieldGroup {
        title: title.to_owned(),
        about: about.to_owned(),
        fields,
    }
}

/// The column of the pressures in a log, where several could be meant.
pub(super) fn log_column(id: &str) -> Field {
    Field::line(id, "Column of the pressures", LineKind::Text)
        .hint("Its heading or number, where the log has several. Left empty, the likeliest is taken and named.")
        .optional()
}

/// The units of a log, where the log itself does not say.
pub(super) fn log_units() -> [Field; 2] {
    let unit = |id: &str, label: &str, options: Vec<SelectOption>| {
        let mut all = vec![SelectOption {
            selected: true,
            ..SelectOption::new("", "As the log says")
        }];
        all.extend(options.into_iter().map(|option| SelectOption {
            selected: false,
            ..option
        }));
        Field::flat_select(id, label, all).optional()
    };
    [
        unit(
            "pressure_unit",
            "Unit of the pressures",
            units!(PressureUnit, PressureUnit::Torr),
        ),
        unit(
            "time_unit",
            "Unit of the times",
            units!(TimeUnit, TimeUnit::Second),
        ),
    ]
}

/// How many rows a list needs: one more than the names sent fill, and no fewer than `fewest`.
pub(super) fn rows(list: &str, names: &[&str], fewest: usize) -> usize {
    const MOST: usize = 20;
    names
        .iter()
        .filter_map(|name| {
            let rest = name.strip_prefix(list)?.strip_prefix('.')?;
            rest.split('.').next()?.parse::<usize>().ok()
        })
        .map(|row| row + 1)
        .max()
        .unwrap_or_default()
        .clamp(fewest, MOST)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_as_people_write_them() {
        for (text, value) in [
            ("3,5", 3.5),
            ("-10", -10.0),
            ("−10", -10.0),
            ("2x10^-4", 2e-4),
            (" 1e3 ", 1e3),
            ("0", 0.0),
        ] {
            assert_eq!(number(text), Ok((value, String::new())), "{text}");
        }
        for text in ["", "ten", "1,013", "--3", "1e999"] {
            assert!(number(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_unit_may_be_typed_behind_the_number_of_any_quantity() {
        let rate = Field::quantity(
            "rate",
            "Rate",
            units!(ThroughputUnit, ThroughputUnit::MillibarLitre),
        );
        let volume = Field::quantity("volume", "Volume", units!(VolumeUnit, VolumeUnit::Litre));
        let speed = Field::quantity(
            "speed",
            "Speed",
            units!(SpeedUnit, SpeedUnit::LitrePerSecond),
        );
        let heat = Field::quantity("at", "At", units!(TemperatureUnit, TemperatureUnit::Kelvin));
        let time = Field::quantity("for", "For", units!(TimeUnit, TimeUnit::Second));
        let length = Field::quantity(
            "length",
            "Length",
            units!(LengthUnit, LengthUnit::Centimetre),
        );
        for (field, text, number, unit) in [
            (&rate, "0.01 sccm", 0.01, "sccm"),
            (&rate, "1e-6 mbar l/s", 1e-6, "mbar-l/s"),
            (&rate, "1e-6 atm cc/s", 1e-6, "atm-cm3/s"),
            (&rate, "1e-6 std cc/s", 1e-6, "sccs"),
            (&rate, "1e-6 std. cm³/s", 1e-6, "sccs"),
            (&rate, "2 sccs", 2.0, "sccs"),
            (&rate, "2x10⁻⁶", 2e-6, "mbar-l/s"),
            (&heat, "-20 °C", -20.0, "c"),
            (&volume, "100 L", 100.0, "l"),
            (&volume, "0,1 m3", 0.1, "m3"),
            (&speed, "1800 m³/h", 1800.0, "m3/h"),
            (&time, "12 h", 12.0, "h"),
            (&length, "63mm", 63.0, "mm"),
        ] {
            assert_eq!(
                value(field, text),
                Ok(json!({"value": number, "unit": unit})),
                "{text}"
            );
        }
        for (field, text, told) in [
            (
                &volume,
                "100 gallons",
                "\"gallons\" is not one of its units",
            ),
            (&volume, "5 mbar", "\"mbar\" is not one of its units"),
            (&volume, "much", "\"much\" is not a number"),
            (
                &rate,
                "2 cc/s",
                "\"cc/s\" is not one of its units: a volume each second is a throughput at a stated pressure \
                 alone; write atm cc/s, or std cc/s for standard cubic centimetres",
            ),
        ] {
            assert_eq!(value(field, text), Err(told.to_owned()), "{text}");
        }
        assert_eq!(
            accepted(&volume),
            "a number and its unit, one of L, m³, cm³"
        );
        let said = unit_taken(&volume, &json!({"value": 0.1, "unit": "m3"}));
        assert_eq!(
            said.as_deref(),
            Some("Volume: 0.1 m³ was taken, as typed, and not L as chosen beside it")
        );
    }

    #[test]
    fn empty_rows_are_left_out_and_errors_find_the_row_typed_in() {
        let form = CalculationForm {
            groups: vec![group(
                "",
                "",
                (0..3)
                    .map(|row| Field::line(&format!("parts.{row}.n"), "N", LineKind::Number))
                    .chain([pressure("healthy", "Healthy")])
                    .collect(),
            )],
            ..CalculationForm::default()
        };
        let mut filled = form.clone();
        for (name, value) in [
            ("parts.0.n", "1"),
            ("parts.2.n", "2,5"),
            ("healthy.value", "5 mbar"),
        ] {
            assert!(filled.fill(name, value));
        }
        let read = read(&filled, Vec::new(), &[]);
        assert_eq!(
            read.taken,
            ["Healthy: 5 mbar was taken, as typed, and not Torr as chosen beside it"]
        );
        assert!(read.errors.is_empty());
        let json: Value = serde_json::from_slice(&read.request.json).expect("JSON");
        assert_eq!(
            json,
            json!({"parts": [{"n": 1.0}, {"n": 2.5}], "healthy": {"value": 5.0, "unit": "mbar"}})
        );
        let error = read
            .rows
            .as_typed(FieldError::new("parts[1].n", "is wrong", "another"));
        assert_eq!(error.field, "parts[2].n");
        let missing = super::read(&form, Vec::new(), &[]).errors;
        assert_eq!(missing.len(), 1);
        assert_eq!(missing[0].field, "healthy");
    }
}
