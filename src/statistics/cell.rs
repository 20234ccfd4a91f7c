//! Cases that have everything in common but their day, kept by month with the figures of
//! each month, so that a question about days looks only at the cases of the months it cuts.

use std::collections::BTreeMap;

use super::{
    buckets::Buckets,
    month::{first_day, month_of},
};

/// Day and number of a case.
pub(super) type At = (i64, i64);

/// What is counted of a case.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    pub(super) labour: f64,
    pub(super) down: f64,
    pub(super) first_hit: Option<bool>,
    pub(super) days_since_same: Option<i64>,
}

/// Counts and sums, in whole millionths, so that taking a case out leaves no trace.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sums {
    pub(super) cases: u64,
    pub(super) labour: i128,
    pub(super) labour_squares: i128,
    pub(super) down: i128,
    pub(super) down_squares: i128,
    pub(super) first_checked: u64,
    pub(super) first_hits: u64,
    pub(super) within_30: u64,
    pub(super) within_90: u64,
}

/// The figures of some cases.
#[derive(Clone, Debug, Default)]
pub(super) struct Figures {
    pub(super) sums: Sums,
    pub(super) labour: Buckets,
    pub(super) down: Buckets,
}

/// The cases of a month and their figures.
#[derive(Clone, Debug, Default)]
struct Month {
    rows: BTreeMap<At, Row>,
    figures: Figures,
}

/// Cases by month, with the figures of each month, of each year and of all.
#[derive(Clone, Debug, Default)]
pub(super) struct Cell {
    months: BTreeMap<i64, Month>,
    years: BTreeMap<i64, Figures>,
    all: Figures,
}

/// Months in a year.
const YEAR: i64 = 12;

impl Cell {
    pub(super) fn insert(&mut self, at: At, row: Row) {
        let number = month_of(at.0);
        let month = self.months.entry(number).or_default();
        let year = self.years.entry(number.div_euclid(YEAR)).or_default();
        year.insert(&row);
        self.all.insert(&row);
        month.figures.insert(&row);
        month.rows.insert(at, row);
    }

    pub(super) fn remove(&mut self, at: At) -> Option<Row> {
        let number = month_of(at.0);
        let month = self.months.get_mut(&number)?;
        let row = month.rows.remove(&at)?;
        month.figures.remove(&row);
        self.all.remove(&row);
        if month.rows.is_empty() {
            self.months.remove(&number);
        }
        let number = number.div_euclid(YEAR);
        if let Some(year) = self.years.get_mut(&number) {
            year.remove(&row);
            if year.sums.cases == 0 {
                self.years.remove(&number);
            }
        }
        Some(row)
    }

    /// Sets the days since the same trouble; gives what the case was counted as before.
    pub(super) fn set_gap(&mut self, at: At, gap: Option<i64>) -> Option<(Row, Row)> {
        let number = month_of(at.0);
        let month = self.months.get_mut(&number)?;
        let year = self.years.get_mut(&number.div_euclid(YEAR))?;
        let row = month.rows.get_mut(&at)?;
        let before = *row;
        row.days_since_same = gap;
        let after = *row;
        for sums in [&mut month.figures.sums, &mut year.sums, &mut self.all.sums] {
            sums.remove(&Sums::of(&before));
            sums.add(&Sums::of(&after));
        }
        Some((before, after))
    }

    pub(super) fn row(&self, at: At) -> Option<&Row> {
        self.months.get(&month_of(at.0))?.rows.get(&at)
    }

    pub(super) fn is_empty(&self) -> bool {
        self.months.is_empty()
    }

    /// First and last day of a case.
    pub(super) fn days(&self) -> Option<(i64, i64)> {
        let (_, first) = self.months.first_key_value()?;
        let (_, last) = self.months.last_key_value()?;
        Some((
            first.rows.first_key_value()?.0.0,
            last.rows.last_key_value()?.0.0,
        ))
    }

    /// The figures of what lies within some days as a whole, all of it, years or months, and
    /// of the cases of those days in the months that they cut.
    pub(super) fn within(&self, from: i64, to: i64) -> (Vec<&Figures>, Figures) {
        let (mut whole, mut cut) = (Vec::new(), Figures::default());
        let Some((first, last)) = self.days().filter(|_| from <= to) else {
            return (whole, cut);
        };
        if from <= first && last <= to {
            return (vec![&self.all], cut);
        }
        let mut rows: Vec<&Row> = Vec::new();
        let is_whole = |from_month: i64, months: i64| {
            first_day(from_month) >= from && first_day(from_month + months) - 1 <= to
        };
        let mut counted = i64::MIN;
        for (number, month) in self.months.range(month_of(from)..=month_of(to)) {
            let year = number.div_euclid(YEAR);
            if year == counted {
                continue;
            }
            if is_whole(YEAR * year, YEAR)
                && let Some(figures) = self.years.get(&year)
            {
                counted = year;
                whole.push(figures);
            } else if is_whole(*number, 1) {
                whole.push(&month.figures);
            } else {
                let range = month.rows.range((from, i64::MIN)..=(to, i64::MAX));
                rows.extend(range.map(|(_, row)| row));
            }
        }
        if !rows.is_empty() {
            cut = Figures::of(&rows);
        }
        (whole, cut)
    }

    /// Counts and sums of the cases of some days.
    pub(super) fn sums(&self, from: i64, to: i64) -> Sums {
        let (whole, cut) = self.within(from, to);
        let mut sums = cut.sums;
        whole.iter().for_each(|figures| sums.add(&figures.sums));
        sums
    }

    /// Cases of some days, the newest first.
    pub(super) fn newest(&self, from: i64, to: i64) -> impl Iterator<Item = At> + '_ {
        let months = (from <= to).then(|| self.months.range(month_of(from)..=month_of(to)).rev());
        months
            .into_iter()
            .flatten()
            .flat_map(|(_, month)| month.rows.keys().rev().copied())
            .filter(move |at| (from..=to).contains(&at.0))
    }
}

impl Figures {
    fn of(rows: &[&Row]) -> Self {
        let values = |of: fn(&Row) -> f64| -> Vec<f64> { rows.iter().map(|row| of(row)).collect() };
        let mut sums = Sums::default();
        rows.iter().for_each(|row| sums.add(&Sums::of(row)));
        Self {
            sums,
            labour: Buckets::of_all(&values(|row| row.labour)),
            down: Buckets::of_all(&values(|row| row.down)),
        }
    }

    pub(super) fn insert(&mut self, row: &Row) {
        self.sums.add(&Sums::of(row));
        self.labour.add(row.labour);
        self.down.add(row.down);
    }

    pub(super) fn remove(&mut self, row: &Row) {
        self.sums.remove(&Sums::of(row));
        self.labour.remove(row.labour);
        self.down.remove(row.down);
    }
}

impl Sums {
    pub(super) fn add(&mut self, other: &Self) {
        self.cases += other.cases;
        self.labour += other.labour;
        self.labour_squares += other.labour_squares;
        self.down += other.down;
        self.down_squares += other.down_squares;
        self.first_checked += other.first_checked;
        self.first_hits += other.first_hits;
        self.within_30 += other.within_30;
        self.within_90 += other.within_90;
    }

    pub(super) fn remove(&mut self, other: &Self) {
        self.cases -= other.cases;
        self.labour -= other.labour;
        self.labour_squares -= other.labour_squares;
        self.down -= other.down;
        self.down_squares -= other.down_squares;
        self.first_checked -= other.first_checked;
        self.first_hits -= other.first_hits;
        self.within_30 -= other.within_30;
        self.within_90 -= other.within_90;
    }

    pub(super) fn of(row: &Row) -> Self {
        let (labour, down) = (micro(row.labour), micro(row.down));
        let within = |days: i64| u64::from(row.days_since_same.is_some_and(|gap| gap <= days));
        Self {
            cases: 1,
            labour,
            labour_squares: labour * labour,
            down,
            down_squares: down * down,
            first_checked: u64::from(row.first_hit.is_some()),
            first_hits: u64::from(row.first_hit == Some(true)),
            within_30: within(30),
            within_90: within(90),
        }
    }
}

/// Whole millionths, so that sums do not depend on the order of changes.
fn micro(value: f64) -> i128 {
    (value * 1e6).round() as i128
}
