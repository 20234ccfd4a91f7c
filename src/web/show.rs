//! Values as people read them on pages.

use jiff::{Timestamp, civil::Date, tz::TimeZone};

use super::views::{Link, home::IncidentLine};
use crate::{
    casebook::{Finding, Incident, Pressures, Tool},
    catalogue::Catalogue,
    vacuum::units::TypedPressure,
};

/// How much of a symptom a list shows, in characters.
const SYMPTOM_LENGTH: usize = 140;

/// `4 Mar 2025, 10:20 UTC`.
pub(super) fn moment(time: Timestamp) -> String {
    time.strftime("%-d %b %Y, %H:%M UTC").to_string()
}

/// `4 Mar 2025`.
pub(super) fn day(time: Timestamp) -> String {
    time.strftime("%-d %b %Y").to_string()
}

/// `4 Mar 2025`.
pub(super) fn date(date: Date) -> String {
    date.strftime("%-d %b %Y").to_string()
}

/// `2025-03-04T10:20`, as a form field takes it, in UTC; seconds only where there are any.
pub(super) fn form_moment(time: Timestamp) -> String {
    let time = time.to_zoned_datetime(TimeZone::UTC).datetime();
    let format = if time.second() == 0 && time.subsec_nanosecond() == 0 {
        "%Y-%m-%dT%H:%M"
    } else {
        // A browser's field takes thousandths of a second and no more.
        "%Y-%m-%dT%H:%M:%S.%3f"
    };
    time.strftime(format).to_string()
}

/// `95 min`, `2 h 10 min`, `16 h`.
pub(super) fn minutes(minutes: f64) -> String {
    let whole = minutes.round() as i64;
    match (whole / 60, whole % 60) {
        (0, left) => format!("{left} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, left) if hours < 10 => format!("{hours} h {left} min"),
        (hours, _) => format!("{hours} h"),
    }
}

/// `6.5 h`, `3.2 days`.
pub(super) fn hours(hours: f64) -> String {
    if hours < 48.0 {
        format!("{} h", trimmed(hours, 1))
    } else {
        format!("{} days", trimmed(hours / 24.0, 1))
    }
}

/// `18 %`, `2.4 %`.
pub(super) fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    if percent < 9.95 {
        format!("{percent:.1} %")
    } else {
        format!("{percent:.0} %")
    }
}

/// `2,412`.
pub(super) fn count(number: u64) -> String {
    let digits = number.to_string();
    let mut shown = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            shown.push(',');
        }
        shown.push(digit);
    }
    shown
}

/// `1 case`, `2 cases`.
pub(super) fn counted(number: u64, one: &str, many: &str) -> String {
    format!("{} {}", count(number), if number == 1 { one } else { many })
}

/// How much old cases count in the chances of causes.
pub(super) fn old_cases(half_life_days: Option<f64>) -> String {
    half_life_days.map_or_else(
        || "Old cases count in full.".to_owned(),
        |days| {
            format!(
                "A case counts half once it is {} old, a quarter at twice that age.",
                if days == 1.0 {
                    "a day".to_owned()
                } else {
                    format!("{} days", trimmed(days, 1))
                }
            )
        },
    )
}

/// A number without trailing zeros behind the point.
pub(super) fn trimmed(number: f64, places: usize) -> String {
    let text = format!("{number:.places$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// A length in bytes, in the unit that fits: `830 bytes`, `48.2 MB`.
pub(super) fn bytes(bytes: u64) -> String {
    match bytes {
        ..1_000 => counted(bytes, "byte", "bytes"),
        1_000..1_000_000 => format!("{:.1} kB", bytes as f64 / 1e3),
        _ => format!("{:.1} MB", bytes as f64 / 1e6),
    }
}

/// `7.07e-4 Pa`.
pub(super) fn pascals(typed: TypedPressure) -> String {
    typed.pressure().map_or_else(
        |_| String::new(),
        |pressure| format!("{:.2e} Pa", pressure.pascals()),
    )
}

/// `5e-7 to 3e-5 Torr`, or the faulty one alone.
pub(super) fn pressures(pressures: &Pressures) -> String {
    match (pressures.healthy, pressures.faulty) {
        (Some(healthy), Some(faulty)) if healthy.unit == faulty.unit => {
            let text = healthy.to_string();
            let number = text.split(' ').next().unwrap_or_default();
            format!("{number} to {faulty}")
        }
        (Some(healthy), Some(faulty)) => format!("{healthy} to {faulty}"),
        (None, Some(faulty)) => faulty.to_string(),
        _ => String::new(),
    }
}

/// The first words of a text.
pub(super) fn beginning(text: &str) -> String {
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if text.chars().count() <= SYMPTOM_LENGTH {
        return text;
    }
    let cut: String = text.chars().take(SYMPTOM_LENGTH).collect();
    let end = cut.rfind(' ').unwrap_or(cut.len());
    format!("{}…", &cut[..end])
}

/// An incident as a line of a list.
pub(super) fn incident_line(
    number: i64,
    incident: &Incident,
    tool: Option<&Tool>,
    catalogue: &Catalogue,
) -> IncidentLine {
    IncidentLine {
        number,
        href: format!("/incidents/{number}"),
        symptom: beginning(&incident.symptom),
        tool: incident.tool.to_string(),
        tool_class: tool.map_or_else(String::new, |tool| {
            class_name(catalogue, tool.class.as_str())
        }),
        when: day(incident.occurred_at),
        when_machine: incident.occurred_at.to_string(),
        pressures: pressures(&incident.pressures),
        cause: incident.cause.as_ref().map_or_else(String::new, |cause| {
            catalogue.cause_name(cause.id()).to_owned()
        }),
        open: incident.status == crate::casebook::Status::Open,
    }
}

/// The name of a class.
pub(super) fn class_name(catalogue: &Catalogue, id: &str) -> String {
    catalogue
        .class(id)
        .map_or_else(|| id.to_owned(), |class| class.name.clone())
}

/// A cause, leading to its page where it has one.
pub(super) fn cause_link(finding: &Finding, catalogue: &Catalogue) -> Link {
    let href = match finding {
        Finding::Cause(id) => format!("/causes/{id}"),
        Finding::NotFound => "/causes".to_owned(),
    };
    Link::new(capital(catalogue.cause_name(finding.id())), href)
}

/// With a capital first letter.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// Several things in one sentence: 'a', 'a and b', 'a, b and c'.
pub(super) fn all_of(things: &[&str]) -> String {
    match things {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [before @ .., last] => format!("{} and {last}", before.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_read_as_people_say_them() {
        assert_eq!(minutes(0.0), "0 min");
        assert_eq!(minutes(95.0), "1 h 35 min");
        assert_eq!(minutes(120.0), "2 h");
        assert_eq!(minutes(3000.0), "50 h");
        assert_eq!(hours(6.5), "6.5 h");
        assert_eq!(hours(72.0), "3 days");
    }

    #[test]
    fn pages_say_how_old_cases_count() {
        assert_eq!(old_cases(None), "Old cases count in full.");
        assert_eq!(
            old_cases(Some(730.5)),
            "A case counts half once it is 730.5 days old, a quarter at twice that age."
        );
    }

    #[test]
    fn numbers_are_grouped_by_thousands() {
        assert_eq!(count(7), "7");
        assert_eq!(count(1_234_567), "1,234,567");
    }

    #[test]
    fn shares_keep_a_place_below_ten() {
        assert_eq!(percent(0.024), "2.4 %");
        assert_eq!(percent(0.0996), "10 %");
        assert_eq!(percent(1.0), "100 %");
    }
}
