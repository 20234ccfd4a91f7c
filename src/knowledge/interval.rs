//! Intervals for shares.

/// The quantile of the normal distribution that leaves 2.5 % above it.
const Z95: f64 = 1.959_963_984_540_054;

/// An interval of shares, 0..=1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// The 95 % score interval of a share of `cases` in `sample`; the whole range where the
/// sample is empty.
///
/// Source: E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209; NIST/SEMATECH e-Handbook
/// of Statistical Methods, section 7.2.4.1.
pub fn wilson(cases: u64, sample: u64) -> Interval {
    if sample == 0 {
        return Interval {
            low: 0.0,
            high: 1.0,
        };
    }
    let n = sample as f64;
    let share = cases.min(sample) as f64 / n;
    let z2 = Z95 * Z95;
    let middle = (share + z2 / (2.0 * n)) / (1.0 + z2 / n);
    let half = Z95 / (1.0 + z2 / n) * (share * (1.0 - share) / n + z2 / (4.0 * n * n)).sqrt();
    Interval {
        low: if cases == 0 {
            0.0
        } else {
            (middle - half).max(0.0)
        },
        high: if cases >= sample {
            1.0
        } else {
            (middle + half).min(1.0)
        },
    }
}

#[cfg(test)]
mod tests {
    use super::wilson;

    /// Newcombe, Stat. Med. 17 (1998) 857, Table I, score method without continuity
    /// correction; data of the table from memory, limits recomputed from the formula of the
    /// NIST/SEMATECH e-Handbook, section 7.2.4.1, and rounded to four places.
    #[test]
    fn agrees_with_newcombes_table() {
        for (cases, sample, low, high) in [
            (81, 263, 0.2553, 0.3662),
            (15, 148, 0.0624, 0.1605),
            (0, 20, 0.0, 0.1611),
            (1, 29, 0.0061, 0.1718),
            (9, 10, 0.5958, 0.9821),
            (10, 10, 0.7225, 1.0),
        ] {
            let interval = wilson(cases, sample);
            assert!(
                (interval.low - low).abs() < 1e-4,
                "{cases}/{sample}: {interval:?}"
            );
            assert!(
                (interval.high - high).abs() < 1e-4,
                "{cases}/{sample}: {interval:?}"
            );
        }
    }

    #[test]
    fn nothing_is_known_from_no_sample() {
        let interval = wilson(0, 0);
        assert_eq!((interval.low, interval.high), (0.0, 1.0));
    }
}
