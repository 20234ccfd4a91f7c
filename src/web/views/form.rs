//! Labelled form fields that come back filled in, each with its own message.
//!
//! A field's name in the form, its id on the page and the path in a refusal are one and the same dotted text,
//! such as `pressures.restored.value` or `checks.2.minutes`, so that a refusal finds its field by name alone.

use askama::Template;
use askama::filters::HtmlSafe;

/// One labelled control.
#[derive(Clone, Debug, Template)]
#[template(path = "parts/field.html")]
pub struct Field {
    /// Name and id.
    pub id: String,
    /// What is asked.
    pub label: String,
    /// A short help, shown below the label.
    pub hint: Option<String>,
    /// What the person may do.
    pub control: Control,
    /// Why the value was refused, and what would be accepted.
    pub message: Option<String>,
    /// Whether it may be left out. Only said in words; the rules live elsewhere.
    pub optional: bool,
}

impl HtmlSafe for Field {}

/// What kind of control a field is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Control {
    /// One line of text.
    Line {
        /// What is typed.
        value: String,
        /// What is typed, as a browser should understand it.
        kind: LineKind,
        /// Shown behind the control, such as "minutes".
        suffix: Option<String>,
    },
    /// Several lines of text.
    Area {
        /// What is typed.
        value: String,
        /// How many lines are shown at first.
        rows: usize,
    },
    /// One of a list, in groups.
    Select {
        /// The choices. A group without a label is shown flat.
        groups: Vec<OptionGroup>,
    },
    /// One of a few, all in view.
    Choice {
        /// The choices.
        options: Vec<SelectOption>,
    },
    /// A number and its unit: the names are the field's id with `.value` and `.unit` behind it.
    Quantity {
        /// What is typed.
        value: String,
        /// The units to choose from.
        units: Vec<SelectOption>,
    },
    /// A file to send.
    File {
        /// The kinds that are taken, such as ".csv,.tsv,.txt".
        accept: String,
    },
    /// Yes or no. Sent as `yes` if ticked.
    Tick {
        /// Whether it is ticked.
        ticked: bool,
    },
}

/// How a browser should treat a line of text.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LineKind {
    /// Any words.
    #[default]
    Text,
    /// A number; shows the number keys on a phone, and still takes what people type.
    Number,
    /// A date and a time, as `2025-03-04T10:20`.
    Moment,
    /// A date, as `2025-03-04`.
    Date,
    /// Words to search for.
    Search,
}

impl LineKind {
    fn input_type(self) -> &'static str {
        match self {
            LineKind::Text | LineKind::Number => "text",
            LineKind::Moment => "datetime-local",
            LineKind::Date => "date",
            LineKind::Search => "search",
        }
    }
}

/// A choice.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SelectOption {
    /// What is sent.
    pub value: String,
    /// What the person reads.
    pub label: String,
    /// Whether it is the chosen one.
    pub selected: bool,
}

impl SelectOption {
    /// A choice that is not chosen.
    pub fn new(value: impl Into<String>, label: impl Into<String>) -> SelectOption {
        SelectOption {
            value: value.into(),
            label: label.into(),
            selected: false,
        }
    }
}

/// Choices that belong together.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OptionGroup {
    /// What they have in common; empty for choices outside any group.
    pub label: String,
    /// The choices.
    pub options: Vec<SelectOption>,
}

/// A value that is sent but not shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hidden {
    /// Its name in the form.
    pub name: String,
    /// Its value.
    pub value: String,
}

/// A message for the summary above a form, with the field it is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FieldMessage {
    /// Id of the control to go to; none if it is about the form as a whole.
    pub id: Option<String>,
    /// The field's label.
    pub label: String,
    /// What is wrong and what would be accepted.
    pub text: String,
}

impl Field {
    /// A line of text.
    pub fn line(id: &str, label: &str, kind: LineKind) -> Field {
        Field::of(
            id,
            label,
            Control::Line {
                value: String::new(),
                kind,
                suffix: None,
            },
        )
    }

    /// Several lines of text.
    pub fn area(id: &str, label: &str, rows: usize) -> Field {
        Field::of(
            id,
            label,
            Control::Area {
                value: String::new(),
                rows,
            },
        )
    }

    /// One of a list.
    pub fn select(id: &str, label: &str, groups: Vec<OptionGroup>) -> Field {
        Field::of(id, label, Control::Select { groups })
    }

    /// One of a list without groups.
    pub fn flat_select(id: &str, label: &str, options: Vec<SelectOption>) -> Field {
        Field::select(
            id,
            label,
            vec![OptionGroup {
                label: String::new(),
                options,
            }],
        )
    }

    /// One of a few, all in view.
    pub fn choice(id: &str, label: &str, options: Vec<SelectOption>) -> Field {
        Field::of(id, label, Control::Choice { options })
    }

    /// A question with three answers: `seen`, `absent`, or nothing for "not looked for".
    pub fn three_state(id: &str, question: &str) -> Field {
        let unknown = SelectOption {
            selected: true,
            ..SelectOption::new("", "Not looked")
        };
        let options = vec![
            SelectOption::new("seen", "Yes"),
            SelectOption::new("absent", "No"),
            unknown,
        ];
        Field::choice(id, question, options)
    }

    /// A number with its unit.
    pub fn quantity(id: &str, label: &str, units: Vec<SelectOption>) -> Field {
        Field::of(
            id,
            label,
            Control::Quantity {
                value: String::new(),
                units,
            },
        )
    }

    /// A file to send.
    pub fn file(id: &str, label: &str, accept: &str) -> Field {
        Field::of(
            id,
            label,
            Control::File {
                accept: accept.to_owned(),
            },
        )
    }

    /// Yes or no.
    pub fn tick(id: &str, label: &str) -> Field {
        Field::of(id, label, Control::Tick { ticked: false })
    }

    /// The same field with this help.
    pub fn hint(mut self, hint: &str) -> Field {
        self.hint = Some(hint.to_owned());
        self
    }

    /// The same field with these words behind its line.
    pub fn suffix(mut self, words: &str) -> Field {
        if let Control::Line { suffix, .. } = &mut self.control {
            *suffix = Some(words.to_owned());
        }
        self
    }

    /// The same field, marked as one that may be left out.
    pub fn optional(mut self) -> Field {
        self.optional = true;
        self
    }

    /// The same field with this value.
    pub fn with(mut self, value: &str) -> Field {
        self.set(value);
        self
    }

    /// The value as it would be sent; of a quantity, the number.
    pub fn value(&self) -> &str {
        match &self.control {
            Control::Line { value, .. }
            | Control::Area { value, .. }
            | Control::Quantity { value, .. } => value,
            Control::Select { groups } => groups
                .iter()
                .flat_map(|group| &group.options)
                .find(|option| option.selected)
                .map_or("", |option| &option.value),
            Control::Choice { options } => options
                .iter()
                .find(|option| option.selected)
                .map_or("", |option| &option.value),
            Control::File { .. } => "",
            Control::Tick { ticked } => {
                if *ticked {
                    "yes"
                } else {
                    ""
                }
            }
        }
    }

    /// Puts a value in. A value that a list does not offer is added to it, so that nothing typed is lost.
    pub fn set(&mut self, new: &str) {
        match &mut self.control {
            Control::Line { value, .. }
            | Control::Area { value, .. }
            | Control::Quantity { value, .. } => {
                *value = new.to_owned();
            }
            Control::Select { groups } => {
                for option in groups.iter_mut().flat_map(|group| &mut group.options) {
                    option.selected = option.value == new;
                }
                let found = groups
                    .iter()
                    .flat_map(|group| &group.options)
                    .any(|option| option.selected);
                if !found && !new.is_empty() {
                    let unlisted = SelectOption {
                        selected: true,
                        ..SelectOption::new(new, new)
                    };
                    groups.push(OptionGroup {
                        label: "Not in the list".to_owned(),
                        options: vec![unlisted],
                    });
                }
            }
            Control::Choice { options } => choose(options, new),
            Control::File { .. } => {}
            Control::Tick { ticked } => *ticked = !new.is_empty(),
        }
    }

    /// Puts a unit in, where the field has one. One that is not offered is added, so that it is judged as typed and no
    /// other taken for it.
    pub fn set_unit(&mut self, unit: &str) {
        let Control::Quantity { units, .. } = &mut self.control else {
            return;
        };
        if unit.is_empty() || units.iter().any(|offered| offered.value == unit) {
            choose(units, unit);
            return;
        }
        for offered in units.iter_mut() {
            offered.selected = false;
        }
        units.push(SelectOption {
            selected: true,
            ..SelectOption::new(unit, unit)
        });
    }

    /// Id of the element that a message leads to.
    pub fn target(&self) -> String {
        match &self.control {
            Control::Quantity { .. } => format!("{}.value", self.id),
            Control::Choice { .. } => format!("{}.0", self.id),
            _ => self.id.clone(),
        }
    }

    /// Whether anything is typed or chosen.
    pub fn is_filled(&self) -> bool {
        !self.value().is_empty()
    }

    fn of(id: &str, label: &str, control: Control) -> Field {
        let (id, label) = (id.to_owned(), label.to_owned());
        Field {
            id,
            label,
            hint: None,
            control,
            message: None,
            optional: false,
        }
    }

    fn described_by(&self) -> String {
        let hint = self.hint.as_ref().map(|_| format!("{}.hint", self.id));
        let message = self
            .message
            .as_ref()
            .map(|_| format!("{}.message", self.id));
        hint.into_iter()
            .chain(message)
            .collect::<Vec<_>>()
            .join(" ")
    }

    fn is_described(&self) -> bool {
        self.hint.is_some() || self.message.is_some()
    }

    /// Takes a value sent under `name`; says whether it was meant for this field.
    fn take(&mut self, name: &str, value: &str) -> bool {
        if matches!(self.control, Control::Quantity { .. }) {
            match name.strip_prefix(self.id.as_str()) {
                Some(".value") => self.set(value),
                Some(".unit") => self.set_unit(value),
                _ => return false,
            }
            return true;
        }
        let mine = self.id == name;
        if mine {
            self.set(value);
        }
        mine
    }

    /// How closely a refusal's path names this field: larger is closer, none is not at all.
    fn closeness(&self, path: &str) -> Option<usize> {
        let within = |outer: &str, inner: &str| {
            inner
                .strip_prefix(outer)
                .is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
        };
        if within(&self.id, path) {
            return Some(usize::MAX - (path.len() - self.id.len()));
        }
        within(path, &self.id).then_some(path.len())
    }
}

/// A form whose fields can be filled in and refused by name.
pub trait Fields {
    /// All its fields, in the order of the page.
    fn fields(&self) -> Vec<&Field>;

    /// All its fields, to be changed.
    fn fields_mut(&mut self) -> Vec<&mut Field>;

    /// Messages about the form as a whole.
    fn general(&mut self) -> &mut Vec<String>;

    /// Puts a sent value into the field of that name; says whether there is one.
    fn fill(&mut self, name: &str, value: &str) -> bool {
        self.fields_mut()
            .into_iter()
            .any(|field| field.take(name, value))
    }

    /// Puts a message beside the field that the path names best, or above the form if none fits.
    ///
    /// Paths may be written `checks[2].minutes` or `checks.2.minutes`; a message on `pressures.restored` lands on
    /// the field of that name, one on `checks` on the first field below it.
    fn refuse(&mut self, path: &str, message: &str) {
        let path = path.replace('[', ".").replace(']', "");
        let mut best: Option<(usize, &mut Field)> = None;
        for field in self.fields_mut() {
            let Some(closeness) = field.closeness(&path) else {
                continue;
            };
            if best.as_ref().is_none_or(|(other, _)| closeness > *other) {
                best = Some((closeness, field));
            }
        }
        match best {
            Some((_, field)) => match &mut field.message {
                Some(text) => {
                    text.push_str("; ");
                    text.push_str(message);
                }
                None => field.message = Some(message.to_owned()),
            },
            None => {
                let message = if path.is_empty() {
                    message.to_owned()
                } else {
                    format!("{path}: {message}")
                };
                self.general().push(message);
            }
        }
    }

    /// The messages of all fields, in the order of the page.
    fn field_messages(&self) -> Vec<FieldMessage> {
        let with_message = |field: &Field| {
            field.message.as_ref().map(|text| FieldMessage {
                id: Some(field.target()),
                label: field.label.clone(),
                text: text.clone(),
            })
        };
        self.fields().into_iter().filter_map(with_message).collect()
    }
}

/// Questions of which most stay open: those with an answer are in view, the others are folded away.
#[derive(Clone, Debug, Template)]
#[template(path = "parts/questions.html")]
pub struct Questions<'a> {
    title: &'static str,
    stated: Vec<&'a Field>,
    open: Vec<&'a Field>,
}

impl HtmlSafe for Questions<'_> {}

impl<'a> Questions<'a> {
    /// These questions under a title. One with a message beside it is in view as well.
    pub fn new(title: &'static str, fields: &'a [Field]) -> Questions<'a> {
        let (stated, open) = fields
            .iter()
            .partition(|field| field.is_filled() || field.message.is_some());
        Questions {
            title,
            stated,
            open,
        }
    }

    fn is_empty(&self) -> bool {
        self.stated.is_empty() && self.open.is_empty()
    }
}

/// The list of what was refused, above a form; empty if nothing was.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "parts/error-summary.html")]
pub struct ErrorSummary {
    /// The messages.
    pub messages: Vec<FieldMessage>,
}

impl HtmlSafe for ErrorSummary {}

impl ErrorSummary {
    /// The title of the page, which says first if what was sent was not taken: whoever only hears it knows.
    pub fn titled(&self, title: &str) -> String {
        match self.messages.is_empty() {
            true => title.to_owned(),
            false => format!("Not taken yet: {title}"),
        }
    }

    /// The summary of messages about the whole form and about its fields.
    pub fn new(general: &[String], fields: Vec<FieldMessage>) -> ErrorSummary {
        let whole = |text: &String| FieldMessage {
            id: None,
            label: String::new(),
            text: text.clone(),
        };
        ErrorSummary {
            messages: general.iter().map(whole).chain(fields).collect(),
        }
    }
}

fn choose(options: &mut [SelectOption], value: &str) {
    if options.iter().any(|option| option.value == value) {
        for option in options {
            option.selected = option.value == value;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Field, Fields, LineKind, SelectOption};

    struct Small {
        fields: Vec<Field>,
        general: Vec<String>,
    }

    impl Fields for Small {
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

    fn small() -> Small {
        let units = vec![
            SelectOption::new("torr", "Torr"),
            SelectOption::new("pa", "Pa"),
        ];
        Small {
            fields: vec![
                Field::line("symptom", "Symptom", LineKind::Text),
                Field::quantity("pressures.healthy", "Healthy", units),
                Field::line("checks.2.minutes", "Minutes", LineKind::Number),
                Field::three_state("signs.water-seen", "Water seen?"),
                Field::flat_select("tool", "Tool", vec![SelectOption::new("AAA-01", "AAA-01")]),
            ],
            general: Vec::new(),
        }
    }

    #[test]
    fn values_find_their_field_and_come_back() {
        let mut form = small();
        assert!(form.fill("pressures.healthy.value", "5e-7"));
        assert!(form.fill("pressures.healthy.unit", "pa"));
        assert!(form.fill("signs.water-seen", "absent"));
        assert!(form.fill("tool", "gone"));
        assert!(!form.fill("pressures", "5e-7"));
        let values: Vec<&str> = form.fields.iter().map(Field::value).collect();
        assert_eq!(values, ["", "5e-7", "", "absent", "gone"]);
    }

    #[test]
    fn a_refusal_lands_beside_the_field_it_names() {
        let check = |path: &str, expected: Option<usize>| {
            let mut form = small();
            form.refuse(path, "no");
            let hit = form.fields.iter().position(|field| field.message.is_some());
            assert_eq!(hit, expected, "{path}");
            assert_eq!(form.general.is_empty(), expected.is_some(), "{path}");
        };
        check("symptom", Some(0));
        check("pressures.healthy", Some(1));
        check("pressures.healthy.unit", Some(1));
        check("checks[2].minutes", Some(2));
        check("checks", Some(2));
        check("signs.water-seen", Some(3));
        check("symptoms", None);
        check("", None);
    }

    #[test]
    fn two_refusals_of_one_field_are_both_kept() {
        let mut form = small();
        form.refuse("symptom", "is empty");
        form.refuse("symptom", "is needed");
        let messages = form.field_messages();
        assert_eq!(messages.len(), 1);
        assert_eq!(messages[0].text, "is empty; is needed");
    }
}
