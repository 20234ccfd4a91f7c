//! What the words mean and how the figures come about.

use axum::{extract::State, response::Html};

use super::{checks::cautions, markdown};
use crate::web::{
    fault::{self, Fault},
    show,
    state::App,
    views::{
        about::AboutPage,
        incident::Fact,
        page::{Page, Section},
    },
};

const QUERY_HELP: &str = "\
Type what you see, in your own words. Word endings do not matter, and a slip of the \
finger is forgiven in longer words the fleet has never written. Cases that share more \
and rarer words stand first. An empty search lists every incident, newest first.";

pub(super) async fn show(State(app): State<App>) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let (open, closed) = app.store.counts().await?;
    let tools = app.store.tools(&asker).await?.len() as u64;
    let sites = app.store.sites(&asker).await?.len() as u64;
    let catalogue = &app.catalogue;
    let counts = vec![
        Fact::new("Incidents closed", show::count(closed.unsigned_abs())),
        Fact::new("Incidents open", show::count(open.unsigned_abs())),
        Fact::new("Tools", show::count(tools)),
        Fact::new("Sites", show::count(sites)),
        Fact::new(
            "Causes known",
            show::count(catalogue.causes().count() as u64),
        ),
        Fact::new(
            "Checks described",
            show::count(catalogue.checks().count() as u64),
        ),
    ];
    fault::page(&AboutPage {
        page: Page::new("Help", Section::About),
        cautions: cautions(catalogue.cautions().map(|caution| &caution.id), catalogue),
        counts,
        query_help: markdown::render(QUERY_HELP),
    })
}
