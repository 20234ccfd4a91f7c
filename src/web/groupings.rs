//! What cases are counted by, on pages, in files and by the API.

use super::{
    asked_cases::one_of,
    fields::{Pairs, place},
    show,
};
use crate::{
    casebook::{Finding, Refusal, Site},
    catalogue::{Catalogue, Kind, NOT_FOUND},
    statistics::Dimension,
};

/// One way to count.
#[derive(Clone, Copy, Debug)]
pub(super) struct Grouping {
    /// As an address names it, and the field of one group in an answer.
    pub(super) id: &'static str,
    /// The field of all groups in an answer.
    pub(super) plural: &'static str,
    /// The last part of its address in the API.
    pub(super) path: &'static str,
    /// As a page names it.
    pub(super) heading: &'static str,
    pub(super) dimension: Dimension,
}

const fn grouping(
    [id, plural, path, heading]: [&'static str; 4],
    dimension: Dimension,
) -> Grouping {
    Grouping {
        id,
        plural,
        path,
        heading,
        dimension,
    }
}

/// All of them, the usual one first.
pub(super) const GROUPINGS: [Grouping; 6] = [
    grouping(["cause", "causes", "causes", "Cause"], Dimension::Cause),
    grouping(
        ["component", "components", "components", "Component"],
        Dimension::Component,
    ),
    grouping(["kind", "kinds", "kinds", "Kind of cause"], Dimension::Kind),
    grouping(
        ["tool_class", "tool_classes", "tool-classes", "Tool class"],
        Dimension::Class,
    ),
    grouping(["site", "sites", "sites", "Site"], Dimension::Site),
    grouping(["tool", "tools", "tools", "Tool"], Dimension::Tool),
];

/// The one that `by` names among some; the first where nothing is asked for.
pub(super) fn asked(asked: &Pairs, among: &[Grouping]) -> Result<Grouping, Refusal> {
    let by = asked.get("by");
    among
        .iter()
        .find(|grouping| by.is_none_or(|by| by == grouping.id))
        .copied()
        .ok_or_else(|| {
            Refusal::new(
                "by",
                format!("cases are not counted by {:?} here", by.unwrap_or_default()),
                one_of(among.iter().map(|grouping| grouping.id), "nothing"),
            )
        })
}

/// What a group is called, and where it leads.
pub(super) struct Name {
    pub(super) words: String,
    pub(super) href: Option<String>,
    pub(super) about: String,
}

impl Grouping {
    /// The name of a group.
    pub(super) fn name(&self, id: &str, catalogue: &Catalogue, sites: &[Site]) -> Name {
        let plain = |words: String| Name {
            words,
            href: None,
            about: String::new(),
        };
        if id == NOT_FOUND && !matches!(self.dimension, Dimension::Cause | Dimension::Tool) {
            return plain("No cause found".to_owned());
        }
        match self.dimension {
            Dimension::Cause => {
                let link = show::cause_link(&Finding::from(id.to_owned()), catalogue);
                let kind = catalogue.cause(id).map(|cause| cause.kind.name());
                Name {
                    words: link.text,
                    href: Some(link.href),
                    about: kind.unwrap_or_default().to_owned(),
                }
            }
            Dimension::Component => plain(
                catalogue
                    .component(id)
                    .map_or_else(|| id.to_owned(), |component| component.name.clone()),
            ),
            Dimension::Kind => plain(
                id.parse::<Kind>()
                    .map_or_else(|_| id.to_owned(), |kind| show::capital(kind.name())),
            ),
            Dimension::Tool => Name {
                words: id.to_owned(),
                href: Some(place("/tools", id)),
                about: String::new(),
            },
            Dimension::Class => plain(show::class_name(catalogue, id)),
            Dimension::Site => plain(
                sites
                    .iter()
                    .find(|site| site.code.as_str() == id)
                    .map_or_else(|| id.to_owned(), |site| format!("{} · {}", id, site.name)),
            ),
        }
    }
}
