//! An incident as the index holds it.

use std::{
    cell::RefCell,
    fmt,
    hash::{DefaultHasher, Hash, Hasher},
    ops::Range,
};

use tantivy::TantivyDocument;

use super::{digest::Digest, schema::Fields};
use crate::{
    casebook::{Finding, Incident, Outcome, Tool},
    catalogue::{Catalogue, Component, Kind},
    search::{
        asking::noted,
        ranking::circumstances::Circumstances,
        reading::{
            analysis::{Analysis, BETWEEN_NAMES, CLEARED, Word},
            lexer::lex_into,
            pressure::{Reading, Told, readings_in, scale},
            quantity::{Quantity, quantities_in},
            surface,
        },
    },
    vacuum::units::{PressureUnit, TypedPressure},
};

/// A part of a case's text, searched as a field of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::search) enum Part {
    /// What the person had before them.
    Symptom,
    /// The cause in words.
    Cause,
    /// What was done.
    Fix,
    /// Proof, notes, parts.
    Notes,
    /// Signs, antecedents, tool and class.
    Facts,
}

impl Part {
    /// Every part, in the order in which they are searched.
    pub(in crate::search) const ALL: [Self; 5] = [
        Self::Symptom,
        Self::Cause,
        Self::Fix,
        Self::Notes,
        Self::Facts,
    ];

    /// The name people read.
    pub(in crate::search) fn name(self) -> &'static str {
        match self {
            Self::Symptom => "symptom",
            Self::Cause => "cause",
            Self::Fix => "fix",
            Self::Notes => "notes",
            Self::Facts => "signs and circumstances",
        }
    }

    /// The name in the index.
    pub(in crate::search) fn field(self) -> &'static str {
        match self {
            Self::Facts => "facts",
            other => other.name(),
        }
    }
}

/// What the notes are put together from, in this order, by the names people read.
pub(in crate::search) const NOTED: [&str; 5] = [
    "proof",
    "notes",
    "reason not restored",
    "parts",
    "notes of checks",
];

/// Which of [`NOTED`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::search) struct Noted(pub(in crate::search) usize);

impl Noted {
    pub(in crate::search) const PROOF: Self = Self(0);
    pub(in crate::search) const NOTES: Self = Self(1);
    pub(in crate::search) const REASON: Self = Self(2);
    pub(in crate::search) const PARTS: Self = Self(3);
    pub(in crate::search) const CHECKS: Self = Self(4);
}

/// When a pressure was read, as far as that is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::search) enum When {
    /// At the fault.
    Fault,
    /// Before it, or what the tool ought to reach.
    Before,
    /// After the fix, or not told.
    Other,
    /// In the foreline or the roughing line, at the fault.
    Elsewhere,
}

/// A pressure of a case.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::search) struct Measured {
    /// Power of ten of it, in pascals.
    pub(in crate::search) power: f64,
    /// When.
    pub(in crate::search) when: When,
    /// As typed.
    pub(in crate::search) shown: Shown,
}

/// A pressure as typed.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::search) enum Shown {
    /// In a field of its own.
    Typed(TypedPressure),
    /// In a text.
    Text(String),
}

impl fmt::Display for Shown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Typed(typed) => typed.fmt(f),
            Self::Text(text) => f.write_str(text),
        }
    }
}

/// What the index needs of an incident.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Its number.
    pub number: i64,
    /// The revision this was made from.
    pub revision: i64,
    /// `open` or `closed`.
    pub status: &'static str,
    /// Tool name.
    pub tool: String,
    /// Site code.
    pub site: String,
    /// Tool class.
    pub class: String,
    /// Kind of its cause, if it has one.
    pub kind: Option<Kind>,
    /// Its cause, if known.
    pub cause: Option<String>,
    /// When the loss was noticed, microseconds since 1970.
    pub occurred_at: i64,
    /// The symptom as told.
    pub symptom: String,
    /// The cause in words: name, mechanism, component, kind.
    pub cause_text: String,
    /// What was done.
    pub fix: String,
    /// Proof, notes, parts, notes of checks, reason not restored; a line each.
    pub notes: String,
    /// Where in the notes each of [`NOTED`] ends.
    pub(in crate::search) noted: [usize; NOTED.len()],
    /// Tool and class, signs seen, antecedents that happened, then what checks that found nothing cleared.
    pub facts: String,
    /// Where in the facts what was cleared begins.
    pub cleared: usize,
    /// What is known of tool and case beside words.
    pub circumstances: Circumstances,
    /// The unit its pressures are in where none is written.
    pub unit: PressureUnit,
    pub(in crate::search) pressures: Vec<Measured>,
    /// Other quantities in its texts.
    pub(in crate::search) quantities: Vec<Quantity>,
    /// Pressures in symptom, fix and notes, where they stand.
    pub(in crate::search) readings: [Vec<Reading>; 3],
}

/// Pressures that differ by less than one in so many steps a decade are one figure.
const STEPS: f64 = 200.0;

/// Bytes that most cases take in the index's hands, and the longest of their texts.
const USUAL: usize = 2_560;
const USUAL_TEXT: usize = 1 << 10;

/// Room in which a case is made ready for the index, kept for the next: taking it anew and giving it back
/// takes a good part of the time of an import.
#[derive(Default)]
struct Rooms {
    symptom: Vec<Word>,
    words: Vec<Word>,
    handed: String,
}

/// Words for which each thread keeps room at most, and bytes.
const ROOM_KEPT: usize = 2_000;
const BYTES_KEPT: usize = 64 << 10;

thread_local! {
    static ROOMS: RefCell<Rooms> = RefCell::default();
}

impl Rooms {
    fn keep(mut self) {
        for words in [&mut self.symptom, &mut self.words] {
            words.clear();
            words.shrink_to(ROOM_KEPT);
        }
        self.handed.clear();
        self.handed.shrink_to(BYTES_KEPT);
        ROOMS.set(self);
    }
}

impl Entry {
    /// A case of which nothing is known but what was told of it.
    pub fn of_text(number: i64, text: &str) -> Self {
        let unit = PressureUnit::Torr;
        let (readings, quantities) = read([text, "", ""], 0);
        let mut pressures = Vec::new();
        written(text, &readings[0], unit, Place::Symptom, &mut pressures);
        Self {
            number,
            revision: 1,
            status: "open",
            tool: String::new(),
            site: String::new(),
            class: String::new(),
            kind: None,
            cause: None,
            occurred_at: 0,
            symptom: text.to_owned(),
            cause_text: String::new(),
            fix: String::new(),
            notes: String::new(),
            noted: [0; NOTED.len()],
            facts: String::new(),
            cleared: 0,
            circumstances: Circumstances::default(),
            unit,
            pressures,
            quantities,
            readings,
        }
    }

    /// Gathers what the index needs.
    pub fn new(
        number: i64,
        revision: i64,
        incident: &Incident,
        tool: &Tool,
        catalogue: &Catalogue,
    ) -> Self {
        Self::of(number, revision, incident.clone(), tool, catalogue)
    }

    /// The same of an incident that is of no further use.
    pub fn of(
        number: i64,
        revision: i64,
        mut incident: Incident,
        tool: &Tool,
        catalogue: &Catalogue,
    ) -> Self {
        let cause = match &incident.cause {
            Some(Finding::Cause(id)) => catalogue.cause(id.as_str()),
            _ => None,
        };
        let cause_text = match (&incident.cause, cause) {
            (Some(_), Some(cause)) => {
                let component = catalogue
                    .component(cause.component.as_str())
                    .map_or("", |component| component.name.as_str());
                format!(
                    "{} · {} · {component} · {}",
                    cause.name, cause.mechanism, cause.kind
                )
            }
            (Some(finding), None) => catalogue.cause_name(finding.id()).to_owned(),
            (None, _) => String::new(),
        };
        let (notes, noted) = notes_of(&incident);
        let signs = incident
            .signs
            .iter()
            .filter(|(_, seen)| **seen)
            .filter_map(|(id, _)| catalogue.sign(id.as_str()))
            .map(|sign| certain(&sign.name));
        let antecedents = incident
            .antecedents
            .iter()
            .filter(|(_, happened)| **happened)
            .filter_map(|(id, _)| catalogue.antecedent(id.as_str()))
            .map(|antecedent| certain(&antecedent.name));
        let class = catalogue
            .class(tool.class.as_str())
            .map_or(tool.class.as_str(), |class| class.name.as_str());
        let mut facts = String::with_capacity(USUAL_TEXT);
        facts.push_str(tool.id.as_str());
        for name in std::iter::once(class).chain(signs).chain(antecedents) {
            facts.push_str(BETWEEN_NAMES);
            facts.push_str(name);
        }
        let cleared = facts.len();
        for component in cleared_of(&incident, tool, catalogue) {
            facts.push_str(BETWEEN_NAMES);
            facts.push_str(&component.thing);
            facts.push_str(CLEARED);
        }
        let typed = incident.pressures;
        let unit = [typed.faulty, typed.healthy, Some(tool.healthy_base)]
            .into_iter()
            .flatten()
            .next()
            .map_or(PressureUnit::Torr, |typed| typed.unit);
        let proof = noted[Noted::PROOF.0];
        let (readings, quantities) = read([&incident.symptom, &incident.fix, &notes], proof);
        let mut pressures = Vec::new();
        for (typed, when) in [
            (typed.faulty, When::Fault),
            (typed.healthy.or(Some(tool.healthy_base)), When::Before),
            (typed.restored, When::Other),
        ] {
            pressures.extend(typed.and_then(|typed| measured(typed, when)));
        }
        let [symptom, fix, other] = &readings;
        written(
            &incident.symptom,
            symptom,
            unit,
            Place::Symptom,
            &mut pressures,
        );
        written(&incident.fix, fix, unit, Place::Later, &mut pressures);
        let proving = other.partition_point(|reading| reading.place.start < proof);
        let (proving, found) = other.split_at(proving);
        written(&notes, proving, unit, Place::Later, &mut pressures);
        written(&notes, found, unit, Place::Found, &mut pressures);
        Self {
            number,
            revision,
            status: incident.status.id(),
            tool: tool.id.to_string(),
            site: tool.site.to_string(),
            class: tool.class.to_string(),
            kind: cause.map(|cause| cause.kind),
            cause: incident
                .cause
                .as_ref()
                .map(|finding| finding.id().to_owned()),
            occurred_at: incident.occurred_at.as_microsecond(),
            symptom: std::mem::take(&mut incident.symptom),
            cause_text,
            fix: std::mem::take(&mut incident.fix),
            notes,
            noted,
            facts,
            cleared,
            circumstances: Circumstances::new(incident, tool, catalogue),
            unit,
            pressures,
            quantities,
            readings,
        }
    }

    /// The parts of its text, in the order they are searched.
    pub(in crate::search) fn parts(&self) -> [(Part, &str); Part::ALL.len()] {
        Part::ALL.map(|part| {
            let text = match part {
                Part::Symptom => &self.symptom,
                Part::Cause => &self.cause_text,
                Part::Fix => &self.fix,
                Part::Notes => &self.notes,
                Part::Facts => &self.facts,
            };
            (part, text.as_str())
        })
    }

    /// The name people read of what stands at a place of a part.
    pub(in crate::search) fn name_at(&self, part: Part, place: usize) -> &'static str {
        if part == Part::Facts && place > self.cleared {
            return "clear checks";
        }
        let ends = self.noted.iter().zip(NOTED);
        let noted = ends
            .filter(|_| part == Part::Notes)
            .find(|(end, _)| place < **end);
        noted.map_or(part.name(), |(_, name)| name)
    }

    /// The thing that the notes are put together from that holds most of these places, by its name, and where
    /// it stands.
    pub(in crate::search) fn noted_with(
        &self,
        places: &[Range<usize>],
    ) -> Option<(&'static str, Range<usize>)> {
        let mut begins = 0;
        let mut noted = Vec::with_capacity(NOTED.len());
        for (end, name) in self.noted.iter().zip(NOTED) {
            noted.push((name, begins.min(*end)..*end));
            begins = if *end > 0 { *end + 1 } else { 0 };
        }
        let held = |own: &Range<usize>| {
            let within = |place: &&Range<usize>| own.start <= place.start && place.end <= own.end;
            places.iter().filter(within).map(Range::len).sum::<usize>()
        };
        // Of several that hold as many the first.
        noted
            .into_iter()
            .rev()
            .filter(|(_, own)| held(own) > 0)
            .max_by_key(|(_, own)| held(own))
    }

    pub(in crate::search) fn document(
        &self,
        fields: &Fields,
        analysis: &Analysis,
    ) -> TantivyDocument {
        let mut document = TantivyDocument::with_capacity(USUAL);
        document.add_i64(fields.number, self.number);
        document.add_i64(fields.revision, self.revision);
        document.add_text(fields.status, self.status);
        document.add_text(fields.tool, self.tool.to_lowercase());
        document.add_text(fields.site, self.site.to_lowercase());
        document.add_text(fields.class, &self.class);
        if let Some(kind) = self.kind {
            document.add_text(fields.kind, kind.id());
        }
        if let Some(cause) = &self.cause {
            document.add_text(fields.cause, cause);
        }
        document.add_i64(fields.occurred_at, self.occurred_at);
        let Rooms {
            mut symptom,
            mut words,
            mut handed,
        } = ROOMS.take();
        let [of_symptom, of_fix, of_notes] = &self.readings;
        for (part, text) in self.parts() {
            handed.clear();
            match part {
                Part::Symptom => {
                    let read = analysis.read_into(symptom, text, of_symptom);
                    read.hand(&mut handed);
                    symptom = read.words;
                }
                Part::Fix => {
                    let read = analysis.read_into(words, text, of_fix);
                    read.hand(&mut handed);
                    words = read.words;
                }
                Part::Notes => {
                    let mut read = analysis.read_into(words, text, of_notes);
                    noted::prove_nothing_absent(&mut read, &self.noted);
                    noted::place(&mut read.words, &self.noted);
                    read.hand(&mut handed);
                    words = read.words;
                }
                Part::Cause | Part::Facts => analysis.hand_names(text, &mut handed),
            }
            document.add_text(fields.part(part), &handed);
        }
        for measured in &self.pressures {
            let field = match measured.when {
                When::Fault => fields.fault,
                When::Before => fields.before,
                When::Other => fields.other,
                When::Elsewhere => fields.elsewhere,
            };
            document.add_f64(field, shortened(measured.power));
        }
        for quantity in &self.quantities {
            let field = fields.quantities[quantity.sort as usize];
            document.add_f64(field, quantity.value);
        }
        document.add_f64(fields.unit, shortened(scale(self.unit)));
        document.add_u64(fields.alike, self.alike(&symptom));
        for digest in surface::digests(&symptom) {
            document.add_u64(fields.surface, digest);
        }
        self.circumstances.each(|sort, which| {
            handed.clear();
            handed.push_str(sort);
            handed.push_str(which);
            document.add_text(fields.known, &handed);
        });
        for sign in self.circumstances.unseen() {
            document.add_text(fields.unseen, sign);
        }
        document.add_u64(fields.digest, self.digest());
        Rooms {
            symptom,
            words,
            handed,
        }
        .keep();
        document
    }

    /// A number that changes with anything the index is told of this incident.
    pub fn digest(&self) -> u64 {
        let mut digest = Digest::default();
        for number in [self.number, self.revision, self.occurred_at] {
            digest.bytes(&number.to_le_bytes());
        }
        for text in [
            self.status,
            &self.tool,
            &self.site,
            &self.class,
            self.kind.map_or("", Kind::id),
            self.cause.as_deref().unwrap_or_default(),
        ] {
            digest.text(text);
        }
        for (_, text) in self.parts() {
            digest.text(text);
        }
        for measured in &self.pressures {
            digest.bytes(&[measured.when as u8]);
            digest.bytes(&measured.power.to_le_bytes());
        }
        self.circumstances.each(|sort, which| {
            digest.text(sort);
            digest.text(which);
        });
        self.circumstances
            .unseen()
            .for_each(|sign| digest.text(sign));
        digest.bytes(&scale(self.unit).to_le_bytes());
        digest.sum()
    }

    /// Different for cases that are never told alike, whatever their words: it holds cause, class,
    /// every figure and what is said not to be so. Without a cause nothing but the words tells one
    /// case from another, so it holds these too, without order, endings and common words; with one,
    /// [`surface::told_alike`] compares them.
    fn alike(&self, symptom: &[Word]) -> u64 {
        let mut hasher = DefaultHasher::new();
        if symptom.is_empty() && self.readings[0].is_empty() {
            self.number.hash(&mut hasher);
        }
        (&self.cause, &self.class).hash(&mut hasher);
        let mut figures: Vec<_> = symptom
            .iter()
            .filter_map(|w| surface::figure(&w.plain))
            .collect();
        figures.sort_unstable();
        figures.dedup();
        figures.hash(&mut hasher);
        let typed = self.pressures.iter().filter(|measured| {
            measured.when == When::Fault && matches!(measured.shown, Shown::Typed(_))
        });
        let told = self.readings[0].iter().flat_map(|reading| {
            let (low, high) = reading.pascals(self.unit);
            [low, high]
        });
        let powers = typed.map(|measured| measured.power).chain(told);
        let mut powers: Vec<i64> = powers.map(|power| (power * STEPS).round() as i64).collect();
        powers.sort_unstable();
        powers.dedup();
        powers.hash(&mut hasher);
        let compared = if self.cause.is_some() {
            surface::MOST_WORDS
        } else {
            0
        };
        for words in [
            words(symptom.iter().filter(|word| word.ruled_out)),
            words(symptom.iter().skip(compared)),
        ] {
            words.hash(&mut hasher);
        }
        // Compared among some hundred hits, so that forty bits tell them apart.
        hasher.finish() >> 24
    }
}

/// A power of ten as a column keeps it, off by less than two in 10⁸ of itself: the last binary places
/// are the same in all, so that the column leaves them out and takes half the room.
fn shortened(power: f64) -> f64 {
    const LEFT_OUT: u64 = (1 << 26) - 1;
    let bits = power.to_bits();
    // In the order of a column, in which numbers below nought are turned over, these end alike.
    f64::from_bits(if power.is_sign_negative() {
        bits & !LEFT_OUT
    } else {
        bits | LEFT_OUT
    })
}

/// The stems of these words that tell anything, each once, in order; figures are no words.
fn words<'a>(words: impl Iterator<Item = &'a Word>) -> Vec<&'a str> {
    let mut stems: Vec<_> = words
        .filter(|word| !word.common && surface::figure(&word.plain).is_none())
        .map(|word| &*word.stem)
        .collect();
    stems.sort_unstable();
    stems.dedup();
    stems
}

/// The notes a line each, and where each of [`NOTED`] ends in them.
fn notes_of(incident: &Incident) -> (String, [usize; NOTED.len()]) {
    let mut notes = String::with_capacity(
        [
            &incident.proof,
            &incident.notes,
            &incident.not_restored_reason,
        ]
        .into_iter()
        .chain(&incident.parts)
        .chain(incident.checks.iter().map(|check| &check.note))
        .map(|text| text.len() + usize::from(!text.is_empty()))
        .sum(),
    );
    let mut noted = [0; NOTED.len()];
    let mut line = |sort: usize, text: &str| {
        if !text.is_empty() {
            if !notes.is_empty() {
                notes.push('\n');
            }
            notes.push_str(text);
        }
        noted[sort] = notes.len();
    };
    line(0, &incident.proof);
    line(1, &incident.notes);
    line(2, &incident.not_restored_reason);
    line(3, "");
    incident.parts.iter().for_each(|part| line(3, part));
    line(4, "");
    incident
        .checks
        .iter()
        .for_each(|check| line(4, &check.note));
    (notes, noted)
}

/// The components that the checks of a case cleared, each once; what is its cause is none of them.
fn cleared_of<'a>(
    incident: &Incident,
    tool: &Tool,
    catalogue: &'a Catalogue,
) -> Vec<&'a Component> {
    let cause = match &incident.cause {
        Some(Finding::Cause(id)) => catalogue.cause(id.as_str()),
        _ => None,
    };
    let clear = incident
        .checks
        .iter()
        .filter(|made| made.outcome == Outcome::Clear);
    let checks = clear.filter_map(|made| catalogue.check(made.check.as_str()));
    let mut cleared: Vec<&Component> = Vec::with_capacity(2 * incident.checks.len());
    let mut met = vec![false; catalogue.component_count()];
    for id in checks
        .filter_map(|check| check.clears.get(&tool.class))
        .flatten()
    {
        let Some((number, component)) = catalogue.numbered_component(id.as_str()) else {
            continue;
        };
        if std::mem::replace(&mut met[number], true) {
            continue;
        }
        let guilty = cause.is_some_and(|cause| cause.component == *id);
        if !guilty && tool.components.contains(id) {
            cleared.push(component);
        }
    }
    cleared
}

/// What a name says for certain: what stands behind a colon are examples, and no report says which it was.
pub(in crate::search) fn certain(name: &str) -> &str {
    name.split_once(':').map_or(name, |(certain, _)| certain)
}

fn measured(typed: TypedPressure, when: When) -> Option<Measured> {
    let power = typed.pressure().ok()?.pascals().log10();
    power.is_finite().then_some(Measured {
        power,
        when,
        shown: Shown::Typed(typed),
    })
}

/// Where in a report a text stands.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Place {
    Symptom,
    /// Notes, those of checks among them.
    Found,
    /// Fix and proof.
    Later,
}

/// The pressures written in a text, those not yet among the known ones. Where a report gives the pressure
/// at the fault, other numbers of its symptom are of another time or place.
fn written(
    text: &str,
    readings: &[Reading],
    unit: PressureUnit,
    place: Place,
    pressures: &mut Vec<Measured>,
) {
    let given = pressures.iter().any(|m| m.when == When::Fault);
    for reading in readings {
        let (low, high) = reading.pascals(unit);
        let ends = if reading.bounded || low == high {
            vec![low, high]
        } else {
            vec![f64::midpoint(low, high)]
        };
        for power in ends {
            let when = match (place, reading.told) {
                (Place::Symptom | Place::Found, Told::Elsewhere) => When::Elsewhere,
                (Place::Symptom, Told::Now) if given => When::Other,
                (Place::Symptom, Told::Now) => When::Fault,
                (Place::Symptom, Told::Before) => When::Before,
                (Place::Symptom, Told::Aside) | (Place::Found | Place::Later, _) => When::Other,
            };
            let known = pressures
                .iter()
                .any(|m| same_time(m.when, when) && (m.power - power).abs() < 1e-3);
            if power.is_finite() && !known {
                let shown = Shown::Text(reading.shown(text).to_owned());
                pressures.push(Measured { power, when, shown });
            }
        }
    }
}

/// Whether a pressure of the one time is known where the other is.
fn same_time(known: When, new: When) -> bool {
    known == new || (known == When::Fault && new == When::Other)
}

/// The pressures of symptom, fix and notes, and the other quantities of symptom and notes, each once: those of
/// the fix and of the proof, where that ends in the notes, are how things were after it.
fn read(texts: [&str; 3], proof: usize) -> ([Vec<Reading>; 3], Vec<Quantity>) {
    let mut all: Vec<Quantity> = Vec::new();
    let mut later = [0, usize::MAX, proof].into_iter();
    let mut pieces = Vec::new();
    let readings = texts.map(|text| {
        lex_into(text, &mut pieces);
        let readings = readings_in(&pieces);
        let begins = later.next().unwrap_or_default();
        if begins >= text.len() {
            return readings;
        }
        let pressures: Vec<_> = readings.iter().map(|r| r.place.clone()).collect();
        let found = quantities_in(text, &pieces, &pressures).into_iter();
        for found in found.filter(|found| found.place.start >= begins && !found.aside()) {
            let known = all
                .iter()
                .any(|known| known.sort == found.sort && known.value == found.value);
            if !known {
                all.push(found);
            }
        }
        readings
    });
    (readings, all)
}

/// A number that changes with the names of the catalogue that an entry takes over.
pub(in crate::search) fn names(catalogue: &Catalogue) -> u64 {
    let mut digest = Digest::default();
    for cause in catalogue.causes() {
        for text in [
            cause.id.as_str(),
            &cause.name,
            &cause.mechanism,
            cause.component.as_str(),
            cause.kind.id(),
        ] {
            digest.text(text);
        }
    }
    let components = catalogue.components().map(|c| (c.id.as_str(), &c.name));
    let signs = catalogue.signs().map(|s| (s.id.as_str(), &s.name));
    let antecedents = catalogue.antecedents().map(|a| (a.id.as_str(), &a.name));
    let classes = catalogue.classes().map(|c| (c.id.as_str(), &c.name));
    for (id, name) in components.chain(signs).chain(antecedents).chain(classes) {
        digest.text(id);
        digest.text(name);
    }
    for check in catalogue.checks() {
        digest.text(check.id.as_str());
        for (class, cleared) in &check.clears {
            digest.text(class.as_str());
            cleared.iter().for_each(|id| digest.text(id.as_str()));
        }
    }
    digest.sum()
}
