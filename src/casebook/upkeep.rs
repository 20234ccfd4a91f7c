//! What people keep up about sites and tools besides incidents: what help costs a site, the
//! days a tool went into and out of service, and planned services.
//!
//! A form and a program send the same words under the same names; what is absent stays as
//! it is, what is empty is taken off. Every refusal is gathered. Who it was has to be said
//! each time, and why wherever something on record is replaced.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::{PlannedService, Refusal, Site, Tool};
use crate::catalogue::ComponentId;

/// The highest price of help, in minutes.
pub const DEAREST: f64 = 1e6;

/// Characters of a name or a reason at most.
const LONGEST: usize = 200;

const INITIALS: &str = "your initials or name, on one line of at most 200 characters";

/// What was sent, by name, without white space around it.
pub type Words = BTreeMap<String, String>;

/// Who changed something, and why.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Signed {
    /// Name or initials.
    pub author: String,
    /// In a few words; may be empty where nothing was on record before.
    pub reason: String,
}

/// The days a tool went into and out of service.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ServiceDays {
    /// First day in service, if known.
    pub first: Option<Date>,
    /// Last day in service, if it has been taken out.
    pub last: Option<Date>,
}

/// What bringing help shall cost a site from now on, in minutes; none: not known.
///
/// # Errors
/// What cannot be taken, each with what would be accepted.
pub fn price(words: &Words, site: &Site) -> Result<(Option<f64>, Signed), Vec<Refusal>> {
    let mut judge = Judge::new(words, &["help_minutes", "author", "reason"]);
    let price = match words.get("help_minutes").map(String::as_str) {
        None => {
            judge.refuse("help_minutes", "is missing", "minutes, or nothing at all");
            None
        }
        Some("") => None,
        Some(text) => {
            let number = text.replace(',', ".").parse::<f64>().ok();
            let number = number.filter(|number| (0.0..=DEAREST).contains(number));
            if number.is_none() {
                judge.refuse(
                    "help_minutes",
                    format!("{text:?} is not a number of minutes"),
                    "0 to 1000000",
                );
            }
            number
        }
    };
    let signed = judge.signed(site.help_minutes.is_some() && site.help_minutes != price);
    judge.done((price, signed))
}

/// The days in service of a tool from now on.
///
/// # Errors
/// What cannot be taken, each with what would be accepted.
pub fn days(
    words: &Words,
    tool: &Tool,
    today: Date,
) -> Result<(ServiceDays, Signed), Vec<Refusal>> {
    let mut judge = Judge::new(words, &["in_service", "out_of_service", "author", "reason"]);
    let first = judge.day("in_service", tool.in_service);
    let last = judge.day("out_of_service", tool.out_of_service);
    for (field, day) in [("in_service", first), ("out_of_service", last)] {
        if day.is_some_and(|day| day > today) {
            judge.refuse(field, "lies in the future", "today or a day before");
        }
    }
    if let (Some(first), Some(last)) = (first, last)
        && last < first
    {
        judge.refuse(
            "out_of_service",
            "lies before the first day in service",
            format!("{first} or later"),
        );
    }
    let replaced = |was: Option<Date>, becomes: Option<Date>| was.is_some() && was != becomes;
    let signed =
        judge.signed(replaced(tool.in_service, first) || replaced(tool.out_of_service, last));
    judge.done((ServiceDays { first, last }, signed))
}

/// A planned service of one component of a tool.
///
/// # Errors
/// What cannot be taken, each with what would be accepted.
pub fn service(words: &Words, tool: &Tool, today: Date) -> Result<PlannedService, Vec<Refusal>> {
    let mut judge = Judge::new(words, &["component", "on", "note", "author"]);
    let component = words.get("component").map(String::as_str).unwrap_or("");
    if !tool.components.contains(component) {
        let fitted: Vec<_> = tool.components.iter().map(ComponentId::as_str).collect();
        let problem = match component {
            "" => "is missing".to_owned(),
            other => format!("{other:?} is not fitted to this tool"),
        };
        judge.refuse("component", problem, fitted.join(", "));
    }
    let on = judge.day("on", None);
    if on.is_none() && words.get("on").is_none_or(String::is_empty) {
        judge.refuse("on", "is missing", "the day it was done, like 2025-03-04");
    }
    if on.is_some_and(|day| day > today) {
        judge.refuse("on", "lies in the future", "today or a day before");
    }
    if let (Some(on), Some(last)) = (on, tool.out_of_service)
        && on > last
    {
        judge.refuse(
            "on",
            "lies after the tool left service",
            format!("{last} or before"),
        );
    }
    let note = judge.line("note", false);
    let author = judge.line("author", true);
    judge.done(PlannedService {
        id: None,
        component: ComponentId::new(component),
        // Refused above where it is missing.
        on: on.unwrap_or(today),
        note,
        author,
        at: None,
    })
}

/// Who withdraws an entry, and why.
///
/// # Errors
/// What cannot be taken, each with what would be accepted.
pub fn withdrawal(words: &Words) -> Result<Signed, Vec<Refusal>> {
    let mut judge = Judge::new(words, &["author", "reason"]);
    let signed = judge.signed(true);
    judge.done(signed)
}

struct Judge<'w> {
    words: &'w Words,
    refusals: Vec<Refusal>,
}

impl<'w> Judge<'w> {
    fn new(words: &'w Words, known: &[&str]) -> Self {
        let refusals = words
            .keys()
            .filter(|name| !known.contains(&name.as_str()))
            .map(|name| {
                let shown: String = name.chars().take(60).collect();
                Refusal::new(shown, "is not a field known here", known.join(", "))
            })
            .collect();
        Self { words, refusals }
    }

    fn refuse(&mut self, field: &str, problem: impl Into<String>, accepted: impl Into<String>) {
        self.refusals.push(Refusal::new(field, problem, accepted));
    }

    /// The day sent; what is on record where nothing was.
    fn day(&mut self, field: &str, on_record: Option<Date>) -> Option<Date> {
        let text = match self.words.get(field).map(String::as_str) {
            None => return on_record,
            Some("") => return None,
            Some(text) => text,
        };
        let day = text.parse::<Date>().ok();
        // Later arithmetic counts days from 1970 and needs no more than this.
        let day = day.filter(|day| (1900..=9000).contains(&day.year()));
        if day.is_none() {
            self.refuse(
                field,
                format!("{text:?} is not a day"),
                "a day like 2025-03-04, from 1900 on",
            );
        }
        day
    }

    fn line(&mut self, field: &str, wanted: bool) -> String {
        let text = self.words.get(field).map(String::as_str).unwrap_or("");
        let accepted = match field {
            "author" => INITIALS,
            _ => "a few words, on one line of at most 200 characters",
        };
        if text.is_empty() {
            if wanted {
                self.refuse(field, "is missing", accepted);
            }
        } else if text.chars().count() > LONGEST || text.chars().any(char::is_control) {
            self.refuse(field, "is too long or has more than one line", accepted);
        }
        text.to_owned()
    }

    fn signed(&mut self, replaces: bool) -> Signed {
        Signed {
            author: self.line("author", true),
            reason: self.line("reason", replaces),
        }
    }

    fn done<T>(self, accepted: T) -> Result<T, Vec<Refusal>> {
        if self.refusals.is_empty() {
            Ok(accepted)
        } else {
            Err(self.refusals)
        }
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;
    use crate::{
        casebook::{SiteCode, ToolId},
        catalogue::source,
    };

    fn tool() -> Tool {
        let catalogue = source::built_in().unwrap();
        let class = catalogue.class("turbo-sputter").unwrap();
        let mut tool = Tool::as_built(ToolId::new("X-1"), SiteCode::new("XX"), class);
        tool.in_service = Some(date(2020, 1, 1));
        tool
    }

    fn words(pairs: &[(&str, &str)]) -> Words {
        pairs
            .iter()
            .map(|&(name, value)| (name.to_owned(), value.to_owned()))
            .collect()
    }

    fn fields(refusals: Vec<Refusal>) -> Vec<String> {
        refusals.into_iter().map(|refusal| refusal.field).collect()
    }

    #[test]
    fn a_price_is_minutes_or_nothing_and_is_signed() {
        let mut site = Site {
            code: SiteCode::new("XX"),
            name: "X".to_owned(),
            place: String::new(),
            help_minutes: None,
        };
        let of = |site: &Site, pairs: &[(&str, &str)]| price(&words(pairs), site);
        let (minutes, _) = of(&site, &[("help_minutes", "240,5"), ("author", "mk")]).unwrap();
        assert_eq!(minutes, Some(240.5));
        for wrong in ["-1", "soon", "NaN", "inf", "1e9"] {
            let refused = of(&site, &[("help_minutes", wrong), ("author", "mk")]);
            assert_eq!(fields(refused.unwrap_err()), ["help_minutes"], "{wrong}");
        }
        site.help_minutes = Some(100.0);
        let refused = of(&site, &[("help_minutes", ""), ("prise", "3")]).unwrap_err();
        assert_eq!(fields(refused), ["prise", "author", "reason"]);
        let taken_off = [("help_minutes", ""), ("author", "mk"), ("reason", "sold")];
        assert_eq!(of(&site, &taken_off).unwrap().0, None);
    }

    #[test]
    fn days_in_service_keep_their_order_and_what_is_not_sent() {
        let (tool, today) = (tool(), date(2026, 5, 1));
        let of = |pairs: &[(&str, &str)]| days(&words(pairs), &tool, today);
        let (days, _) = of(&[("out_of_service", "2025-02-03"), ("author", "mk")]).unwrap();
        assert_eq!(days.first, tool.in_service);
        assert_eq!(days.last, Some(date(2025, 2, 3)));
        let before = of(&[("out_of_service", "2019-01-01"), ("author", "mk")]).unwrap_err();
        assert_eq!(fields(before), ["out_of_service"]);
        let future = of(&[("out_of_service", "2026-05-02"), ("author", "mk")]).unwrap_err();
        assert_eq!(fields(future), ["out_of_service"]);
        let moved = of(&[("in_service", "2020-02-01"), ("author", "mk")]).unwrap_err();
        assert_eq!(fields(moved), ["reason"]);
        let nonsense = of(&[("in_service", "last spring"), ("author", "")]).unwrap_err();
        assert!(fields(nonsense).contains(&"in_service".to_owned()));
    }

    #[test]
    fn a_service_names_a_fitted_component_and_a_day_that_has_been() {
        let (mut tool, today) = (tool(), date(2026, 5, 1));
        let of = |tool: &Tool, component: &str, on: &str| {
            let sent = words(&[("component", component), ("on", on), ("author", "mk")]);
            service(&sent, tool, today)
        };
        let kept = of(&tool, "scroll-backing-pump", "2026-05-01").unwrap();
        assert_eq!((kept.on, kept.author.as_str()), (today, "mk"));
        let refused = |component: &str, on: &str| fields(of(&tool, component, on).unwrap_err());
        assert_eq!(refused("cryopump", "2026-05-01"), ["component"]);
        assert_eq!(refused("", ""), ["component", "on"]);
        assert_eq!(refused("scroll-backing-pump", "2026-05-02"), ["on"]);
        tool.out_of_service = Some(date(2024, 1, 1));
        assert!(of(&tool, "scroll-backing-pump", "2025-01-01").is_err());
    }
}
