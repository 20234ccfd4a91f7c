//! What each page shows, as plain values, and the templates that show it.
//!
//! One struct a page, each with an askama template of the same name. The structs hold only strings, numbers
//! and lists: a handler turns domain values into them, and the template turns them into HTML. Everything is
//! escaped on the way out, apart from [`SafeHtml`] and the parts that are themselves templates.
//!
//! This module must not import anything of the domain, the store, the search or the HTTP library.

pub mod about;
pub mod bar;
pub mod calculation;
pub mod cause;
pub mod chart;
pub mod check;
pub mod fleet;
pub mod form;
pub mod home;
pub mod incident;
pub mod message;
pub mod overlay;
pub mod page;
pub mod pager;
pub mod replay;
pub mod report;
pub mod scale;
pub mod search;
pub mod sequence;
pub mod statistics;
pub mod upkeep;
pub mod words;

use std::fmt;

use askama::filters::HtmlSafe;

/// A piece of HTML that was already escaped or sanitised, shown as it is.
///
/// Whoever makes one vouches for it: a search excerpt escaped before its marks were put in, or a procedure
/// that went through the sanitiser.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SafeHtml(pub String);

impl fmt::Display for SafeHtml {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.0)
    }
}

impl HtmlSafe for SafeHtml {}

/// Words that lead somewhere.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Link {
    /// What the person reads.
    pub text: String,
    /// Where it leads.
    pub href: String,
}

impl Link {
    /// A link with these words to this address.
    pub fn new(text: impl Into<String>, href: impl Into<String>) -> Link {
        Link {
            text: text.into(),
            href: href.into(),
        }
    }
}

/// A caution of the catalogue, shown before the step it belongs to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CautionBox {
    /// The hazard in a few words, such as "High voltage".
    pub hazard: String,
    /// What to do about it, as sanitised HTML.
    pub text: SafeHtml,
}

/// How a verdict or a notice is to be read. Shown in words and by shape, never by colour alone.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Tone {
    /// Neither good nor bad.
    #[default]
    Plain,
    /// What one hopes for.
    Good,
    /// Something is wrong.
    Bad,
    /// The data cannot tell.
    Unsure,
}

impl Tone {
    /// The style class of this tone.
    pub fn class(self) -> &'static str {
        match self {
            Tone::Plain => "tone-plain",
            Tone::Good => "tone-good",
            Tone::Bad => "tone-bad",
            Tone::Unsure => "tone-unsure",
        }
    }
}

#[cfg(test)]
mod tests {
    use std::{fs, path::Path};

    use askama::Template;

    use super::{
        CautionBox, Link, SafeHtml, Tone,
        calculation::{CalculationPage, CalculationResult, Verdict},
        check::CheckPage,
        form::Fields,
        report::{IncidentForm, ReportChoices, ReportPage},
        search::{Excerpt, Hit, SearchPage},
    };

    const HOSTILE: &str = r#""><script>alert(1)</script>"#;

    #[test]
    fn what_people_type_is_escaped_and_marked_excerpts_are_not_escaped_twice() {
        let hit = Hit {
            excerpts: vec![Excerpt {
                part: HOSTILE.to_owned(),
                text: SafeHtml("a <mark>leak</mark> &lt;b&gt;".to_owned()),
            }],
            why: vec![HOSTILE.to_owned()],
            ..Hit::default()
        };
        let page = SearchPage {
            query: HOSTILE.to_owned(),
            summary: HOSTILE.to_owned(),
            hits: vec![hit],
            ..SearchPage::default()
        };
        let html = page.render().expect("a page of plain values renders");
        assert!(!html.contains("<script>alert"));
        assert!(html.contains("a <mark>leak</mark> &lt;b&gt;"));
    }

    #[test]
    fn a_refused_report_keeps_what_was_typed_and_says_what_is_wrong() {
        let mut form = IncidentForm::blank(&ReportChoices::default(), 6, false);
        form.fill("symptom", &format!("\nfirst line\n{HOSTILE}"));
        form.fill("checks.5.note", "kept");
        form.refuse("symptom", "is too short");
        let page = ReportPage {
            page: super::page::Page::default(),
            action: "/incidents/new".to_owned(),
            cancel: "/".to_owned(),
            number: None,
            form,
        };
        let html = page.render().expect("a page of plain values renders");
        assert!(!html.contains("<script>alert"));
        assert!(html.contains("first line"));
        assert!(html.contains(r#"value="kept""#));
        assert!(html.contains(r##"<a href="#symptom">What was seen</a>: is too short"##));
        assert!(html.contains(r#"id="symptom.message""#));
    }

    #[test]
    fn cautions_stand_before_the_procedure() {
        let page = CheckPage {
            cautions: vec![CautionBox {
                hazard: "Stored pressure".to_owned(),
                text: SafeHtml("<p>Purge first.</p>".to_owned()),
            }],
            procedure: SafeHtml("<p>Lift the cap.</p>".to_owned()),
            ..CheckPage::default()
        };
        let html = page.render().expect("a page of plain values renders");
        let place = |text: &str| html.find(text).expect("it is on the page");
        assert!(place("Stored pressure") < place("Lift the cap."));
        assert!(place("Purge first.") < place("Lift the cap."));
    }

    #[test]
    fn hazards_stand_before_a_verdict_and_cautions_before_what_to_do_next() {
        let mut page = CalculationPage {
            cautions: vec![CautionBox {
                hazard: "Stored pressure".to_owned(),
                text: SafeHtml("<p>Purge first.</p>".to_owned()),
            }],
            result: Some(CalculationResult {
                verdict: Some(Verdict {
                    tone: Tone::Bad,
                    headline: "A leak.".to_owned(),
                    reasons: Vec::new(),
                }),
                next: vec![Link::new("Spray helium", "/checks/helium")],
                ..CalculationResult::default()
            }),
            ..CalculationPage::default()
        };
        let html = page.render().expect("a page of plain values renders");
        let place = |text: &str| html.find(text).expect("it is on the page");
        assert!(place("Stored pressure") < place("A leak."));
        assert!(place("A leak.") < place("Purge first."));
        assert!(place("Purge first.") < place("Spray helium"));

        page.result = None;
        let html = page.render().expect("a page of plain values renders");
        assert!(html.contains("Purge first."));
    }

    /// The content policy allows neither, and only [`SafeHtml`] may go out unescaped.
    #[test]
    fn no_template_holds_inline_styles_scripts_or_unescaped_text() {
        let mut seen = 0;
        let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("templates")];
        while let Some(folder) = folders.pop() {
            for entry in fs::read_dir(&folder).expect("the templates are there") {
                let path = entry.expect("a readable entry").path();
                if path.is_dir() {
                    folders.push(path);
                } else if path
                    .extension()
                    .is_some_and(|extension| extension == "html")
                {
                    let text = fs::read_to_string(&path).expect("a readable template");
                    for banned in [
                        "|safe",
                        "| safe",
                        " style=",
                        "<style",
                        "<script>",
                        " onclick=",
                        "javascript:",
                    ] {
                        assert!(!text.contains(banned), "{} holds {banned}", path.display());
                    }
                    seen += 1;
                }
            }
        }
        assert!(seen > 20, "only {seen} templates were looked at");
    }
}
