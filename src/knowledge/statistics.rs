//! Which causes dominate, with how sure one can be and what they cost.

use std::collections::HashMap;

use super::{Case, Interval, Knowledge, wilson};
use crate::casebook::Finding;

/// Newest cases kept behind a figure.
const CASES_BEHIND: usize = 200;

/// Which cases are counted.
#[derive(Clone, Debug, Default)]
pub struct Scope {
    /// Only of this tool class.
    pub class: Option<String>,
    /// Only of this site.
    pub site: Option<String>,
    /// Not before, microseconds since 1970.
    pub from: Option<i64>,
    /// Before, microseconds since 1970.
    pub until: Option<i64>,
}

impl Scope {
    fn holds(&self, case: &Case) -> bool {
        self.class
            .as_deref()
            .is_none_or(|class| case.class.as_str() == class)
            && self
                .site
                .as_deref()
                .is_none_or(|site| case.site.as_str() == site)
            && self.from.is_none_or(|from| case.occurred_at >= from)
            && self.until.is_none_or(|until| case.occurred_at < until)
    }
}

/// The causes of a scope, most cases first.
#[derive(Clone, Debug, Default)]
pub struct CauseTable {
    /// How many closed cases there are in the scope.
    pub sample: u64,
    /// Labour of all of them, minutes.
    pub labour_minutes: f64,
    /// Hours down of all of them.
    pub down_hours: f64,
    /// One row a cause.
    pub rows: Vec<CauseShare>,
}

/// One cause of a scope.
#[derive(Clone, Debug)]
pub struct CauseShare {
    /// Which cause, or not found.
    pub cause: Finding,
    /// How many cases.
    pub cases: u64,
    /// Cases over sample.
    pub share: f64,
    /// 95 % interval of the share.
    pub interval: Interval,
    /// Labour, minutes.
    pub labour_minutes: f64,
    /// Hours down.
    pub down_hours: f64,
    /// The newest cases behind the figure.
    pub numbers: Vec<i64>,
}

impl Knowledge {
    /// The causes of a scope with shares and costs.
    pub fn causes(&self, scope: &Scope) -> CauseTable {
        struct Sum {
            labour: f64,
            down: f64,
            cases: Vec<(i64, i64)>,
        }
        let cases = self.cases();
        let mut sums: HashMap<&Finding, Sum> = HashMap::new();
        let mut table = CauseTable::default();
        for (number, case) in cases.iter().filter(|(_, case)| scope.holds(case)) {
            let sum = sums.entry(&case.cause).or_insert(Sum {
                labour: 0.0,
                down: 0.0,
                cases: Vec::new(),
            });
            sum.labour += case.labour_minutes;
            sum.down += case.down_hours;
            sum.cases.push((case.occurred_at, *number));
            table.sample += 1;
        }
        table.rows = sums
            .into_iter()
            .map(|(cause, mut sum)| {
                sum.cases.sort_unstable_by(|a, b| b.cmp(a));
                let count = sum.cases.len() as u64;
                CauseShare {
                    cause: cause.clone(),
                    cases: count,
                    share: count as f64 / table.sample as f64,
                    interval: wilson(count, table.sample),
                    labour_minutes: sum.labour,
                    down_hours: sum.down,
                    numbers: sum
                        .cases
                        .iter()
                        .take(CASES_BEHIND)
                        .map(|(_, number)| *number)
                        .collect(),
                }
            })
            .collect();
        table
            .rows
            .sort_by(|a, b| b.cases.cmp(&a.cases).then_with(|| a.cause.cmp(&b.cause)));
        table.labour_minutes = table.rows.iter().map(|row| row.labour_minutes).sum();
        table.down_hours = table.rows.iter().map(|row| row.down_hours).sum();
        table
    }

    /// How many closed cases a cause had in the whole fleet, and the newest of them.
    pub fn cases_of(&self, cause: &str) -> (u64, Vec<i64>) {
        let cases = self.cases();
        let mut found: Vec<_> = cases
            .iter()
            .filter(|(_, case)| case.cause.id() == cause)
            .map(|(number, case)| (case.occurred_at, *number))
            .collect();
        found.sort_unstable_by(|a, b| b.cmp(a));
        let count = found.len() as u64;
        found.truncate(CASES_BEHIND);
        (count, found.into_iter().map(|(_, number)| number).collect())
    }
}
