//! Numbers, words and signs of a text with their places, for the pressure reader.
//!
//! Pure; looks at each character once; never panics.

/// A piece of text.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::search) struct Piece<'a> {
    /// What it is.
    pub(in crate::search) lex: Lex<'a>,
    /// Where it begins, in bytes.
    pub(in crate::search) from: usize,
    /// Where it ends.
    pub(in crate::search) to: usize,
    /// Whether white space stands before it.
    pub(in crate::search) spaced: bool,
}

/// What a piece of text is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::search) enum Lex<'a> {
    /// Figures, with points or commas between them: `5.3`, `2,3`.
    Number(&'a str),
    /// Letters.
    Word(&'a str),
    /// Raised figures: `⁻⁶` is -6.
    Raised(i32),
    /// Anything else that is not white space.
    Sign(char),
}

impl Piece<'_> {
    /// Whether it is this word, capitals or not.
    pub(in crate::search) fn is_word(&self, word: &str) -> bool {
        matches!(self.lex, Lex::Word(own) if own.eq_ignore_ascii_case(word))
    }
}

/// Splits a text into its pieces.
pub(in crate::search) fn lex(text: &str) -> Vec<Piece<'_>> {
    let mut pieces = Vec::new();
    lex_into(text, &mut pieces);
    pieces
}

/// The same in place of the pieces of another text.
pub(in crate::search) fn lex_into<'a>(text: &'a str, pieces: &mut Vec<Piece<'a>>) {
    pieces.clear();
    pieces.reserve(text.len() / 3);
    let mut spaced = false;
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let from = text.len() - rest.len();
        if first.is_whitespace() {
            spaced = true;
            rest = &rest[first.len_utf8()..];
            continue;
        }
        let dots = matches!(
            pieces.last(),
            Some(Piece {
                lex: Lex::Sign('.'),
                ..
            })
        );
        let number = matches!(
            pieces.last(),
            Some(Piece {
                lex: Lex::Number(_),
                ..
            })
        );
        // A comma that ended a number begins none: `06:40,4.2e-06`.
        let parts = (dots && first == '.') || (number && first == ',');
        let (lex, length) = if parts && !spaced {
            (Lex::Sign(first), 1)
        } else {
            piece(rest, first)
        };
        pieces.push(Piece {
            lex,
            from,
            to: from + length,
            spaced,
        });
        spaced = false;
        rest = &rest[length..];
    }
}

fn piece(rest: &str, first: char) -> (Lex<'_>, usize) {
    if first.is_ascii_digit() || (matches!(first, '.' | ',') && digit_at(rest, 1)) {
        let length = number_length(rest);
        return (Lex::Number(&rest[..length]), length);
    }
    // No raised figure is a plain letter or sign.
    if !first.is_ascii()
        && let Some((power, length)) = raised(rest)
    {
        return (Lex::Raised(power), length);
    }
    if first.is_alphabetic() {
        let length = word_length(rest);
        return (Lex::Word(&rest[..length]), length);
    }
    (Lex::Sign(first), first.len_utf8())
}

/// Letters; nearly all words are of plain ones.
fn word_length(text: &str) -> usize {
    let plain = text.bytes().position(|b| !b.is_ascii_alphabetic());
    match plain {
        None => text.len(),
        Some(end) if text.as_bytes()[end].is_ascii() => end,
        Some(_) => text
            .find(|c: char| !c.is_alphabetic())
            .unwrap_or(text.len()),
    }
}

fn digit_at(text: &str, at: usize) -> bool {
    text.as_bytes().get(at).is_some_and(u8::is_ascii_digit)
}

/// Figures, and a point or comma only where a figure follows.
fn number_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let mut at = 0;
    while at < bytes.len() {
        let inside = bytes[at].is_ascii_digit()
            || (bytes[at] == b'.' && digit_at(text, at + 1))
            || (bytes[at] == b',' && digit_at(text, at + 1) && !ends_cell(&bytes[at + 1..]));
        if !inside {
            break;
        }
        at += 1;
    }
    at
}

/// Whether a number with a point begins behind a comma that parts no thousands: a column of a logger's file.
fn ends_cell(behind: &[u8]) -> bool {
    let figures = behind.iter().take_while(|byte| byte.is_ascii_digit());
    let figures = figures.count();
    let point = behind.get(figures) == Some(&b'.');
    point && figures != 3 && behind.get(figures + 1).is_some_and(u8::is_ascii_digit)
}

fn raised(text: &str) -> Option<(i32, usize)> {
    const FIGURES: &str = "⁰¹²³⁴⁵⁶⁷⁸⁹";
    let mut sign = 1;
    let mut power: i32 = 0;
    let mut length = 0;
    let mut figures = 0;
    for c in text.chars() {
        if let Some(figure) = FIGURES.chars().zip(0..).find(|(f, _)| *f == c) {
            figures += 1;
            if figures > 2 {
                return None;
            }
            power = power * 10 + figure.1;
        } else if length == 0 && c == '⁻' {
            sign = -1;
        } else if !(length == 0 && c == '⁺') {
            break;
        }
        length += c.len_utf8();
    }
    (figures > 0).then_some((sign * power, length))
}
