//! Cases that have everything in common but their day, in order of their days, with the figures
//! of all, and of each year and month that holds many, so that a question about days looks only
//! at cases of months that it cuts or that hold few.

use std::collections::BTreeMap;

use super::{
    buckets::Buckets,
    month::{first_day, month_of},
    rows::{Line, Rows},
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

/// Counts and sums, in whole millionths, cubes in whole tenths, so that taking a case out leaves no
/// trace.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sums {
    pub(super) cases: u64,
    pub(super) labour: i128,
    pub(super) labour_squares: i128,
    pub(super) labour_cubes: i128,
    pub(super) down: i128,
    pub(super) down_squares: i128,
    pub(super) down_cubes: i128,
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

/// Cases by day, with the figures of all, and of each year and month of many.
#[derive(Clone, Debug, Default)]
pub(super) struct Cell {
    line: Line,
    months: BTreeMap<i64, Figures>,
    years: BTreeMap<i64, Figures>,
    all: Figures,
}

/// Months in a year.
const YEAR: i64 = 12;

/// A month or year of fewer cases has no figures of its own: they are made from its cases.
const MANY: usize = 64;

impl Cell {
    pub(super) fn insert(&mut self, rows: &Rows, day: i32, place: u32) {
        let row = rows.row(place);
        self.line.put_in(rows, day, place);
        self.all.insert(&row);
        let month = month_of(day.into());
        let year = month.div_euclid(YEAR);
        let Self {
            line,
            months,
            years,
            ..
        } = self;
        insert(months, month, (month, 1), line, rows, &row);
        insert(years, year, (YEAR * year, YEAR), line, rows, &row);
    }

    pub(super) fn remove(&mut self, rows: &Rows, day: i32, place: u32) {
        let row = rows.row(place);
        self.line.take_out(rows, day, place);
        self.all.remove(&row);
        let month = month_of(day.into());
        for (figures, at) in [
            (&mut self.months, month),
            (&mut self.years, month.div_euclid(YEAR)),
        ] {
            if let Some(own) = figures.get_mut(&at) {
                own.remove(&row);
                if own.sums.cases < MANY as u64 / 2 {
                    figures.remove(&at);
                }
            }
        }
    }

    /// Counts a case otherwise.
    pub(super) fn recount(&mut self, day: i32, before: &Row, after: &Row) {
        let month = month_of(day.into());
        let month_of_many = self.months.get_mut(&month);
        let year_of_many = self.years.get_mut(&month.div_euclid(YEAR));
        let all = [Some(&mut self.all), month_of_many, year_of_many];
        for figures in all.into_iter().flatten() {
            figures.sums.remove(&Sums::of(before));
            figures.sums.add(&Sums::of(after));
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.line.is_empty()
    }

    /// First and last day of a case.
    pub(super) fn days(&self) -> Option<(i64, i64)> {
        let mut days = self.line.days();
        let first = days.next()?;
        Some((first, days.next_back().unwrap_or(first)))
    }

    /// The figures of what lies within some days as a whole, all of it, years or months, and
    /// of the other cases of those days.
    pub(super) fn within(&self, rows: &Rows, from: i64, to: i64) -> (Vec<&Figures>, Figures) {
        let (mut whole, mut cut) = (Vec::new(), Figures::default());
        let Some((first, last)) = self.days().filter(|_| from <= to) else {
            return (whole, cut);
        };
        if from <= first && last <= to {
            return (vec![&self.all], cut);
        }
        let mut single: Vec<Row> = Vec::new();
        let mut left = self.line.between(from, to);
        let is_whole = |month: i64, months: i64| {
            first_day(month) >= from && first_day(month + months) - 1 <= to
        };
        while let Some((day, _)) = left.first() {
            let month = month_of((*day).into());
            let year = month.div_euclid(YEAR);
            let of_year = self
                .years
                .get(&year)
                .filter(|_| is_whole(YEAR * year, YEAR));
            let of_month = self.months.get(&month).filter(|_| is_whole(month, 1));
            let until = match of_year {
                Some(_) => first_day(YEAR * (year + 1)),
                None => first_day(month + 1),
            };
            let end = left.partition_point(|(day, _)| i64::from(*day) < until);
            let (these, others) = left.split_at(end.max(1));
            match of_year.or(of_month) {
                Some(figures) => whole.push(figures),
                None => single.extend(these.iter().map(|(_, place)| rows.row(*place))),
            }
            left = others;
        }
        if !single.is_empty() {
            cut = Figures::of(&single);
        }
        (whole, cut)
    }

    /// Counts and sums of the cases of some days.
    pub(super) fn sums(&self, rows: &Rows, from: i64, to: i64) -> Sums {
        let (whole, cut) = self.within(rows, from, to);
        let mut sums = cut.sums;
        whole.iter().for_each(|figures| sums.add(&figures.sums));
        sums
    }

    /// Cases of some days, the newest first.
    pub(super) fn newest<'a>(
        &'a self,
        rows: &'a Rows,
        from: i64,
        to: i64,
    ) -> impl Iterator<Item = At> + 'a {
        let cases = self.line.between(from, to).iter().rev();
        cases.map(|(day, place)| (i64::from(*day), rows.number(*place)))
    }
}

/// Counts a case that is in the line already among those of its month or year, which begins at
/// the first of `months` and has as many as the second.
fn insert(
    figures: &mut BTreeMap<i64, Figures>,
    at: i64,
    (first, months): (i64, i64),
    line: &Line,
    rows: &Rows,
    row: &Row,
) {
    if let Some(own) = figures.get_mut(&at) {
        own.insert(row);
        return;
    }
    let cases = line.between(first_day(first), first_day(first + months) - 1);
    if cases.len() >= MANY {
        let of_all: Vec<Row> = cases.iter().map(|(_, place)| rows.row(*place)).collect();
        figures.insert(at, Figures::of(&of_all));
    }
}

impl Figures {
    pub(super) fn of(rows: &[Row]) -> Self {
        let values = |of: fn(&Row) -> f64| -> Vec<f64> { rows.iter().map(of).collect() };
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
        self.labour_cubes += other.labour_cubes;
        self.down += other.down;
        self.down_squares += other.down_squares;
        self.down_cubes += other.down_cubes;
        self.first_checked += other.first_checked;
        self.first_hits += other.first_hits;
        self.within_30 += other.within_30;
        self.within_90 += other.within_90;
    }

    pub(super) fn remove(&mut self, other: &Self) {
        self.cases -= other.cases;
        self.labour -= other.labour;
        self.labour_squares -= other.labour_squares;
        self.labour_cubes -= other.labour_cubes;
        self.down -= other.down;
        self.down_squares -= other.down_squares;
        self.down_cubes -= other.down_cubes;
        self.first_checked -= other.first_checked;
        self.first_hits -= other.first_hits;
        self.within_30 -= other.within_30;
        self.within_90 -= other.within_90;
    }

    /// Sum of the labour, of its squares, and of its cubes, each in its own parts.
    pub(super) fn of_labour(&self) -> [i128; 3] {
        [self.labour, self.labour_squares, self.labour_cubes]
    }

    /// The same of the time down.
    pub(super) fn of_down(&self) -> [i128; 3] {
        [self.down, self.down_squares, self.down_cubes]
    }

    pub(super) fn of(row: &Row) -> Self {
        let (labour, down) = (micro(row.labour), micro(row.down));
        let within = |days: i64| u64::from(row.days_since_same.is_some_and(|gap| gap <= days));
        Self {
            cases: 1,
            labour,
            labour_squares: labour * labour,
            labour_cubes: tenths(row.labour).pow(3),
            down,
            down_squares: down * down,
            down_cubes: tenths(row.down).pow(3),
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

/// Whole tenths, since cubes of finer parts of the largest values would not fit.
fn tenths(value: f64) -> i128 {
    (value * 10.0).round() as i128
}
