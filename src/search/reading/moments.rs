//! Times of day and dates in a text, as people write them and as logs print them: `06:40`, `07:12:05`,
//! `2024-05-03`, `03/05/2024`. They say when something was and tell no case from another, so that their
//! figures are no words. Pure; never panics.

use std::ops::Range;

/// Every time of day and date of a text, in order.
pub(in crate::search) fn moments(text: &str) -> Vec<Range<usize>> {
    let bytes = text.as_bytes();
    let mut found = Vec::new();
    let mut at = 0;
    while at < bytes.len() {
        if !bytes[at].is_ascii_digit() {
            at += 1;
            continue;
        }
        let first = run(bytes, at);
        let free = at == 0
            || matches!(bytes[at - 1], b'T')
            || !(bytes[at - 1].is_ascii_alphanumeric()
                || matches!(bytes[at - 1], b':' | b'/' | b'-' | b'.' | b','));
        match free
            .then(|| time(bytes, at).or_else(|| date(bytes, at)))
            .flatten()
        {
            Some(end) => {
                found.push(at..end);
                at = end;
            }
            None => at = first,
        }
    }
    found
}

/// Where the figures end that begin here.
fn run(bytes: &[u8], from: usize) -> usize {
    let figures = bytes[from..]
        .iter()
        .take_while(|byte| byte.is_ascii_digit());
    from + figures.count()
}

/// The number that begins here, of so many figures, and where it ends.
fn number(bytes: &[u8], from: usize, figures: &[usize]) -> Option<(u32, usize)> {
    let end = run(bytes, from);
    figures.contains(&(end - from)).then_some(())?;
    let number = bytes[from..end]
        .iter()
        .fold(0, |sum, byte| sum * 10 + u32::from(byte - b'0'));
    Some((number, end))
}

/// What stands behind a separator.
fn behind(bytes: &[u8], at: usize, separator: u8, figures: &[usize]) -> Option<(u32, usize)> {
    (bytes.get(at) == Some(&separator)).then(|| number(bytes, at + 1, figures))?
}

fn time(bytes: &[u8], at: usize) -> Option<usize> {
    let (_, end) = number(bytes, at, &[1, 2]).filter(|(hour, _)| *hour <= 24)?;
    let (_, end) = behind(bytes, end, b':', &[2]).filter(|(minute, _)| *minute < 60)?;
    match behind(bytes, end, b':', &[2]) {
        Some((second, end)) if second <= 60 => {
            // Loggers write parts of a second.
            let parts = behind(bytes, end, b'.', &[1, 2, 3, 6]);
            Some(parts.map_or(end, |(_, end)| end))
        }
        Some(_) => None,
        None => Some(end),
    }
}

fn date(bytes: &[u8], at: usize) -> Option<usize> {
    let (first, end) = number(bytes, at, &[1, 2, 4])?;
    let separator = *bytes
        .get(end)
        .filter(|byte| matches!(byte, b'-' | b'/' | b'.'))?;
    let (second, end) = behind(bytes, end, separator, &[1, 2])?;
    let (third, end) = behind(bytes, end, separator, &[1, 2, 4])?;
    let is_year = |number: u32| (1900..2100).contains(&number);
    let is_day = |a: u32, b: u32| (1..=31).contains(&a) && (1..=31).contains(&b) && a.min(b) <= 12;
    let whole = !bytes.get(end).is_some_and(|next| {
        *next == separator && bytes.get(end + 1).is_some_and(u8::is_ascii_digit)
    });
    let fits =
        (is_year(first) && is_day(second, third)) || (is_year(third) && is_day(first, second));
    (fits && whole).then_some(end)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn times_and_dates_are_seen_and_nothing_else() {
        for (text, told) in [
            ("06:40 base 3e-6, 07:10 door wiped", &["06:40", "07:10"][..]),
            ("2024-05-03 07:12:05 PRESS", &["2024-05-03", "07:12:05"]),
            ("2024-05-03T07:12:05.250Z", &["2024-05-03", "07:12:05.250"]),
            ("on 3.5.2024 and 03/05/2024", &["3.5.2024", "03/05/2024"]),
            ("06:30.", &["06:30"]),
            ("28/32/40 like air, ratio 4:1, 28/32", &[]),
            ("BRK-04 2.10-6, 1e-6..1e-5 and 10-12 h", &[]),
            ("25:99 1:2:3 2024-13-40 100:30", &[]),
        ] {
            let found: Vec<_> = moments(text)
                .into_iter()
                .map(|place| &text[place])
                .collect();
            assert_eq!(found, told, "{text}");
        }
    }

    proptest! {
        #[test]
        fn any_text_is_read_without_panic(text in "([0-9]{1,4}|[:./T-]|é| ){0,30}") {
            let mut last = 0;
            for place in moments(&text) {
                prop_assert!(place.start >= last && text.get(place.clone()).is_some());
                last = place.end;
            }
        }
    }
}
