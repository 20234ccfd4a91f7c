//! From what a person typed to the incidents that answer it.

use std::{
    collections::{HashMap, hash_map},
    ops::{Bound, Range},
    sync::Arc,
};

use tantivy::{
    DocAddress, DocId, Order, Score, Searcher, SegmentReader, Term,
    collector::{Count, TopDocs},
    columnar::Column,
    query::{
        AllQuery, Bm25StatisticsProvider, BooleanQuery, BoostQuery, ConstScoreQuery, Occur,
        PhraseQuery, Query, RangeQuery, TermQuery,
    },
    schema::{Field, IndexRecordOption},
};

use crate::{
    casebook::{Asker, SiteScope},
    catalogue::{AntecedentId, Kind},
    search::{
        Entry, SearchError, SearchIndex,
        asking::{
            denied,
            happened::happened,
            held::Held,
            language::Named,
            naming::Names,
            noted::InNoted,
            phrase::Phrase,
            plan::{self, AskedPressure, Strict, Understood, Wanted},
            remark::{Figure, Remark},
            unseen::Unseen,
        },
        indexed::{
            document::{Noted, Part, When},
            schema::{BEFORE, ELSEWHERE, FAULT},
        },
        ranking::{
            beside::Beside,
            leaning::Leaning,
            rank::{self, Scorer},
            shortlist::{self, Allowed, Form, Forms, Plan},
            spread, walk,
            weights::Weights,
        },
        reading::{
            analysis::{self, denied_forms},
            pressure::{self, Reading, Told},
            quantity::{self, Sort, quantities},
            surface::Surface,
        },
    },
    vacuum::units::PressureUnit,
};

/// How many of its own words a case is compared by.
const SIMILAR_WORDS: usize = 40;

/// How many quantities of its symptom a case is compared by.
const SIMILAR_QUANTITIES: usize = 4;

/// Worth of a thing that a check cleared, beside one of which somebody says so in words.
const CLEARED_WORTH: f32 = 0.3;

/// What narrows a search.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filters {
    /// Tool class.
    pub class: Option<String>,
    /// Kind of cause.
    pub kind: Option<Kind>,
    /// One cause.
    pub cause: Option<String>,
    /// One site.
    pub site: Option<String>,
    /// Not before, microseconds since 1970.
    pub from: Option<i64>,
    /// Before, microseconds since 1970.
    pub until: Option<i64>,
}

/// A search.
#[derive(Clone, Debug, Default)]
pub struct Request {
    /// What was typed; empty lists everything, newest first.
    pub text: String,
    /// What narrows it.
    pub filters: Filters,
    /// How many hits to leave out.
    pub skip: usize,
    /// How many hits to return.
    pub limit: usize,
    /// Whether a search that finds nothing is asked again with less.
    pub relax: bool,
    /// What the outcomes of checks on the incident asked about say of causes.
    pub leaning: Leaning,
    /// Causes that the tool asked about cannot have: no case like its own is sought among theirs.
    pub impossible: Vec<String>,
    /// Whether every match is weighed, however large the index: for measuring what a short list
    /// costs.
    pub whole: bool,
    /// Names of the catalogue that may stand after field words.
    pub names: Names,
    /// Other weights than those fitted, for fitting them.
    pub weights: Option<Weights>,
}

/// One incident found.
#[derive(Clone, Debug, PartialEq)]
pub struct Hit {
    /// Its number.
    pub number: i64,
    /// How well it fits; only comparable within one answer.
    pub score: f32,
    /// Others told alike, of the same class and cause, with the same figures and denying the same;
    /// left out of the list.
    pub alike: Vec<i64>,
}

impl Hit {
    /// Names the cases that are put together with it, in words; none if there are none.
    pub fn told_alike(&self) -> Option<String> {
        const NAMED: usize = 5;
        if self.alike.is_empty() {
            return None;
        }
        let named: Vec<_> = self.alike.iter().take(NAMED).map(i64::to_string).collect();
        let more = match self.alike.len().saturating_sub(NAMED) {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        Some(format!("told alike: {}{more}", named.join(", ")))
    }
}

/// What a search found.
#[derive(Clone, Debug, Default)]
pub struct Answer {
    /// How many incidents fit at all.
    pub total: usize,
    /// How many of these are left out of the list because one told alike stands in it.
    pub told_again: usize,
    /// Whether more may fit: in a large index not every match is looked at.
    pub or_more: bool,
    /// The best of them.
    pub hits: Vec<Hit>,
    /// What the search was understood to ask.
    pub understood: Arc<Understood>,
    /// What had to be left out to find anything.
    pub relaxed: Vec<Remark>,
    /// Whether the hits have nothing to do with what was typed, for want of any that have.
    pub instead: bool,
}

impl Answer {
    /// How many hits the whole list has.
    pub fn listed(&self) -> usize {
        self.total.saturating_sub(self.told_again)
    }
}

/// What a short list came to.
pub(super) struct Short {
    /// The best, best first.
    pub(super) found: Vec<(f32, DocAddress)>,
    /// How many fit at least.
    pub(super) total: usize,
    /// Whether more may fit.
    pub(super) or_more: bool,
}

impl Request {
    /// The same search among what the asker may see, so that not even a total tells of more.
    fn seen_by(&self, asker: &Asker) -> Self {
        let mut seen = self.clone();
        if let SiteScope::Only(site) = &asker.scope {
            seen.filters.site = Some(site.to_string());
        }
        seen
    }
}

impl SearchIndex {
    /// Searches.
    ///
    /// # Errors
    /// The search library failing. Nothing that can be typed is an error.
    pub fn search(&self, asker: &Asker, request: &Request) -> Result<Answer, SearchError> {
        let request = &request.seen_by(asker);
        let searcher = self.reader.searcher();
        if request.text.trim().is_empty() {
            return self.newest(&searcher, Vec::new(), request);
        }
        let (typed, tools) = match self.name_typed(&request.names, &request.text) {
            Some((typed, told)) => (typed, vec![told]),
            None => self.tools_typed(&searcher, &request.text)?,
        };
        let vocabulary = self.vocabulary_for(&searcher, &typed)?;
        let mut asked = Understood::new(&typed, &self.analysis, &vocabulary);
        let open = matches!(asker.scope, SiteScope::All);
        let unseen = denied::unseen(&asked.denied, &request.names, &self.analysis);
        for thing in &unseen {
            asked.weigh_less(thing);
        }
        asked.denied_causes =
            denied::causes(&asked.denied, &unseen, &request.names, &self.analysis);
        let before = happened(&typed, request.names.antecedents(), &self.analysis);
        let before = before.into_iter().map(|id| (AntecedentId::new(id), true));
        asked.circumstances.antecedents.extend(before);
        asked.remarks.extend(tools.into_iter().filter(|_| open));
        self.name(&searcher, &request.names, open, &mut asked)?;
        asked.weights = request.weights.unwrap_or(Weights::QUERY);
        if asked.weights.tells > 0.0 {
            asked.learn(self.learning(&searcher)?);
        }
        if asked.asks_nothing() {
            return self.instead(&searcher, &asked, request);
        }
        let mut answer = self.ranked(&searcher, &asked, Vec::new(), request)?;
        if answer.total == 0 && request.relax {
            answer = self.relaxed(&searcher, &asked, request)?;
        } else if answer.total > 0 {
            let told = self.foreline_remark(&searcher, &asked, request)?;
            answer.relaxed.extend(told);
        }
        Ok(answer)
    }

    /// The newest cases, where nothing was asked that tells cases apart.
    fn instead(
        &self,
        searcher: &Searcher,
        asked: &Understood,
        request: &Request,
    ) -> Result<Answer, SearchError> {
        let mut answer = Answer::default();
        let newest = request.relax;
        if newest {
            answer = self.newest(searcher, Vec::new(), request)?;
        }
        answer.relaxed.push(Remark::TellsNothing { newest });
        answer.understood = Arc::new(asked.clone());
        answer.instead = true;
        Ok(answer)
    }

    /// Asks again with less until something is found.
    fn relaxed(
        &self,
        searcher: &Searcher,
        asked: &Understood,
        request: &Request,
    ) -> Result<Answer, SearchError> {
        let bounded = asked.pressures.iter().any(|p| p.reading.bounded);
        let loose = asked.clone().without_bounds();
        let wide = Request {
            filters: Filters {
                // Kept to what the asker may see.
                site: request.filters.site.clone(),
                ..Filters::default()
            },
            ..request.clone()
        };
        let filtered = request.filters != wide.filters;
        let mut steps = Vec::new();
        let near = asked.pressures.iter().any(|p| !p.reading.bounded);
        let more = !asked.wanted.is_empty() || !asked.quantities.is_empty() || near;
        if more && (bounded || asked.keeps_to_something()) {
            steps.push((
                asked.clone().with_words_optional(),
                request,
                Remark::WithoutWords,
            ));
        }
        if bounded {
            steps.push((loose, request, Remark::WithoutRange));
        }
        if let Some(plus) = asked.without_minus() {
            steps.push((plus, request, Remark::WithoutMinus));
        }
        if asked.is_strict() {
            steps.push((asked.relaxed(), request, Remark::WithoutMarks));
        }
        for fewer in asked.without_one_name() {
            steps.push((fewer, request, Remark::WithoutOneField));
        }
        if !asked.quantities_denied.is_empty() {
            let mut all = asked.clone();
            all.quantities_denied.clear();
            steps.push((all, request, Remark::WithoutDenial));
        }
        if filtered {
            steps.push((asked.clone(), &wide, Remark::WithoutFilters));
            steps.push((asked.relaxed(), &wide, Remark::WithoutAll));
        }
        for (asked, request, told) in steps {
            if asked.asks_nothing() {
                continue;
            }
            let mut answer = self.ranked(searcher, &asked, Vec::new(), request)?;
            if answer.total > 0 {
                answer.relaxed.push(told);
                return Ok(answer);
            }
        }
        if let Some(found) = self.nearest(searcher, asked, request)? {
            return Ok(found);
        }
        if !asked.wanted.is_empty() && !asked.only_denies() {
            let denied = asked.with_denied_forms();
            let mut answer = self.ranked(searcher, &denied, Vec::new(), request)?;
            if answer.total > 0 {
                answer.relaxed.push(Remark::SaidNotSo);
                return Ok(answer);
            }
        }
        if let Some(found) = self.silent_of(searcher, asked, request)? {
            return Ok(found);
        }
        if let Some(like) = asked.most_like(&*self.vocabulary(searcher)?) {
            let mut answer = self.ranked(searcher, &like, Vec::new(), request)?;
            if answer.total > 0 {
                answer.relaxed.push(Remark::WrittenLike);
                return Ok(answer);
            }
        }
        let mut relaxed: Vec<Remark> = Vec::new();
        for name in asked
            .named
            .iter()
            .filter(|name| name.named == Named::Number)
        {
            let held = |(id, _): &(String, String)| {
                let number = id.parse().unwrap_or_default();
                searcher.doc_freq(&Term::from_field_i64(self.fields.number, number))
            };
            let mut found = 0;
            for value in &name.values {
                found += held(value)?;
            }
            if found == 0 {
                let numbers = name.values.iter();
                relaxed.extend(numbers.map(|(number, _)| Remark::NoIncident(number.clone())));
            }
        }
        if relaxed.is_empty() && asked.remarks.is_empty() {
            relaxed.push(Remark::Nothing);
        }
        Ok(Answer {
            relaxed,
            understood: Arc::new(asked.clone()),
            ..Answer::default()
        })
    }

    /// The cases whose pressure is nearest to the first one asked for, or else those nearest in another
    /// quantity, however far off.
    fn nearest(
        &self,
        searcher: &Searcher,
        asked: &Understood,
        request: &Request,
    ) -> Result<Option<Answer>, SearchError> {
        const MOST: usize = 20;
        let mut understood = asked.clone();
        understood.pressures.truncate(1);
        understood
            .quantities
            .retain(|quantity| quantity.sort != Sort::Mass);
        understood.quantities.truncate(1);
        understood.nearest = true;
        let pressure = understood.pressures.first();
        let (sought, shown) = match (pressure, understood.quantities.first()) {
            (Some(pressure), _) => {
                let reading = pressure.reading.clone();
                (rank::Sought::Pressure(reading), pressure.shown.clone())
            }
            (None, Some(quantity)) => (
                rank::Sought::Quantity(quantity.clone()),
                quantity.shown.clone(),
            ),
            (None, None) => return Ok(None),
        };
        let told = Remark::Nearest {
            figure: shown.trim().to_owned(),
            of: match pressure.map(|pressure| pressure.reading.told) {
                Some(Told::Now | Told::Aside) => Figure::Fault,
                Some(Told::Before) => Figure::Before,
                Some(Told::Elsewhere) => Figure::Foreline,
                None => Figure::Other,
            },
        };
        if pressure.is_some() {
            understood.quantities.clear();
        }
        let mut clauses = self.narrowing(&request.filters);
        clauses.push((Occur::Must, Box::new(AllQuery)));
        let top = TopDocs::with_limit(MOST).tweak_score(move |segment: &SegmentReader| {
            let distance = rank::Distance::new(&sought, segment);
            move |case: DocId, _: Score| -distance.of(case)
        });
        let found = searcher.search(&BooleanQuery::new(clauses), &top)?;
        let mut numbers = Numbers::new(searcher);
        let mut hits = Vec::new();
        for (score, address) in found.into_iter().filter(|(score, _)| score.is_finite()) {
            hits.extend(numbers.of(address)?.map(|number| Hit {
                number,
                score,
                alike: Vec::new(),
            }));
        }
        if hits.is_empty() {
            return Ok(None);
        }
        let end = request.skip + request.limit.max(1);
        Ok(Some(Answer {
            total: hits.len(),
            hits: page(hits, request.skip.min(end)..end),
            understood: Arc::new(understood),
            relaxed: vec![told],
            ..Answer::default()
        }))
    }

    /// Where only what is not so was typed, and no case is read as saying it: the newest that hold nothing
    /// of it.
    fn silent_of(
        &self,
        searcher: &Searcher,
        asked: &Understood,
        request: &Request,
    ) -> Result<Option<Answer>, SearchError> {
        let mut terms = asked
            .wanted
            .iter()
            .flat_map(|wanted| &wanted.terms)
            .peekable();
        if terms.peek().is_none() {
            return Ok(None);
        }
        let mut without: Vec<(Occur, Box<dyn Query>)> = Vec::new();
        for (ruled_out, _) in terms {
            let Some(plain) = analysis::ruled_out(ruled_out) else {
                return Ok(None);
            };
            let held = self
                .fields
                .texts()
                .map(|field| term(Term::from_field_text(field, plain)));
            let held = BooleanQuery::union(held.into());
            without.push((Occur::MustNot, Box::new(held)));
        }
        for pair in asked
            .wanted
            .iter()
            .filter_map(|wanted| wanted.pair.as_ref())
        {
            let plain = [0, 1].map(|at| {
                (
                    at,
                    analysis::ruled_out(&pair[at])
                        .unwrap_or(&pair[at])
                        .to_owned(),
                )
            });
            let held = Part::ALL.map(|part| self.phrase(part, asked, &plain));
            without.push((Occur::MustNot, Box::new(BooleanQuery::union(held.into()))));
        }
        let mut answer = self.newest(searcher, without, request)?;
        if answer.total == 0 {
            return Ok(None);
        }
        answer.relaxed.push(Remark::NotRuledOut);
        let mut asked = asked.clone();
        asked.silent = true;
        answer.understood = Arc::new(asked);
        answer.instead = true;
        Ok(Some(answer))
    }

    /// The cases most like `entry`, leaving out `entry` itself. Compared by the words of
    /// symptom and circumstances, which are known before the cause is, and by pressure.
    ///
    /// # Errors
    /// The search library failing.
    pub fn similar(
        &self,
        asker: &Asker,
        entry: &Entry,
        request: &Request,
    ) -> Result<Answer, SearchError> {
        let request = &request.seen_by(asker);
        let searcher = self.reader.searcher();
        let vocabulary = self.vocabulary(&searcher)?;
        let mut telling: Vec<(f32, Wanted)> = Vec::new();
        // The tool's own name stands first among the facts: a like number elsewhere says nothing.
        let known = &entry.facts[..entry.cleared];
        let facts = known.strip_prefix(&entry.tool).unwrap_or(known);
        for text in [&*entry.symptom, facts] {
            for wanted in Understood::wanted_of(text, &self.analysis, &vocabulary) {
                if is_number(&wanted.shown)
                    || telling
                        .iter()
                        .any(|(_, known)| known.terms[0].0 == wanted.terms[0].0)
                {
                    continue;
                }
                let mut frequency = 0;
                for (term, _) in &wanted.terms {
                    frequency = frequency.max(self.frequency(&searcher, term)?);
                }
                if frequency > 0 {
                    let rarity = (searcher.num_docs() as f32 / frequency as f32).ln();
                    telling.push((rarity, wanted));
                }
            }
        }
        telling.sort_by(|a, b| {
            b.0.total_cmp(&a.0)
                .then_with(|| a.1.terms[0].0.cmp(&b.1.terms[0].0))
        });
        telling.truncate(SIMILAR_WORDS);
        if telling.is_empty() {
            return Ok(Answer::default());
        }
        let wanted = telling.into_iter().map(|(_, wanted)| wanted).collect();
        let pressures = entry
            .pressures
            .iter()
            .filter(|measured| measured.when == When::Fault)
            .take(1)
            .map(|measured| AskedPressure {
                reading: Reading {
                    place: 0..0,
                    number: 0..0,
                    low: measured.power,
                    high: measured.power,
                    unit: Some(PressureUnit::Pascal),
                    told: Told::Now,
                    bounded: false,
                },
                shown: measured.shown.to_string(),
            })
            .collect();
        let mut asked = Understood::of_terms(&self.analysis, wanted, pressures);
        asked.circumstances = entry.circumstances.clone();
        asked.leaning = request.leaning.clone();
        let seen = quantities(&entry.symptom, &[]).into_iter();
        let seen = seen.filter(|quantity| !quantity.aside());
        asked.quantities = seen.take(SIMILAR_QUANTITIES).collect();
        let told = self.analysis.read(&entry.symptom);
        asked.surface = Surface::of_query(&told, self.analysis.learnt());
        asked.denied = plan::denied(&entry.symptom, &told);
        asked.weights = request.weights.unwrap_or(Weights::CASE);
        if asked.weights.tells > 0.0 {
            asked.learn(self.learning(&searcher)?);
        }
        let own = Term::from_field_i64(self.fields.number, entry.number);
        let other = request.impossible.iter();
        let other = other.map(|cause| Term::from_field_text(self.fields.cause, cause));
        let left_out = std::iter::once(own).chain(other);
        let left_out = left_out.map(|out| (Occur::MustNot, term(out))).collect();
        self.ranked(&searcher, &asked, left_out, request)
    }

    /// What to say where a pressure of the foreline was asked for beside words, and no case was near it.
    fn foreline_remark(
        &self,
        searcher: &Searcher,
        asked: &Understood,
        request: &Request,
    ) -> Result<Option<Remark>, SearchError> {
        let of_foreline = |asked: &&AskedPressure| {
            asked.reading.told == Told::Elsewhere && !asked.reading.bounded
        };
        let Some(pressure) = asked.pressures.iter().find(of_foreline) else {
            return Ok(None);
        };
        let mut clauses = self.narrowing(&request.filters);
        clauses.push((Occur::Must, self.beside(&pressure.reading).cases()));
        let near = searcher.search(&BooleanQuery::new(clauses), &Count)?;
        Ok((near == 0).then(|| {
            let shown = pressure.shown.trim().to_owned();
            Remark::NoForeline(shown)
        }))
    }

    /// How many cases hold a term, in the field where most do.
    pub(super) fn frequency(&self, searcher: &Searcher, term: &str) -> Result<u64, SearchError> {
        let mut frequency = 0;
        for field in self.fields.texts() {
            frequency = frequency.max(searcher.doc_freq(&Term::from_field_text(field, term))?);
        }
        Ok(frequency)
    }

    fn ranked(
        &self,
        searcher: &Searcher,
        asked: &Understood,
        more: Vec<(Occur, Box<dyn Query>)>,
        request: &Request,
    ) -> Result<Answer, SearchError> {
        let plan = self.plan(searcher, asked, more, &request.filters)?;
        let end = request.skip + request.limit.max(1);
        let cut = request.skip.min(end)..end;
        let large = searcher.num_docs() > shortlist::WHOLE && !request.whole;
        let short = if large && end <= shortlist::LENGTH / 2 {
            self.short(searcher, asked, &plan, end)?
        } else {
            None
        };
        let (found, total, or_more) = match short {
            Some(Short {
                found,
                total,
                or_more,
            }) => (found, total, or_more),
            None => {
                let near = asked.clone();
                let top = TopDocs::with_limit(end.max(spread::LOOKED_AT)).tweak_score(
                    move |segment: &SegmentReader| {
                        let scorer = Scorer::new(&near, segment);
                        move |case: DocId, score: Score| score + scorer.worth(case)
                    },
                );
                let (found, total) = searcher.search(&plan.whole(), &(top, Count))?;
                (found, total, false)
            }
        };
        let hits = spread::out(searcher, &self.fields, asked, found)?;
        Ok(Answer {
            total,
            told_again: hits.iter().map(|hit| hit.alike.len()).sum(),
            or_more,
            hits: page(hits, cut),
            understood: Arc::new(asked.clone()),
            ..Answer::default()
        })
    }

    /// What a search finds by a short list; none where only looking at every match will do.
    pub(super) fn short(
        &self,
        searcher: &Searcher,
        asked: &Understood,
        plan: &Plan,
        end: usize,
    ) -> Result<Option<Short>, SearchError> {
        let allowed = Allowed::new(searcher, plan)?;
        if let Some(cases) = allowed.few() {
            let found = shortlist::weighed(searcher, &cases, plan, asked)?;
            let total = found.len();
            return Ok(Some(Short {
                found,
                total,
                or_more: false,
            }));
        }
        let wanted = || plan.wanted.iter().chain(&plan.required);
        if wanted().next().is_none() && plan.beside.is_empty() {
            return Ok(None);
        }
        let roughs = match asked.pressures.is_empty() {
            true => Vec::new(),
            false => self.roughs.of(searcher),
        };
        let best = walk::best(searcher, plan, &allowed, asked, &roughs, shortlist::LENGTH)?;
        let found = best.sorted();
        let all = found.len() < shortlist::LENGTH;
        let held = || wanted().map(|forms| forms.held).sum::<usize>();
        // Those that fit without any of the words are not on the list.
        if found.len() < end && !plan.needs_words() {
            return Ok(None);
        }
        let (total, or_more) = match allowed.count() {
            Some(count) if !plan.needs_words() => (count, false),
            _ if all => (found.len(), false),
            Some(_) if plan.near.is_empty() && held() <= shortlist::COUNTED => {
                (allowed.counted(searcher, &*plan.any_wanted())?, false)
            }
            Some(_) => (found.len(), true),
            None => {
                // Cases taken out or replaced are counted until their segments are merged.
                let gone = searcher.segment_readers().iter();
                let gone: u32 = gone.map(SegmentReader::num_deleted_docs).sum();
                let held = wanted().map(|forms| forms.held).max().unwrap_or_default();
                let held = held.saturating_sub(gone as usize);
                let left = held.saturating_sub(allowed.ruled_out());
                (left.max(found.len()), true)
            }
        };
        Ok(Some(Short {
            found,
            total,
            or_more,
        }))
    }

    /// Everything asked, with `more` and the filters as bounds.
    pub(super) fn plan(
        &self,
        searcher: &Searcher,
        asked: &Understood,
        more: Vec<(Occur, Box<dyn Query>)>,
        filters: &Filters,
    ) -> Result<Plan, SearchError> {
        let mut plan = Plan {
            words_typed: !(asked.wanted.is_empty() && asked.quantities.is_empty()),
            words_optional: asked.words_optional,
            narrowing: self.narrowing(filters),
            bounds: more,
            ..Plan::default()
        };
        for wanted in &asked.wanted {
            plan.wanted.push(self.forms(searcher, asked, wanted, None)?);
        }
        plan.wanted.retain(|forms| !forms.each.is_empty());
        for pressure in &asked.pressures {
            let reading = &pressure.reading;
            let near = self.beside(reading);
            let cases = unscored(near.cases());
            if reading.bounded {
                plan.bounds.push((Occur::Must, cases));
            } else {
                plan.beside.push(near);
                plan.near.push(cases);
            }
        }
        for quantity in &asked.quantities {
            let within = |share: f64| {
                let (low, high) = quantity.around(share);
                Beside {
                    field: self.fields.quantities[quantity.sort as usize],
                    column: quantity.sort.column(),
                    near: low..=high,
                    in_own_unit: false,
                }
            };
            let form = |share: f64, worth: f32| {
                let worth = worth * asked.weights.quantity;
                Form {
                    query: Box::new(ConstScoreQuery::new(within(share).cases(), worth)),
                    word: None,
                    most: worth,
                }
            };
            plan.beside.push(within(quantity::NEAR));
            plan.wanted.push(Forms {
                each: vec![form(quantity::CLOSE, 1.0), form(quantity::NEAR, 0.5)],
                held: 0,
            });
        }
        for denied in &asked.quantities_denied {
            let (low, high) = denied.around(quantity::CLOSE);
            let held = Beside {
                field: self.fields.quantities[denied.sort as usize],
                column: denied.sort.column(),
                near: low..=high,
                in_own_unit: false,
            };
            plan.bounds.push((Occur::MustNot, unscored(held.cases())));
        }
        for phrase in &asked.phrases {
            plan.required.push(Forms {
                each: self
                    .side_by_side(asked, phrase)
                    .into_iter()
                    .map(unlimited)
                    .collect(),
                held: 0,
            });
        }
        for strict in &asked.required {
            let only_besides = strict.wanted.iter().all(|wanted| wanted.besides);
            let own = strict
                .wanted
                .iter()
                .filter(|own| only_besides || !own.besides);
            for wanted in own {
                plan.required.push(match strict.noted {
                    Some(noted) => self.noted(searcher, asked, wanted, noted)?,
                    None => self.forms(searcher, asked, wanted, strict.part)?,
                });
            }
        }
        if plan.needs_words() && !plan.required.is_empty() {
            // A walk does not tell what a case holds of what is wanted from what it has to hold.
            let any = unscored(plan.any_wanted());
            plan.bounds.push((Occur::Must, any));
        }
        for strict in &asked.left_out {
            let any = BooleanQuery::union(self.side_by_side(asked, strict));
            plan.bounds.push((Occur::MustNot, Box::new(any)));
        }
        if asked.only_denies() {
            // What found it is no answer to a question for what ruled it out.
            for thing in asked.denied.iter().filter(|thing| thing.anywhere) {
                let says = denied::says(&self.fields, thing);
                plan.bounds.push((Occur::MustNot, says));
            }
            for cause in &asked.denied_causes {
                let of_cause = term(Term::from_field_text(self.fields.cause, cause));
                plan.bounds.push((Occur::MustNot, of_cause));
            }
        }
        for pressure in &asked.pressures_left_out {
            let near = self.beside(&pressure.reading).cases();
            plan.bounds.push((Occur::MustNot, unscored(near)));
        }
        let mut either: Vec<(Named, Vec<Box<dyn Query>>)> = Vec::new();
        for name in &asked.named {
            let value = |(id, _): &(String, String)| match name.named {
                Named::Number => {
                    Term::from_field_i64(self.fields.number, id.parse().unwrap_or_default())
                }
                Named::Tool => Term::from_field_text(self.fields.tool, id),
                Named::Site => Term::from_field_text(self.fields.site, id),
                Named::Class => Term::from_field_text(self.fields.class, id),
                Named::Status => Term::from_field_text(self.fields.status, id),
                Named::Kind => Term::from_field_text(self.fields.kind, id),
                Named::Cause | Named::Sign | Named::Unseen | Named::Antecedent => {
                    self.of_catalogue(name.named, id)
                }
            };
            let any = name.values.iter().map(|known| match name.named {
                Named::Unseen => Box::new(Held(Unseen(known.0.clone()))) as Box<dyn Query>,
                _ => term(value(known)),
            });
            if name.left_out {
                let any = BooleanQuery::union(any.collect());
                plan.bounds.push((Occur::MustNot, unscored(Box::new(any))));
                continue;
            }
            // A case has one tool and one status, so that of several it may have any.
            let same = |named: Named| named == name.named && named.is_single();
            match either.iter_mut().find(|(named, _)| same(*named)) {
                Some((_, all)) => all.extend(any),
                None => either.push((name.named, any.collect())),
            }
        }
        for (_, any) in either {
            let any = unscored(Box::new(BooleanQuery::union(any)));
            plan.bounds.push((Occur::Must, any));
        }
        Ok(plan)
    }

    /// Where the pressure of a case lies that is near one asked for, or within its bounds.
    fn beside(&self, reading: &Reading) -> Beside {
        let (field, column) = match reading.told {
            Told::Now | Told::Aside => (self.fields.fault, FAULT),
            Told::Before => (self.fields.before, BEFORE),
            Told::Elsewhere => (self.fields.elsewhere, ELSEWHERE),
        };
        let reach = rank::reach(reading);
        let scale = reading.unit.map_or(0.0, pressure::scale);
        Beside {
            field,
            column,
            near: reading.low + scale - reach..=reading.high + scale + reach,
            in_own_unit: reading.unit.is_none(),
        }
    }

    /// Words that have to stand side by side, in one part or in any.
    fn side_by_side(&self, asked: &Understood, strict: &Strict) -> Vec<Box<dyn Query>> {
        if let Some(noted) = strict.noted {
            let held = strict.terms.iter().map(|(_, term)| {
                let forms = std::iter::once(term.clone()).chain(denied_forms(term));
                let forms = forms.map(|form| self.in_noted(&form, noted)).collect();
                Box::new(BooleanQuery::union(forms)) as Box<dyn Query>
            });
            return vec![Box::new(BooleanQuery::intersection(held.collect()))];
        }
        let parts = strict.part.map_or(Part::ALL.to_vec(), |part| vec![part]);
        parts
            .into_iter()
            .flat_map(|part| {
                // Side by side as they stand they count by how rare they are.
                let several = strict.terms.len() > 1;
                let plain = several.then(|| self.phrase(part, asked, &strict.terms));
                let any = self.in_any_way(part, asked, &strict.terms);
                plain.into_iter().chain(std::iter::once(any))
            })
            .collect()
    }

    /// Words side by side, denied or not.
    fn in_any_way(
        &self,
        part: Part,
        asked: &Understood,
        words: &[(usize, String)],
    ) -> Box<dyn Query> {
        let field = self.fields.part(part);
        let any = |term: &str| {
            let forms = std::iter::once(term.to_owned()).chain(denied_forms(term));
            forms
                .map(|form| Term::from_field_text(field, &form))
                .collect::<Vec<_>>()
        };
        if let [(_, only)] = words {
            let forms = any(only).into_iter().map(scored).collect();
            let any = Box::new(BooleanQuery::union(forms));
            return weighted(any, asked.weights.part(part));
        }
        let first = words.first().map_or(0, |(place, _)| *place);
        let word = |(place, term): &(usize, String)| {
            let offset = u32::try_from(place - first).unwrap_or(u32::MAX);
            (offset, any(term))
        };
        let phrase = Phrase {
            words: words.iter().map(word).collect(),
        };
        weighted(Box::new(Held(phrase)), asked.weights.part(part))
    }

    fn phrase(&self, part: Part, asked: &Understood, terms: &[(usize, String)]) -> Box<dyn Query> {
        let field = self.fields.part(part);
        let query: Box<dyn Query> = match terms {
            [(_, only)] => scored(Term::from_field_text(field, only)),
            terms => Box::new(PhraseQuery::new_with_offset(
                terms
                    .iter()
                    .map(|(place, word)| (*place, Term::from_field_text(field, word)))
                    .collect(),
            )),
        };
        weighted(query, asked.weights.part(part))
    }

    fn newest(
        &self,
        searcher: &Searcher,
        mut clauses: Vec<(Occur, Box<dyn Query>)>,
        request: &Request,
    ) -> Result<Answer, SearchError> {
        clauses.extend(self.narrowing(&request.filters));
        clauses.push((Occur::Must, Box::new(AllQuery)));
        let query = BooleanQuery::new(clauses);
        let top = TopDocs::with_limit(request.limit.max(1))
            .and_offset(request.skip)
            .order_by_fast_field::<i64>("occurred_at", Order::Desc);
        let (found, total) = searcher.search(&query, &(top, Count))?;
        let mut hits = Vec::new();
        let mut numbers = Numbers::new(searcher);
        for (_, address) in found {
            let number = numbers.of(address)?;
            hits.extend(number.map(|number| Hit {
                number,
                score: 0.0,
                alike: Vec::new(),
            }));
        }
        Ok(Answer {
            total,
            hits,
            ..Answer::default()
        })
    }

    /// One thing searched for in all its forms; none if no case has any.
    fn forms(
        &self,
        searcher: &Searcher,
        asked: &Understood,
        wanted: &Wanted,
        only: Option<Part>,
    ) -> Result<Forms, SearchError> {
        let mut forms = Forms::default();
        let cases = Bm25StatisticsProvider::total_num_docs(searcher)?;
        for part in Part::ALL {
            if only.is_some_and(|only| only != part) {
                continue;
            }
            let field = self.fields.part(part);
            for (form, worth) in &wanted.terms {
                let term = Term::from_field_text(field, form);
                let holding = searcher.doc_freq(&term)?;
                if holding > 0 {
                    let cleared = part == Part::Facts && analysis::ruled_out(form).is_some();
                    let worth = if cleared {
                        worth * CLEARED_WORTH
                    } else {
                        *worth
                    };
                    let weight = asked.weights.part(part) * worth;
                    forms.held = forms.held.max(holding as usize);
                    forms.each.push(Form {
                        query: weighted(scored(term.clone()), weight),
                        word: Some((term, weight)),
                        most: weight * most_by_word(holding, cases),
                    });
                }
            }
            if let Some([first, second]) = &wanted.pair {
                let pair = [(0, first.clone()), (1, second.clone())];
                forms.each.push(unlimited(self.phrase(part, asked, &pair)));
            }
        }
        Ok(forms)
    }

    /// The same in one of the things that the notes are put together from.
    fn noted(
        &self,
        searcher: &Searcher,
        asked: &Understood,
        wanted: &Wanted,
        noted: Noted,
    ) -> Result<Forms, SearchError> {
        let mut forms = Forms::default();
        let cases = Bm25StatisticsProvider::total_num_docs(searcher)?;
        let field = self.fields.part(Part::Notes);
        for (form, worth) in &wanted.terms {
            let holding = searcher.doc_freq(&Term::from_field_text(field, form))?;
            let rarity = most_by_word(holding, cases) / MOST_REPEATED;
            let weight = asked.weights.part(Part::Notes) * worth * rarity;
            forms.each.push(Form {
                query: weighted(self.in_noted(form, noted), weight),
                word: None,
                most: weight,
            });
        }
        Ok(forms)
    }

    fn in_noted(&self, term: &str, noted: Noted) -> Box<dyn Query> {
        let word = Term::from_field_text(self.fields.part(Part::Notes), term);
        Box::new(Held(InNoted { word, noted }))
    }

    /// Filters as bounds.
    fn narrowing(&self, filters: &Filters) -> Vec<(Occur, Box<dyn Query>)> {
        let mut clauses: Vec<(Occur, Box<dyn Query>)> = Vec::new();
        let mut only = |field: Field, value: &str| {
            let term = term(Term::from_field_text(field, value));
            clauses.push((Occur::Must, unscored(term)));
        };
        if let Some(class) = &filters.class {
            only(self.fields.class, class);
        }
        if let Some(kind) = filters.kind {
            only(self.fields.kind, kind.id());
        }
        if let Some(cause) = &filters.cause {
            only(self.fields.cause, cause);
        }
        if let Some(site) = &filters.site {
            only(self.fields.site, &site.to_lowercase());
        }
        if filters.from.is_some() || filters.until.is_some() {
            let at = |time| Term::from_field_i64(self.fields.occurred_at, time);
            let from = filters
                .from
                .map_or(Bound::Unbounded, |t| Bound::Included(at(t)));
            let until = filters
                .until
                .map_or(Bound::Unbounded, |t| Bound::Excluded(at(t)));
            clauses.push((
                Occur::Must,
                unscored(Box::new(RangeQuery::new(from, until))),
            ));
        }
        clauses
    }
}

/// Whether a word is a bare number. What it counts is compared as a quantity; else it says nothing.
fn is_number(word: &str) -> bool {
    word.bytes().all(|byte| byte.is_ascii_digit())
}

/// What a word repeated without end is worth, as a multiple of its rarity.
const MOST_REPEATED: f32 = 2.2;

/// What no case gains more than by a word that so many of all cases hold: the limit of BM25 for a word
/// repeated without end (Robertson and Zaragoza 2009), with the index library's saturation of 1.2.
fn most_by_word(holding: u64, cases: u64) -> f32 {
    let (holding, cases) = (holding as f32, cases as f32);
    MOST_REPEATED * (1.0 + (cases - holding + 0.5) / (holding + 0.5)).ln()
}

/// The numbers of cases. A segment's column is opened once, since that reads a head for every few hundred
/// cases of it.
pub(super) struct Numbers<'a> {
    searcher: &'a Searcher,
    opened: HashMap<u32, Column<i64>>,
}

impl<'a> Numbers<'a> {
    pub(super) fn new(searcher: &'a Searcher) -> Self {
        Self {
            searcher,
            opened: HashMap::new(),
        }
    }

    pub(super) fn of(&mut self, address: DocAddress) -> Result<Option<i64>, SearchError> {
        let numbers = match self.opened.entry(address.segment_ord) {
            hash_map::Entry::Occupied(opened) => opened.into_mut(),
            hash_map::Entry::Vacant(new) => {
                let segment = self.searcher.segment_reader(address.segment_ord);
                new.insert(segment.fast_fields().i64("number")?)
            }
        };
        Ok(numbers.first(address.doc_id))
    }
}

fn page(mut hits: Vec<Hit>, cut: Range<usize>) -> Vec<Hit> {
    hits.truncate(cut.end);
    hits.drain(..cut.start.min(hits.len()));
    hits
}

fn scored(term: Term) -> Box<dyn Query> {
    Box::new(TermQuery::new(term, IndexRecordOption::WithFreqs))
}

fn term(term: Term) -> Box<dyn Query> {
    Box::new(TermQuery::new(term, IndexRecordOption::Basic))
}

/// A form that may add anything.
fn unlimited(query: Box<dyn Query>) -> Form {
    Form {
        query,
        word: None,
        most: f32::INFINITY,
    }
}

fn unscored(query: Box<dyn Query>) -> Box<dyn Query> {
    Box::new(ConstScoreQuery::new(query, 0.0))
}

fn weighted(query: Box<dyn Query>, weight: f32) -> Box<dyn Query> {
    Box::new(BoostQuery::new(query, weight))
}
