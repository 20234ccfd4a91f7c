//! Vacuum calculations: what goes in, what comes out, what was assumed.

use askama::Template;

use super::chart::{Chart, DataTable};
use super::form::{ErrorSummary, Field, Fields, Hidden};
use super::page::Page;
use super::words::Words;
use super::{CautionBox, Link, SafeHtml, Tone};

/// The calculations there are.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "calculations.html")]
pub struct CalculationsPage {
    /// The frame.
    pub page: Page,
    /// The calculations.
    pub calculations: Vec<CalculationLine>,
}

/// One calculation of the list.
#[derive(Clone, Debug, Default)]
pub struct CalculationLine {
    /// Its name.
    pub name: String,
    /// Its page.
    pub href: String,
    /// The question it answers.
    pub answers: String,
    /// What one needs for it.
    pub needs: String,
}

/// One calculation, before or after it is done.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "calculation.html")]
pub struct CalculationPage {
    /// The frame.
    pub page: Page,
    /// Its name.
    pub name: String,
    /// The question it answers and when to use it.
    pub intro: String,
    /// The cautions of the measurement behind it: whole before the form, and with a result its hazards
    /// before the verdict and the whole before what to do next.
    pub cautions: Vec<CautionBox>,
    /// The form.
    pub form: CalculationForm,
    /// The result; none before the first calculation or after a refused form.
    pub result: Option<CalculationResult>,
    /// The formulas and where they are from, sanitised.
    pub method: SafeHtml,
    /// Other results of the same tool beside this one.
    pub beside: Vec<Link>,
    /// Keeping the result with an incident; none without a result.
    pub attach: Option<AttachForm>,
}

/// What keeps a result with an incident.
#[derive(Clone, Debug)]
pub struct AttachForm {
    /// The calculation's name in data.
    pub name: String,
    /// What went in, as JSON; none if it cannot be kept.
    pub request: Option<String>,
    /// Why it cannot be kept, where it cannot.
    pub why_not: String,
    /// Logs of it that are held meanwhile.
    pub held: Vec<Hidden>,
    /// How long they are, in words.
    pub held_for: String,
    /// Which incident, and who attaches it.
    pub fields: Vec<Field>,
}

/// A calculation attached to an incident, as a line.
#[derive(Clone, Debug, Default)]
pub struct AttachedLine {
    /// The calculation.
    pub name: String,
    /// Its page.
    pub href: String,
    /// Its verdict.
    pub verdict: String,
    /// Who attached it and when.
    pub by: String,
}

/// What goes into a calculation.
#[derive(Clone, Debug, Default)]
pub struct CalculationForm {
    /// Where it is sent.
    pub action: String,
    /// Whether it is sent by POST, as a file must be; otherwise by GET, so that it can be passed on as a link.
    pub post: bool,
    /// The fields, in groups.
    pub groups: Vec<FieldGroup>,
    /// Values sent along.
    pub hidden: Vec<Hidden>,
    /// Messages about the form as a whole.
    pub general: Vec<String>,
}

/// Fields that belong together.
#[derive(Clone, Debug, Default)]
pub struct FieldGroup {
    /// What they have in common; empty for none.
    pub title: String,
    /// A short help.
    pub about: String,
    /// The fields.
    pub fields: Vec<Field>,
}

/// What comes out of a calculation.
#[derive(Clone, Debug, Default)]
pub struct CalculationResult {
    /// The verdict, or the refusal to conclude.
    pub verdict: Option<Verdict>,
    /// The figures.
    pub figures: Vec<Figure>,
    /// The plots.
    pub charts: Vec<Chart>,
    /// Further tables.
    pub tables: Vec<DataTable>,
    /// What was assumed.
    pub assumptions: Vec<String>,
    /// What was marked in the data, such as a gauge step, with its line.
    pub marks: Vec<String>,
    /// Ways on, such as the check that would decide.
    pub next: Vec<Link>,
    /// What went in, as files.
    pub data: Vec<Link>,
    /// Which program computed it.
    pub version: String,
}

/// A verdict in plain words.
#[derive(Clone, Debug, Default)]
pub struct Verdict {
    /// How it is to be read.
    pub tone: Tone,
    /// The verdict in a few words.
    pub headline: String,
    /// Its reasons, each a sentence.
    pub reasons: Vec<String>,
}

/// A result.
#[derive(Clone, Debug, Default)]
pub struct Figure {
    /// What it is.
    pub name: String,
    /// How much, with its unit.
    pub value: String,
    /// Its interval; empty if it has none.
    pub interval: String,
    /// The same in other units, or what it means; empty if nothing.
    pub note: String,
}

impl CalculationForm {
    /// The messages to show above the form.
    pub fn summary(&self) -> ErrorSummary {
        ErrorSummary::new(&self.general, self.field_messages())
    }
}

impl Fields for CalculationForm {
    fn fields(&self) -> Vec<&Field> {
        self.groups.iter().flat_map(|group| &group.fields).collect()
    }

    fn fields_mut(&mut self) -> Vec<&mut Field> {
        self.groups
            .iter_mut()
            .flat_map(|group| &mut group.fields)
            .collect()
    }

    fn general(&mut self) -> &mut Vec<String> {
        &mut self.general
    }
}
