//! Words in which no number is broken off from its power of ten or its unit at the end of a line.

use askama::Template;
use askama::filters::HtmlSafe;

/// A text in pieces.
#[derive(Clone, Debug, Template)]
#[template(
    ext = "html",
    source = "{% for piece in pieces %}{% if piece.whole %}<span class=\"whole\">{{ piece.text }}</span>{% else %}{{ piece.text }}{% endif %}{% endfor %}"
)]
pub struct Words<'a> {
    pieces: Vec<Piece<'a>>,
}

impl HtmlSafe for Words<'_> {}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Piece<'a> {
    text: &'a str,
    /// Whether it stands on one line.
    whole: bool,
}

/// Units that look like words.
const UNITS: [&str; 31] = [
    "%", "Torr", "mTorr", "mbar", "hPa", "Pa", "atm", "micron", "microns", "L", "L/s", "s", "min",
    "h", "d", "mm", "cm", "m", "nm", "sccm", "K", "°C", "MB", "V", "A", "W", "times", "decade",
    "decades", "inches", "Hz",
];

impl<'a> Words<'a> {
    /// Finds the numbers of a text.
    pub fn of(text: &'a str) -> Self {
        let mut pieces = Vec::new();
        let mut plain = 0;
        let mut at = 0;
        while at < text.len() {
            let word = word(&text[at..]);
            let mut end = at + word.len();
            let number = word.contains(|c: char| c.is_ascii_digit());
            if number && text[end..].starts_with(' ') {
                let next = self::word(&text[end + 1..]);
                if is_unit(next) {
                    end += 1 + next.len();
                }
            }
            if number && text[at..end].contains(['-', ' ']) {
                pieces.push(Piece {
                    text: &text[plain..at],
                    whole: false,
                });
                pieces.push(Piece {
                    text: &text[at..end],
                    whole: true,
                });
                plain = end;
            }
            at = end + text[end..].chars().next().map_or(0, char::len_utf8);
        }
        pieces.push(Piece {
            text: &text[plain..],
            whole: false,
        });
        pieces.retain(|piece| !piece.text.is_empty());
        Self { pieces }
    }
}

/// What stands before the next space.
fn word(text: &str) -> &str {
    text.split(' ').next().unwrap_or_default()
}

fn is_unit(word: &str) -> bool {
    let bare = word.trim_end_matches(['.', ',', ';', ':', ')']);
    UNITS.contains(&bare) || bare.contains(['·', 'µ', '³'])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn wholes(text: &str, expected: &[&str]) {
        let words = Words::of(text);
        let joined: String = words.pieces.iter().map(|piece| piece.text).collect();
        assert_eq!(joined, text);
        let wholes: Vec<_> = words
            .pieces
            .iter()
            .filter(|piece| piece.whole)
            .map(|piece| piece.text)
            .collect();
        assert_eq!(wholes, expected);
    }

    #[test]
    fn numbers_keep_their_powers_and_units() {
        wholes(
            "If so, 1.6e-4 mbar·L/s came on top (95 % interval 1.2e-4 to 2e-4); usual: a crack.",
            &["1.6e-4 mbar·L/s", "(95 %", "1.2e-4", "2e-4);"],
        );
        wholes("no numbers, nor 3 words", &[]);
        wholes("at 12 min.", &["12 min."]);
        wholes("", &[]);
        wholes("  5 Pa ", &["5 Pa"]);
        wholes("5 ", &[]);
    }

    #[test]
    fn what_is_typed_is_escaped() {
        let shown = Words::of("<b>1e-5 Pa</b>").render().expect("words");
        assert!(!shown.contains("<b>"), "{shown}");
    }
}
