//! What every page has around its content: title, place in the navigation, notices, who is signed in.

use super::Link;

/// The frame of a page.
#[derive(Clone, Debug, Default)]
pub struct Page {
    /// The title, without the product's name.
    pub title: String,
    /// Which entry of the navigation is the current one.
    pub section: Section,
    /// The way up from this page, outermost first; empty on the top pages.
    pub trail: Vec<Link>,
    /// Something everybody must know, such as "Filed as number 412".
    pub notice: Option<String>,
    /// The signed-in person's name and where the account is looked after; none where there is no sign-in.
    pub person: Option<Link>,
    /// Version of the program, shown in the footer.
    pub version: String,
}

impl Page {
    /// A page of this title in this section, with nothing else set.
    pub fn new(title: impl Into<String>, section: Section) -> Page {
        Page {
            title: title.into(),
            section,
            version: env!("CARGO_PKG_VERSION").to_owned(),
            ..Page::default()
        }
    }

    /// The entries of the navigation, in order.
    pub fn entries(&self) -> Vec<Entry> {
        Section::ALL
            .into_iter()
            .map(|section| Entry {
                text: section.text(),
                href: section.href(),
                current: section == self.section,
            })
            .collect()
    }
}

/// One entry of the navigation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry {
    /// What the person reads.
    pub text: &'static str,
    /// Where it leads.
    pub href: &'static str,
    /// Whether the page shown belongs to it.
    pub current: bool,
}

/// The entries of the navigation.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Section {
    /// The front page, search and single incidents.
    Search,
    /// Filing and correcting a report.
    Report,
    /// The check sequence.
    Sequence,
    /// Cause statistics.
    Statistics,
    /// Sites and tools.
    Fleet,
    /// Checks and their procedures.
    Checks,
    /// Causes of the catalogue.
    Causes,
    /// Vacuum calculations.
    Calculations,
    /// What the words mean.
    About,
    /// None of them, as on an error page.
    #[default]
    Elsewhere,
}

impl Section {
    /// The sections that the navigation offers.
    pub const ALL: [Section; 9] = [
        Section::Search,
        Section::Report,
        Section::Sequence,
        Section::Statistics,
        Section::Fleet,
        Section::Checks,
        Section::Causes,
        Section::Calculations,
        Section::About,
    ];

    fn text(self) -> &'static str {
        match self {
            Section::Search | Section::Elsewhere => "Search",
            Section::Report => "Report",
            Section::Sequence => "Next check",
            Section::Statistics => "Statistics",
            Section::Fleet => "Fleet",
            Section::Checks => "Checks",
            Section::Causes => "Causes",
            Section::Calculations => "Calculate",
            Section::About => "Help",
        }
    }

    fn href(self) -> &'static str {
        match self {
            Section::Search | Section::Elsewhere => "/",
            Section::Report => "/incidents/new",
            Section::Sequence => "/sequence",
            Section::Statistics => "/statistics",
            Section::Fleet => "/fleet",
            Section::Checks => "/checks",
            Section::Causes => "/causes",
            Section::Calculations => "/calculations",
            Section::About => "/about",
        }
    }
}
