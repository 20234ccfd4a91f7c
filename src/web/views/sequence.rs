//! What to check next, on one tool or any tool of a class, and why.

use askama::Template;

use super::Link;
use super::bar::ShareBar;
use super::form::{ErrorSummary, Field, Fields, Hidden, Questions, SelectOption};
use super::page::Page;

/// How many checks are in view; the later ones are folded away.
const STEPS_IN_VIEW: usize = 8;

/// How many causes are in view; the less likely ones are folded away.
const CAUSES_IN_VIEW: usize = 8;

/// Choosing the tool or the class, when neither is given.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "sequence-start.html")]
pub struct SequenceStartPage {
    /// The frame.
    pub page: Page,
    /// One select named `tool`.
    pub tool: Option<Field>,
    /// The tool classes, leading to their sequences.
    pub classes: Vec<Link>,
    /// What was wrong with what was asked.
    pub errors: ErrorSummary,
}

/// A check sequence.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "sequence.html")]
pub struct SequencePage {
    /// The frame.
    pub page: Page,
    /// The tool, or none for a class.
    pub tool: Option<Link>,
    /// The tool class in words.
    pub tool_class: String,
    /// How many cases of the class and of the fleet stand behind it, in words.
    pub basis: String,
    /// What a search brought along, if one led here.
    pub carried: Option<Carried>,
    /// The checks, in order.
    pub steps: Vec<SequenceStep>,
    /// What has found something already, such as “Door seal”; empty if nothing has. No times are
    /// shown then: no check that is left can find it.
    pub found: String,
    /// Expected time of this order until the cause is found, such as "1 h 50 min".
    pub expected: String,
    /// The same of the common-practice order.
    pub practice: String,
    /// What of that time is for a search that these checks end, in one sentence.
    pub if_found: String,
    /// Expected time until the fix is proven, in this order.
    pub mended: String,
    /// The same in the common-practice order.
    pub practice_mended: String,
    /// What that comes to, such as "42 min less than common practice".
    pub saving: String,
    /// Whether this order is proven to be the least expected time.
    pub proven: bool,
    /// How the order was found, in one sentence.
    pub method: String,
    /// From where on help costs less than going on, in one sentence; empty if it does not
    /// come to that or no price was given.
    pub stop: String,
    /// What remains where no check is left, instead of a time; empty as long as there is one.
    pub end: String,
    /// What everybody must know, such as that the evidence contradicts every cause.
    pub warnings: Vec<String>,
    /// The causes still thought likely, the likeliest first.
    pub beliefs: Vec<Belief>,
    /// What is known so far.
    pub evidence: EvidenceForm,
    /// Where a report of this incident is started.
    pub report: Option<Link>,
}

/// A search that led to the sequence.
#[derive(Clone, Debug)]
pub struct Carried {
    /// The search, leading back to it.
    pub search: Link,
    /// What of it is filled in below, such as "Foil added or renewed; 4e-5 Torr at the fault"; empty if
    /// nothing is.
    pub what: String,
}

/// A cause and its chance.
#[derive(Clone, Debug, Default)]
pub struct Belief {
    /// The cause, leading to its page.
    pub cause: Option<Link>,
    /// Its chance, such as "23 %".
    pub chance: String,
    /// The same, drawn.
    pub bar: ShareBar,
}

/// One check of the sequence.
#[derive(Clone, Debug, Default)]
pub struct SequenceStep {
    /// Its place, from 1.
    pub place: usize,
    /// The check's id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Its procedure.
    pub href: String,
    /// Whether it splits the candidates rather than finding one cause.
    pub isolating: bool,
    /// Whether it was made before and is made anew, since what it secured has ended.
    pub anew: bool,
    /// The name under which the form says that this has been done; empty if it does not ask.
    pub again: String,
    /// Chance of finding, such as "31 %"; of an isolating check, the chance that it points somewhere.
    pub chance: String,
    /// Its interval, such as "22 to 41 %"; empty if not known.
    pub interval: String,
    /// How little of it is for a cause that is there; empty if that is half or more.
    pub alarm: String,
    /// The same, drawn.
    pub bar: ShareBar,
    /// How long it takes, such as "15 min".
    pub minutes: String,
    /// The state it needs, such as "tool vented".
    pub state: String,
    /// What it costs to get there from the step before, such as "venting first: 40 min"; empty if nothing.
    pub change: String,
    /// The hazards of its cautions, each in a few words.
    pub hazards: Vec<String>,
    /// What it can find.
    pub reveals: Vec<Link>,
    /// The past cases behind it, such as "27 of 88 cases in this class".
    pub cases: String,
    /// Some of those cases.
    pub case_links: Vec<Link>,
    /// Places moved up (positive) or down (negative) against common practice; none if that has no
    /// such check.
    pub moved: Option<i64>,
    /// What moved it, in one sentence.
    pub moved_by: String,
    /// What its being clear would change; empty if not known.
    pub if_clear: String,
}

impl SequenceStep {
    fn moved_text(&self) -> String {
        let Some(moved) = self.moved else {
            let here = match self.isolating {
                true => "it is here for what it splits",
                false => "it is here for the checks that wait for it",
            };
            return format!("The common-practice order has no such check; {here}");
        };
        let places = if moved.abs() == 1 { "place" } else { "places" };
        let moved = match moved {
            0 => return "Same place as common practice".to_owned(),
            up if up > 0 => format!("{up} {places} earlier than common practice"),
            down => format!("{} {places} later than common practice", -down),
        };
        if self.moved_by.is_empty() {
            format!("{moved}, by what changes of state cost and other checks find")
        } else {
            moved
        }
    }
}

/// Signs, antecedents and outcomes so far. Names: `signs.ID` and `antecedents.ID` (`seen`, `absent` or empty),
/// `outcomes.ID` (`found`, `clear`, `inconclusive` or empty), `pressures.healthy.…`, `pressures.faulty.…`.
#[derive(Clone, Debug, Default)]
pub struct EvidenceForm {
    /// Values sent along: `made`, the checks in the order in which they were stated.
    pub hidden: Vec<Hidden>,
    /// The questions.
    pub signs: Vec<Field>,
    /// The questions.
    pub antecedents: Vec<Field>,
    /// `pressures.healthy` and `pressures.faulty`, where the size of the loss counts.
    pub pressures: Vec<Field>,
    /// One choice a check. Those of the steps are shown with the step, the others with the evidence.
    pub outcomes: Vec<Field>,
    /// Messages about the form as a whole.
    pub general: Vec<String>,
    /// Address of the sequence with nothing stated. The form is sent there, by GET.
    pub clear: String,
}

impl EvidenceForm {
    /// The choice of an outcome for a check.
    pub fn outcome(check: &str, name: &str) -> Field {
        let none = SelectOption {
            selected: true,
            ..SelectOption::new("", "Not done")
        };
        let options = vec![
            SelectOption::new("found", "Found"),
            SelectOption::new("clear", "Clear"),
            SelectOption::new("inconclusive", "Unsure"),
            none,
        ];
        Field::choice(&format!("outcomes.{check}"), name, options)
    }

    /// The question of a sign or an antecedent, `signs.ID` or `antecedents.ID`.
    pub fn question(path: &str, id: &str, words: &str) -> Field {
        Field::three_state(&format!("{path}.{id}"), words)
    }

    /// The messages to show above the page.
    pub fn summary(&self) -> ErrorSummary {
        ErrorSummary::new(&self.general, self.field_messages())
    }

    /// Whether anything is stated.
    pub fn is_stated(&self) -> bool {
        self.fields().into_iter().any(Field::is_filled)
    }

    fn sign_questions(&self) -> Questions<'_> {
        Questions::new("Signs", &self.signs)
    }

    fn antecedent_questions(&self) -> Questions<'_> {
        Questions::new("What happened shortly before", &self.antecedents)
    }
}

impl SequencePage {
    /// The choice of an outcome for this step's check.
    fn outcome_of(&self, check: &str) -> Option<&Field> {
        self.evidence
            .outcomes
            .iter()
            .find(|field| field.id.strip_prefix("outcomes.") == Some(check))
    }

    /// The choices of the checks that are not among the steps any more, because they are done.
    fn outcomes_done(&self) -> Vec<&Field> {
        let is_step = |id: &str| self.steps.iter().any(|step| step.id == id);
        let of_check = |field: &&Field| {
            field
                .id
                .strip_prefix("outcomes.")
                .is_some_and(|id| !is_step(id))
        };
        self.evidence.outcomes.iter().filter(of_check).collect()
    }

    fn first_steps(&self) -> &[SequenceStep] {
        &self.steps[..self.steps.len().min(STEPS_IN_VIEW)]
    }

    fn later_steps(&self) -> &[SequenceStep] {
        &self.steps[self.first_steps().len()..]
    }

    fn first_beliefs(&self) -> &[Belief] {
        &self.beliefs[..self.beliefs.len().min(CAUSES_IN_VIEW)]
    }

    fn later_beliefs(&self) -> &[Belief] {
        &self.beliefs[self.first_beliefs().len()..]
    }
}

impl Fields for EvidenceForm {
    fn fields(&self) -> Vec<&Field> {
        let questions = self.signs.iter().chain(&self.antecedents);
        questions
            .chain(&self.pressures)
            .chain(&self.outcomes)
            .collect()
    }

    fn fields_mut(&mut self) -> Vec<&mut Field> {
        let questions = self.signs.iter_mut().chain(&mut self.antecedents);
        questions
            .chain(&mut self.pressures)
            .chain(&mut self.outcomes)
            .collect()
    }

    fn general(&mut self) -> &mut Vec<String> {
        &mut self.general
    }
}
