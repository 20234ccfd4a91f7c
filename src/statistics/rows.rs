//! The cases of the ledger one behind the other, so that a million stay small: a fixed record
//! each, and what was looked for in a line of bytes.
//!
//! Invariants: a number has one record; places of cases taken out are used again. Nothing
//! here knows what the numbers in a record stand for.

use std::collections::{BTreeMap, HashMap};

use super::{cell::Row, column};

/// Records allotted together.
const TOGETHER: usize = 8192;

/// Numbers of cases under one entry of the index.
const PAGE: usize = 64;

/// Bytes allotted together for what was looked for.
const STRETCH: usize = 1 << 16;

/// Bytes of cases taken out after which the others are moved together, if they are half of all.
const WASTE: usize = 1 << 20;

const NOWHERE: u32 = u32::MAX;

/// No case with the same trouble before.
const NO_GAP: u16 = u16::MAX;

/// A time that whole thousandths do not hold as it is.
const FINE: u32 = u32::MAX;

/// What is held of a case beside its number and what was looked for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Held {
    /// Day, within ±10⁹ of 1 January 1970.
    pub(super) day: i32,
    /// Tool and what cases are counted by, as a number of the ledger.
    pub(super) pair: u32,
    /// What is counted.
    pub(super) row: Row,
    /// Decades of base pressure lost.
    pub(super) loss: Option<f64>,
}

/// Something that was looked for in a case, by a number of the ledger, and whether it was there.
pub(super) type Mark = (u32, bool);

#[derive(Clone, Copy, Debug)]
struct Record {
    number: i64,
    /// Not a number where pressures are not known.
    loss: f64,
    /// Whole thousandths, as people write them; see `fine`.
    labour: u32,
    down: u32,
    day: i32,
    pair: u32,
    marks: u32,
    gap: u16,
    /// 0 no check, 1 the first found nothing, 2 it found something.
    first: u8,
}

/// The cases.
#[derive(Clone, Debug, Default)]
pub(super) struct Rows {
    records: Vec<Vec<Record>>,
    free: Vec<u32>,
    /// Places by number, so many numbers under one entry.
    index: BTreeMap<i64, Box<[u32; PAGE]>>,
    held: usize,
    /// Labour and time down that whole thousandths do not hold, by place.
    fine: HashMap<u32, (f64, f64)>,
    marks: Marks,
}

impl Rows {
    /// How many cases are held.
    pub(super) fn len(&self) -> usize {
        self.held
    }

    /// Where a case lies.
    pub(super) fn place(&self, number: i64) -> Option<u32> {
        let (page, at) = page(number);
        let place = self.index.get(&page)?[at];
        (place != NOWHERE).then_some(place)
    }

    /// The number of the case at a place.
    pub(super) fn number(&self, place: u32) -> i64 {
        self.record(place).number
    }

    /// Places of all cases, the highest number first.
    pub(super) fn newest(&self) -> impl Iterator<Item = u32> + '_ {
        let pages = self.index.values().rev();
        pages.flat_map(|page| page.iter().rev().copied().filter(|at| *at != NOWHERE))
    }

    pub(super) fn get(&self, place: u32) -> Held {
        let record = self.record(place);
        Held {
            day: record.day,
            pair: record.pair,
            row: self.row(place),
            loss: Some(record.loss).filter(|loss| !loss.is_nan()),
        }
    }

    pub(super) fn row(&self, place: u32) -> Row {
        let record = self.record(place);
        let (labour, down) = match self.fine.get(&place) {
            Some(fine) if record.labour == FINE => *fine,
            _ => (
                column::of_thousandths(record.labour),
                column::of_thousandths(record.down),
            ),
        };
        Row {
            labour,
            down,
            first_hit: (record.first > 0).then_some(record.first == 2),
            days_since_same: (record.gap != NO_GAP).then_some(i64::from(record.gap)),
        }
    }

    /// What was looked for in a case, in order.
    pub(super) fn marks(&self, place: u32) -> impl Iterator<Item = Mark> + '_ {
        self.marks.at(self.record(place).marks)
    }

    /// Holds another case; `marks` ascend, each once.
    pub(super) fn put_in(&mut self, number: i64, held: &Held, marks: &[Mark]) -> u32 {
        let row = &held.row;
        let whole = |time: f64| column::thousandths(time).filter(|whole| *whole != FINE);
        let whole = whole(row.labour).zip(whole(row.down));
        let (labour, down) = whole.unwrap_or((FINE, FINE));
        let record = Record {
            number,
            loss: held.loss.unwrap_or(f64::NAN),
            labour,
            down,
            day: held.day,
            pair: held.pair,
            marks: self.marks.put_in(marks),
            gap: short(row.days_since_same),
            first: row.first_hit.map_or(0, |hit| 1 + u8::from(hit)),
        };
        let place = match self.free.pop() {
            Some(place) => {
                *self.record_mut(place) = record;
                place
            }
            None => self.push(record),
        };
        if whole.is_none() {
            self.fine.insert(place, (row.labour, row.down));
        }
        let (page, at) = page(number);
        let page = self.index.entry(page);
        page.or_insert_with(|| Box::new([NOWHERE; PAGE]))[at] = place;
        self.held += 1;
        place
    }

    pub(super) fn take_out(&mut self, place: u32) {
        let record = *self.record(place);
        let (page, at) = page(record.number);
        if let Some(places) = self.index.get_mut(&page) {
            places[at] = NOWHERE;
            if places.iter().all(|place| *place == NOWHERE) {
                self.index.remove(&page);
            }
        }
        self.fine.remove(&place);
        self.free.push(place);
        self.held -= 1;
        self.marks.take_out(record.marks);
        if self.marks.wasted > WASTE && 2 * self.marks.wasted > self.marks.bytes {
            self.move_marks_together();
        }
    }

    /// Sets the days since the same trouble.
    pub(super) fn set_gap(&mut self, place: u32, gap: Option<i64>) {
        self.record_mut(place).gap = short(gap);
    }

    fn push(&mut self, record: Record) -> u32 {
        let full = |last: &Vec<Record>| last.len() == TOGETHER;
        if self.records.last().is_none_or(full) {
            self.records.push(Vec::with_capacity(TOGETHER));
        }
        let before = TOGETHER * (self.records.len() - 1);
        let last = &mut self.records[before / TOGETHER];
        last.push(record);
        (before + last.len() - 1) as u32
    }

    fn record(&self, place: u32) -> &Record {
        let place = place as usize;
        &self.records[place / TOGETHER][place % TOGETHER]
    }

    fn record_mut(&mut self, place: u32) -> &mut Record {
        let place = place as usize;
        &mut self.records[place / TOGETHER][place % TOGETHER]
    }

    fn move_marks_together(&mut self) {
        let places: Vec<u32> = self.newest().collect();
        let old = std::mem::take(&mut self.marks);
        for place in places {
            let marks: Vec<Mark> = old.at(self.record(place).marks).collect();
            self.record_mut(place).marks = self.marks.put_in(&marks);
        }
    }
}

/// Days as they are kept: only whether they are few is ever asked.
fn short(gap: Option<i64>) -> u16 {
    gap.map_or(NO_GAP, |days| days.clamp(0, i64::from(NO_GAP) - 1) as u16)
}

fn page(number: i64) -> (i64, usize) {
    let size = PAGE as i64;
    (number.div_euclid(size), number.rem_euclid(size) as usize)
}

/// What was looked for, packed: how many, seven bits a byte, the eighth tells that more follow; then,
/// bit by bit, for each how many numbers lie between it and the one before, and whether it was there.
/// Numbers lie close together, so that most take four or five bits.
#[derive(Clone, Debug, Default)]
struct Marks {
    stretches: Vec<Vec<u8>>,
    bytes: usize,
    wasted: usize,
}

impl Marks {
    fn put_in(&mut self, marks: &[Mark]) -> u32 {
        let bytes = packed(marks);
        let room = self.stretches.last().map_or(0, |last| {
            STRETCH.min(last.capacity()).saturating_sub(last.len())
        });
        if room < bytes.len() {
            let size = STRETCH.max(bytes.len());
            self.stretches.push(Vec::with_capacity(size));
        }
        self.bytes += bytes.len();
        let stretch = self.stretches.len() - 1;
        let last = &mut self.stretches[stretch];
        let at = (stretch * STRETCH + last.len()) as u32;
        last.extend_from_slice(&bytes);
        at
    }

    fn at(&self, at: u32) -> Packed<'_> {
        let at = at as usize;
        let stretch = self.stretches.get(at / STRETCH);
        let bytes = stretch.and_then(|stretch| stretch.get(at % STRETCH..));
        Packed::new(bytes.unwrap_or_default())
    }

    fn take_out(&mut self, at: u32) {
        let mut marks = self.at(at);
        marks.by_ref().for_each(drop);
        self.wasted += marks.bytes_read();
    }
}

/// Marks as bytes. A distance is written as that many and two more, in binary without its first bit,
/// behind a one for each further bit and a nought (exponential Golomb codes, Teuhola 1978, from memory).
fn packed(marks: &[Mark]) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(marks.len() + 2);
    let mut count = marks.len();
    while count > 127 {
        bytes.push(count as u8 | 128);
        count >>= 7;
    }
    bytes.push(count as u8);
    let (mut waiting, mut bits) = (0_u64, 0);
    let mut put = |value: u64, count: u32| {
        waiting |= value << bits;
        bits += count;
        while bits >= 8 {
            bytes.push(waiting as u8);
            waiting >>= 8;
            bits -= 8;
        }
    };
    let mut least = 0;
    for (mark, seen) in marks {
        let distance = u64::from(*mark) - least + 2;
        least = u64::from(*mark) + 1;
        let more = distance.ilog2();
        put((1 << (more - 1)) - 1, more);
        put(distance ^ (1 << more), more);
        put(u64::from(*seen), 1);
    }
    put(0, 7);
    bytes
}

/// Reads what [`packed`] wrote.
struct Packed<'a> {
    bytes: &'a [u8],
    /// Bits read so far.
    at: usize,
    left: usize,
    /// The least number that the next can be.
    least: u64,
}

impl<'a> Packed<'a> {
    fn new(bytes: &'a [u8]) -> Self {
        let (mut left, mut read) = (0, 0);
        for byte in bytes.iter().take(5) {
            left |= usize::from(byte & 127) << (7 * read);
            read += 1;
            if *byte < 128 {
                break;
            }
        }
        Self {
            bytes,
            at: 8 * read,
            left,
            least: 0,
        }
    }

    fn bytes_read(&self) -> usize {
        self.at.div_ceil(8)
    }

    /// The next bits, at least 57 of them; noughts beyond the end.
    fn next_bits(&self) -> u64 {
        let mut eight = [0; 8];
        let rest = self.bytes.get(self.at / 8..).unwrap_or_default();
        let held = rest.len().min(8);
        eight[..held].copy_from_slice(&rest[..held]);
        u64::from_le_bytes(eight) >> (self.at % 8)
    }
}

impl Iterator for Packed<'_> {
    type Item = Mark;

    fn next(&mut self) -> Option<Mark> {
        self.left = self.left.checked_sub(1)?;
        let more = 1 + (!self.next_bits()).trailing_zeros();
        self.at += more as usize;
        let bits = self.next_bits();
        let distance = (1 << more) + (bits & ((1 << more) - 1)) - 2;
        let seen = bits >> more & 1 == 1;
        self.at += more as usize + 1;
        let mark = self.least + distance;
        self.least = mark + 1;
        Some((mark as u32, seen))
    }
}

/// Cases in order of day and number, as days and places.
#[derive(Clone, Debug, Default)]
pub(super) struct Line(Vec<(i32, u32)>);

impl Line {
    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Days in order.
    pub(super) fn days(&self) -> impl DoubleEndedIterator<Item = i64> + '_ {
        self.0.iter().map(|(day, _)| i64::from(*day))
    }

    /// The cases of some days.
    pub(super) fn between(&self, from: i64, to: i64) -> &[(i32, u32)] {
        let start = self.0.partition_point(|(day, _)| i64::from(*day) < from);
        let end = self.0.partition_point(|(day, _)| i64::from(*day) <= to);
        self.0.get(start..end).unwrap_or_default()
    }

    /// Puts a case in, and gives its position.
    pub(super) fn put_in(&mut self, rows: &Rows, day: i32, place: u32) -> usize {
        let position = self.position(rows, day, rows.number(place));
        if self.0.len() == self.0.capacity() {
            // Doubling would leave a quarter of the room empty.
            self.0.reserve_exact(self.0.len() / 8 + 2);
        }
        self.0.insert(position, (day, place));
        position
    }

    /// Takes a case out, and gives the position it had.
    pub(super) fn take_out(&mut self, rows: &Rows, day: i32, place: u32) -> usize {
        let position = self.position(rows, day, rows.number(place));
        if self.0.get(position) == Some(&(day, place)) {
            self.0.remove(position);
        }
        position
    }

    /// The case at a position.
    pub(super) fn get(&self, position: usize) -> Option<(i32, u32)> {
        self.0.get(position).copied()
    }

    /// The first position not before a day and number.
    fn position(&self, rows: &Rows, day: i32, number: i64) -> usize {
        self.0.partition_point(|(own, place)| {
            *own < day || (*own == day && rows.number(*place) < number)
        })
    }
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::*;

    fn held(rng: &mut ChaCha8Rng) -> (Held, Vec<Mark>) {
        let mut marks: Vec<Mark> = Vec::new();
        let mut mark = 0;
        for _ in 0..rng.random_range(0..60) {
            let widest = [5, 500, 50_000][rng.random_range(0..3)];
            mark += rng.random_range(1..widest);
            marks.push((mark, rng.random()));
        }
        let row = Row {
            labour: f64::from(rng.random_range(0..4000)) / if rng.random() { 1.0 } else { 10.0 },
            down: if rng.random() {
                f64::from(rng.random_range(0..9_000)) / 1e3
            } else {
                rng.random_range(0.0..9.0)
            },
            first_hit: rng.random_bool(0.6).then(|| rng.random()),
            days_since_same: rng.random_bool(0.5).then(|| rng.random_range(0..400)),
        };
        let held = Held {
            day: rng.random_range(-1_000_000_000..1_000_000_000),
            pair: rng.random(),
            row,
            loss: rng.random_bool(0.8).then(|| rng.random_range(-3.0..9.0)),
        };
        (held, marks)
    }

    /// Whatever was put in comes back as it was, after others came and went.
    #[test]
    fn what_is_held_comes_back() {
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let mut rows = Rows::default();
        let mut kept: BTreeMap<i64, (Held, Vec<Mark>)> = BTreeMap::new();
        for _ in 0..60_000 {
            let number = rng.random_range(-5_000..20_000);
            if let Some(place) = rows.place(number) {
                rows.take_out(place);
                kept.remove(&number);
            }
            if rng.random_bool(0.6) {
                let (held, marks) = held(&mut rng);
                rows.put_in(number, &held, &marks);
                kept.insert(number, (held, marks));
            }
        }
        assert_eq!(rows.len(), kept.len());
        let order: Vec<i64> = rows.newest().map(|place| rows.number(place)).collect();
        assert_eq!(order, kept.keys().rev().copied().collect::<Vec<_>>());
        for (number, (held, marks)) in &kept {
            let place = rows.place(*number).unwrap();
            let own = rows.get(place);
            assert_eq!(format!("{own:?}"), format!("{held:?}"));
            assert_eq!(&rows.marks(place).collect::<Vec<_>>(), marks);
        }
        assert_eq!(rows.place(-6_000), None);
    }

    #[test]
    fn a_line_keeps_the_order_of_day_and_number() {
        let mut rng = ChaCha8Rng::seed_from_u64(4);
        let (mut rows, mut line) = (Rows::default(), Line::default());
        let mut kept = Vec::new();
        for number in 0..400 {
            let (mut held, marks) = held(&mut rng);
            held.day = rng.random_range(-5..5);
            let place = rows.put_in(997 * number % 400, &held, &marks);
            line.put_in(&rows, held.day, place);
            kept.push((held.day, rows.number(place), place));
        }
        for at in (0..kept.len()).rev().step_by(3) {
            let (day, _, place) = kept.swap_remove(at);
            line.take_out(&rows, day, place);
        }
        kept.sort_unstable();
        let order = |from: i32, to: i32| -> Vec<(i32, u32)> {
            let within = kept.iter().filter(|(day, ..)| (from..=to).contains(day));
            within.map(|(day, _, place)| (*day, *place)).collect()
        };
        assert_eq!(line.between(i64::MIN, i64::MAX), order(-9, 9));
        assert_eq!(line.between(-2, 1), order(-2, 1));
        assert_eq!(line.between(3, -3), []);
        assert!(line.days().is_sorted());
    }
}
