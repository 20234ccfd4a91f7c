//! Which cases hold what a search says not to be it: their cause, its component or its kind is called so, or,
//! where it tells how a pressure goes, any part says it.
//!
//! Causes are told by the catalogue's names. What any part may say is looked up in the lists of words, and
//! only for the first hits, so that it costs the same however many cases there are.

use std::{
    cell::RefCell,
    collections::{HashMap, HashSet},
    rc::Rc,
};

use tantivy::{
    DocAddress, Searcher, Term,
    query::{BooleanQuery, EnableScoring, Query, TermQuery},
    schema::{Field, IndexRecordOption},
};

use super::{naming::Names, plan::Denied};
use crate::search::{
    SearchError,
    indexed::{document::Part, schema::Fields},
    ranking::shortlist::reaches,
    reading::{
        analysis::{Analysis, Word, concept_term, denied_forms, ruled_out, stem_term},
        negation,
    },
};

/// For each case, whether it holds any of what is denied: 1, or 0.
pub(in crate::search) fn shares(
    searcher: &Searcher,
    fields: &Fields,
    denied: &[Denied],
    cases: &[DocAddress],
) -> Result<Vec<f32>, SearchError> {
    let mut shares = vec![0.0; cases.len()];
    let mut order: Vec<usize> = (0..cases.len()).collect();
    order.sort_by_key(|at| cases[*at]);
    for thing in denied.iter().filter(|thing| thing.anywhere) {
        let says = says(fields, thing);
        let says = says.weight(EnableScoring::disabled_from_searcher(searcher))?;
        for of_segment in order.chunk_by(|a, b| cases[*a].segment_ord == cases[*b].segment_ord) {
            let segment = searcher.segment_reader(cases[of_segment[0]].segment_ord);
            let mut scorer = says.scorer(segment, 1.0)?;
            for at in of_segment {
                if reaches(scorer.as_mut(), cases[*at].doc_id) {
                    shares[*at] = 1.0;
                }
            }
        }
    }
    Ok(shares)
}

/// For each case, whether it says itself of something that is denied that it is not it: whatever its cause
/// turned out to be, somebody there thought as the asker does.
pub(in crate::search) fn deny_as_well(
    searcher: &Searcher,
    fields: &Fields,
    denied: &[Denied],
    cases: &[DocAddress],
) -> Result<Vec<bool>, SearchError> {
    let mut deny = vec![false; cases.len()];
    let mut order: Vec<usize> = (0..cases.len()).collect();
    order.sort_by_key(|at| cases[*at]);
    for thing in denied {
        let told = [Part::Symptom, Part::Notes].map(|part| -> Box<dyn Query> {
            let field = fields.part(part);
            let forms = |term: &String| -> Box<dyn Query> {
                let forms = denied_forms(term).into_iter();
                let forms = forms.filter(|form| ruled_out(form).is_some()).map(|form| {
                    let term = Term::from_field_text(field, &form);
                    Box::new(TermQuery::new(term, IndexRecordOption::Basic)) as Box<dyn Query>
                });
                Box::new(BooleanQuery::union(forms.collect()))
            };
            Box::new(BooleanQuery::intersection(
                thing.terms.iter().map(forms).collect(),
            ))
        });
        let told = BooleanQuery::union(told.into());
        let told = told.weight(EnableScoring::disabled_from_searcher(searcher))?;
        for of_segment in order.chunk_by(|a, b| cases[*a].segment_ord == cases[*b].segment_ord) {
            let segment = searcher.segment_reader(cases[of_segment[0]].segment_ord);
            let mut scorer = told.scorer(segment, 1.0)?;
            for at in of_segment {
                deny[*at] |= reaches(scorer.as_mut(), cases[*at].doc_id);
            }
        }
    }
    Ok(deny)
}

/// The causes that are among what is denied, by their own names and those of their component and kind; what is
/// `unseen` denies none.
pub(in crate::search) fn causes(
    denied: &[Denied],
    unseen: &[Denied],
    names: &Names,
    analysis: &Analysis,
) -> HashSet<String> {
    let denied: Vec<&Denied> = denied
        .iter()
        .filter(|thing| !unseen.contains(thing))
        .collect();
    if denied.is_empty() {
        return HashSet::new();
    }
    let named = names.causes().map(|(cause, names)| {
        let names = names.iter().map(|name| terms_of(name, analysis));
        (cause, names.collect::<Vec<_>>())
    });
    let among = |names: &Vec<Rc<HashSet<String>>>| {
        denied.iter().any(|thing| {
            let all =
                |name: &Rc<HashSet<String>>| thing.terms.iter().all(|term| name.contains(term));
            // No leak says that there is none from outside, and nothing of what leaks within.
            let skip = if thing.general { BEFORE_KIND } else { 0 };
            names.iter().skip(skip).any(all)
        })
    };
    let causes = named.filter(|(_, names)| among(names));
    causes.map(|(cause, _)| cause.to_owned()).collect()
}

/// What a cause's own name and that of its component are, before that of its kind.
const BEFORE_KIND: usize = 2;

/// Of what is denied that which is a sign of the catalogue that was not seen, and no cause: where nobody saw
/// water there may be some.
pub(in crate::search) fn unseen(
    denied: &[Denied],
    names: &Names,
    analysis: &Analysis,
) -> Vec<Denied> {
    let is_sign = |thing: &&Denied| {
        let mut signs = names.signs().iter();
        thing.unseen
            && signs.any(|(_, name)| {
                let terms = terms_of(name, analysis);
                let visible = name.split_whitespace().any(negation::tells_sight);
                visible && thing.terms.iter().all(|term| terms.contains(term))
            })
    };
    denied.iter().filter(is_sign).cloned().collect()
}

/// What a name may be called by: its words and what they mean, wider too. What is glued to another by a
/// hyphen says of which kind it is: nothing water-cooled is water.
pub(in crate::search) fn terms_of(name: &str, analysis: &Analysis) -> Rc<HashSet<String>> {
    let list = analysis.list().fingerprint();
    KNOWN.with_borrow_mut(|known| {
        if known.list != list || known.names.len() >= NAMES_KEPT {
            *known = Known {
                list,
                names: HashMap::new(),
            };
        }
        if let Some(terms) = known.names.get(name) {
            return Rc::clone(terms);
        }
        let terms = Rc::new(read_terms(name, analysis));
        known.names.insert(name.to_owned(), Rc::clone(&terms));
        terms
    })
}

/// Names each thread keeps at most.
const NAMES_KEPT: usize = 10_000;

/// Names read before, with the word list they were read with.
#[derive(Default)]
struct Known {
    list: u64,
    names: HashMap<String, Rc<HashSet<String>>>,
}

thread_local! {
    static KNOWN: RefCell<Known> = RefCell::default();
}

fn read_terms(name: &str, analysis: &Analysis) -> HashSet<String> {
    let read = analysis.read(name);
    let glued = |word: &Word| {
        let behind = name.get(word.place.end..);
        behind.is_some_and(|rest| rest.starts_with('-'))
    };
    let words = read
        .words
        .iter()
        .filter(|word| !word.common && !glued(word));
    let words = words.map(|word| stem_term(&word.stem, false));
    let meant = read.mentions.iter().filter(|mention| {
        let last = read.words.get(mention.words.end.saturating_sub(1));
        !last.is_some_and(glued)
    });
    let meant = meant.flat_map(|mention| &mention.concepts);
    words
        .chain(meant.map(|concept| concept_term(*concept, false)))
        .collect()
}

/// The cases that say that it is what is denied.
pub(in crate::search) fn says(fields: &Fields, denied: &Denied) -> Box<dyn Query> {
    let within = |field: Field| -> Box<dyn Query> {
        let term = |term: &String| -> Box<dyn Query> {
            let term = Term::from_field_text(field, term);
            Box::new(TermQuery::new(term, IndexRecordOption::Basic))
        };
        Box::new(BooleanQuery::intersection(
            denied.terms.iter().map(term).collect(),
        ))
    };
    Box::new(BooleanQuery::union(fields.texts().map(within).into()))
}
