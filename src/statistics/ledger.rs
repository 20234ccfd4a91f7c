//! The aggregate behind the statistics pages, kept as incidents change, so that no
//! question scans the store.
//!
//! Invariants: a case counts once, under its number; sums are whole micro-units, so that
//! taking a case out leaves no trace and the order of changes does not matter; a tool has one
//! class and one site. Figures are kept by tool, and by what cases are counted by, in blocks of
//! cases in order of day: a question looks at single cases only where its days cut a block, or
//! where it parts the cases of one tool.

use std::{
    borrow::Cow,
    collections::{BTreeMap, BTreeSet, HashMap},
    sync::OnceLock,
};

use super::{
    Case, Interval, NOT_FOUND, Outcome, Share, StatisticsError,
    cell::{At, Cell, Chosen, Row, Sums},
    column::{Numbers, Powers},
    mean,
    rows::{Held, Line, Rows},
    symbols::Symbols,
    tables::{Aging, CauseTable, Lessons, Looked, Remembered, Tables},
};

/// How many case numbers an answer lists at most.
const RECENT: usize = 20;
const LARGEST: f64 = 1e9;
/// Days from 1 January 1970 beyond which none is told from another.
const FARTHEST: i64 = 1_000_000_000;
const ALL_DAYS: (i64, i64) = (i64::MIN, i64::MAX);
/// How many of the newest cases are learnt from one by one.
const REMEMBERED: usize = 3_000;

/// What to count by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Tool class.
    Class,
    /// Site.
    Site,
    /// Failed component; cases without a cause come under [`NOT_FOUND`].
    Component,
    /// Kind of cause; cases without a cause come under [`NOT_FOUND`].
    Kind,
    /// Cause, or [`NOT_FOUND`].
    Cause,
    /// Tool.
    Tool,
}

/// Which cases to count.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct Filter {
    /// Only this tool class.
    pub class: Option<String>,
    /// Only this site.
    pub site: Option<String>,
    /// Only this tool.
    pub tool: Option<String>,
    /// From this day on, inclusive (days since 1 January 1970).
    pub from_day: Option<i64>,
    /// To this day, inclusive.
    pub to_day: Option<i64>,
}

/// Counts by one dimension, the most frequent first.
#[derive(Clone, Debug, PartialEq)]
pub struct Breakdown {
    /// Cases counted.
    pub sample: u64,
    /// All of them together.
    pub all: Group,
    /// One a value of the dimension, by falling count, then by identifier.
    pub groups: Vec<Group>,
}

/// Cases that have something in common.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// Identifier within the dimension; empty for all cases.
    pub id: String,
    /// Share of all cases counted.
    pub share: Share,
    /// Share of this and all groups before it, 0 to 1: the line of a Pareto chart.
    pub cumulative: f64,
    /// Labour in minutes.
    pub labour: Spread,
    /// Time down in hours.
    pub down: Spread,
    /// Cases whose first check found something, out of those with a check.
    pub first_check: Share,
    /// Cases in which the same tool had had the same cause within the 30 days before, out of
    /// those with a found cause: of the others nobody can tell.
    pub repeat_30: Share,
    /// The same within 90 days.
    pub repeat_90: Share,
    /// Cases without a found cause.
    pub not_found: Share,
    /// Numbers of the latest cases, at most 20.
    pub recent: Vec<i64>,
}

/// Counts and sums of one value of a dimension.
#[derive(Clone, Debug, PartialEq)]
pub struct Total {
    /// Identifier within the dimension.
    pub id: String,
    /// Cases.
    pub cases: u64,
    /// Labour in minutes.
    pub labour_minutes: f64,
    /// Time down in hours.
    pub down_hours: f64,
}

/// Sum, mean and median of times, in their unit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spread {
    /// How many times.
    pub sample: u64,
    /// Their sum.
    pub sum: f64,
    /// Mean, none without a sample.
    pub mean: Option<f64>,
    /// Standard deviation, from two values on.
    pub deviation: Option<f64>,
    /// 95 % bootstrap interval of the mean, from six values on.
    pub mean_interval: Option<Interval>,
    /// Median, none without a sample.
    pub median: Option<f64>,
    /// 95 % bootstrap interval of the median, from six values on.
    pub median_interval: Option<Interval>,
}

/// The aggregate.
#[derive(Clone, Debug, Default)]
pub struct Ledger {
    pub(super) symbols: Symbols,
    rows: Rows,
    /// What cases are counted by, with the tool; a case names one by its number here.
    pairs: Vec<(Key, u32)>,
    numbers_of_pairs: HashMap<(Key, u32), u32>,
    /// What was ever looked for: sort, and which.
    marks: Vec<(Sort, u32)>,
    numbers_of_marks: HashMap<(Sort, u32), u32>,
    cells: HashMap<Key, Cell>,
    /// Tools with the days of their cases.
    pub(super) tools: HashMap<u32, ToolHistory>,
    tables: Tables,
    revision: u64,
}

/// What is known of a tool's time in service.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ToolService {
    /// The tool.
    pub tool: String,
    /// Its class.
    pub tool_class: String,
    /// Its site.
    pub site: String,
    /// What it is fitted with.
    pub components: Vec<String>,
    /// First day in service, if known.
    pub from_day: Option<i64>,
    /// Last day in service, if it has been taken out.
    pub until_day: Option<i64>,
    /// Causes of failure whose part was renewed by plan, with the day.
    pub services: Vec<(String, i64)>,
}

/// A tool with the days of its cases.
#[derive(Clone, Debug, Default)]
pub(super) struct ToolHistory {
    pub(super) class: u32,
    pub(super) site: u32,
    /// None where only cases speak of the tool.
    pub(super) service: Option<Fitted>,
    /// Its cases in order of day, by cause.
    pub(super) causes: BTreeMap<u32, Line>,
    /// The same, all together, with their figures.
    cell: Cell,
    /// What takes longer to work out of them, until they change.
    kept: OnceLock<Option<Box<Group>>>,
}

#[derive(Clone, Debug)]
pub(super) struct Fitted {
    pub(super) components: BTreeSet<u32>,
    pub(super) from_day: Option<i64>,
    pub(super) until_day: Option<i64>,
    /// Days of planned services, by the cause whose part they renewed.
    pub(super) services: BTreeMap<u32, BTreeSet<i64>>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
struct Key {
    class: u32,
    site: u32,
    cause: u32,
    component: u32,
    kind: u32,
}

/// What was looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Sort {
    Sign,
    Antecedent,
    /// A check that could be judged, by its last judgement: whether it found.
    Check,
}

impl Ledger {
    /// An empty ledger.
    pub fn new() -> Self {
        Self::default()
    }

    /// Replaces what the ledger holds for an incident: with a case when it is closed, with
    /// none when it is not (any more).
    ///
    /// # Errors
    /// A case that cannot be counted (negative or absurd times, contradicting signs, a
    /// number that is not `number`); the ledger then holds what it held before.
    pub fn apply(&mut self, number: i64, new: Option<&Case>) -> Result<(), StatisticsError> {
        if let Some(case) = new {
            accept(number, case)?;
        }
        let had = self.take_out(number);
        if let Some(case) = new {
            self.put_in(case);
        }
        if had || new.is_some() {
            self.revision += 1;
        }
        Ok(())
    }

    /// Cases held.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether no case is held.
    pub fn is_empty(&self) -> bool {
        self.rows.len() == 0
    }

    /// Grows with every change, so that what was derived can be kept until then.
    pub fn revision(&self) -> u64 {
        self.revision
    }

    /// What chances are learnt from. Without aging every case weighs 1 and the counts are
    /// those kept; with it all cases are walked.
    pub fn lessons(&self, aging: Option<Aging>) -> Lessons<'_> {
        let weight = |place| {
            let day = i64::from(self.rows.get(place).day);
            aging.map_or(1.0, |aging| aging.weight(day))
        };
        let weighed = aging.map(|_| {
            let mut tables = Tables::default();
            for place in self.rows.newest() {
                self.tell(&mut tables, place, weight(place));
            }
            tables
        });
        let latest = self.rows.newest().take(REMEMBERED);
        Lessons {
            counts: Cow::Borrowed(&self.tables),
            weighed,
            latest: latest
                .map(|place| self.remembered(place, weight(place)))
                .collect(),
        }
    }

    fn remembered(&self, place: u32, weight: f64) -> Remembered {
        let held = self.rows.get(place);
        let (key, _) = self.pairs[held.pair as usize];
        let name = |id: u32| self.symbols.name(id).to_owned();
        let named = |wanted| {
            self.looked_for(place)
                .filter(|(sort, ..)| *sort == wanted)
                .map(|(_, id, seen)| (name(id), seen))
                .collect()
        };
        Remembered {
            weight,
            class: name(key.class),
            cause: name(key.cause),
            signs: named(Sort::Sign),
            antecedents: named(Sort::Antecedent),
            loss_decades: held.loss,
        }
    }

    /// What was looked for in a case: of which sort, which, and whether it was there.
    fn looked_for(&self, place: u32) -> impl Iterator<Item = (Sort, u32, bool)> + '_ {
        self.rows.marks(place).map(|(mark, seen)| {
            let (sort, id) = self.marks[mark as usize];
            (sort, id, seen)
        })
    }

    /// Adds a case to counts by its weight, or takes it out by its negative.
    fn tell(&self, tables: &mut Tables, place: u32, weight: f64) {
        let held = self.rows.get(place);
        let (key, _) = self.pairs[held.pair as usize];
        let looked_for = self.looked_for(place);
        count(&self.symbols, tables, &key, held.loss, looked_for, weight);
    }

    /// First and last day of a case, or none.
    pub fn days(&self) -> Option<(i64, i64)> {
        self.cells
            .values()
            .filter_map(Cell::days)
            .reduce(|one, other| (one.0.min(other.0), one.1.max(other.1)))
    }

    /// How many cases match a filter.
    pub fn count(&self, filter: &Filter) -> u64 {
        let (from, to) = days_of(filter);
        if filter.tool.is_some() {
            let found = self.histories(filter);
            return found
                .map(|(_, history)| u64::from(history.cell.sums(from, to).counts.cases))
                .sum();
        }
        self.matching(filter)
            .map(|(_, cell)| u64::from(cell.sums(from, to).counts.cases))
            .sum()
    }

    /// Takes what is known of the tools; those told of before and not now are forgotten,
    /// apart from their cases.
    pub fn set_fleet(&mut self, fleet: &[ToolService]) {
        self.tools.retain(|_, history| {
            history.service = None;
            !history.causes.is_empty()
        });
        for known in fleet {
            let symbols = &mut self.symbols;
            let (class, site) = (
                symbols.intern(&known.tool_class),
                symbols.intern(&known.site),
            );
            let mut services: BTreeMap<u32, BTreeSet<i64>> = BTreeMap::new();
            for (cause, day) in &known.services {
                let cause = symbols.intern(cause);
                services.entry(cause).or_default().insert(*day);
            }
            let service = Fitted {
                services,
                components: known
                    .components
                    .iter()
                    .map(|id| symbols.intern(id))
                    .collect(),
                from_day: known.from_day,
                until_day: known.until_day,
            };
            let tool = symbols.intern(&known.tool);
            let history = self.tools.entry(tool).or_default();
            (history.class, history.site) = (class, site);
            history.service = Some(service);
        }
        self.revision += 1;
    }

    /// First day of a case, by site.
    pub(super) fn first_days(&self) -> HashMap<u32, i64> {
        let mut firsts: HashMap<u32, i64> = HashMap::new();
        for (key, cell) in &self.cells {
            if let Some((day, _)) = cell.days() {
                let first = firsts.entry(key.site).or_insert(day);
                *first = (*first).min(day);
            }
        }
        firsts
    }

    /// The component each cause with a case belongs to.
    pub(super) fn components_of_causes(&self) -> HashMap<u32, u32> {
        self.cells
            .keys()
            .map(|key| (key.cause, key.component))
            .collect()
    }

    /// Counts by a dimension.
    pub fn by(&self, dimension: Dimension, filter: &Filter) -> Breakdown {
        let days = days_of(filter);
        let parted = match filter.tool {
            Some(_) if dimension != Dimension::Tool => self.parted(dimension, filter),
            _ => BTreeMap::new(),
        };
        let parts: Vec<Part<'_>> = match (dimension, &filter.tool) {
            // All tools together come quicker from what is not kept by tool.
            (Dimension::Tool, None) => self.parts_of_cells(Dimension::Class, filter),
            (Dimension::Tool, Some(_)) => self.parts_of_tools(filter).collect(),
            (_, Some(_)) => {
                let whole = parted.iter().map(|(of, cell)| self.part(*of, cell, days));
                whole.flatten().collect()
            }
            (other, None) => self.parts_of_cells(other, filter),
        };
        let sample = parts.iter().map(Part::cases).sum();
        let mut groups = match dimension {
            Dimension::Tool if days == ALL_DAYS => self.kept_of_tools(filter, sample),
            Dimension::Tool => {
                let tools = self.parts_of_tools(filter);
                tools.map(|part| self.group(&[&part], sample)).collect()
            }
            _ => self.groups(&parts, sample),
        };
        groups.sort_by(frequent_first);
        let mut so_far = 0;
        for group in &mut groups {
            so_far += group.share.count;
            group.cumulative = so_far as f64 / sample.max(1) as f64;
        }
        let everything: Vec<&Part<'_>> = parts.iter().collect();
        let all = Group {
            id: String::new(),
            ..self.group(&everything, sample)
        };
        Breakdown {
            sample,
            all,
            groups,
        }
    }

    fn groups(&self, parts: &[Part<'_>], sample: u64) -> Vec<Group> {
        let mut groups: BTreeMap<u32, Vec<&Part<'_>>> = BTreeMap::new();
        for part in parts {
            groups.entry(part.of).or_default().push(part);
        }
        let groups = groups.values();
        groups.map(|parts| self.group(parts, sample)).collect()
    }

    fn parts_of_cells(&self, dimension: Dimension, filter: &Filter) -> Vec<Part<'_>> {
        self.matching(filter)
            .filter_map(|(key, cell)| self.part(key.part(dimension), cell, days_of(filter)))
            .collect()
    }

    fn parts_of_tools(&self, filter: &Filter) -> impl Iterator<Item = Part<'_>> {
        let days = days_of(filter);
        let tools = self.histories(filter);
        tools.filter_map(move |(tool, history)| self.part(*tool, &history.cell, days))
    }

    /// The groups of tools over all days, kept until a case of theirs changes.
    fn kept_of_tools(&self, filter: &Filter, sample: u64) -> Vec<Group> {
        let kept = self.histories(filter).filter_map(|(tool, history)| {
            let worked_out = || {
                let part = self.part(*tool, &history.cell, ALL_DAYS)?;
                Some(Box::new(self.group(&[&part], part.cases())))
            };
            history.kept.get_or_init(worked_out).as_deref()
        });
        // Sorted before they are copied, since they are large.
        let mut kept: Vec<&Group> = kept.collect();
        kept.sort_unstable_by(|a, b| frequent_first(a, b));
        let of_all = kept.into_iter().map(|kept| Group {
            share: Share::of(kept.share.count, sample),
            ..kept.clone()
        });
        of_all.collect()
    }

    /// The cases of one tool, parted by another dimension.
    fn parted(&self, dimension: Dimension, filter: &Filter) -> BTreeMap<u32, Cell> {
        let (from, to) = days_of(filter);
        let mut cells: BTreeMap<u32, Cell> = BTreeMap::new();
        for (_, history) in self.histories(filter) {
            for line in history.causes.values() {
                for &(day, place) in line.between(from, to) {
                    let (key, _) = self.pairs[self.rows.get(place).pair as usize];
                    let cell = cells.entry(key.part(dimension)).or_default();
                    cell.insert(&self.rows, day, place, self.is_lost(&key));
                }
            }
        }
        cells
    }

    fn is_lost(&self, key: &Key) -> bool {
        self.symbols.get(NOT_FOUND) == Some(key.cause)
    }

    /// The cases of some days, if there are any.
    fn part<'l>(&'l self, of: u32, cell: &'l Cell, (from, to): (i64, i64)) -> Option<Part<'l>> {
        let chosen = cell.within(from, to);
        (chosen.sums.counts.cases > 0).then(|| Part {
            of,
            chosen,
            newest: cell.newest(&self.rows, from, to).take(RECENT).collect(),
        })
    }

    /// Cases of parts with the same value of a dimension, counted together.
    fn group(&self, parts: &[&Part<'_>], sample: u64) -> Group {
        let mut chosen = Chosen::default();
        let mut newest: Vec<At> = Vec::new();
        for part in parts {
            chosen.add(&part.chosen);
            newest.extend(&part.newest);
        }
        let counts = chosen.sums.counts;
        let cases = counts.cases.into();
        let of_found = |count: u32| Share::of(count.into(), (counts.cases - counts.lost).into());
        let of = parts.first().map(|part| self.symbols.name(part.of));
        Group {
            id: of.unwrap_or_default().to_owned(),
            share: Share::of(cases, sample),
            cumulative: 1.0,
            labour: spread(&chosen.labour, &chosen.sums.labour),
            down: spread(&chosen.down, &chosen.sums.down),
            first_check: Share::of(counts.first_hits.into(), counts.first_checked.into()),
            repeat_30: of_found(counts.within_30),
            repeat_90: of_found(counts.within_90),
            not_found: Share::of(counts.lost.into(), cases),
            recent: newest_of(newest)
                .into_iter()
                .map(|(_, number)| number)
                .collect(),
        }
    }

    /// The cases of tools on days on which each was watched, from the first to before the
    /// second, counted together.
    pub(super) fn on_watch<'l>(
        &'l self,
        tools: impl Iterator<Item = (&'l ToolHistory, i64, i64)>,
    ) -> Group {
        let parts: Vec<Part<'_>> = tools
            .filter_map(|(history, start, end)| {
                self.part(history.class, &history.cell, (start, end.saturating_sub(1)))
            })
            .collect();
        let all: Vec<&Part<'_>> = parts.iter().collect();
        Group {
            id: String::new(),
            ..self.group(&all, parts.iter().map(Part::cases).sum())
        }
    }

    /// Counts and sums by a dimension over all days, the most frequent first, without
    /// looking at a single case.
    pub fn totals(
        &self,
        dimension: Dimension,
        class: Option<&str>,
        site: Option<&str>,
    ) -> Vec<Total> {
        let filter = Filter {
            class: class.map(str::to_owned),
            site: site.map(str::to_owned),
            ..Filter::default()
        };
        let mut sums: HashMap<u32, Sums> = HashMap::new();
        if dimension == Dimension::Tool {
            for (&tool, history) in self.histories(&filter) {
                let all = history.cell.sums(i64::MIN, i64::MAX);
                sums.entry(tool).or_default().add(&all);
            }
        } else {
            for (key, cell) in self.matching(&filter) {
                let of = sums.entry(key.part(dimension)).or_default();
                of.add(&cell.sums(i64::MIN, i64::MAX));
            }
        }
        sums.retain(|_, sums| sums.counts.cases > 0);
        let mut totals: Vec<Total> = sums
            .into_iter()
            .map(|(part, sums)| Total {
                id: self.symbols.name(part).to_owned(),
                cases: sums.counts.cases.into(),
                labour_minutes: sums.labour.sum as f64 / 1e6,
                down_hours: sums.down.sum as f64 / 1e6,
            })
            .collect();
        totals.sort_by(|a, b| b.cases.cmp(&a.cases).then_with(|| a.id.cmp(&b.id)));
        totals
    }

    fn matching<'a>(&'a self, filter: &Filter) -> impl Iterator<Item = (&'a Key, &'a Cell)> {
        let wanted = |name: &Option<String>| name.as_deref().map(|name| self.symbols.get(name));
        let (class, site) = (wanted(&filter.class), wanted(&filter.site));
        self.cells.iter().filter(move |(key, _)| {
            class.is_none_or(|class| class == Some(key.class))
                && site.is_none_or(|site| site == Some(key.site))
        })
    }

    /// The tools of a selection.
    pub(super) fn histories<'a>(
        &'a self,
        filter: &Filter,
    ) -> impl Iterator<Item = (&'a u32, &'a ToolHistory)> {
        let wanted = |name: &Option<String>| name.as_deref().map(|name| self.symbols.get(name));
        let (class, site) = (wanted(&filter.class), wanted(&filter.site));
        let tool = wanted(&filter.tool);
        let one = tool
            .flatten()
            .and_then(|tool| self.tools.get_key_value(&tool));
        let all = self.tools.iter().filter(move |_| tool.is_none());
        one.into_iter().chain(all).filter(move |(_, history)| {
            class.is_none_or(|class| class == Some(history.class))
                && site.is_none_or(|site| site == Some(history.site))
        })
    }

    fn put_in(&mut self, case: &Case) {
        let symbols = &mut self.symbols;
        let cause = symbols.intern(&case.cause);
        let found = case.cause != NOT_FOUND;
        let mut part = |name: &Option<String>| {
            let name = name.as_deref().filter(|_| found).unwrap_or(NOT_FOUND);
            symbols.intern(name)
        };
        let (component, kind) = (part(&case.component), part(&case.kind));
        let key = Key {
            class: symbols.intern(&case.tool_class),
            site: symbols.intern(&case.site),
            cause,
            component,
            kind,
        };
        let tool = symbols.intern(&case.tool);
        let pair = numbered(&mut self.pairs, &mut self.numbers_of_pairs, (key, tool));
        let judged: BTreeMap<&str, bool> = case
            .checks
            .iter()
            .filter(|(_, outcome, _)| *outcome != Outcome::Inconclusive)
            .map(|(id, outcome, _)| (id.as_str(), *outcome == Outcome::Found))
            .collect();
        let signs = case.signs.iter();
        let antecedents = case.antecedents.iter();
        let mut marks: Vec<(u32, bool)> = signs
            .map(|(id, seen)| (Sort::Sign, id.as_str(), *seen))
            .chain(antecedents.map(|(id, told)| (Sort::Antecedent, id.as_str(), *told)))
            .chain(judged.iter().map(|(id, found)| (Sort::Check, *id, *found)))
            .map(|(sort, id, seen)| {
                let mark = (sort, symbols.intern(id));
                let number = numbered(&mut self.marks, &mut self.numbers_of_marks, mark);
                (number, seen)
            })
            .collect();
        marks.sort_unstable();
        marks.dedup();
        let held = Held {
            // Months count a day beyond as the nearest within.
            day: case.occurred_day.clamp(-FARTHEST, FARTHEST) as i32,
            pair,
            row: Row {
                labour: case.labour_minutes,
                down: case.down_hours,
                first_hit: case
                    .checks
                    .first()
                    .map(|(_, outcome, _)| *outcome == Outcome::Found),
                days_since_same: None,
            },
            loss: case.loss_decades,
        };
        let place = self.rows.put_in(case.number, &held, &marks);
        let mut tables = std::mem::take(&mut self.tables);
        self.tell(&mut tables, place, 1.0);
        self.tables = tables;
        let cell = self.cells.entry(key).or_default();
        cell.insert(&self.rows, held.day, place, !found);
        let history = self.tools.entry(tool).or_default();
        history.cell.insert(&self.rows, held.day, place, !found);
        history.kept.take();
        (history.class, history.site) = (key.class, key.site);
        let line = history.causes.entry(cause).or_default();
        let position = line.put_in(&self.rows, held.day, place);
        if found {
            self.link(tool, cause, position);
            self.link(tool, cause, position + 1);
        }
    }

    fn take_out(&mut self, number: i64) -> bool {
        let Some(place) = self.rows.place(number) else {
            return false;
        };
        let held = self.rows.get(place);
        let (key, tool) = self.pairs[held.pair as usize];
        let cause = key.cause;
        let mut tables = std::mem::take(&mut self.tables);
        self.tell(&mut tables, place, -1.0);
        self.tables = tables;
        if let Some(cell) = self.cells.get_mut(&key) {
            cell.remove(&self.rows, held.day, place);
            if cell.is_empty() {
                self.cells.remove(&key);
            }
        }
        let mut position = 0;
        if let Some(history) = self.tools.get_mut(&tool) {
            history.cell.remove(&self.rows, held.day, place);
            history.kept.take();
            if let Some(line) = history.causes.get_mut(&cause) {
                position = line.take_out(&self.rows, held.day, place);
                if line.is_empty() {
                    history.causes.remove(&cause);
                }
            }
            if history.causes.is_empty() && history.service.is_none() {
                self.tools.remove(&tool);
            }
        }
        self.rows.take_out(place);
        if self.symbols.get(NOT_FOUND) != Some(cause) {
            self.link(tool, cause, position);
        }
        true
    }

    /// Sets the days since the same trouble on the case at a position in the line of its tool
    /// and cause, if there is one.
    fn link(&mut self, tool: u32, cause: u32, position: usize) {
        let Some(history) = self.tools.get_mut(&tool) else {
            return;
        };
        let line = history.causes.get(&cause);
        let Some((day, place)) = line.and_then(|line| line.get(position)) else {
            return;
        };
        let before = position
            .checked_sub(1)
            .and_then(|before| line?.get(before))
            .map(|(before, _)| i64::from(day) - i64::from(before));
        self.rows.set_gap(place, before);
        history.cell.recount(&self.rows, day, place);
        history.kept.take();
        let (key, _) = self.pairs[self.rows.get(place).pair as usize];
        if let Some(cell) = self.cells.get_mut(&key) {
            cell.recount(&self.rows, day, place);
        }
    }
}

/// The number of a thing, given when it is first met.
fn numbered<T: Copy + Eq + std::hash::Hash>(
    all: &mut Vec<T>,
    numbers: &mut HashMap<T, u32>,
    one: T,
) -> u32 {
    *numbers.entry(one).or_insert_with(|| {
        all.push(one);
        all.len() as u32 - 1
    })
}

impl Key {
    fn part(&self, dimension: Dimension) -> u32 {
        match dimension {
            Dimension::Class => self.class,
            Dimension::Site => self.site,
            Dimension::Component => self.component,
            Dimension::Kind => self.kind,
            // A key holds many tools; they are counted by their histories.
            Dimension::Cause | Dimension::Tool => self.cause,
        }
    }
}

/// Adds a case to the counts by its weight, or takes it out by its negative.
fn count(
    symbols: &Symbols,
    tables: &mut Tables,
    key: &Key,
    loss: Option<f64>,
    looked_for: impl Iterator<Item = (Sort, u32, bool)>,
    weight: f64,
) {
    let class = symbols.name(key.class);
    let cause = symbols.name(key.cause);
    if !tables.classes.contains_key(class) {
        tables.classes.insert(class.to_owned(), BTreeMap::new());
    }
    if let Some(causes) = tables.classes.get_mut(class) {
        *causes.entry(cause.to_owned()).or_default() += weight;
        if weight < 0.0 {
            causes.retain(|_, count| *count > 0.0);
        }
        if causes.is_empty() {
            tables.classes.remove(class);
        }
    }
    if !tables.causes.contains_key(cause) {
        tables
            .causes
            .insert(cause.to_owned(), CauseTable::default());
    }
    let Some(table) = tables.causes.get_mut(cause) else {
        return;
    };
    for (sort, id, seen) in looked_for {
        let counts = match sort {
            Sort::Sign => &mut table.signs,
            Sort::Antecedent => &mut table.antecedents,
            Sort::Check => &mut table.checks,
        };
        let add = |looked: &mut Looked| {
            looked.looked += weight;
            looked.seen += if seen { weight } else { 0.0 };
        };
        match counts.get_mut(symbols.name(id)) {
            Some(looked) => add(looked),
            None => add(counts.entry(symbols.name(id).to_owned()).or_default()),
        }
    }
    if let Some(loss) = loss {
        let losses = &mut table.losses;
        losses.cases += weight;
        losses.sum += weight * loss;
        losses.squares += weight * loss * loss;
        let tenth = (loss * 10.0).floor() as i32;
        *losses.tenths.entry(tenth).or_default() += weight;
        if weight < 0.0 {
            losses.tenths.retain(|_, count| *count > 0.0);
        }
    }
}

fn days_of(filter: &Filter) -> (i64, i64) {
    (
        filter.from_day.unwrap_or(i64::MIN),
        filter.to_day.unwrap_or(i64::MAX),
    )
}

/// Cases with one value of a dimension.
struct Part<'l> {
    of: u32,
    chosen: Chosen<'l>,
    newest: Vec<At>,
}

impl Part<'_> {
    fn cases(&self) -> u64 {
        self.chosen.sums.counts.cases.into()
    }
}

fn frequent_first(one: &Group, other: &Group) -> std::cmp::Ordering {
    let frequent = other.share.count.cmp(&one.share.count);
    frequent.then_with(|| one.id.cmp(&other.id))
}

/// The newest of some cases, the newest first.
fn newest_of(mut cases: Vec<At>) -> Vec<At> {
    if cases.len() > RECENT {
        cases.select_nth_unstable_by(RECENT, |a, b| b.cmp(a));
        cases.truncate(RECENT);
    }
    cases.sort_unstable_by(|a, b| b.cmp(a));
    cases
}

fn spread(numbers: &Numbers<'_>, powers: &Powers) -> Spread {
    let sample = numbers.len() as u64;
    let Powers {
        sum,
        squares,
        cubes,
    } = *powers;
    if sample == 0 {
        return Spread::default();
    }
    let count = sample as f64;
    let mean = sum as f64 / 1e6 / count;
    let variance = (squares as f64 / 1e12 / count - mean * mean) * count / (count - 1.0).max(1.0);
    let median = mean::median(numbers);
    Spread {
        sample,
        sum: sum as f64 / 1e6,
        mean: Some(mean),
        deviation: (sample > 1).then(|| variance.max(0.0).sqrt()),
        mean_interval: mean::interval(numbers, mean, variance, cubes as f64 / 1e3),
        median: median.map(|(median, _)| median),
        median_interval: median.and_then(|(_, interval)| interval),
    }
}

fn accept(number: i64, case: &Case) -> Result<(), StatisticsError> {
    let bad = |field: &'static str, problem: String| {
        Err(StatisticsError::BadCase {
            number,
            field,
            problem,
        })
    };
    if case.number != number {
        return bad(
            "number",
            format!("is {}; accepted is {number}", case.number),
        );
    }
    for (field, value) in [
        ("labour_minutes", case.labour_minutes),
        ("down_hours", case.down_hours),
    ] {
        if !(0.0..=LARGEST).contains(&value) {
            return bad(field, format!("is {value}; accepted is 0 to 1e9"));
        }
    }
    if let Some(loss) = case.loss_decades
        && !(-20.0..=20.0).contains(&loss)
    {
        return bad("loss_decades", format!("is {loss}; accepted is -20 to 20"));
    }
    for (field, pairs) in [("signs", &case.signs), ("antecedents", &case.antecedents)] {
        let mut known: HashMap<&str, bool> = HashMap::new();
        for (id, seen) in pairs {
            if known
                .insert(id, *seen)
                .is_some_and(|before| before != *seen)
            {
                return bad(
                    field,
                    format!("has {id} both as seen and as absent; accepted is one of them"),
                );
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::*;

    fn drawn(rng: &mut ChaCha8Rng, number: i64) -> Case {
        let cause = ["door-seal-worn", "water-line", "tip-seal", NOT_FOUND][rng.random_range(0..4)];
        let found = cause != NOT_FOUND;
        let tool = rng.random_range(0..6);
        Case {
            number,
            tool: format!("T-{tool}"),
            tool_class: ["cryo", "turbo"][tool % 2].to_owned(),
            site: ["ALD", "BRK"][tool / 2 % 2].to_owned(),
            cause: cause.to_owned(),
            component: found.then(|| format!("{cause}-part")),
            kind: found.then(|| "air-leak".to_owned()),
            occurred_day: rng.random_range(-200..400),
            labour_minutes: f64::from(rng.random_range(0..4000)) / 10.0,
            down_hours: f64::from(rng.random_range(0..900)) / 10.0,
            signs: vec![("hiss".to_owned(), rng.random())],
            antecedents: vec![("door-opened".to_owned(), rng.random())],
            checks: vec![(
                "look".to_owned(),
                [Outcome::Found, Outcome::Clear][rng.random_range(0..2)],
                Some(10.0),
            )],
            loss_decades: Some(1.0),
        }
    }

    fn median(mut values: Vec<f64>) -> f64 {
        values.sort_by(f64::total_cmp);
        (values[(values.len() - 1) / 2] + values[values.len() / 2]) / 2.0
    }

    /// Holds the ledger, after many changes, to a plain recount of what is left.
    #[test]
    fn changes_leave_what_a_recount_gives() {
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        let mut ledger = Ledger::new();
        let mut left: BTreeMap<i64, Case> = BTreeMap::new();
        for _ in 0..3000 {
            let number = rng.random_range(0..300);
            let case = rng.random_bool(0.7).then(|| drawn(&mut rng, number));
            ledger.apply(number, case.as_ref()).unwrap();
            match case {
                Some(case) => left.insert(number, case),
                None => left.remove(&number),
            };
        }
        assert_eq!(ledger.len(), left.len());
        let filters = [
            Filter::default(),
            Filter {
                class: Some("cryo".to_owned()),
                ..Filter::default()
            },
            Filter {
                from_day: Some(0),
                to_day: Some(100),
                ..Filter::default()
            },
            Filter {
                class: Some("turbo".to_owned()),
                site: Some("BRK".to_owned()),
                from_day: Some(50),
                ..Filter::default()
            },
            Filter {
                site: Some("ALD".to_owned()),
                ..Filter::default()
            },
            Filter {
                tool: Some("T-2".to_owned()),
                ..Filter::default()
            },
            Filter {
                class: Some("cryo".to_owned()),
                tool: Some("T-4".to_owned()),
                from_day: Some(-31),
                to_day: Some(89),
                ..Filter::default()
            },
            // Whole months, and days within one.
            Filter {
                from_day: Some(31),
                to_day: Some(89),
                ..Filter::default()
            },
            // A whole year with days beside it.
            Filter {
                from_day: Some(-20),
                to_day: Some(380),
                ..Filter::default()
            },
            Filter {
                from_day: Some(33),
                to_day: Some(44),
                ..Filter::default()
            },
        ];
        for filter in filters {
            let kept: Vec<&Case> = left
                .values()
                .filter(|case| {
                    filter
                        .class
                        .as_ref()
                        .is_none_or(|class| *class == case.tool_class)
                })
                .filter(|case| filter.site.as_ref().is_none_or(|site| *site == case.site))
                .filter(|case| filter.tool.as_ref().is_none_or(|tool| *tool == case.tool))
                .filter(|case| filter.from_day.is_none_or(|day| case.occurred_day >= day))
                .filter(|case| filter.to_day.is_none_or(|day| case.occurred_day <= day))
                .collect();
            let answer = ledger.by(Dimension::Cause, &filter);
            assert_eq!(answer.sample, kept.len() as u64);
            assert_eq!(ledger.count(&filter), kept.len() as u64);
            for dimension in [Dimension::Tool, Dimension::Class, Dimension::Kind] {
                let other = ledger.by(dimension, &filter);
                let sum = |of: fn(&Group) -> u64| other.groups.iter().map(of).sum::<u64>();
                assert_eq!(other.all, answer.all);
                assert_eq!(sum(|group| group.share.count), answer.sample);
                assert_eq!(
                    sum(|group| group.not_found.count),
                    answer.all.not_found.count
                );
                assert_eq!(
                    sum(|group| group.repeat_90.count),
                    answer.all.repeat_90.count
                );
                for group in other.groups.iter().filter(|_| dimension == Dimension::Tool) {
                    let of: Vec<_> = kept.iter().filter(|case| case.tool == group.id).collect();
                    assert_eq!(group.share.count, of.len() as u64);
                    let middle = median(of.iter().map(|case| case.labour_minutes).collect());
                    assert_eq!(group.labour.median, Some(middle));
                }
            }
            assert_eq!(answer.all.share.count, kept.len() as u64);
            assert!((answer.groups.last().unwrap().cumulative - 1.0).abs() < 1e-12);
            if filter.from_day.is_none() && filter.tool.is_none() {
                let (class, site) = (filter.class.as_deref(), filter.site.as_deref());
                let totals = ledger.totals(Dimension::Cause, class, site);
                let of = |group: &Group| Total {
                    id: group.id.clone(),
                    cases: group.share.count,
                    labour_minutes: group.labour.sum,
                    down_hours: group.down.sum,
                };
                assert_eq!(totals, answer.groups.iter().map(of).collect::<Vec<_>>());
            }
            for group in &answer.groups {
                let of: Vec<&&Case> = kept.iter().filter(|case| case.cause == group.id).collect();
                assert_eq!(group.share, Share::of(of.len() as u64, kept.len() as u64));
                let labour: f64 = of.iter().map(|case| case.labour_minutes).sum();
                assert!((group.labour.sum - labour).abs() < 1e-6);
                let middle = median(of.iter().map(|case| case.down_hours).collect());
                assert_eq!(group.down.median, Some(middle));
                let repeats = of
                    .iter()
                    .filter(|case| {
                        case.cause != NOT_FOUND
                            && left.values().any(|other| {
                                let gap = case.occurred_day - other.occurred_day;
                                let before = (other.occurred_day, other.number)
                                    < (case.occurred_day, case.number);
                                before
                                    && gap <= 30
                                    && other.tool == case.tool
                                    && other.cause == case.cause
                            })
                    })
                    .count();
                assert_eq!(group.repeat_30.count, repeats as u64, "{}", group.id);
                let mut recent: Vec<_> = of
                    .iter()
                    .map(|case| (case.occurred_day, case.number))
                    .collect();
                recent.sort_unstable_by(|a, b| b.cmp(a));
                let recent: Vec<i64> = recent.iter().take(RECENT).map(|at| at.1).collect();
                assert_eq!(group.recent, recent);
            }
        }
        let mut again = Ledger::new();
        for case in left.values().rev() {
            again.apply(case.number, Some(case)).unwrap();
        }
        let (again, kept) = (again.lessons(None), ledger.lessons(None));
        assert_eq!(again.counts.classes, kept.counts.classes);
        for (cause, table) in &again.counts.causes {
            assert_eq!(table, &kept.counts.causes[cause], "{cause}");
        }
        assert_eq!(again.latest, kept.latest);
    }

    #[test]
    fn bad_cases_are_refused_and_change_nothing() {
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let good = drawn(&mut rng, 5);
        let mut ledger = Ledger::new();
        ledger.apply(5, Some(&good)).unwrap();
        let mut negative = good.clone();
        negative.labour_minutes = -3.0;
        let message = ledger.apply(5, Some(&negative)).unwrap_err().to_string();
        assert_eq!(
            message,
            "case 5: labour_minutes is -3; accepted is 0 to 1e9"
        );
        let mut torn = good.clone();
        torn.signs = vec![("hiss".to_owned(), true), ("hiss".to_owned(), false)];
        assert!(ledger.apply(5, Some(&torn)).is_err());
        let mut endless = good.clone();
        endless.down_hours = f64::NAN;
        assert!(ledger.apply(5, Some(&endless)).is_err());
        assert_eq!(ledger.len(), 1);
        let nobody = Filter {
            class: Some("nobody".to_owned()),
            ..Filter::default()
        };
        let empty = ledger.by(Dimension::Cause, &nobody);
        assert_eq!(
            (empty.sample, empty.groups.len(), empty.all.share.value),
            (0, 0, None)
        );
        let backwards = Filter {
            from_day: Some(9),
            to_day: Some(-9),
            ..Filter::default()
        };
        assert_eq!(ledger.by(Dimension::Site, &backwards).sample, 0);
    }
}
