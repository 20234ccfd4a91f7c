//! Small forms by which people keep up a site or a tool, and what was changed before.

use askama::{Template, filters::HtmlSafe};

use super::form::{ErrorSummary, Field, Fields};

/// A small form, folded away until it is wanted or was refused.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "parts/upkeep.html")]
pub struct UpkeepForm {
    /// What it is for, as the words that unfold it.
    pub title: String,
    /// One or two sentences of what it means.
    pub about: String,
    /// Where it is sent, by POST.
    pub action: String,
    /// Its fields, whose names begin with a word of their own.
    pub fields: Vec<Field>,
    /// What the button says.
    pub button: String,
    /// Messages about the form as a whole.
    pub general: Vec<String>,
}

impl HtmlSafe for UpkeepForm {}

impl UpkeepForm {
    /// The messages to show above it.
    pub fn summary(&self) -> ErrorSummary {
        ErrorSummary::new(&self.general, self.field_messages())
    }

    fn is_open(&self) -> bool {
        !self.summary().messages.is_empty()
    }
}

impl Fields for UpkeepForm {
    fn fields(&self) -> Vec<&Field> {
        self.fields.iter().collect()
    }

    fn fields_mut(&mut self) -> Vec<&mut Field> {
        self.fields.iter_mut().collect()
    }

    fn general(&mut self) -> &mut Vec<String> {
        &mut self.general
    }
}

/// A change that was made.
#[derive(Clone, Debug, Default)]
pub struct ChangeLine {
    /// When and by whom.
    pub by: String,
    /// What became what, in words.
    pub what: String,
    /// Why; may be empty.
    pub reason: String,
}
