//! Dates whose numbers may be day, month and year in more than one order: the whole log decides.
//!
//! `03/04/2025` is the third of April or the fourth of March. A number above 12 anywhere in the log settles
//! it. Where none does, the order matters only once the date changes; then the order is taken under which
//! the days follow one another, if there is just one, and otherwise nobody can tell.

use super::time;

/// An order of day, month and year.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Order {
    DayMonthYear,
    MonthDayYear,
    YearMonthDay,
}

const ORDERS: [Order; 3] = [
    Order::DayMonthYear,
    Order::MonthDayYear,
    Order::YearMonthDay,
];

impl Order {
    pub(super) fn words(self) -> &'static str {
        match self {
            Self::DayMonthYear => "day, month, year",
            Self::MonthDayYear => "month, day, year",
            Self::YearMonthDay => "year, month, day",
        }
    }
}

/// Three numbers of a date, and the days since 1970-01-01 that they are in each order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct OpenDate([Option<f64>; 3]);

impl OpenDate {
    /// `None` if they are no date in any order.
    pub(super) fn new(first: &str, second: &str, third: &str) -> Option<Self> {
        if first.len() > 2 || second.len() > 2 {
            return None;
        }
        let (one, two) = (time::whole(first)?, time::whole(second)?);
        let last = time::full_year(third)?;
        let year_first = || {
            let year = time::full_year(first).filter(|_| third.len() == 2)?;
            time::days(year, two, time::whole(third)?)
        };
        let orders = [
            time::days(last, two, one),
            time::days(last, one, two),
            year_first(),
        ];
        orders.iter().any(Option::is_some).then_some(Self(orders))
    }

    /// Seconds of its midnight.
    pub(super) fn midnight(self, order: Order) -> Option<f64> {
        self.0[order as usize].map(|days| days * 86_400.0)
    }
}

/// What decided the order of a log's dates.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Because {
    /// It is the only one in which all are dates.
    OnlyOne,
    /// Elapsed times are the same in the others.
    NoMatter,
    /// Only so do the days follow one another.
    DaysFollow,
}

/// Why the order of a log's dates cannot be told: the place, among the dates, of one that shows it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Undecided {
    /// This one is no date in an order that fits those before it.
    NoOrderFits(usize),
    /// The date changes here, by a day or not.
    MoreThanOne(usize),
}

/// The order of `dates`, one for each run of readings of the same date; none where the date is known.
pub(super) fn decide(dates: &[Option<OpenDate>]) -> Result<Option<(Order, Because)>, Undecided> {
    let mut left: Vec<Order> = ORDERS.to_vec();
    for (place, date) in dates.iter().enumerate() {
        if let Some(date) = date {
            left.retain(|order| date.midnight(*order).is_some());
            if left.is_empty() {
                return Err(Undecided::NoOrderFits(place));
            }
        }
    }
    if dates.iter().all(Option::is_none) {
        return Ok(None);
    }
    if let [order] = left[..] {
        return Ok(Some((order, Because::OnlyOne)));
    }
    // Days passed at each change of an open date to the next, known or not.
    let passed = |order: Order, place: usize| {
        let midnight = |date: Option<OpenDate>| date.and_then(|date| date.midnight(order));
        match (dates[place], dates[place + 1]) {
            (None, None) => None,
            (before, after) => Some(midnight(after).zip(midnight(before)).map(|(a, b)| a - b)),
        }
    };
    let changes = 0..dates.len() - 1;
    let differ = changes.clone().find(|&place| {
        left.iter().any(|order| {
            passed(*order, place) == Some(None) || passed(*order, place) != passed(left[0], place)
        })
    });
    let Some(differ) = differ else {
        return Ok(Some((left[0], Because::NoMatter)));
    };
    let follows = |order: &&Order| {
        changes
            .clone()
            .all(|place| matches!(passed(**order, place), None | Some(Some(0.0 | 86_400.0))))
    };
    let mut following = left.iter().filter(follows);
    match (following.next(), following.next()) {
        (Some(order), None) => Ok(Some((*order, Because::DaysFollow))),
        _ => Err(Undecided::MoreThanOne(differ + 1)),
    }
}
