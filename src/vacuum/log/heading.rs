//! What the heading of a column says: a time or a pressure, its unit and scale, or what it is instead.
//!
//! What a heading says and is not known here is kept as such, so that it can be refused by name: a unit
//! passed over would make a pressure wrong by decades. The words are the trade's (common practice, no
//! source).

use super::unit::{self, Scaled};

/// A heading as far as it is understood.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Heading {
    pub(super) text: String,
    pub(super) what: What,
    /// Seconds in the unit of a time.
    pub(super) seconds: Option<f64>,
    /// Unit and scale of a pressure.
    pub(super) unit: Scaled,
    pub(super) rank: Rank,
    /// What of it is not understood.
    pub(super) unread: Option<Unread>,
}

/// What of a heading is not understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Unread {
    /// This stands where units do, and is none known here.
    Unit(String),
    /// A scale apart from the unit: whether the numbers were multiplied by it already, or are to be, nobody
    /// can tell.
    Scale(String),
    /// Two units.
    Second(String, String),
}

/// Seconds in the unit of a time, the unit of a pressure, and what stands in the place of one and is none
/// known here.
pub(super) type Said = (Option<f64>, Scaled, Option<String>);

/// What a column holds by its heading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum What {
    /// It does not say.
    Unsaid,
    Index,
    Time,
    Pressure,
    /// Something else, in words.
    Other(&'static str),
}

/// How near a pressure is to that of the chamber, the nearest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Rank {
    Chamber,
    Pressure,
    /// In the foreline or another place, or an extreme.
    Elsewhere,
    /// A setpoint, a limit, a scatter.
    NotMeasured,
}

const INDEX: [&str; 18] = [
    "no", "nr", "index", "row", "line", "sample", "count", "id", "n", "zeile", "samples", "scan",
    "record", "point", "cycle", "num", "number", "nummer",
];
const PRESSURES: [&str; 9] = [
    "press", "druck", "vacuum", "vakuum", "gauge", "presi", "vide", "vacío", "vacio",
];
/// Those that name no state of a chamber.
const FIRM_PRESSURES: [&str; 4] = ["press", "druck", "gauge", "presi"];
const TIMES: [&str; 15] = [
    "time", "elapsed", "date", "zeit", "clock", "uhr", "datum", "tiempo", "fecha", "dauer",
    "durée", "duree", "duration", "heure", "epoch",
];
/// Words that are names of times only as they stand.
const WHOLE_TIMES: [&str; 7] = ["t", "temps", "tempo", "tijd", "tid", "hora", "ora"];
const RATES: [&str; 9] = [
    "rate",
    "rates",
    "dp",
    "dpdt",
    "slope",
    "gradient",
    "derivative",
    "anstiegsrate",
    "leckrate",
];
const NOT_MEASURED: [&str; 30] = [
    "delta",
    "diff",
    "difference",
    "differential",
    "reference",
    "ref",
    "partial",
    "set",
    "setpoint",
    "setpoints",
    "sp",
    "soll",
    "sollwert",
    "solldruck",
    "grenzwert",
    "grenzdruck",
    "target",
    "limit",
    "limits",
    "alarm",
    "threshold",
    "trip",
    "consigne",
    "std",
    "stdev",
    "sd",
    "sigma",
    "error",
    "uncertainty",
    "status",
];
const ELSEWHERE: [&str; 33] = [
    "base",
    "ultimate",
    "foreline",
    "fore",
    "backing",
    "rough",
    "roughing",
    "vorvakuum",
    "vorvakuumdruck",
    "vorpumpe",
    "vordruck",
    "loadlock",
    "ll",
    "load",
    "schleuse",
    "buffer",
    "transfer",
    "ambient",
    "atmospheric",
    "barometer",
    "barometric",
    "luftdruck",
    "n2",
    "nitrogen",
    "stickstoff",
    "supply",
    "line",
    "inlet",
    "exhaust",
    "min",
    "max",
    "minimum",
    "maximum",
];
const CHAMBER: [&str; 12] = [
    "chamber",
    "kammer",
    "kammerdruck",
    "chambre",
    "cámara",
    "camara",
    "process",
    "prozess",
    "main",
    "rezipient",
    "hv",
    "uhv",
];
/// Words in brackets that name a place, a device or a way of counting, and no unit.
const LABELS: [&str; 53] = [
    "ig",
    "cc",
    "pg",
    "pirani",
    "ion",
    "cold",
    "hot",
    "cathode",
    "filament",
    "ch",
    "channel",
    "kanal",
    "sensor",
    "gauge",
    "abs",
    "absolute",
    "avg",
    "average",
    "mean",
    "mittel",
    "actual",
    "ist",
    "istwert",
    "measured",
    "top",
    "bottom",
    "left",
    "right",
    "total",
    "n2",
    "air",
    "nitrogen",
    "corrected",
    "filtered",
    "raw",
    "wide",
    "range",
    "full",
    "baratron",
    "capacitance",
    "cdg",
    "convection",
    "combi",
    "tool",
    "station",
    "module",
    "port",
    "zone",
    "reading",
    "value",
    "equivalent",
    "equiv",
    "eq",
];
/// Words in the brackets of a time that are no unit.
const TIME_LABELS: [&str; 30] = [
    "utc", "gmt", "cet", "cest", "est", "edt", "cst", "pst", "pdt", "mez", "mesz", "local",
    "lokal", "unix", "posix", "epoch", "elapsed", "relative", "rel", "absolute", "abs", "excel",
    "serial", "iso", "8601", "24h", "12h", "start", "since", "plc",
];
/// Names of quantities that no column of pressures has.
const OTHERS: [(&str, &str); 13] = [
    ("temp", "a temperature"),
    ("power", "a power"),
    ("leistung", "a power"),
    ("voltage", "a voltage"),
    ("spannung", "a voltage"),
    ("current", "a current"),
    ("strom", "a current"),
    ("flow", "a flow"),
    ("speed", "a speed"),
    ("drehzahl", "a speed"),
    ("status", "a state"),
    ("state", "a state"),
    ("thickness", "a length"),
];

/// What a part of a heading is that stands where units do.
#[derive(Clone, Debug, PartialEq)]
enum Part {
    Pressure(Scaled),
    Time(f64),
    Other(&'static str),
    Label,
    Unknown,
}

fn part(text: &str, of_time: bool) -> Part {
    let text = text.trim();
    if let Some(seconds) = unit::time(text) {
        return Part::Time(seconds);
    }
    if let Some(unit) = unit::pressure(text) {
        return Part::Pressure(unit);
    }
    // Whether the times were multiplied by it already, or are to be, nobody can tell.
    if of_time && unit::is_scaled_time(text) && !TIME_LABELS.contains(&&*text.to_lowercase()) {
        return Part::Unknown;
    }
    if is_label(text, of_time) {
        return Part::Label;
    }
    if let Some(what) = unit::other(text) {
        return Part::Other(what);
    }
    unit::scaled_pressure(text).map_or(Part::Unknown, Part::Pressure)
}

fn is_label(text: &str, of_time: bool) -> bool {
    // Units are made of these, and names are not.
    if text.contains(['^', '*', '·', '²', '³', '⁻']) {
        return false;
    }
    let is = |word: &String| {
        let letters = word.trim_end_matches(|c: char| c.is_ascii_digit());
        let known = |list: &[&str]| list.contains(&word.as_str()) || list.contains(&letters);
        known(&LABELS)
            || known(&CHAMBER)
            || known(&ELSEWHERE)
            || known(&NOT_MEASURED)
            || PRESSURES.iter().any(|stem| word.starts_with(stem))
            || (!letters.is_empty()
                && letters.len() < word.len()
                && letters.len() <= 4
                && !text.contains('/'))
            || (of_time && (known(&TIME_LABELS) || is_clock_format(word)))
    };
    // A letter or a number counts the others.
    let counts =
        |word: &String| word.chars().count() == 1 || word.chars().all(|c| c.is_ascii_digit());
    let words = words(text);
    words.iter().any(is) && words.iter().all(|word| is(word) || counts(word))
}

/// Whether a word is one of `hh:mm:ss`, `yyyy-MM-dd`, and so on.
fn is_clock_format(word: &str) -> bool {
    word.len() >= 2 && word.len() <= 14 && word.chars().all(|c| "hmsydft".contains(c))
        || ["am", "pm", "mon", "mmm", "zzz", "h", "m", "s"].contains(&word)
}

impl Heading {
    /// Reads a heading.
    pub(super) fn read(written: &str) -> Self {
        let text = &ascii_brackets(written);
        let (outside, spots) = spots(text);
        let loose = words(&outside);
        let starts = |stems: &[&str]| {
            loose
                .iter()
                // Records and data are no dates: `Datensatz`.
                .filter(|word| !word.starts_with("daten"))
                .any(|word| stems.iter().any(|stem| word.starts_with(stem)))
        };
        let is = |list: &[&str]| loose.iter().any(|word| list.contains(&word.as_str()));
        let held = loose.iter().any(|word| {
            ["druck", "zeit"].iter().any(|stem| word.contains(stem)) && word.len() < 24
        });
        // A time under vacuum is none of a pressure.
        let timed = starts(&TIMES) || is(&WHOLE_TIMES);
        let stems = if timed {
            &FIRM_PRESSURES[..]
        } else {
            &PRESSURES[..]
        };
        let of_pressure = starts(stems)
            || loose
                .iter()
                .any(|w| w == "p" || (held && w.contains("druck")));
        let of_time = starts(&TIMES)
            || is(&WHOLE_TIMES)
            || loose.iter().any(|word| held && word.contains("zeit"));
        let parts: Vec<(Part, &str)> = spots
            .iter()
            .map(|spot| (part(spot, of_time && !of_pressure), spot.trim()))
            .collect();
        let mut heading = Self {
            text: written.to_owned(),
            what: What::Unsaid,
            seconds: None,
            unit: Scaled::UNSAID,
            rank: Rank::Pressure,
            unread: None,
        };
        // The whole of it may be a unit with its scale: `10^-6 mbar`.
        if let Some(unit) = unit::scaled_pressure(text).filter(|found| found.unit.is_some()) {
            heading.what = What::Pressure;
            heading.unit = unit;
            return heading;
        }
        let pressures: Vec<(Scaled, &str)> = parts
            .iter()
            .filter_map(|(part, text)| match part {
                Part::Pressure(unit) => Some((*unit, *text)),
                _ => None,
            })
            .collect();
        let seconds = parts.iter().find_map(|(part, _)| match part {
            Part::Time(seconds) if !of_pressure || of_time => Some(*seconds),
            _ => None,
        });
        let other = parts.iter().find_map(|(part, _)| match part {
            Part::Other(what) => Some(*what),
            _ => None,
        });
        let unknown = parts
            .iter()
            .find(|(part, _)| *part == Part::Unknown)
            .map(|(_, text)| (*text).to_owned());
        let counts = is(&INDEX) || text.trim() == "#";
        let unsaid = pressures.is_empty() && seconds.is_none() && other.is_none();
        if counts && unsaid && !of_time && !of_pressure {
            heading.what = What::Index;
            return heading;
        }
        if is(&RATES) {
            heading.what = What::Other("a rate");
            return heading;
        }
        if is_logarithm(text, &loose) && !of_time {
            heading.what = What::Other("a logarithm");
            return heading;
        }
        let first = pressures.first().map(|(unit, _)| *unit);
        let scale = || {
            let apart = unknown.as_deref().filter(|what| is_scale(what));
            let apart = apart.map(str::to_owned).or_else(|| scale_in(&outside));
            apart.map(Unread::Scale)
        };
        let unit_or_scale = || {
            let not_scale = unknown.clone().filter(|what| !is_scale(what));
            not_scale.map(Unread::Unit).or_else(scale)
        };
        let loose_unit = || loose_pressure(&outside);
        if let Some(first) =
            first.or_else(|| (seconds.is_none() && other.is_none()).then(loose_unit)?)
        {
            heading.what = What::Pressure;
            heading.unit = first;
            // Beside a unit that is known, other words name a place; a scale they may not.
            let other = pressures.iter().find(|(unit, _)| *unit != first);
            heading.unread = match (other, pressures.first()) {
                (Some((other, text)), _) if other.unit.is_none() => {
                    Some(Unread::Scale((*text).to_owned()))
                }
                (Some(_), Some((_, text))) if first.unit.is_none() => {
                    Some(Unread::Scale((*text).to_owned()))
                }
                (Some((_, text)), Some((_, before))) => {
                    Some(Unread::Second((*before).to_owned(), (*text).to_owned()))
                }
                _ => scale(),
            };
        } else if let Some(seconds) = seconds {
            heading.what = What::Time;
            heading.seconds = Some(seconds);
            heading.unread = scale();
        } else if let Some(what) = other {
            heading.what = What::Other(what);
        } else if of_time && !of_pressure {
            heading.what = What::Time;
            heading.seconds = loose_time(&outside);
            let of_day = loose
                .windows(2)
                .any(|two| two[0] == "of" && two[1] == "day");
            heading.unread = if of_day {
                heading.seconds = None;
                Some(Unread::Unit("of day".to_owned()))
            } else {
                unknown.clone().map(Unread::Unit).or_else(scale)
            };
        } else if of_pressure {
            heading.what = What::Pressure;
            heading.unread = unit_or_scale();
        } else if let Some((_, what)) = OTHERS.iter().find(|(stem, _)| starts(&[stem])) {
            heading.what = What::Other(what);
        } else if let Some(seconds) = loose_time(&outside) {
            heading.what = What::Time;
            heading.seconds = Some(seconds);
            heading.unread = scale();
        } else {
            heading.unread = unit_or_scale();
        }
        heading.rank = rank(text);
        heading
    }

    /// What a heading says that stands over columns it cannot be parted among.
    pub(super) fn of_whole_line(line: &str) -> Said {
        let (outside, spots) = spots(line);
        let (mut seconds, mut pressures, mut unknown) = (Vec::new(), Vec::new(), None);
        for spot in &spots {
            match part(spot, true) {
                Part::Time(unit) => seconds.push(unit),
                Part::Pressure(unit) => pressures.push(unit),
                Part::Unknown => unknown = unknown.or_else(|| Some(spot.clone())),
                Part::Other(_) | Part::Label => {}
            }
        }
        for word in outside.split(|c: char| c.is_whitespace() || c == '_') {
            match part(word, true) {
                Part::Time(unit) if word.len() > 1 || word == "s" || word == "h" => {
                    seconds.push(unit);
                }
                Part::Pressure(unit) if unit.unit.is_some() => pressures.push(unit),
                _ => {}
            }
        }
        let one = |found: &[f64]| {
            let first = *found.first()?;
            found.iter().all(|unit| *unit == first).then_some(first)
        };
        let same = pressures.iter().all(|unit| *unit == pressures[0]);
        let unit = pressures.first().filter(|_| same);
        (
            one(&seconds),
            unit.copied().unwrap_or(Scaled::UNSAID),
            unknown,
        )
    }

    /// Whether the heading names a unit and nothing else.
    pub(super) fn is_unit(text: &str) -> bool {
        let text = text.trim().trim_matches(['(', ')', '[', ']']);
        text.is_empty()
            || text == "-"
            || matches!(
                part(text, true),
                Part::Pressure(_) | Part::Time(_) | Part::Other(_)
            )
            || words(text).iter().all(|word| is_clock_format(word))
    }
}

fn rank(text: &str) -> Rank {
    let words = words(text);
    let is = |list: &[&str]| {
        words.iter().any(|word| {
            let letters = word.trim_end_matches(|c: char| c.is_ascii_digit());
            list.contains(&word.as_str()) || list.contains(&letters)
        })
    };
    if is(&NOT_MEASURED) {
        Rank::NotMeasured
    } else if is(&ELSEWHERE) {
        Rank::Elsewhere
    } else if is(&CHAMBER) {
        Rank::Chamber
    } else {
        Rank::Pressure
    }
}

/// The places of a heading where units stand, and the rest of it: what is in brackets; behind `in`; behind
/// the stroke of a quantity over its unit; behind a comma or colon.
fn spots(text: &str) -> (String, Vec<String>) {
    let (mut outside, mut spots) = (String::new(), Vec::new());
    let (mut depth, mut inside) = (0_usize, String::new());
    for c in text.chars() {
        match c {
            '(' | '[' | '{' | '<' => {
                if depth > 0 {
                    inside.push(c);
                }
                depth += 1;
            }
            ')' | ']' | '}' | '>' if depth > 0 => {
                depth -= 1;
                if depth == 0 {
                    spots.push(std::mem::take(&mut inside));
                    outside.push(' ');
                } else {
                    inside.push(c);
                }
            }
            c if depth > 0 => inside.push(c),
            c => outside.push(c),
        }
    }
    if !inside.trim().is_empty() {
        spots.push(inside);
    }
    let lower = outside.to_lowercase();
    // Lower case may have another length in some alphabets.
    let same = lower.len() == outside.len();
    for sign in [" in ", " en "] {
        if same && let Some(at) = lower.find(sign) {
            let behind = outside.split_off(at);
            spots.push(behind[sign.len()..].to_owned());
            return (outside, spots);
        }
    }
    // A rate has its unit over one of time, and a date may stand over a time; a quantity over its unit
    // says so by the unit alone.
    if let Some((name, behind)) = outside.rsplit_once('/') {
        let known = !matches!(part(behind, false), Part::Unknown | Part::Label);
        let of_unit = name
            .split([' ', '_'])
            .next_back()
            .is_some_and(|word| unit::pressure(word).is_some());
        if of_unit {
            let from = name.trim_end().rfind([' ', '_']).map_or(0, |at| at + 1);
            spots.push(outside[from..].to_owned());
            outside.truncate(from);
        } else if known && !behind.trim().is_empty() {
            spots.push(behind.to_owned());
            outside = name.to_owned();
        }
    } else if let Some((name, behind)) = outside.rsplit_once([',', ':'])
        && !behind.trim().is_empty()
        && !matches!(part(behind, false), Part::Unknown | Part::Label)
    {
        spots.push(behind.to_owned());
        outside = name.to_owned();
    }
    (outside, spots)
}

/// The words of a heading, in lower case.
pub(super) fn words(text: &str) -> Vec<String> {
    text.split(|c: char| !(c.is_alphanumeric() || c == 'µ'))
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect()
}

/// A unit of pressure among the words, or behind the name of a pressure in one word: `p_mbar`,
/// `pressure Torr`, `PressureTorr`.
fn loose_pressure(text: &str) -> Option<Scaled> {
    let pieces =
        || text.split(|c: char| c.is_whitespace() || matches!(c, '_' | '-' | ':' | ';' | '.'));
    pieces().find_map(unit::pressure).or_else(|| {
        pieces().find_map(|word| {
            let stem = ["pressure", "druck", "vacuum"].into_iter().find(|stem| {
                word.get(..stem.len())
                    .is_some_and(|start| start.eq_ignore_ascii_case(stem))
            })?;
            unit::pressure(&word[stem.len()..])
        })
    })
}

/// A unit of time among the words, the last before the others, or behind the name of a time in one word.
fn loose_time(text: &str) -> Option<f64> {
    let pieces = || {
        text.split(|c: char| c.is_whitespace() || matches!(c, '_' | '-' | ':' | ';' | ',' | '/'))
            .filter(|word| !word.is_empty() && !matches!(*word, "d" | "D"))
    };
    pieces().rev().find_map(unit::time).or_else(|| {
        pieces().find_map(|word| {
            let stem = ["elapsedtime", "elapsed", "time", "zeit"]
                .into_iter()
                .find(|stem| {
                    word.get(..stem.len())
                        .is_some_and(|start| start.eq_ignore_ascii_case(stem))
                })?;
            unit::time(&word[stem.len()..])
        })
    })
}

/// A scale outside the brackets of a unit: whether the numbers were multiplied by it already, or are to be,
/// nobody can tell.
fn scale_in(outside: &str) -> Option<String> {
    let mut words = outside.split_whitespace();
    words.find(|word| is_scale(word)).map(str::to_owned)
}

/// Whether a text is a scale, or begins with one: `x1e-6`, `10^6`, `e-6`, `x0.1 s`.
fn is_scale(text: &str) -> bool {
    let text = text.trim();
    let figures = text.trim_start_matches(['x', 'X', '×', '*', '·', '/', ' ']);
    let marked = figures.len() < text.len();
    let first = figures.split_whitespace().next().unwrap_or("");
    let power = first.strip_prefix(['e', 'E']).is_some_and(|power| {
        let figures = power.trim_start_matches(['-', '+', '−']);
        let signed = figures.len() < power.len();
        signed && (1..=2).contains(&figures.len()) && figures.bytes().all(|b| b.is_ascii_digit())
    });
    let number = first.starts_with(|c: char| c.is_ascii_digit()) && first.parse::<f64>().is_ok();
    power
        || (number && (marked || first.contains(['e', 'E']) || unit::is_scaled_time(text)))
        || ["10^", "10⁻", "10-"]
            .iter()
            .any(|ten| first.starts_with(ten))
        || first.chars().any(|c| "⁻¹²³⁴⁵⁶⁷⁸⁹".contains(c))
}

/// Whether a heading is one of logarithms: `log p (mbar)`, `-log10 P`, but not `pressure log`.
fn is_logarithm(text: &str, loose: &[String]) -> bool {
    const ALWAYS: [&str; 8] = ["log10", "log2", "lg", "ln", "logp", "lgp", "lnp", "log10p"];
    let always = |word: &String| ALWAYS.contains(&word.as_str()) || word.starts_with("logarithm");
    let first = loose.first().is_some_and(|word| word == "log");
    loose.iter().any(always) || (first && (loose.len() > 1 || text.contains(['(', '['])))
}

/// The text with brackets and marks of East Asian width as those of ASCII.
fn ascii_brackets(text: &str) -> String {
    let plain = |c: char| match c {
        '（' | '【' | '［' => '(',
        '）' | '】' | '］' => ')',
        '，' => ',',
        '：' => ':',
        '／' => '/',
        '\u{3000}' => ' ',
        c => c,
    };
    text.chars().map(plain).collect()
}

/// The heading of a time, unless each of its words is understood: one that is not may be its unit.
pub(super) fn strange_words(text: &str) -> Option<String> {
    const BESIDE: [&str; 63] = [
        "and",
        "of",
        "the",
        "in",
        "at",
        "from",
        "for",
        "since",
        "under",
        "after",
        "to",
        "run",
        "running",
        "test",
        "log",
        "logger",
        "data",
        "pump",
        "pumping",
        "pumpdown",
        "rise",
        "down",
        "up",
        "system",
        "pc",
        "server",
        "controller",
        "device",
        "vacuum",
        "vakuum",
        "measurement",
        "recorded",
        "stamp",
        "seit",
        "beginn",
        "und",
        "der",
        "des",
        "im",
        "von",
        "ab",
        "de",
        "du",
        "le",
        "la",
        "el",
        "desde",
        "depuis",
        "scan",
        "sample",
        "sampling",
        "step",
        "cycle",
        "trend",
        "recipe",
        "stage",
        "phase",
        "batch",
        "session",
        "experiment",
        "machine",
        "instrument",
        "host",
    ];
    // A number under the form of a clock, or of a date, is none of the two.
    let known = |word: &String| {
        let is = |list: &[&str]| list.contains(&word.as_str());
        TIMES.iter().any(|stem| word.starts_with(stem))
            || ["time", "zeit"].iter().any(|stem| word.contains(stem))
            || is(&WHOLE_TIMES)
            || is(&TIME_LABELS)
            || is(&BESIDE)
            || is_label(word, false)
            || (word.len() == 1 && word.is_ascii())
            || word.bytes().all(|b| b.is_ascii_digit())
    };
    let words = words(text);
    (!words.iter().all(known)).then(|| text.trim().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn pressure(text: &str, pascals: f64) {
        let heading = Heading::read(text);
        assert_eq!(heading.what, What::Pressure, "{text}");
        assert_eq!(heading.unread, None, "{text}");
        let found = heading.unit.pascals();
        assert!((found / pascals - 1.0).abs() < 1e-9, "{text}: {found}");
    }

    #[track_caller]
    fn time(text: &str, seconds: Option<f64>) {
        let heading = Heading::read(text);
        assert_eq!(heading.what, What::Time, "{text}");
        assert_eq!((heading.seconds, heading.unread), (seconds, None), "{text}");
    }

    #[test]
    fn headings_of_pressures_are_read_with_unit_and_scale() {
        for text in [
            "Pressure (mbar)",
            "p_mbar",
            "Druck / mbar",
            "p/mbar",
            "Druck in mbar",
            "mbar",
            "MBAR",
            "Pressure, mbar",
            "pressure mbar",
            "PressureMbar",
            "Pressure (Chamber) [mbar]",
            "Pressure (mbar) IG1",
            "Kammerdruck [mbar abs]",
            "presión (mbar)",
            "Time under vacuum (mbar)",
            "[mbar]",
            "压力（mbar）",
            "Pressure log (mbar)",
            "Pressure (Gauge A) (mbar)",
            "Pressure (lab 2) [mbar]",
            "IG1 (mbar)",
        ] {
            pressure(text, 100.0);
        }
        pressure("Pressure (1e-6 mbar)", 1e-4);
        pressure("Pressure (x10^-6 mbar)", 1e-4);
        pressure("Pressure [10⁻⁶ mbar]", 1e-4);
        pressure("10^-6 mbar", 1e-4);
        pressure("Pressure (N/m2)", 1.0);
        pressure("Pressure (kPa)", 1e3);
        pressure("pressure (mTorr)", 101.325 / 760.0);
        pressure("Chamber pressure", 1.0);
        pressure("Pressure (IG1)", 1.0);
    }

    #[test]
    fn headings_of_times_are_read_in_several_languages() {
        time("Time (s)", Some(1.0));
        time("Zeit in Minuten", Some(60.0));
        time("Zeit (Stunden)", Some(3600.0));
        time("Tiempo (minutos)", Some(60.0));
        time("Temps (minutes)", Some(60.0));
        time("Time (µs)", Some(1e-6));
        time("t/s", Some(1.0));
        time("Messzeit [min]", Some(60.0));
        time("TimeMin", Some(60.0));
        time("Elapsed_s", Some(1.0));
        time("Seconds since start", Some(1.0));
        time("Vacuum time (h)", Some(3600.0));
        time("Time under vacuum", None);
        time("Date/Time", None);
        time("Timestamp", None);
        time("Timestamp (UTC)", None);
        time("Time [hh:mm:ss]", None);
        time("Date (YYYY-MM-DD)", None);
    }

    #[test]
    fn what_is_not_known_is_kept_by_name() {
        for (text, unknown) in [
            ("Pressure (foo)", "foo"),
            ("Pressure (mpa)", "mpa"),
            ("Pressure (barg)", "barg"),
            ("Pressure (mbar He)", "mbar He"),
            ("Zeit (Takte)", "Takte"),
            ("Time in godziny", "godziny"),
            ("Time of day", "of day"),
            ("Time (0.1 s)", "0.1 s"),
            ("Time (x0.1 s)", "x0.1 s"),
            ("Time (10 ms)", "10 ms"),
            ("时间（分钟）", "分钟"),
        ] {
            assert_eq!(
                Heading::read(text).unread,
                Some(Unread::Unit(unknown.to_owned())),
                "{text}"
            );
        }
        for (text, scale) in [
            ("Pressure x1e-6 (mbar)", "x1e-6"),
            ("Pressure × 10⁶ / mbar", "10⁶"),
            ("Pressure (Torr)e-6", "e-6"),
            ("Pressure (Torr) x1000", "x1000"),
            ("Pressure (x1e-6) (mbar)", "x1e-6"),
            ("Pressure (mbar) [1e-6]", "1e-6"),
            ("Time (s) x0.1", "x0.1"),
            ("Time (s) [x100 ms]", "x100 ms"),
        ] {
            assert_eq!(
                Heading::read(text).unread,
                Some(Unread::Scale(scale.to_owned())),
                "{text}"
            );
        }
        assert_eq!(
            Heading::read("Pressure (mbar) [Torr]").unread,
            Some(Unread::Second("mbar".to_owned(), "Torr".to_owned()))
        );
    }

    #[test]
    fn a_time_whose_words_are_not_all_known_is_told() {
        for text in [
            "Čas v minutách",
            "Czas w minutach",
            "时间_分",
            "Время, мин",
            "Elapsed time HH.hh",
            "Schritt",
        ] {
            assert!(strange_words(text).is_some(), "{text}");
        }
        for text in [
            "Time",
            "Elapsed",
            "Zeit",
            "Messzeit",
            "Run time",
            "Time since start",
            "X_Value",
            "Timestamp (UTC)",
            "t",
            "Time Ch1",
            "",
            "time_rel",
            "Temps",
            "Zeit seit Beginn",
            "Scan Time",
        ] {
            assert_eq!(strange_words(text), None, "{text}");
        }
    }

    #[test]
    fn what_is_no_pressure_is_told_from_one() {
        for (text, what) in [
            ("Rate (mbar/s)", "a rate"),
            ("mbar/s", "a rate of pressure"),
            ("dp/dt (mbar/s)", "a rate"),
            ("Q (mbar·L/s)", "a leak rate or throughput"),
            ("Gauge (V)", "a voltage"),
            ("Temp", "a temperature"),
            ("Power", "a power"),
            ("I (pA)", "a current"),
            ("log p (mbar)", "a logarithm"),
            ("-log10 P (mbar)", "a logarithm"),
            ("log10(p/mbar)", "a logarithm"),
            ("lg(p) [mbar]", "a logarithm"),
        ] {
            assert_eq!(Heading::read(text).what, What::Other(what), "{text}");
        }
        assert_eq!(Heading::read("no").what, What::Index);
        assert_eq!(Heading::read("Scan").what, What::Index);
        assert_eq!(Heading::read("#").what, What::Index);
        time("Sample time (s)", Some(1.0));
        for (text, rank) in [
            ("Setpoint (mbar)", Rank::NotMeasured),
            ("Delta p (mbar)", Rank::NotMeasured),
            ("Reference (mbar)", Rank::NotMeasured),
            ("Ar partial pressure (mbar)", Rank::NotMeasured),
            ("Base pressure (mbar)", Rank::Elsewhere),
            ("Pressure std (mbar)", Rank::NotMeasured),
            ("Foreline (mbar)", Rank::Elsewhere),
            ("Solldruck (mbar)", Rank::NotMeasured),
            ("N2 pressure (bar)", Rank::Elsewhere),
            ("Atmospheric pressure (mbar)", Rank::Elsewhere),
            ("Pressure (mbar)", Rank::Pressure),
            ("Pressure (min)", Rank::Elsewhere),
            ("Chamber (mbar)", Rank::Chamber),
        ] {
            assert_eq!(Heading::read(text).rank, rank, "{text}");
        }
    }
}
