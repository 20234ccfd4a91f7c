//! The tools by site, and one tool.

use askama::Template;

use super::Link;
use super::form::{ErrorSummary, Field};
use super::home::IncidentLine;
use super::incident::Fact;
use super::page::Page;
use super::upkeep::{ChangeLine, UpkeepForm};

/// The tools by site.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "fleet.html")]
pub struct FleetPage {
    /// The frame.
    pub page: Page,
    /// The filters, sent to `/fleet` by GET.
    pub filters: Vec<Field>,
    /// Whether any filter is set.
    pub filtered: bool,
    /// What is shown, such as "64 tools at 8 sites".
    pub summary: String,
    /// The sites.
    pub sites: Vec<SiteTools>,
}

/// The tools of one site.
#[derive(Clone, Debug, Default)]
pub struct SiteTools {
    /// Its code.
    pub code: String,
    /// Its name.
    pub name: String,
    /// Its page.
    pub href: String,
    /// Its tools.
    pub tools: Vec<ToolLine>,
}

/// One tool of the list.
#[derive(Clone, Debug, Default)]
pub struct ToolLine {
    /// Its code.
    pub code: String,
    /// Its page.
    pub href: String,
    /// The tool class.
    pub tool_class: String,
    /// What it reaches when it is well.
    pub healthy: String,
    /// How many incidents it has had.
    pub incidents: u64,
    /// How many of them are open.
    pub open: u64,
    /// When the last one was, in words; empty if there was none.
    pub last: String,
    /// Whether it has been taken out of service.
    pub retired: bool,
}

/// One site.
#[derive(Clone, Debug, Template)]
#[template(path = "site.html")]
pub struct SitePage {
    /// The frame.
    pub page: Page,
    /// Its code.
    pub code: String,
    /// Its name.
    pub name: String,
    /// Where it is; may be empty.
    pub place: String,
    /// Where to go on.
    pub ways: Vec<Link>,
    /// What bringing help costs it, in one sentence.
    pub price: String,
    /// The form that changes that.
    pub price_form: UpkeepForm,
    /// What was changed before, newest first.
    pub changes: Vec<ChangeLine>,
    /// Its tools.
    pub tools: Vec<ToolLine>,
}

/// A planned service.
#[derive(Clone, Debug)]
pub struct ServiceLine {
    /// Component and day.
    pub what: String,
    /// What was done, and who wrote it down.
    pub by: String,
    /// The form that withdraws it.
    pub withdrawal: UpkeepForm,
}

/// One tool.
#[derive(Clone, Debug, Template)]
#[template(path = "tool.html")]
pub struct ToolPage {
    /// The frame.
    pub page: Page,
    /// Its code.
    pub code: String,
    /// The tool class in words.
    pub tool_class: String,
    /// The site.
    pub site: Link,
    /// What it reaches when it is well, as stated.
    pub healthy: String,
    /// The same in pascals; empty if stated in pascals.
    pub healthy_pascals: String,
    /// What else is known: serial, volume, pumping speed, gauges, times to change state.
    pub facts: Vec<Fact>,
    /// Components it has.
    pub components: Vec<String>,
    /// Components that other tools of the class have and this one lacks.
    pub lacks: Vec<String>,
    /// Its incidents, newest first.
    pub incidents: Vec<IncidentLine>,
    /// How many there are, in words.
    pub incident_summary: String,
    /// Address of all its incidents, if not all are shown.
    pub all_incidents: Option<Link>,
    /// Its rise tests laid over each other.
    pub rises: Link,
    /// Its pump-downs, laid over each other.
    pub pump_downs: Link,
    /// The check sequence of this tool.
    pub sequence: String,
    /// Where a report about it is started.
    pub report: String,
    /// The form that changes its days in service.
    pub days: UpkeepForm,
    /// What was changed before, newest first.
    pub changes: Vec<ChangeLine>,
    /// Its planned services, newest first.
    pub services: Vec<ServiceLine>,
    /// The form that adds one.
    pub service: UpkeepForm,
}

impl ToolPage {
    /// What was refused, of whichever form was sent.
    fn refusals(&self) -> ErrorSummary {
        let withdrawals = self.services.iter().map(|line| &line.withdrawal);
        ErrorSummary {
            messages: [&self.days, &self.service]
                .into_iter()
                .chain(withdrawals)
                .flat_map(|form| form.summary().messages)
                .collect(),
        }
    }
}
