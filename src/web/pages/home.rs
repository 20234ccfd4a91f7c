//! The front page.

use axum::{extract::State, response::Html};

use crate::{
    casebook::Status,
    store::Listing,
    web::{
        fault::{self, Fault},
        fields::address,
        finding::tools_by_name,
        show,
        state::App,
        views::{
            Link,
            home::HomePage,
            page::{Page, Section},
        },
    },
};

/// How many incidents each list shows.
const SHOWN: i64 = 8;

/// Kept searches shown.
const KEPT: usize = 6;

/// Words a person at a tool might begin with.
const EXAMPLES: [&str; 4] = [
    "stuck at 1e-4, gauge will not light",
    "slow pump-down after new foil",
    "water under the hearth",
    "turbo power high, foreline up",
];

pub(super) async fn show(State(app): State<App>) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let tools = tools_by_name(&app, &asker).await?;
    let sites = app.store.sites(&asker).await?;
    let (open, closed) = app.store.counts().await?;
    let mut lists = Vec::new();
    for status in [Status::Open, Status::Closed] {
        let listing = Listing {
            status: Some(status),
            limit: SHOWN,
            ..Listing::default()
        };
        let (overviews, _) = app.store.list(&asker, &listing).await?;
        lists.push(
            overviews
                .iter()
                .map(|o| {
                    let tool = tools.get(&o.incident.tool);
                    show::incident_line(o.number, &o.incident, tool, &app.catalogue)
                })
                .collect::<Vec<_>>(),
        );
    }
    let closed_lines = lists.pop().unwrap_or_default();
    let open_lines = lists.pop().unwrap_or_default();
    fault::page(&HomePage {
        page: Page::new("Search the fleet's incidents", Section::Search),
        known: show::count((open + closed).unsigned_abs()),
        fleet: format!(
            "{} at {}",
            show::counted(tools.len() as u64, "tool", "tools"),
            show::counted(sites.len() as u64, "site", "sites")
        ),
        kept: super::kept::list(&app, &asker)
            .await?
            .into_iter()
            .take(KEPT)
            .collect(),
        open: open_lines,
        closed: closed_lines,
        examples: EXAMPLES
            .iter()
            .map(|words| Link::new(*words, address("/search", [("q", *words)])))
            .collect(),
    })
}
