//! What the nearest cases say together: each has a say that falls with how far it is. Pure.

use std::collections::HashMap;

/// How fast a case's say falls with its score: of 1, 2, 3, 4 and 6 the power with which plain BM25 and its
/// stemmed form told most labels of `faa` before 2000, so that the vote favours no engine over them.
const SAY: i32 = 3;

/// The labels of the nearest cases with the share of all say that each has, most first.
/// `nearest` gives each case's label and score, best first; scores have to be positive.
pub fn nearest_labels<'a>(
    nearest: impl IntoIterator<Item = (&'a str, f64)>,
) -> Vec<(&'a str, f64)> {
    let nearest: Vec<_> = nearest.into_iter().collect();
    let best = nearest.iter().map(|(_, score)| *score).fold(0.0, f64::max);
    let mut said: HashMap<&str, f64> = HashMap::new();
    let mut all = 0.0;
    for (label, score) in nearest {
        let say = (score / best).max(0.0).powi(SAY);
        if say.is_finite() {
            *said.entry(label).or_default() += say;
            all += say;
        }
    }
    let mut labels: Vec<_> = said
        .into_iter()
        .map(|(label, said)| (label, if all > 0.0 { said / all } else { 0.0 }))
        .collect();
    labels.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(b.0)));
    labels
}
