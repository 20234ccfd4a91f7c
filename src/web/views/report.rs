//! The form that files a report, and the same form that corrects one.

use askama::Template;

use super::form::{
    ErrorSummary, Field, Fields, Hidden, LineKind, OptionGroup, Questions, SelectOption,
};
use super::page::Page;

/// How many check rows an empty form has, and how many more each press of "more rows" brings.
pub const CHECK_ROWS: usize = 3;

/// Filing or correcting a report.
#[derive(Clone, Debug, Template)]
#[template(path = "report.html")]
pub struct ReportPage {
    /// The frame.
    pub page: Page,
    /// Where the form is sent.
    pub action: String,
    /// Where to go without sending it.
    pub cancel: String,
    /// Number of the incident being corrected; none for a new one.
    pub number: Option<i64>,
    /// The form.
    pub form: IncidentForm,
}

/// What the form offers to choose from.
#[derive(Clone, Debug, Default)]
pub struct ReportChoices {
    /// The tools, grouped by site.
    pub tools: Vec<OptionGroup>,
    /// The causes, grouped by kind; "not found" among them.
    pub causes: Vec<OptionGroup>,
    /// The checks.
    pub checks: Vec<SelectOption>,
    /// The pressure units.
    pub units: Vec<SelectOption>,
    /// Id and question of each sign.
    pub signs: Vec<SelectOption>,
    /// Id and words of each antecedent.
    pub antecedents: Vec<SelectOption>,
}

/// The fields of a report. Names are the paths of the incident's JSON form: `pressures.healthy.value`,
/// `signs.ID` (`seen`, `absent` or empty), `checks.0.check`, `parts` (one a line).
#[derive(Clone, Debug)]
pub struct IncidentForm {
    /// `open` or `closed`.
    pub status: Field,
    /// The tool's code.
    pub tool: Field,
    /// First seen, UTC.
    pub occurred_at: Field,
    /// Closed, UTC.
    pub closed_at: Field,
    /// Free words.
    pub symptom: Field,
    /// `pressures.healthy`.
    pub healthy: Field,
    /// `pressures.faulty`.
    pub faulty: Field,
    /// `pressures.restored`.
    pub restored: Field,
    /// `signs.ID`.
    pub signs: Vec<Field>,
    /// `antecedents.ID`.
    pub antecedents: Vec<Field>,
    /// `checks.N.…`.
    pub checks: Vec<CheckRow>,
    /// The cause's id, or `not-found`.
    pub cause: Field,
    /// Free words.
    pub fix: Field,
    /// One a line.
    pub parts: Field,
    /// A number of minutes.
    pub labour_minutes: Field,
    /// A number of hours.
    pub down_hours: Field,
    /// Free words.
    pub proof: Field,
    /// Free words.
    pub not_restored_reason: Field,
    /// Free words.
    pub notes: Field,
    /// Initials or a name.
    pub author: Field,
    /// Why the report is corrected; only when it is.
    pub reason: Option<Field>,
    /// Values sent along, such as the revision that was read and the idempotency key.
    pub hidden: Vec<Hidden>,
    /// Messages about the form as a whole.
    pub general: Vec<String>,
}

/// One line of the list of checks done.
#[derive(Clone, Debug)]
pub struct CheckRow {
    /// Which check.
    pub check: Field,
    /// `found`, `clear`, `inconclusive` or empty.
    pub outcome: Field,
    /// A number of minutes.
    pub minutes: Field,
    /// Free words.
    pub note: Field,
}

impl IncidentForm {
    /// An empty form with this many check rows. `correcting` adds the question why.
    pub fn blank(choices: &ReportChoices, rows: usize, correcting: bool) -> IncidentForm {
        let none = || SelectOption::new("", "Choose…");
        let grouped = |groups: &[OptionGroup]| {
            let first = OptionGroup {
                label: String::new(),
                options: vec![none()],
            };
            std::iter::once(first)
                .chain(groups.iter().cloned())
                .collect::<Vec<_>>()
        };
        let three_states = |path: &str, questions: &[SelectOption]| {
            let ask = |item: &SelectOption| {
                Field::three_state(&format!("{path}.{}", item.value), &item.label)
            };
            questions.iter().map(ask).collect::<Vec<_>>()
        };
        let pressure = |which: &str, label: &str, hint: &str| {
            Field::quantity(&format!("pressures.{which}"), label, choices.units.clone()).hint(hint)
        };
        let status = vec![
            SelectOption {
                selected: true,
                ..SelectOption::new("closed", "Closed: cause and fix are known")
            },
            SelectOption::new("open", "Open: still being worked on"),
        ];
        IncidentForm {
            status: Field::choice("status", "Is the incident closed?", status),
            tool: Field::select("tool", "Tool", grouped(&choices.tools)),
            occurred_at: Field::line("occurred_at", "First seen", LineKind::Moment).hint("Date and time, UTC."),
            closed_at: Field::line("closed_at", "Closed", LineKind::Moment)
                .hint("Date and time, UTC. Leave empty while open; needed to close."),
            symptom: Field::area("symptom", "What was seen", 5)
                .hint("In your own words, as you would tell a colleague. Others will search for these words."),
            healthy: pressure("healthy", "Healthy base pressure", "What this tool reached when it was well."),
            faulty: pressure("faulty", "At the fault", "The best it reached while something was wrong."),
            restored: pressure("restored", "After the fix", "What it reached once put right. To close, this, or why it was not restored."),
            signs: three_states("signs", &choices.signs),
            antecedents: three_states("antecedents", &choices.antecedents),
            checks: (0..rows.max(1)).map(|row| CheckRow::blank(choices, row)).collect(),
            cause: Field::select("cause", "Cause", grouped(&choices.causes))
                .hint("“Not found” is an honest answer and is counted as one."),
            fix: Field::area("fix", "What was done", 3),
            parts: Field::area("parts", "Parts used", 3).hint("One a line.").optional(),
            labour_minutes: Field::line("labour_minutes", "Labour", LineKind::Number).suffix("minutes"),
            down_hours: Field::line("down_hours", "Tool was down", LineKind::Number).suffix("hours"),
            proof: Field::area("proof", "How the fix was proven", 2)
                .hint("Such as “pumped overnight to 4e-7, rise test flat”."),
            not_restored_reason: Field::area("not_restored_reason", "Why the pressure was not restored", 2)
                .hint("Only if there is no pressure after the fix, or it is above the one at the fault.")
                .optional(),
            notes: Field::area("notes", "Notes", 3).optional(),
            author: Field::line("author", "Your name or initials", LineKind::Text),
            reason: correcting.then(|| {
                Field::area("reason", "Why the report is corrected", 2)
                    .hint("Kept with the new revision. Nothing of the old one is lost.")
            }),
            hidden: Vec::new(),
            general: Vec::new(),
        }
    }

    /// Adds empty check rows.
    pub fn add_rows(&mut self, choices: &ReportChoices, rows: usize) {
        let first = self.checks.len();
        self.checks
            .extend((first..first + rows).map(|row| CheckRow::blank(choices, row)));
    }

    /// How many check rows are needed to show every row that these names speak of.
    pub fn rows_for<'a>(names: impl IntoIterator<Item = &'a str>) -> usize {
        names
            .into_iter()
            .filter_map(row_of)
            .map(|row| row + 1)
            .max()
            .unwrap_or(0)
            .max(CHECK_ROWS)
    }

    /// The messages to show above the form. Those about a check say which row it is in.
    pub fn summary(&self) -> ErrorSummary {
        let mut messages = self.field_messages();
        for message in &mut messages {
            if let Some(row) = message.id.as_deref().and_then(row_of) {
                message.label = format!("Check {}: {}", row + 1, message.label.to_lowercase());
            }
        }
        ErrorSummary::new(&self.general, messages)
    }

    fn sign_questions(&self) -> Questions<'_> {
        Questions::new("Signs", &self.signs)
    }

    fn antecedent_questions(&self) -> Questions<'_> {
        Questions::new("What happened shortly before", &self.antecedents)
    }
}

impl CheckRow {
    fn blank(choices: &ReportChoices, row: usize) -> CheckRow {
        let id = |part: &str| format!("checks.{row}.{part}");
        let first = std::iter::once(SelectOption::new("", "Choose…"));
        let outcomes = vec![
            SelectOption::new("found", "Found"),
            SelectOption::new("clear", "Clear"),
            SelectOption::new("inconclusive", "Unsure"),
        ];
        let checks = first.chain(choices.checks.iter().cloned()).collect();
        CheckRow {
            check: Field::flat_select(&id("check"), "Check", checks),
            outcome: Field::choice(&id("outcome"), "Outcome", outcomes),
            minutes: Field::line(&id("minutes"), "Minutes", LineKind::Number),
            note: Field::line(&id("note"), "Note", LineKind::Text).optional(),
        }
    }
}

impl Fields for IncidentForm {
    fn fields(&self) -> Vec<&Field> {
        let mut fields = vec![
            &self.status,
            &self.tool,
            &self.occurred_at,
            &self.closed_at,
            &self.symptom,
        ];
        fields.extend([
            &self.healthy,
            &self.faulty,
            &self.restored,
            &self.not_restored_reason,
        ]);
        fields.extend(&self.signs);
        fields.extend(&self.antecedents);
        for row in &self.checks {
            fields.extend([&row.check, &row.outcome, &row.minutes, &row.note]);
        }
        fields.extend([
            &self.cause,
            &self.fix,
            &self.parts,
            &self.labour_minutes,
            &self.down_hours,
        ]);
        fields.extend([&self.proof, &self.notes, &self.author]);
        fields.extend(&self.reason);
        fields
    }

    fn fields_mut(&mut self) -> Vec<&mut Field> {
        let mut fields = vec![
            &mut self.status,
            &mut self.tool,
            &mut self.occurred_at,
            &mut self.closed_at,
            &mut self.symptom,
            &mut self.healthy,
            &mut self.faulty,
            &mut self.restored,
            &mut self.not_restored_reason,
        ];
        fields.extend(&mut self.signs);
        fields.extend(&mut self.antecedents);
        for row in &mut self.checks {
            fields.extend([
                &mut row.check,
                &mut row.outcome,
                &mut row.minutes,
                &mut row.note,
            ]);
        }
        fields.extend([&mut self.cause, &mut self.fix, &mut self.parts]);
        fields.extend([&mut self.labour_minutes, &mut self.down_hours]);
        fields.extend([&mut self.proof, &mut self.notes, &mut self.author]);
        fields.extend(&mut self.reason);
        fields
    }

    fn general(&mut self) -> &mut Vec<String> {
        &mut self.general
    }
}

/// The row that a name such as `checks.2.minutes` speaks of; none for rows beyond what anybody types.
fn row_of(name: &str) -> Option<usize> {
    const MOST_ROWS: usize = 200;
    let row = name
        .strip_prefix("checks.")?
        .split('.')
        .next()?
        .parse()
        .ok()?;
    (row < MOST_ROWS).then_some(row)
}

#[cfg(test)]
mod tests {
    use super::super::form::Fields;
    use super::{CHECK_ROWS, IncidentForm, ReportChoices};

    #[test]
    fn every_field_is_reached_by_both_lists_in_one_order() {
        let mut form = IncidentForm::blank(&ReportChoices::default(), 2, true);
        let shared: Vec<String> = form.fields().iter().map(|field| field.id.clone()).collect();
        let mutable: Vec<String> = form
            .fields_mut()
            .iter()
            .map(|field| field.id.clone())
            .collect();
        assert_eq!(shared, mutable);
        assert_eq!(shared.len(), 18 + 2 * 4);
    }

    #[test]
    fn rows_follow_the_highest_number_sent() {
        assert_eq!(IncidentForm::rows_for(["checks.9.note", "tool"]), 10);
        assert_eq!(IncidentForm::rows_for(["tool"]), CHECK_ROWS);
        assert_eq!(IncidentForm::rows_for(["checks.99999999.note"]), CHECK_ROWS);
    }
}
