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
pub mod page;
pub mod pager;
pub mod report;
pub mod scale;
pub mod search;
pub mod sequence;
pub mod statistics;

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
