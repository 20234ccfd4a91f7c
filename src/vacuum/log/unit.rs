//! Units as loggers and spreadsheets name them, in several languages; and those that are none of a
//! pressure.

use crate::vacuum::units::{PressureUnit, ThroughputUnit, read_number};

/// A unit of pressure, and how many of it one of the log's numbers is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Scaled {
    pub(super) unit: Option<PressureUnit>,
    pub(super) scale: f64,
}

impl Scaled {
    /// No unit is known, and numbers stand as they are.
    pub(super) const UNSAID: Self = Self {
        unit: None,
        scale: 1.0,
    };

    /// Pascals for a number of one, as far as the unit is known.
    pub(super) fn pascals(self) -> f64 {
        self.unit.map_or(1.0, PressureUnit::pascals_per_unit) * self.scale
    }
}

/// The unit of pressure of a text that is one and nothing else.
pub(super) fn pressure(text: &str) -> Option<Scaled> {
    let text = text.trim();
    let of = |unit, scale| {
        Some(Scaled {
            unit: Some(unit),
            scale,
        })
    };
    // Here the case of a letter makes a factor of a thousand million, or another quantity.
    match text {
        "mPa" => return of(PressureUnit::Pascal, 1e-3),
        "MPa" => return of(PressureUnit::Pascal, 1e6),
        "pA" => return None,
        _ => {}
    }
    if let Ok(unit) = text.parse() {
        return of(unit, 1.0);
    }
    match simple(text).as_str() {
        "upa" => of(PressureUnit::Pascal, 1e-6),
        "ubar" | "microbar" => of(PressureUnit::Millibar, 1e-3),
        "utorr" | "microtorr" => of(PressureUnit::Torr, 1e-6),
        "ntorr" => of(PressureUnit::Torr, 1e-9),
        "umhg" | "micronhg" | "micronshg" => of(PressureUnit::Micron, 1.0),
        "n/m2" | "n/m²" => of(PressureUnit::Pascal, 1.0),
        _ => None,
    }
    .or_else(|| {
        // What is said of a pressure in vacuum in any case.
        let (unit, behind) = text.split_once([' ', '(', ',', '_'])?;
        let behind = simple(behind.trim_end_matches(')'));
        const ABSOLUTE: [&str; 8] = [
            "a",
            "abs",
            "absolute",
            "absolut",
            "absolu",
            "n2",
            "n2eq",
            "n2equivalent",
        ];
        ABSOLUTE
            .contains(&behind.as_str())
            .then(|| pressure(unit))
            .flatten()
    })
}

/// A unit of pressure with a number before it, as in `1e-6 mbar` and `x10^-6 mbar`.
pub(super) fn scaled_pressure(text: &str) -> Option<Scaled> {
    let text = text
        .trim()
        .trim_start_matches(['x', 'X', '×', '*', '·', ' ']);
    // A ten and its raised figures that were lost on the way.
    let raised = text.strip_prefix("10-").map(|rest| format!("10^-{rest}"));
    let text = match text.as_bytes() {
        [b'e' | b'E', b'-' | b'+' | b'0'..=b'9', ..] => format!("1{text}"),
        _ => raised.unwrap_or_else(|| text.to_owned()),
    };
    let (scale, unit) = read_number(&text).ok()?;
    let unit = unit.trim_start_matches(['x', '*', ' ']);
    let found = if unit.is_empty() {
        Scaled::UNSAID
    } else {
        pressure(unit)?
    };
    (scale > 0.0 && scale.is_finite()).then_some(Scaled {
        scale: found.scale * scale,
        ..found
    })
}

/// Seconds in the unit of time of a text that is one and nothing else.
pub(super) fn time(text: &str) -> Option<f64> {
    const UNITS: [(f64, &[&str]); 7] = [
        (1e-9, &["ns", "nanoseconds", "nanosekunden"]),
        (
            1e-6,
            &[
                "us",
                "usec",
                "microsecond",
                "microseconds",
                "mikrosekunden",
                "microsegundos",
            ],
        ),
        (
            1e-3,
            &[
                "ms",
                "msec",
                "msecs",
                "millis",
                "millisecond",
                "milliseconds",
                "millisekunde",
                "millisekunden",
                "millisecondes",
                "milisegundos",
            ],
        ),
        (
            1.0,
            &[
                "s", "sec", "secs", "second", "seconds", "sek", "sekunde", "sekunden", "seconde",
                "secondes", "segundo", "segundos", "secondi", "secondo", "seg",
            ],
        ),
        (
            60.0,
            &[
                "min", "mins", "minute", "minutes", "minuten", "minuto", "minutos", "minuti", "mn",
            ],
        ),
        (
            3_600.0,
            &[
                "h", "hr", "hrs", "hour", "hours", "std", "stunde", "stunden", "heure", "heures",
                "hora", "horas", "ora", "ore", "uur",
            ],
        ),
        (
            86_400.0,
            &[
                "d", "day", "days", "tag", "tage", "tagen", "jour", "jours", "dia", "dias", "día",
                "días",
            ],
        ),
    ];
    let text = simple(&text.replace("(s)", ""));
    UNITS
        .into_iter()
        .find(|(_, names)| names.contains(&text.as_str()))
        .map(|(seconds, _)| seconds)
}

/// Whether a text is a number and a unit of time: `0.1 s`, `x10 ms`.
pub(super) fn is_scaled_time(text: &str) -> bool {
    let text = text.trim_start_matches(['x', 'X', '×', '*', '·', ' ']);
    read_number(text).is_ok_and(|(_, behind)| time(behind.trim_start_matches(['x', ' '])).is_some())
}

/// What a text says that is the unit of something else: of a rate, a throughput, a temperature.
pub(super) fn other(text: &str) -> Option<&'static str> {
    const OTHERS: [(&str, &[&str]); 9] = [
        (
            "a temperature",
            &[
                "°c", "c", "degc", "celsius", "°f", "f", "degf", "k", "kelvin",
            ],
        ),
        ("a voltage", &["v", "mv", "kv", "uv", "volt", "volts"]),
        ("a current", &["a", "ma", "ua", "na", "amp", "amps"]),
        ("a power", &["w", "kw", "watt", "watts"]),
        ("a flow", &["sccm", "slm", "l/min", "lpm", "ml/min"]),
        ("a pumping speed", &["l/s", "ls1", "m3/h", "m³/h", "m3/s"]),
        (
            "a rate",
            &["rpm", "hz", "khz", "1/s", "a/s", "å/s", "nm/s", "1/min"],
        ),
        ("a length", &["mm", "nm", "um", "å", "cm"]),
        (
            "a share or count",
            &[
                "%", "ppm", "counts", "cts", "bit", "bits", "ohm", "kohm", "°", "deg",
            ],
        ),
    ];
    if text.trim() == "pA" {
        return Some("a current");
    }
    if text.parse::<ThroughputUnit>().is_ok() {
        return Some("a leak rate or throughput");
    }
    let simple = simple(text);
    if let Some((what, _)) = OTHERS
        .into_iter()
        .find(|(_, names)| names.contains(&simple.as_str()))
    {
        return Some(what);
    }
    // `mbar/s`, `Torr per hour`, `mbar s-1` and `mbar l/s`.
    let lower = text.to_lowercase();
    let (unit, behind) = lower
        .split_once('/')
        .or_else(|| lower.split_once(" per "))
        .or_else(|| lower.split_once([' ', '*', '·', '-']))?;
    let per = behind.trim_end_matches(['1', '¹', '-', '⁻', '−', ' ', '^']);
    if pressure(unit).is_some() && time(per).is_some() {
        return Some("a rate of pressure");
    }
    let first = unit.split(['*', '·', ' ', '-']).next().unwrap_or(unit);
    let of_volume = |word: &str| {
        let word = word.trim_end_matches("s-1");
        [
            "l", "ℓ", "ls", "liter", "litre", "cc", "ccm", "cm3", "cm³", "m3", "m³", "ft3",
        ]
        .contains(&word)
    };
    let mut volumes = lower.split(|c: char| !(c.is_alphanumeric() || matches!(c, '²' | '³')));
    (pressure(first).is_some() && pressure(text).is_none() && volumes.any(of_volume))
        .then_some("a leak rate or throughput")
}

/// A unit's spelling without what does not tell it from others.
fn simple(text: &str) -> String {
    text.trim()
        .chars()
        .filter(|c| !matches!(c, ' ' | '\u{a0}' | '.'))
        .map(|c| if matches!(c, 'µ' | 'μ') { 'u' } else { c })
        .flat_map(char::to_lowercase)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_of_pressure_are_told_from_those_of_rates_and_currents() {
        for (text, pascals) in [
            ("kPa", 1e3),
            ("mPa", 1e-3),
            ("MPa", 1e6),
            ("bar", 1e5),
            ("µbar", 0.1),
            ("mbar abs", 100.0),
            ("mbar(a)", 100.0),
            ("mmHg", 133.322_387_415),
            ("PA", 1.0),
        ] {
            let found = pressure(text).map(Scaled::pascals).unwrap();
            assert!((found / pascals - 1.0).abs() < 1e-12, "{text}: {found}");
        }
        for text in [
            "mpa",
            "MPA",
            "pA",
            "mbar/s",
            "mbar l/s",
            "Torr·L/s",
            "barg",
            "psig",
            "V",
            "log",
            "",
            "°C",
        ] {
            assert_eq!(pressure(text), None, "{text}");
        }
        for (text, scale) in [
            ("1e-6 mbar", 1e-4),
            ("x10^-6 mbar", 1e-4),
            ("10⁻⁶ mbar", 1e-4),
            ("10-6 mbar", 1e-4),
            ("E-6 mbar", 1e-4),
            ("×1E-6", 1e-6),
        ] {
            let found = scaled_pressure(text).map(Scaled::pascals).unwrap();
            assert!((found / scale - 1.0).abs() < 1e-12, "{text}: {found}");
        }
        for (text, what) in [
            ("mbar/s", "a rate of pressure"),
            ("Torr per hour", "a rate of pressure"),
            ("mbar s-1", "a rate of pressure"),
            ("mbar·L/s", "a leak rate or throughput"),
            ("mbar l/s", "a leak rate or throughput"),
            ("°C", "a temperature"),
        ] {
            assert_eq!(other(text), Some(what), "{text}");
        }
        for text in ["mbar", "kPa", "mbar abs", "s", "Chamber", ""] {
            assert_eq!(other(text), None, "{text}");
        }
        assert_eq!(time("second(s)"), Some(1.0));
        assert_eq!(time("Min."), Some(60.0));
        assert_eq!(time("Stunden"), Some(3600.0));
        assert_eq!(time("µs"), Some(1e-6));
        assert_eq!(time("lunes"), None);
    }
}
