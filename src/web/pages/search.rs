//! Search results, and the cases like a case.

use std::collections::{BTreeMap, HashMap};

use axum::{
    extract::{Path, State},
    response::Html,
};
use jiff::civil::Date;

use super::{kept, number, sequence};
use crate::{
    casebook::{Asker, Filed, Tool, ToolId},
    catalogue::Kind,
    day,
    search::{self, Answer, Filters, Leaning, Remark, Request},
    web::{
        asked_sequence::{self, About},
        fault::{self, Fault},
        fields::{self, Asked, Pairs, Sent},
        finding::{self, remarks, run, tools_of},
        show,
        state::App,
        views::{
            Link, SafeHtml,
            form::SelectOption,
            page::{Page, Section},
            pager::Pager,
            search::{Excerpt, Hit, SearchFilters, SearchPage, SimilarCases},
        },
    },
};

/// Of a search, so many characters stand in the title of its page.
const LONGEST_TITLE: usize = 60;

/// Results on a page.
const PAGE: usize = 20;

/// Pages further than this are refused: nobody reads them, and each costs more than the last.
const LAST_PAGE: usize = 500;

/// Similar cases shown beside an incident.
const BESIDE: usize = 5;

/// The nearest cases whose causes are summed up above the results.
const NEAREST: usize = 40;

pub(super) async fn show(State(app): State<App>, asked: Asked) -> Result<Html<String>, Fault> {
    found(&app, &asked).await
}

/// The same for a search too long for an address.
pub(super) async fn sent(State(app): State<App>, sent: Sent) -> Result<Html<String>, Fault> {
    found(&app, &sent).await
}

async fn found(app: &App, asked: &Pairs) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let query = asked.get("q").unwrap_or_default().to_owned();
    let (filters, view) = filters(app, asked);
    let mut place = page_number(asked);
    // The whole list has no nearest cases, and is read from the page on.
    let (skip, limit) = match query.is_empty() {
        true => ((place - 1) * PAGE, PAGE),
        false => (0, ranked_for(place)),
    };
    let request = Request {
        text: query.clone(),
        filters,
        skip,
        limit,
        relax: true,
        names: finding::names(app, &asker, &query).await?,
        ..Request::default()
    };
    let class = request.filters.class.clone();
    let mut answer = searched(app, &asker, &request).await?;
    if !query.is_empty() {
        place = last_of(&mut answer, place);
    } else if answer.hits.is_empty() && answer.total > 0 {
        let last = answer.total.div_ceil(PAGE);
        let skip = (last - 1) * PAGE;
        answer = searched(app, &asker, &Request { skip, ..request }).await?;
        answer.relaxed.push(Remark::NoPage { asked: place, last });
        place = last;
    }
    let nearest = match query.is_empty() {
        true => Vec::new(),
        false => parted(&mut answer, place),
    };
    // Cases shown for want of any that fit say nothing of what was asked.
    let nearest = match answer.instead {
        true => Vec::new(),
        false => nearest,
    };
    let tools = tools_of(app, &asker, answer.hits.iter().chain(&nearest)).await?;
    let hits = hits(app, &asker, &tools, &answer).await?;
    let none = Leaning::default();
    let (nearest, commonest) = causes_of(app, &asker, &tools, &nearest, &none).await?;
    let sequence = class.or(commonest).filter(|_| !nearest.is_empty());
    let own = answer.understood.tool().filter(|_| !nearest.is_empty());
    let own = match own {
        Some(tool) => app.store.tool(&asker, tool).await?,
        None => None,
    };
    let stated = answer.understood.stated(&query, &app.catalogue);
    let leads = |name: String, about: &About<'_>| {
        let address = sequence::address_from_search(about, &query, &stated, &app.catalogue);
        Link::new(format!("What to check next on {name}"), address)
    };
    let sequence = match &own {
        Some(tool) => Some(leads(tool.id.to_string(), &About::Tool(tool))),
        None => sequence.and_then(|class| {
            let class = app.catalogue.class(&class)?;
            let name = format!("a {}", class.name.to_lowercase());
            Some(leads(name, &About::Class(class)))
        }),
    };
    let total = answer.total;
    let page = Page::new(
        if query.is_empty() {
            "All incidents".to_owned()
        } else {
            let start: String = query.chars().take(LONGEST_TITLE).collect();
            format!("Search: {start}")
        },
        Section::Search,
    );
    let suggestions = if total == 0 {
        ways_on(asked, view.active)
    } else {
        Vec::new()
    };
    let kept = kept::list(app, &asker).await?;
    let keep = match asked.get("q") {
        Some(typed) if typed.chars().count() <= kept::LONGEST => kept::parts(asked),
        _ => Vec::new(),
    };
    fault::page(&SearchPage {
        page,
        query,
        filters: view,
        summary: if answer.told_again == 0 {
            cases(&answer)
        } else {
            format!(
                "{}, {} of them put with one told alike",
                cases(&answer),
                show::count(answer.told_again as u64)
            )
        },
        remarks: remarks(app, &answer).await,
        nearest,
        sequence,
        pager: pager(asked, "/search", place, &answer, hits.len()),
        hits,
        suggestions,
        keep,
        kept,
    })
}

pub(super) async fn similar(
    State(app): State<App>,
    Path(text): Path<String>,
    asked: Asked,
) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let number = number(&text)?;
    let filed = filed(&app, &asker, number).await?;
    let own = app
        .store
        .tool(&asker, filed.current().incident.tool.as_str())
        .await?;
    let place = page_number(&asked);
    let mut answer = nearest_to(&app, &filed, own.as_ref(), ranked_for(place)).await?;
    let place = last_of(&mut answer, place);
    let nearest = parted(&mut answer, place);
    let tools = tools_of(&app, &asker, answer.hits.iter().chain(&nearest)).await?;
    let hits = hits(&app, &asker, &tools, &answer).await?;
    let mut page = Page::new(format!("Cases like number {number}"), Section::Search);
    page.trail = vec![
        Link::new("Search", "/"),
        Link::new(format!("Incident {number}"), format!("/incidents/{number}")),
    ];
    let (_, view) = filters(&app, &asked);
    let leaning = Leaning::new(&filed.current().incident, &app.catalogue);
    let here = format!("/incidents/{number}/similar");
    fault::page(&SearchPage {
        page,
        query: String::new(),
        filters: view,
        summary: format!(
            "{} with words in common with number {number}",
            cases(&answer)
        ),
        remarks: remarks(&app, &answer).await,
        nearest: causes_of(&app, &asker, &tools, &nearest, &leaning).await?.0,
        sequence: Some(Link::new(
            format!("What to check next on {}", filed.current().incident.tool),
            asked_sequence::address_for(
                &filed.current().incident,
                own.as_ref().map(|tool| tool.healthy_base),
                BTreeMap::new(),
            ),
        )),
        pager: pager(&asked, &here, place, &answer, hits.len()),
        hits,
        ..SearchPage::default()
    })
}

/// The cases shown beside an incident.
pub(super) async fn beside(
    app: &App,
    asker: &Asker,
    filed: &Filed,
    own: Option<&Tool>,
) -> Result<SimilarCases, Fault> {
    let mut answer = nearest_to(app, filed, own, NEAREST).await?;
    let tools = tools_of(app, asker, &answer.hits).await?;
    let leaning = Leaning::new(&filed.current().incident, &app.catalogue);
    let (nearest, _) = causes_of(app, asker, &tools, &answer.hits, &leaning).await?;
    answer.hits.truncate(BESIDE);
    Ok(SimilarCases {
        nearest,
        hits: hits(app, asker, &tools, &answer).await?,
        all: (answer.total > BESIDE).then(|| {
            Link::new(
                if answer.or_more {
                    "More cases like this".to_owned()
                } else {
                    format!("All {}", cases(&answer))
                },
                format!("/incidents/{}/similar", filed.number),
            )
        }),
    })
}

/// An incident the asker may see.
pub(super) async fn filed(app: &App, asker: &Asker, number: i64) -> Result<Filed, Fault> {
    app.store
        .incident(asker, number)
        .await?
        .ok_or_else(|| Fault::NotFound(format!("There is no incident {number}.")))
}

async fn nearest_to(
    app: &App,
    filed: &Filed,
    own: Option<&Tool>,
    limit: usize,
) -> Result<Answer, Fault> {
    match own {
        Some(tool) => finding::like(app, filed, tool, limit).await,
        None => Ok(Answer::default()),
    }
}

/// How many hits to rank for a page and for the nearest cases, so that one ranking serves both.
fn ranked_for(place: usize) -> usize {
    (place * PAGE).max(NEAREST)
}

/// The page asked for, or the last one there is, which is told: a link kept from earlier may lead beyond.
fn last_of(answer: &mut Answer, place: usize) -> usize {
    let last = answer.hits.len().div_ceil(PAGE).max(1);
    if place <= last || answer.total == 0 {
        return place;
    }
    answer.relaxed.push(Remark::NoPage { asked: place, last });
    last
}

async fn searched(app: &App, asker: &Asker, request: &Request) -> Result<Answer, Fault> {
    let (asker, request) = (asker.clone(), request.clone());
    run(app, move |index| index.search(&asker, &request)).await
}

/// Leaves the hits of one page in an answer ranked from the first, and gives the nearest of all.
fn parted(answer: &mut Answer, place: usize) -> Vec<search::Hit> {
    let nearest = answer.hits.iter().take(NEAREST).cloned().collect();
    answer.hits.truncate(place * PAGE);
    let before = ((place - 1) * PAGE).min(answer.hits.len());
    answer.hits.drain(..before);
    nearest
}

async fn hits(
    app: &App,
    asker: &Asker,
    tools: &HashMap<ToolId, Tool>,
    answer: &Answer,
) -> Result<Vec<Hit>, Fault> {
    let matched = finding::matched(app, asker, tools, answer).await?;
    Ok(matched
        .into_iter()
        .map(|found| {
            let excerpt = &found.matches.excerpt;
            let incident = show::incident_line(
                found.hit.number,
                &found.incident,
                Some(found.tool),
                &app.catalogue,
            );
            let hit = (!excerpt.marks.is_empty()).then(|| SafeHtml(excerpt.html()));
            // What the line says already is not said twice.
            let (symptom, excerpt) = if excerpt.text == incident.symptom {
                (hit, None)
            } else {
                (None, hit)
            };
            Hit {
                incident,
                symptom,
                excerpts: excerpt
                    .map(|text| Excerpt {
                        part: show::capital(found.matches.part),
                        text,
                    })
                    .into_iter()
                    .collect(),
                why: found.matches.why,
            }
        })
        .collect())
}

/// "Of the 40 nearest, 12 door seal …": the causes of the nearest cases, most first, and
/// the class most of them are of. Those that outcomes on record speak against are not offered as what it
/// may be.
async fn causes_of(
    app: &App,
    asker: &Asker,
    tools: &HashMap<ToolId, Tool>,
    hits: &[search::Hit],
    leaning: &Leaning,
) -> Result<(String, Option<String>), Fault> {
    const NAMED: usize = 4;
    let numbers: Vec<i64> = hits.iter().map(|hit| hit.number).collect();
    let present = app.store.present(asker, &numbers).await?;
    let mut causes: HashMap<&str, usize> = HashMap::new();
    let mut classes: HashMap<&str, usize> = HashMap::new();
    let mut cleared: HashMap<&str, usize> = HashMap::new();
    for incident in present.values().map(|revision| &revision.incident) {
        let Some(cause) = &incident.cause else {
            continue;
        };
        let against = leaning.speaks_against(cause.id());
        let counted = if against { &mut cleared } else { &mut causes };
        *counted
            .entry(app.catalogue.cause_name(cause.id()))
            .or_default() += 1;
        if let Some(tool) = tools.get(&incident.tool) {
            *classes.entry(tool.class.as_str()).or_default() += 1;
        }
    }
    let with_cause = hits.iter().filter(|hit| {
        let revision = present.get(&hit.number);
        revision.is_some_and(|revision| revision.incident.cause.is_some())
    });
    let again: usize = with_cause.map(|hit| hit.alike.len()).sum();
    let ruled_out: usize = cleared.values().sum();
    let known = causes.values().sum::<usize>() + ruled_out;
    if known < 2 {
        return Ok((String::new(), None));
    }
    let named = |causes: HashMap<&str, usize>| {
        let first = most_first(causes).into_iter().take(NAMED);
        let each: Vec<_> = first
            .map(|(name, count)| format!("{count} {}", name.to_lowercase()))
            .collect();
        each.join(", ")
    };
    let commonest = most_first(classes)
        .first()
        .map(|(class, _)| (*class).to_owned());
    let again = if again == 0 {
        String::new()
    } else {
        format!(" ({again} more told alike with one of them, not counted again)")
    };
    let left = named(causes);
    let told = match (left.is_empty(), ruled_out) {
        (_, 0) => left,
        (true, _) => format!(
            "all of what checks on record speak against ({})",
            named(cleared)
        ),
        (false, _) => format!(
            "{left}; checks on record speak against {ruled_out} more ({})",
            named(cleared)
        ),
    };
    Ok((
        format!("Of the {known} nearest with a cause{again}: {told}."),
        commonest,
    ))
}

fn most_first(counts: HashMap<&str, usize>) -> Vec<(&str, usize)> {
    let mut ranked: Vec<_> = counts.into_iter().collect();
    ranked.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(b.0)));
    ranked
}

fn page_number(asked: &Pairs) -> usize {
    asked
        .get("page")
        .and_then(|text| text.parse().ok())
        .unwrap_or(1)
        .clamp(1, LAST_PAGE)
}

/// `132 cases`, or `at least 10,400 cases` where not every match was looked at.
fn cases(answer: &Answer) -> String {
    let cases = show::counted(answer.total as u64, "case", "cases");
    if answer.or_more {
        format!("at least {cases}")
    } else {
        cases
    }
}

fn pager(asked: &Pairs, path: &str, place: usize, answer: &Answer, shown: usize) -> Pager {
    let total = answer.listed();
    let first = (place - 1) * PAGE;
    let last = total.div_ceil(PAGE).clamp(1, LAST_PAGE);
    let step = |to: usize| {
        let to = if to == 1 {
            String::new()
        } else {
            to.to_string()
        };
        asked.address(path, "page", &to)
    };
    Pager {
        summary: if shown == 0 {
            String::new()
        } else {
            format!(
                "{} to {} of {}{}",
                show::count(first as u64 + 1),
                show::count((first + shown) as u64),
                if answer.or_more { "at least " } else { "" },
                show::count(total as u64)
            )
        },
        previous: (place > 1).then(|| step((place - 1).min(last))),
        next: (first + shown < total && place < LAST_PAGE).then(|| step(place + 1)),
    }
}

fn ways_on(asked: &Pairs, filtered: bool) -> Vec<Link> {
    let mut ways = Vec::new();
    let query = asked.get("q").unwrap_or_default();
    if filtered {
        ways.push(Link::new(
            "Search the whole fleet, without filters",
            fields::address("/search", [("q", query)]),
        ));
    }
    if !query.trim().is_empty() {
        ways.push(Link::new("Ask what to check next instead", "/sequence"));
    }
    ways.push(Link::new("List every incident, newest first", "/search"));
    ways
}

/// The filters of a search, and how the page shows them again.
pub(in crate::web) fn filters(app: &App, asked: &Pairs) -> (Filters, SearchFilters) {
    let class = asked.get("tool_class");
    let kind = asked.get("kind");
    let (from, to) = (asked.get("from"), asked.get("to"));
    let mut problems = Vec::new();
    let mut day = |text: Option<&str>, shift: i64| {
        let text = text?;
        let Ok(date) = text.parse::<Date>() else {
            problems.push(format!("{text:?} is not a day; write it like 2025-03-04"));
            return None;
        };
        Some(day::start_of(date)?.as_microsecond() + shift)
    };
    let from_at = day(from, 0);
    let until = day(to, day::MICROSECONDS);
    let known_class = class.filter(|id| app.catalogue.class(id).is_some());
    let known_kind: Option<Kind> = kind.and_then(|kind| kind.parse().ok());
    if let Some(class) = class
        && known_class.is_none()
    {
        problems.push(format!("no tool class is called {class:?}"));
    }
    if let Some(kind) = kind
        && known_kind.is_none()
    {
        problems.push(format!("no kind of cause is called {kind:?}"));
    }
    let any = |label: &str, nothing: bool| SelectOption {
        selected: nothing,
        ..SelectOption::new("", label)
    };
    let classes = app.catalogue.classes().map(|c| SelectOption {
        selected: class == Some(c.id.as_str()),
        ..SelectOption::new(c.id.as_str(), c.name.as_str())
    });
    let kinds = Kind::ALL.into_iter().map(|k| SelectOption {
        selected: known_kind == Some(k),
        ..SelectOption::new(k.id(), show::capital(k.name()))
    });
    let view = SearchFilters {
        tool_class: std::iter::once(any("Any class", class.is_none()))
            .chain(classes)
            .collect(),
        kind: std::iter::once(any("Any kind", kind.is_none()))
            .chain(kinds)
            .collect(),
        from: from.unwrap_or_default().to_owned(),
        to: to.unwrap_or_default().to_owned(),
        message: (!problems.is_empty()).then(|| problems.join("; ")),
        active: class.or(kind).or(from).or(to).is_some(),
    };
    let filters = Filters {
        class: known_class.map(str::to_owned),
        kind: known_kind,
        cause: asked
            .get("cause")
            .filter(|id| *id == crate::catalogue::NOT_FOUND || app.catalogue.cause(id).is_some())
            .map(str::to_owned),
        site: None,
        from: from_at,
        until,
    };
    (filters, view)
}
