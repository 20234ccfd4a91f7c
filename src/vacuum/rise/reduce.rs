//! Reduces a long record to block means, so that the cost of a fit does not grow with the record.
//!
//! Blocks are narrow where the curve bends in its logarithm (near the start) and of equal width
//! later. The mean of `ln p` over a block, with the number of readings behind it, is all that a
//! fit with relative errors needs. Must not import I/O.

/// A block of neighbouring readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Block {
    /// Mean time as a share of the record, 0 to 1.
    pub(crate) at: f64,
    /// Mean of `ln(p / Pa)`.
    pub(crate) log_pressure: f64,
    /// Readings in the block.
    pub(crate) count: f64,
    /// Index of the first reading of the block.
    pub(crate) first: usize,
}

/// Relative width of a block near the start: within it a curve proportional to time moves by 8 %.
const GROWTH: f64 = 0.08;
/// Width of the later blocks as a share of the record.
const WIDTH: f64 = 1.0 / 72.0;

/// Block means of `(seconds, pascals)`; times must not fall and pressures must be above zero.
///
/// A record with fewer readings than `2 / WIDTH` is kept reading by reading.
pub(crate) fn blocks(seconds: &[f64], pascals: &[f64]) -> Vec<Block> {
    let (Some(&start), Some(&end)) = (seconds.first(), seconds.last()) else {
        return Vec::new();
    };
    let length = end - start;
    if length <= 0.0 || !length.is_finite() {
        return Vec::new();
    }
    let keep_all = (seconds.len() as f64) < 2.0 / WIDTH;
    let mut out = Vec::with_capacity(160);
    let mut index = 0;
    while index < seconds.len() {
        let first = index;
        let from = (seconds[first] - start) / length;
        let upto = start + (from + (from * GROWTH).min(WIDTH)) * length;
        index += 1;
        if !keep_all {
            index += seconds[index..].partition_point(|time| *time < upto);
        }
        let count = (index - first) as f64;
        let time: f64 = seconds[first..index].iter().map(|time| time - start).sum();
        out.push(Block {
            at: time / count / length,
            log_pressure: sum_of_logs(&pascals[first..index]) / count,
            count,
            first,
        });
    }
    out
}

/// The largest of `values`, none of which is not a number; at least zero.
pub(super) fn largest(values: impl Iterator<Item = f64>) -> f64 {
    values.fold(
        0.0,
        |largest, value| {
            if value > largest { value } else { largest }
        },
    )
}

/// The sum of logarithms, most of it as the logarithm of products: one in eight is taken.
fn sum_of_logs(pascals: &[f64]) -> f64 {
    let (eights, rest) = pascals.as_chunks::<8>();
    let mut sum: f64 = rest.iter().map(|pressure| pressure.ln()).sum();
    for eight in eights {
        let product: f64 = eight.iter().product();
        // Eight of these stay within the range of a float.
        let within = eight.iter().fold(true, |within, pressure| {
            within & (*pressure >= 1e-35) & (*pressure < 1e35)
        });
        sum += if within {
            product.ln()
        } else {
            eight.iter().map(|pressure| pressure.ln()).sum()
        };
    }
    sum
}
