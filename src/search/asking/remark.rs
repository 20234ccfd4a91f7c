//! What is remarked on a search: how it was understood, and what had to be left out of it to find anything.
//!
//! A remark is a value as long as the search goes on; its sentence is written here and nowhere else.

use std::fmt::{self, Display, Formatter};

/// Names told at most.
const TOLD: usize = 8;

/// The field words people are told of.
const FIELD_WORDS: &str = "symptom, cause, component, fix, proof, notes, reason, parts, checks, sign, \
    antecedent, tool, site, class, status, kind, number, pressure and healthy";

/// What was made of a search, or left out of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Remark {
    /// Only so many characters of it were looked at.
    Cut(usize),
    /// A field word without a value.
    NothingBehind {
        /// The word as typed.
        word: String,
        /// A value that it might have.
        example: &'static str,
    },
    /// What stands behind a field word of pressures and is none.
    NoPressure(String),
    /// What looks like a field word.
    NoFieldWord(String),
    /// Words written in one that nobody knows so.
    Parted {
        /// As typed.
        typed: String,
        /// With spaces.
        apart: String,
    },
    /// A rate or a flow.
    Rate(String),
    /// A pressure at a time, or a place before, at which none of a case is known.
    OtherTime(String),
    /// Words that no case holds.
    Unwritten(Vec<String>),
    /// A phrase that is the end of a pressure.
    PressureEnd(String),
    /// Words of a phrase in whose place any may stand.
    AnyInPlace(Vec<String>),
    /// A phrase or value of words too common to look for.
    OnlyCommon(String),
    /// A search that is a whole name of the catalogue.
    WholeName {
        /// As typed.
        typed: String,
        /// The field word of what bears the name.
        what: &'static str,
    },
    /// The name of a tool, without its field word.
    Tool {
        /// As typed.
        typed: String,
        /// The tool meant.
        tool: String,
        /// Whether it was said not to be meant.
        left_out: bool,
    },
    /// What looks like the name of a tool and begins with a site.
    SiteOfTool {
        /// As typed.
        typed: String,
        /// The site.
        site: String,
    },
    /// A value that stands for several names.
    Several {
        /// Field word and value.
        typed: String,
        /// The names.
        names: Vec<String>,
    },
    /// Signs looked for and not seen.
    NotSeen {
        /// What was typed behind the field word.
        typed: String,
        /// The signs.
        signs: Vec<String>,
    },
    /// A name of the catalogue that no case has.
    NoneHas {
        /// What bears it.
        what: &'static str,
        /// The name as typed.
        name: String,
    },
    /// A number of an incident that is none.
    NoNumber(String),
    /// A value that names nothing.
    NoneCalled {
        /// What was asked for.
        what: &'static str,
        /// As typed.
        name: String,
        /// What there is instead.
        known: Known,
    },
    /// Nothing in it tells cases apart.
    TellsNothing {
        /// Whether the newest are shown for want of any.
        newest: bool,
    },
    /// The other words had to go.
    WithoutWords,
    /// The ends of a range had to go.
    WithoutRange,
    /// A minus had to go.
    WithoutMinus,
    /// Quotation marks, minus and field words had to go.
    WithoutMarks,
    /// One of several field words had to go.
    WithoutOneField,
    /// A mass said not to be there is in all that fit.
    WithoutDenial,
    /// The filters had to go.
    WithoutFilters,
    /// Filters, quotation marks, minus and field words had to go.
    WithoutAll,
    /// Only what lies farther off than near was found.
    Nearest {
        /// The figure as typed.
        figure: String,
        /// What it is a figure of.
        of: Figure,
    },
    /// Only cases that say it is not so.
    SaidNotSo,
    /// No case was read as ruling it out.
    NotRuledOut,
    /// Only words written like it.
    WrittenLike,
    /// No incident has the number.
    NoIncident(String),
    /// Nothing at all.
    Nothing,
    /// No pressure of the foreline is near, but the words fit.
    NoForeline(String),
    /// The list has no such page.
    NoPage {
        /// The page asked for.
        asked: usize,
        /// The last there is.
        last: usize,
    },
}

/// What a figure tells that was searched for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Figure {
    /// The pressure at the fault.
    Fault,
    /// The pressure before it.
    Before,
    /// A pressure in the foreline.
    Foreline,
    /// Something else.
    Other,
}

/// What may be named where a value names nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Known {
    /// It is not told.
    Untold,
    /// All there is.
    All(Vec<String>),
    /// Of more, the nearest.
    Nearest(Vec<String>),
}

impl Known {
    /// Of these names all, or where they are many the nearest, the distance to what was typed being `far`.
    pub(in crate::search) fn of(mut names: Vec<String>, far: impl Fn(&str) -> usize) -> Self {
        if names.len() <= TOLD {
            return Self::All(names);
        }
        names.sort_by_cached_key(|name| far(name));
        names.truncate(TOLD);
        Self::Nearest(names)
    }
}

impl Remark {
    /// Whether it claims something of every case there is, which an index that lacks cases cannot know.
    pub fn is_of_all(&self) -> bool {
        match self {
            Self::Unwritten(_)
            | Self::Nothing
            | Self::NoneHas { .. }
            | Self::NoIncident(_)
            | Self::NoForeline(_)
            | Self::Nearest { .. }
            | Self::NotRuledOut => true,
            // Tools and sites are those that cases are of.
            Self::NoneCalled { what, .. } => ["tool", "site"].contains(what),
            _ => false,
        }
    }
}

impl Display for Remark {
    fn fmt(&self, to: &mut Formatter<'_>) -> fmt::Result {
        match self {
            Self::Cut(characters) => {
                write!(to, "Only the first {characters} characters were looked at.")
            }
            Self::NothingBehind { word, example } => write!(
                to,
                "“{word}:” has nothing behind it; write it like {word}:{example}."
            ),
            Self::NoPressure(typed) => write!(
                to,
                "“{typed}” could not be read as a pressure; write it like 4e-5 or 1e-6..1e-5 torr."
            ),
            Self::NoFieldWord(word) => write!(
                to,
                "“{word}:” is no field word and was taken as a word like any other; field words are \
                 {FIELD_WORDS}."
            ),
            Self::Parted { typed, apart } => write!(to, "“{typed}” is read as “{apart}”."),
            Self::Rate(typed) => write!(
                to,
                "“{typed}” is a rate or a flow, by which cases are not searched; it was left aside."
            ),
            Self::OtherTime(typed) => write!(
                to,
                "“{typed}” is taken for what a figure became, or was in the foreline before; cases are not \
                 compared by that."
            ),
            Self::Unwritten(words) => {
                let plural = if words.len() > 1 { "s" } else { "" };
                write!(to, "No case holds the word{plural} {}.", quoted(words))
            }
            Self::PressureEnd(typed) => write!(
                to,
                "“{typed}” is the end of a pressure, and pressures are compared as numbers; it was left \
                 aside. Write the whole, like 4e-6."
            ),
            Self::AnyInPlace(words) => {
                let (is, its) = match words.len() {
                    0 | 1 => ("is", "its"),
                    _ => ("are", "their"),
                };
                let words = quoted(words);
                write!(
                    to,
                    "{words} {is} too common to look for; any word may stand in {its} place."
                )
            }
            Self::OnlyCommon(typed) => write!(
                to,
                "“{typed}” holds only words too common to search for and was left aside."
            ),
            Self::WholeName { typed, what } => {
                write!(to, "“{typed}” is taken for the {what} of that name.")
            }
            Self::Tool {
                typed,
                tool,
                left_out: true,
            } => write!(
                to,
                "“{typed}” is taken for the tool {tool}, which is left out."
            ),
            Self::Tool { typed, tool, .. } => {
                write!(to, "“{typed}” is taken for the tool {tool}.")
            }
            Self::SiteOfTool { typed, site } => write!(
                to,
                "No tool is called “{typed}”; {site} was taken for the site."
            ),
            Self::Several { typed, names } => {
                write!(to, "“{typed}” is taken for {}.", listed(names))
            }
            Self::NotSeen { typed, signs } => write!(
                to,
                "“sign:{typed}” is taken for {}, looked for and not seen.",
                listed(signs)
            ),
            Self::NoneHas { what, name } => write!(
                to,
                "No case has the {what} “{name}”; its words are searched for."
            ),
            Self::NoNumber(typed) => write!(
                to,
                "“{typed}” is no number of an incident and was left aside."
            ),
            Self::NoneCalled { what, name, known } => {
                write!(to, "No {what} is called “{name}”, so it was left aside")?;
                match known {
                    Known::Untold => write!(to, "."),
                    Known::All(names) => write!(to, "; there are {}.", listed(names)),
                    Known::Nearest(names) => write!(to, "; the nearest are {}.", listed(names)),
                }
            }
            Self::TellsNothing { newest } => {
                let instead = if *newest { "; these are the newest" } else { "" };
                write!(to, "That holds nothing that tells cases apart{instead}.")
            }
            Self::Nearest { figure, of } => {
                let none = match of {
                    Figure::Fault => format!("No case is near “{figure}” at the fault"),
                    Figure::Before => format!("No case was near “{figure}” before the fault"),
                    Figure::Foreline => format!("No case was near “{figure}” in the foreline"),
                    Figure::Other => format!("No case has a figure near “{figure}”"),
                };
                write!(to, "{none}; these come nearest.")
            }
            Self::NoIncident(number) => write!(to, "There is no incident {number}."),
            Self::NoForeline(figure) => write!(
                to,
                "No case was near “{figure}” in the foreline; these fit the words."
            ),
            Self::NoPage { asked, last } => {
                write!(to, "There is no page {asked}; this is the last, {last}.")
            }
            Self::WithoutWords => to.write_str(
                "No case that fits the field words, quotation marks and ranges holds anything else of \
                 this; these fit them.",
            ),
            Self::WithoutRange => {
                to.write_str("No case lies in that range of pressures; these are the nearest.")
            }
            Self::WithoutMinus => {
                to.write_str("The minus leaves no case of these; these fit without it.")
            }
            Self::WithoutMarks => to.write_str(
                "No case fits quotation marks, minus and field words; these fit without them.",
            ),
            Self::WithoutOneField => to.write_str(
                "No case is all that the field words ask for; these are it but for one of them.",
            ),
            Self::WithoutDenial => to.write_str(
                "Every case that fits is read as naming the mass that was said not to be there; these do.",
            ),
            Self::WithoutFilters => {
                to.write_str("No case fits within the filters; these are from the whole fleet.")
            }
            Self::WithoutAll => to.write_str(
                "No case fits; these fit without filters, quotation marks, minus and field words.",
            ),
            Self::SaidNotSo => {
                to.write_str("No case says that this is so; these say that it is not.")
            }
            // Texts may say it in words that are not read so.
            Self::NotRuledOut => to.write_str(
                "No case was read as ruling it out; these, the newest, do not speak of it.",
            ),
            Self::WrittenLike => to.write_str("These hold words that are written most like it."),
            Self::Nothing => to.write_str("No case holds any of this, in whatever words."),
        }
    }
}

/// Words in quotation marks, one after the other.
fn quoted(words: &[String]) -> String {
    let words: Vec<_> = words.iter().map(|word| format!("“{word}”")).collect();
    match words.as_slice() {
        [others @ .., last] if !others.is_empty() => format!("{} and {last}", others.join(", ")),
        words => words.concat(),
    }
}

/// The first names, and how many more there are.
fn listed(names: &[String]) -> String {
    let told = names[..names.len().min(TOLD)].join(", ");
    match names.len().saturating_sub(TOLD) {
        0 => told,
        more => format!("{told} and {more} more"),
    }
}
