//! Cases counted together, in order of their days, in blocks of at most [`MOST`] with the figures
//! of each: so a question about days looks at single cases only in the two blocks its days cut.

use std::iter::zip;

use super::{
    column::{Column, MOST, Numbers, Pile, Powers, insert},
    rows::Rows,
};

/// Day and number of a case.
pub(super) type At = (i64, i64);

/// Day and place of a case among the rows.
type Entry = (i32, u32);

/// What is counted of a case.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    pub(super) labour: f64,
    pub(super) down: f64,
    pub(super) first_hit: Option<bool>,
    pub(super) days_since_same: Option<i64>,
}

/// Counts and sums, in whole parts, so that taking a case out leaves no trace.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sums {
    pub(super) labour: Powers,
    pub(super) down: Powers,
    pub(super) counts: Counts,
}

/// How many cases, and of how many something is true.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Counts {
    pub(super) cases: u32,
    /// No cause was found.
    pub(super) lost: u32,
    pub(super) first_checked: u32,
    pub(super) first_hits: u32,
    pub(super) within_30: u32,
    pub(super) within_90: u32,
}

/// Cases by day.
#[derive(Clone, Debug, Default)]
pub(super) struct Cell {
    /// None is empty.
    blocks: Vec<Block>,
    all: Sums,
    /// Labour and time down of all, once there are many blocks.
    piles: Option<Box<[Pile; 2]>>,
}

/// Cells of more blocks keep the numbers of all cases in one pile.
const MANY: usize = 4;

/// Neighbours by day and number.
#[derive(Clone, Debug, Default)]
struct Block {
    entries: Vec<Entry>,
    /// What is true of each case, a bit each.
    truths: Vec<u8>,
    labour: Column,
    down: Column,
    sums: Sums,
}

/// The cases of some days.
#[derive(Clone, Debug, Default)]
pub(super) struct Chosen<'c> {
    pub(super) sums: Sums,
    pub(super) labour: Numbers<'c>,
    pub(super) down: Numbers<'c>,
}

const LOST: u8 = 1;
const FIRST_CHECKED: u8 = 2;
const FIRST_HIT: u8 = 4;
const WITHIN_30: u8 = 8;
const WITHIN_90: u8 = 16;

impl Cell {
    /// Puts in a case that the rows hold; `lost` if no cause was found.
    pub(super) fn insert(&mut self, rows: &Rows, day: i32, place: u32, lost: bool) {
        let mut at = self.block(rows, day, place);
        if at == self.blocks.len() {
            match self.blocks.last() {
                Some(last) if last.entries.len() < MOST => at -= 1,
                _ => insert(&mut self.blocks, at, Block::default()),
            }
        }
        if self.blocks[at].entries.len() == MOST {
            let (first, second) = self.blocks[at].halves(rows);
            let later = second.entries[0];
            self.blocks[at] = first;
            insert(&mut self.blocks, at + 1, second);
            at += usize::from(before(rows, later, (day, place)));
        }
        let added = self.blocks[at].insert(rows, (day, place), lost);
        self.all.add(&added);
        match &mut self.piles {
            Some(piles) => {
                let row = rows.row(place);
                piles[0].insert(row.labour);
                piles[1].insert(row.down);
            }
            None if self.blocks.len() > MANY => {
                let mut piles = Box::new([Pile::default(), Pile::default()]);
                for (_, place) in self.blocks.iter().flat_map(|block| &block.entries) {
                    let row = rows.row(*place);
                    piles[0].insert(row.labour);
                    piles[1].insert(row.down);
                }
                self.piles = Some(piles);
            }
            None => {}
        }
    }

    pub(super) fn remove(&mut self, rows: &Rows, day: i32, place: u32) {
        let at = self.block(rows, day, place);
        let Some(block) = self.blocks.get_mut(at) else {
            return;
        };
        let Some(removed) = block.remove(rows, (day, place)) else {
            return;
        };
        self.all.remove(&removed);
        if let Some(piles) = &mut self.piles {
            let row = rows.row(place);
            piles[0].remove(row.labour);
            piles[1].remove(row.down);
        }
        let left = block.entries.len();
        if left == 0 {
            self.blocks.remove(at);
        } else if self
            .blocks
            .get(at + 1)
            .is_some_and(|next| left + next.entries.len() <= MOST / 2)
        {
            let next = self.blocks.remove(at + 1);
            self.blocks[at].append(rows, &next);
        }
    }

    /// Counts a case anew whose days since the same trouble have changed.
    pub(super) fn recount(&mut self, rows: &Rows, day: i32, place: u32) {
        let at = self.block(rows, day, place);
        let Some(block) = self.blocks.get_mut(at) else {
            return;
        };
        let position = block.position(rows, (day, place));
        let Some(truths) = block.truths.get_mut(position) else {
            return;
        };
        let was = Counts::of(*truths);
        *truths = truths_of(&rows.row(place), was.lost > 0);
        let is = Counts::of(*truths);
        for sums in [&mut block.sums, &mut self.all] {
            sums.counts.remove(&was);
            sums.counts.add(&is);
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.blocks.is_empty()
    }

    /// First and last day of a case.
    pub(super) fn days(&self) -> Option<(i64, i64)> {
        let (first, _) = self.blocks.first()?.entries.first()?;
        let (last, _) = self.blocks.last()?.entries.last()?;
        Some(((*first).into(), (*last).into()))
    }

    /// The cases of some days.
    pub(super) fn within(&self, from: i64, to: i64) -> Chosen<'_> {
        let mut chosen = Chosen::default();
        let is_whole = self
            .days()
            .is_some_and(|(first, last)| from <= first && last <= to);
        if is_whole && let Some(piles) = &self.piles {
            chosen.labour.pile(&piles[0]);
            chosen.down.pile(&piles[1]);
            chosen.sums = self.all;
            return chosen;
        }
        for (block, (start, end)) in self.cut(from, to) {
            chosen.sums.add(&block.between(start, end));
            chosen.labour.push(block.labour.between(start, end));
            chosen.down.push(block.down.between(start, end));
        }
        chosen
    }

    /// Counts and sums of the cases of some days.
    pub(super) fn sums(&self, from: i64, to: i64) -> Sums {
        if self
            .days()
            .is_some_and(|(first, last)| from <= first && last <= to)
        {
            return self.all;
        }
        let mut sums = Sums::default();
        for (block, (start, end)) in self.cut(from, to) {
            sums.add(&block.between(start, end));
        }
        sums
    }

    /// Cases of some days, the newest first.
    pub(super) fn newest<'a>(
        &'a self,
        rows: &'a Rows,
        from: i64,
        to: i64,
    ) -> impl Iterator<Item = At> + 'a {
        let blocks = self.cut(from, to).rev();
        blocks.flat_map(|(block, (start, end))| {
            let entries = block.entries[start..end].iter().rev();
            entries.map(|(day, place)| (i64::from(*day), rows.number(*place)))
        })
    }

    /// The blocks with cases of some days, and which of their cases those are.
    fn cut(&self, from: i64, to: i64) -> impl DoubleEndedIterator<Item = (&Block, (usize, usize))> {
        let before = |block: &Block| {
            block
                .entries
                .last()
                .is_none_or(|last| i64::from(last.0) < from)
        };
        let first = self.blocks.partition_point(before);
        let cut = move |block: &Block| {
            let start = block
                .entries
                .partition_point(|(day, _)| i64::from(*day) < from);
            let end = block
                .entries
                .partition_point(|(day, _)| i64::from(*day) <= to);
            (start, end)
        };
        let up_to = |block: &Block| {
            block
                .entries
                .first()
                .is_some_and(|first| i64::from(first.0) <= to)
        };
        let end = self.blocks.partition_point(up_to).max(first);
        let blocks = self.blocks[first..end].iter();
        let cut = blocks.map(move |block| (block, cut(block)));
        cut.filter(|(_, (start, end))| start < end)
    }

    /// The first block that does not end before a case.
    fn block(&self, rows: &Rows, day: i32, place: u32) -> usize {
        self.blocks.partition_point(|block| {
            let last = block.entries.last();
            last.is_none_or(|last| before(rows, *last, (day, place)))
        })
    }
}

impl Block {
    fn position(&self, rows: &Rows, entry: Entry) -> usize {
        self.entries
            .partition_point(|own| before(rows, *own, entry))
    }

    fn insert(&mut self, rows: &Rows, entry: Entry, lost: bool) -> Sums {
        let position = self.position(rows, entry);
        let row = rows.row(entry.1);
        let truths = truths_of(&row, lost);
        insert(&mut self.entries, position, entry);
        insert(&mut self.truths, position, truths);
        self.labour.insert(position, row.labour);
        self.down.insert(position, row.down);
        let added = Sums::of(&row, truths);
        self.sums.add(&added);
        added
    }

    fn remove(&mut self, rows: &Rows, entry: Entry) -> Option<Sums> {
        let position = self.position(rows, entry);
        if self.entries.get(position) != Some(&entry) {
            return None;
        }
        self.entries.remove(position);
        let truths = self.truths.remove(position);
        self.labour.remove(position);
        self.down.remove(position);
        let removed = Sums::of(&rows.row(entry.1), truths);
        self.sums.remove(&removed);
        Some(removed)
    }

    fn halves(&self, rows: &Rows) -> (Self, Self) {
        let mut halves = [Self::default(), Self::default()];
        let middle = self.entries.len() / 2;
        for (at, (entry, truths)) in zip(&self.entries, &self.truths).enumerate() {
            let half = &mut halves[usize::from(at >= middle)];
            half.insert(rows, *entry, truths & LOST > 0);
        }
        halves.into()
    }

    fn append(&mut self, rows: &Rows, next: &Self) {
        for (entry, truths) in zip(&next.entries, &next.truths) {
            self.insert(rows, *entry, truths & LOST > 0);
        }
    }

    /// Counts and sums of the cases from one position to before another; those of fewer are
    /// gone through.
    fn between(&self, start: usize, end: usize) -> Sums {
        let all = self.entries.len();
        if 2 * (end - start) <= all {
            return self.gone_through(start, end);
        }
        let mut sums = self.sums;
        for (start, end) in [(0, start), (end, all)] {
            if start < end {
                sums.remove(&self.gone_through(start, end));
            }
        }
        sums
    }

    fn gone_through(&self, start: usize, end: usize) -> Sums {
        let mut counts = Counts::default();
        for truths in &self.truths[start..end] {
            counts.add(&Counts::of(*truths));
        }
        Sums {
            labour: self.labour.between(start, end).powers(),
            down: self.down.between(start, end).powers(),
            counts,
        }
    }
}

/// Whether a case comes before another, by day and number.
fn before(rows: &Rows, one: Entry, other: Entry) -> bool {
    one.0 < other.0 || (one.0 == other.0 && rows.number(one.1) < rows.number(other.1))
}

fn truths_of(row: &Row, lost: bool) -> u8 {
    let within = |days: i64| row.days_since_same.is_some_and(|gap| gap <= days);
    [
        (LOST, lost),
        (FIRST_CHECKED, row.first_hit.is_some()),
        (FIRST_HIT, row.first_hit == Some(true)),
        (WITHIN_30, within(30)),
        (WITHIN_90, within(90)),
    ]
    .into_iter()
    .map(|(bit, is)| if is { bit } else { 0 })
    .sum()
}

impl<'c> Chosen<'c> {
    pub(super) fn add(&mut self, other: &Self) {
        self.sums.add(&other.sums);
        self.labour.add(&other.labour);
        self.down.add(&other.down);
    }
}

impl Counts {
    fn of(truths: u8) -> Self {
        let count = |bit: u8| u32::from(truths & bit > 0);
        Self {
            cases: 1,
            lost: count(LOST),
            first_checked: count(FIRST_CHECKED),
            first_hits: count(FIRST_HIT),
            within_30: count(WITHIN_30),
            within_90: count(WITHIN_90),
        }
    }

    fn add(&mut self, other: &Self) {
        self.cases += other.cases;
        self.lost += other.lost;
        self.first_checked += other.first_checked;
        self.first_hits += other.first_hits;
        self.within_30 += other.within_30;
        self.within_90 += other.within_90;
    }

    fn remove(&mut self, other: &Self) {
        self.cases -= other.cases;
        self.lost -= other.lost;
        self.first_checked -= other.first_checked;
        self.first_hits -= other.first_hits;
        self.within_30 -= other.within_30;
        self.within_90 -= other.within_90;
    }
}

impl Sums {
    fn of(row: &Row, truths: u8) -> Self {
        Self {
            labour: Powers::of(row.labour),
            down: Powers::of(row.down),
            counts: Counts::of(truths),
        }
    }

    pub(super) fn add(&mut self, other: &Self) {
        self.labour.add(&other.labour);
        self.down.add(&other.down);
        self.counts.add(&other.counts);
    }

    fn remove(&mut self, other: &Self) {
        self.labour.remove(&other.labour);
        self.down.remove(&other.down);
        self.counts.remove(&other.counts);
    }
}
