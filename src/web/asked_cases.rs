//! Which cases a question about statistics is for, as an address says it: read in one way
//! for pages, their files and the API.

use jiff::civil::Date;

use super::{fault::Fault, fields::Pairs, state::App};
use crate::{
    casebook::{Refusal, Site},
    day,
    statistics::Filter,
};

/// What was asked for.
pub(super) struct AskedCases {
    pub(super) filter: Filter,
    /// The sites that may be seen.
    pub(super) sites: Vec<Site>,
    /// What cannot be taken; the filter is then of no use.
    pub(super) refusals: Vec<Refusal>,
}

/// Reads `tool_class`, `site`, `tool`, `from` and `to`.
pub(super) async fn read(app: &App, asked: &Pairs) -> Result<AskedCases, Fault> {
    app.counted().await;
    let asker = app.asker();
    let sites = app.store.sites(&asker).await?;
    let mut refusals = Vec::new();
    let class = asked.get("tool_class");
    if let Some(class) = class
        && app.catalogue.class(class).is_none()
    {
        let known = app.catalogue.classes().map(|class| class.id.as_str());
        refusals.push(Refusal::new(
            "tool_class",
            format!("no tool class is called {class:?}"),
            one_of(known, "no class is in the catalogue"),
        ));
    }
    // Somebody of one site gets that one, whichever was asked for.
    let site = asker.only_site().or_else(|| {
        let site = asked.get("site")?;
        if sites.iter().all(|known| known.code.as_str() != site) {
            let known = sites.iter().map(|site| site.code.as_str());
            refusals.push(Refusal::new(
                "site",
                format!("no site is called {site:?}"),
                one_of(known, "nothing, since no site is on record yet"),
            ));
        }
        Some(site)
    });
    let tool = asked.get("tool");
    if let Some(id) = tool
        && app.store.tool(&asker, id).await?.is_none()
    {
        refusals.push(Refusal::new(
            "tool",
            format!("no tool is called {id:?}"),
            "the name of a tool of the fleet, as its page has it",
        ));
    }
    let mut day = |name: &str| {
        let text = asked.get(name)?;
        let day = text.parse::<Date>().ok().and_then(day::of_date);
        if day.is_none() {
            refusals.push(Refusal::new(
                name,
                format!("{text:?} is not a day"),
                "a day like 2025-03-04",
            ));
        }
        Some((text, day?))
    };
    let (from, to) = (day("from"), day("to"));
    if let (Some((_, from_day)), Some((to, to_day))) = (from, to)
        && from_day > to_day
    {
        refusals.push(Refusal::new(
            "from",
            "lies after the last day",
            format!("a day up to {to}"),
        ));
    }
    Ok(AskedCases {
        filter: Filter {
            class: class.map(str::to_owned),
            site: site.map(str::to_owned),
            tool: tool.map(str::to_owned),
            from_day: from.map(|(_, day)| day),
            to_day: to.map(|(_, day)| day),
        },
        sites,
        refusals,
    })
}

/// `one, another`, or what to say where there is none.
pub(super) fn one_of<'a>(known: impl Iterator<Item = &'a str>, none: &str) -> String {
    let known: Vec<&str> = known.collect();
    if known.is_empty() {
        none.to_owned()
    } else {
        known.join(", ")
    }
}
