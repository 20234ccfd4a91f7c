//! Lists of numbers in JSON (RFC 8259, sections 5 and 6), read while they arrive.

/// A list of numbers that arrives.
#[derive(Debug)]
pub(super) struct Numbers {
    /// The numbers so far.
    pub(super) values: Vec<f64>,
    /// A begun number.
    pub(super) begun: Vec<u8>,
    /// Whether a number has to come next.
    pub(super) wanted: bool,
}

/// What came of a byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Came {
    /// It belongs to the list.
    Part,
    /// It ends the list.
    Closed,
    /// No list of numbers goes on with it.
    Broken,
}

/// The longest number taken, in bytes.
const LONGEST: usize = 64;

impl Numbers {
    /// A list of which the bracket has come.
    pub(super) fn new() -> Self {
        Self {
            values: Vec::new(),
            begun: Vec::new(),
            wanted: true,
        }
    }

    /// Takes the next byte.
    pub(super) fn take(&mut self, byte: u8) -> Came {
        let ends = matches!(byte, b' ' | b'\t' | b'\r' | b'\n' | b',' | b']');
        if !ends {
            let fits = self.wanted && self.begun.len() < LONGEST;
            if !fits || !matches!(byte, b'0'..=b'9' | b'-' | b'+' | b'.' | b'e' | b'E') {
                return Came::Broken;
            }
            self.begun.push(byte);
            return Came::Part;
        }
        if !self.begun.is_empty() {
            let Some(value) = number(&self.begun) else {
                return Came::Broken;
            };
            self.values.push(value);
            self.begun.clear();
            self.wanted = false;
        }
        match byte {
            b',' if self.wanted => Came::Broken,
            b',' => {
                self.wanted = true;
                Came::Part
            }
            b']' if self.wanted && !self.values.is_empty() => Came::Broken,
            b']' => Came::Closed,
            _ => Came::Part,
        }
    }
}

/// A number as JSON writes it; none for what is no such, or too large for a float.
fn number(text: &[u8]) -> Option<f64> {
    let unsigned = text.strip_prefix(b"-").unwrap_or(text);
    let digits = |text: &[u8]| text.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let whole = digits(unsigned);
    if whole == 0 || (whole > 1 && unsigned[0] == b'0') {
        return None;
    }
    let mut rest = &unsigned[whole..];
    if let Some(part) = rest.strip_prefix(b".") {
        let count = digits(part);
        if count == 0 {
            return None;
        }
        rest = &part[count..];
    }
    if let [b'e' | b'E', power @ ..] = rest {
        let power = match power {
            [b'+' | b'-', power @ ..] => power,
            power => power,
        };
        if power.is_empty() || digits(power) != power.len() {
            return None;
        }
        rest = &[];
    }
    if !rest.is_empty() {
        return None;
    }
    let value: f64 = std::str::from_utf8(text).ok()?.parse().ok()?;
    value.is_finite().then_some(value)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::number;

    proptest! {
        #[test]
        fn a_number_is_that_of_the_reader_of_json(text in "[-+]?[0-9]{0,3}(\\.[0-9]{0,9})?([eE][-+]?[0-9]{0,3})?") {
            let expected = serde_json::from_str::<f64>(&text).ok();
            let found = number(text.as_bytes());
            prop_assert_eq!(found.map(f64::to_bits), expected.map(f64::to_bits));
        }
    }
}
