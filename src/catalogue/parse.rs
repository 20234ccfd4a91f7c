//! Reads the data files into a checked [`Catalogue`], gathering every mistake with
//! its file and line so that a service lead can mend them in one go.

use std::{collections::BTreeMap, collections::BTreeSet, fmt};

use serde::{Deserialize, de::DeserializeOwned};
use toml::Spanned;

use super::{
    Antecedent, AntecedentId, Catalogue, Cause, CauseId, Caution, CautionId, Check, CheckId,
    ClassId, Component, ComponentId, Kind, Sign, SignId, StateMinutes, ToolClass, ToolState,
};
use crate::vacuum::units::TypedPressure;

/// One data file: its path below the catalogue folder and its text.
#[derive(Clone, Debug)]
pub struct SourceFile {
    /// For messages, e.g. `checks/door-seal-clean.md`.
    pub path: String,
    /// The whole text.
    pub text: String,
}

/// A mistake in a data file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistake {
    /// Which file.
    pub path: String,
    /// Which line, counted from 1; 0 when the whole file is meant.
    pub line: usize,
    /// What is wrong and what would be accepted.
    pub problem: String,
}

impl fmt::Display for Mistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line == 0 {
            write!(f, "{}: {}", self.path, self.problem)
        } else {
            write!(f, "{}, line {}: {}", self.path, self.line, self.problem)
        }
    }
}

/// Everything that is wrong with a catalogue.
#[derive(Clone, Debug, thiserror::Error)]
#[error("a data file cannot be used:\n{}", .0.iter().map(|m| format!("  {m}")).collect::<Vec<_>>().join("\n"))]
pub struct Mistakes(pub Vec<Mistake>);

/// Parses and checks the files of a catalogue.
///
/// # Errors
/// Every mistake found, each with file and line.
pub fn parse(files: &[SourceFile]) -> Result<Catalogue, Mistakes> {
    let mut reader = Reader {
        files,
        mistakes: Vec::new(),
    };
    let catalogue = reader.catalogue();
    match catalogue {
        Some(catalogue) if reader.mistakes.is_empty() => Ok(catalogue),
        _ => Err(Mistakes(reader.mistakes)),
    }
}

type Reference = Spanned<String>;
type Chances = BTreeMap<Reference, Spanned<f64>>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CautionFile {
    #[serde(default)]
    caution: Vec<RawCaution>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawCaution {
    id: Reference,
    hazard: String,
    text: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ComponentFile {
    #[serde(default)]
    component: Vec<RawComponent>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawComponent {
    id: Reference,
    name: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ClassFile {
    #[serde(default)]
    class: Vec<RawClass>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawClass {
    id: Reference,
    name: String,
    about: String,
    pump: String,
    components: Vec<Reference>,
    #[serde(default)]
    optional: Vec<Reference>,
    volume_litres: Spanned<f64>,
    speed_litres_per_second: Spanned<f64>,
    healthy_base: Spanned<TypedPressure>,
    minutes: RawMinutes,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawMinutes {
    vent: Spanned<f64>,
    pump_down: Spanned<f64>,
    stop_and_purge: Spanned<f64>,
    restart: Spanned<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CauseFile {
    #[serde(default)]
    cause: Vec<RawCause>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawCause {
    id: Reference,
    name: String,
    component: Reference,
    mechanism: String,
    kind: Spanned<String>,
    weight: Spanned<f64>,
    #[serde(default)]
    weights: Chances,
    fix_minutes: Spanned<f64>,
    fix_state: Spanned<String>,
    #[serde(default)]
    wears: bool,
    basis: String,
    #[serde(default)]
    signs: Chances,
    #[serde(default)]
    antecedents: Chances,
    decades: Option<Spanned<[f64; 2]>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SettingsFile {
    half_life_days: Option<Spanned<f64>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SignFile {
    #[serde(default)]
    sign: Vec<RawSign>,
    #[serde(default)]
    exclude: Vec<RawExclude>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawExclude {
    signs: Vec<Reference>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawSign {
    id: Reference,
    name: String,
    ask: String,
    background: Spanned<f64>,
    calculation: Option<Spanned<String>>,
    #[serde(default)]
    needs_components: Vec<Reference>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AntecedentFile {
    #[serde(default)]
    antecedent: Vec<RawAntecedent>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawAntecedent {
    id: Reference,
    name: String,
    background: Spanned<f64>,
    #[serde(default)]
    needs_components: Vec<Reference>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawCheck {
    name: String,
    state: Spanned<String>,
    #[serde(default)]
    leaves: Option<Reference>,
    #[serde(default)]
    vents: Option<Spanned<bool>>,
    minutes: Spanned<f64>,
    #[serde(default)]
    isolating: bool,
    #[serde(default)]
    false_alarm: Option<Spanned<f64>>,
    #[serde(default)]
    cautions: Vec<Reference>,
    #[serde(default)]
    needs_first: Vec<Reference>,
    #[serde(default)]
    needs_first_if_fitted: Vec<Reference>,
    #[serde(default)]
    shows: Vec<Reference>,
    #[serde(default)]
    needs_components: Vec<Reference>,
    basis: String,
    #[serde(default)]
    reveals: Chances,
    #[serde(default)]
    reveals_kind: Chances,
}

const CALCULATIONS: [&str; 7] = [
    "rise",
    "pump-down",
    "gas-load",
    "conductance",
    "leak-conversion",
    "gauge",
    "residual-gas",
];

/// The chance of a false "found" where a check does not state one.
const DEFAULT_FALSE_ALARM: f64 = 0.01;
/// What the advice takes for one time at most.
const MOST_MINUTES: f64 = 1e6;

struct Reader<'a> {
    files: &'a [SourceFile],
    mistakes: Vec<Mistake>,
}

/// Where a span lies: the file, and how far the parsed text sits inside it.
#[derive(Clone, Copy)]
struct Place<'a> {
    path: &'a str,
    text: &'a str,
    lines_before: usize,
}

impl Place<'_> {
    fn line(&self, offset: usize) -> usize {
        let end = offset.min(self.text.len());
        self.lines_before
            + 1
            + self.text.as_bytes()[..end]
                .iter()
                .filter(|b| **b == b'\n')
                .count()
    }
}

impl<'a> Reader<'a> {
    fn complain(&mut self, path: &str, line: usize, problem: impl Into<String>) {
        self.mistakes.push(Mistake {
            path: path.to_owned(),
            line,
            problem: problem.into(),
        });
    }

    fn file(&mut self, path: &'static str) -> Option<Place<'a>> {
        match self.files.iter().find(|file| file.path == path) {
            Some(file) => Some(Place {
                path: &file.path,
                text: &file.text,
                lines_before: 0,
            }),
            None => {
                self.complain(path, 0, "this file is missing from the catalogue folder");
                None
            }
        }
    }

    fn toml<T: DeserializeOwned>(&mut self, place: Place<'_>) -> Option<T> {
        match toml::from_str(place.text) {
            Ok(value) => Some(value),
            Err(error) => {
                let line = error.span().map_or(0, |span| place.line(span.start));
                self.complain(place.path, line, error.message().to_owned());
                None
            }
        }
    }

    fn catalogue(&mut self) -> Option<Catalogue> {
        let caution_place = self.file("cautions.toml");
        let component_place = self.file("components.toml");
        let class_place = self.file("classes.toml");
        let cause_place = self.file("causes.toml");
        let sign_place = self.file("signs.toml");
        let antecedent_place = self.file("antecedents.toml");
        let raw_cautions: CautionFile = self.toml(caution_place?)?;
        let raw_components: ComponentFile = self.toml(component_place?)?;
        let raw_signs: SignFile = self.toml(sign_place?)?;
        let raw_antecedents: AntecedentFile = self.toml(antecedent_place?)?;
        let raw_classes: ClassFile = self.toml(class_place?)?;
        let raw_causes: CauseFile = self.toml(cause_place?)?;
        let lines = raw_causes.cause.iter().map(|cause| {
            let line = cause_place.map_or(0, |place| place.line(cause.id.span().start));
            (cause.id.get_ref().clone(), line)
        });
        let cause_lines: BTreeMap<String, usize> = lines.collect();

        let mut catalogue = Catalogue::default();
        self.cautions(caution_place?, raw_cautions, &mut catalogue);
        self.components(component_place?, raw_components, &mut catalogue);
        self.signs(sign_place?, raw_signs, &mut catalogue);
        self.antecedents(antecedent_place?, raw_antecedents, &mut catalogue);
        self.classes(class_place?, raw_classes, &mut catalogue);
        self.causes(cause_place?, raw_causes, &mut catalogue);
        self.checks(&mut catalogue);
        self.settings(&mut catalogue);
        self.coverage(&catalogue, cause_place?, &cause_lines);
        Some(catalogue)
    }

    /// Complains about an identifier that is ill-formed or stands twice.
    fn new_id(&mut self, place: Place<'_>, id: &Reference, seen: bool) -> String {
        let text = id.get_ref();
        let line = place.line(id.span().start);
        if !is_identifier(text) {
            self.complain(
                place.path,
                line,
                format!("identifier {text:?}: only small letters, digits and hyphens are accepted"),
            );
        }
        if text == NOT_FOUND {
            self.complain(
                place.path,
                line,
                "the identifier \"not-found\" is kept for searches that ended without a cause",
            );
        }
        if seen {
            self.complain(
                place.path,
                line,
                format!("identifier {text:?} stands twice"),
            );
        }
        text.clone()
    }

    fn known(&mut self, place: Place<'_>, what: &str, id: &Reference, known: bool) -> bool {
        if !known {
            let line = place.line(id.span().start);
            self.complain(
                place.path,
                line,
                format!("no {what} is called {:?}", id.get_ref()),
            );
        }
        known
    }

    fn number(
        &mut self,
        place: Place<'_>,
        what: &str,
        value: &Spanned<f64>,
        accept: std::ops::RangeInclusive<f64>,
    ) -> f64 {
        let number = *value.get_ref();
        if !accept.contains(&number) {
            self.complain(
                place.path,
                place.line(value.span().start),
                format!(
                    "{what} is {number}; accepted is {} to {}",
                    accept.start(),
                    accept.end()
                ),
            );
        }
        number
    }

    fn state(&mut self, place: Place<'_>, what: &str, raw: &Reference) -> ToolState {
        let state = ToolState::ALL
            .into_iter()
            .find(|state| state.id() == raw.get_ref());
        if state.is_none() {
            let accepted: Vec<_> = ToolState::ALL.iter().map(|state| state.id()).collect();
            self.complain(
                place.path,
                place.line(raw.span().start),
                format!(
                    "{what} {:?} is not known; accepted are {}",
                    raw.get_ref(),
                    accepted.join(", ")
                ),
            );
        }
        state.unwrap_or(ToolState::Pumped)
    }

    /// A catalogue need not have settings.
    fn settings(&mut self, into: &mut Catalogue) {
        const PATH: &str = "settings.toml";
        if !self.files.iter().any(|file| file.path == PATH) {
            return;
        }
        let Some(place) = self.file(PATH) else { return };
        let raw: Option<SettingsFile> = self.toml(place);
        let half_life = raw.and_then(|raw| raw.half_life_days);
        into.half_life_days =
            half_life.map(|days| self.number(place, "half_life_days", &days, 1.0..=36_500.0));
    }

    fn cautions(&mut self, place: Place<'_>, raw: CautionFile, into: &mut Catalogue) {
        for entry in raw.caution {
            let seen = into.cautions.contains_key(entry.id.get_ref().as_str());
            let id = CautionId::new(self.new_id(place, &entry.id, seen));
            into.cautions.insert(
                id.clone(),
                Caution {
                    id,
                    hazard: entry.hazard,
                    text: entry.text,
                },
            );
        }
    }

    fn components(&mut self, place: Place<'_>, raw: ComponentFile, into: &mut Catalogue) {
        for entry in raw.component {
            let seen = into.components.contains_key(entry.id.get_ref().as_str());
            let id = ComponentId::new(self.new_id(place, &entry.id, seen));
            into.components.insert(
                id.clone(),
                Component {
                    id,
                    thing: thing(&entry.name).to_owned(),
                    name: entry.name,
                },
            );
        }
    }

    fn signs(&mut self, place: Place<'_>, raw: SignFile, into: &mut Catalogue) {
        for entry in raw.sign {
            let seen = into.signs.contains_key(entry.id.get_ref().as_str());
            let id = SignId::new(self.new_id(place, &entry.id, seen));
            let background = self.number(place, "background", &entry.background, 0.0..=1.0);
            if let Some(calculation) = &entry.calculation
                && !CALCULATIONS.contains(&calculation.get_ref().as_str())
            {
                let line = place.line(calculation.span().start);
                self.complain(
                    place.path,
                    line,
                    format!(
                        "calculation {:?} is not known; accepted are {}",
                        calculation.get_ref(),
                        CALCULATIONS.join(", ")
                    ),
                );
            }
            let needs_components = self.component_list(place, &entry.needs_components, into);
            into.sign_order.push(id.clone());
            into.signs.insert(
                id.clone(),
                Sign {
                    id,
                    name: entry.name,
                    ask: entry.ask,
                    background,
                    calculation: entry.calculation.map(Spanned::into_inner),
                    needs_components,
                },
            );
        }
        for group in raw.exclude {
            for id in &group.signs {
                let known = into.signs.contains_key(id.get_ref().as_str());
                self.known(place, "sign", id, known);
            }
            let ids = group.signs.iter().map(|id| SignId::new(id.get_ref()));
            into.exclusive.push(ids.collect());
        }
    }

    fn antecedents(&mut self, place: Place<'_>, raw: AntecedentFile, into: &mut Catalogue) {
        for entry in raw.antecedent {
            let seen = into.antecedents.contains_key(entry.id.get_ref().as_str());
            let id = AntecedentId::new(self.new_id(place, &entry.id, seen));
            let background = self.number(place, "background", &entry.background, 0.0..=1.0);
            let needs_components = self.component_list(place, &entry.needs_components, into);
            into.antecedent_order.push(id.clone());
            into.antecedents.insert(
                id.clone(),
                Antecedent {
                    id,
                    name: entry.name,
                    background,
                    needs_components,
                },
            );
        }
    }

    fn component_list(
        &mut self,
        place: Place<'_>,
        raw: &[Reference],
        catalogue: &Catalogue,
    ) -> Vec<ComponentId> {
        raw.iter()
            .filter(|id| {
                let known = catalogue.components.contains_key(id.get_ref().as_str());
                self.known(place, "component", id, known)
            })
            .map(|id| ComponentId::new(id.get_ref()))
            .collect()
    }

    fn classes(&mut self, place: Place<'_>, raw: ClassFile, into: &mut Catalogue) {
        for entry in raw.class {
            let seen = into.classes.contains_key(entry.id.get_ref().as_str());
            let id = ClassId::new(self.new_id(place, &entry.id, seen));
            let components = self.component_list(place, &entry.components, into);
            let optional = self.component_list(place, &entry.optional, into);
            let volume = self.number(place, "volume_litres", &entry.volume_litres, 1e-3..=1e6);
            let speed = self.number(
                place,
                "speed_litres_per_second",
                &entry.speed_litres_per_second,
                1e-3..=1e7,
            );
            if entry
                .healthy_base
                .get_ref()
                .pressure()
                .map_or(true, |p| p.pascals() <= 0.0)
            {
                let line = place.line(entry.healthy_base.span().start);
                self.complain(place.path, line, "healthy_base has to be above zero");
            }
            let any = 0.0..=MOST_MINUTES;
            let minutes = StateMinutes {
                vent: self.number(place, "vent", &entry.minutes.vent, any.clone()),
                pump_down: self.number(place, "pump_down", &entry.minutes.pump_down, any.clone()),
                stop_and_purge: self.number(
                    place,
                    "stop_and_purge",
                    &entry.minutes.stop_and_purge,
                    any.clone(),
                ),
                restart: self.number(place, "restart", &entry.minutes.restart, any),
            };
            into.class_order.push(id.clone());
            into.classes.insert(
                id.clone(),
                ToolClass {
                    id,
                    name: entry.name,
                    about: entry.about,
                    pump: entry.pump,
                    components,
                    optional,
                    volume_litres: volume,
                    speed_litres_per_second: speed,
                    healthy_base: *entry.healthy_base.get_ref(),
                    minutes,
                },
            );
        }
    }

    fn causes(&mut self, place: Place<'_>, raw: CauseFile, into: &mut Catalogue) {
        for entry in raw.cause {
            let seen = into.causes.contains_key(entry.id.get_ref().as_str());
            let id = CauseId::new(self.new_id(place, &entry.id, seen));
            let component_known = into
                .components
                .contains_key(entry.component.get_ref().as_str());
            self.known(place, "component", &entry.component, component_known);
            let kind = match entry.kind.get_ref().parse::<Kind>() {
                Ok(kind) => kind,
                Err(problem) => {
                    self.complain(place.path, place.line(entry.kind.span().start), problem);
                    Kind::AirLeak
                }
            };
            let weight = self.number(place, "weight", &entry.weight, 0.0..=1e6);
            let fix_minutes =
                self.number(place, "fix_minutes", &entry.fix_minutes, 0.0..=MOST_MINUTES);
            let fix_state = self.state(place, "fix_state", &entry.fix_state);
            let mut weights = BTreeMap::new();
            for (class, value) in &entry.weights {
                let known = into.classes.contains_key(class.get_ref().as_str());
                self.known(place, "tool class", class, known);
                let value = self.number(place, "weight", value, 0.0..=1e6);
                weights.insert(ClassId::new(class.get_ref()), value);
            }
            let mut signs = BTreeMap::new();
            for (sign, chance) in &entry.signs {
                let known = into.signs.contains_key(sign.get_ref().as_str());
                self.known(place, "sign", sign, known);
                let chance = self.number(place, "chance", chance, 0.0..=1.0);
                signs.insert(SignId::new(sign.get_ref()), chance);
            }
            let mut antecedents = BTreeMap::new();
            for (antecedent, chance) in &entry.antecedents {
                let known = into.antecedents.contains_key(antecedent.get_ref().as_str());
                self.known(place, "antecedent", antecedent, known);
                let chance = self.number(place, "chance", chance, 0.0..=1.0);
                antecedents.insert(AntecedentId::new(antecedent.get_ref()), chance);
            }
            let decades = entry.decades.map(|span| {
                let [low, high] = *span.get_ref();
                if !(low.is_finite() && high.is_finite() && low <= high) {
                    let line = place.line(span.span().start);
                    self.complain(
                        place.path,
                        line,
                        "decades wants [low, high] with low not above high",
                    );
                }
                (low, high)
            });
            into.cause_order.push(id.clone());
            into.causes.insert(
                id.clone(),
                Cause {
                    id,
                    name: entry.name,
                    component: ComponentId::new(entry.component.get_ref()),
                    mechanism: entry.mechanism,
                    kind,
                    weight,
                    weights,
                    fix_minutes,
                    fix_state,
                    wears: entry.wears,
                    basis: entry.basis,
                    signs,
                    antecedents,
                    decades,
                },
            );
        }
    }

    fn checks(&mut self, into: &mut Catalogue) {
        let mut files: Vec<_> = self
            .files
            .iter()
            .filter_map(|file| {
                let stem = file.path.strip_prefix("checks/")?.strip_suffix(".md")?;
                Some((stem, file))
            })
            .collect();
        files.sort_by_key(|(stem, _)| *stem);
        if files.is_empty() {
            self.complain(
                "checks",
                0,
                "no check is described; checks/<identifier>.md is wanted",
            );
        }
        let known_checks: BTreeSet<&str> = files.iter().map(|(stem, _)| *stem).collect();
        for (stem, file) in &files {
            if !is_identifier(stem) {
                self.complain(
                    &file.path,
                    0,
                    "the file is named by the check's identifier: small letters, digits and hyphens",
                );
            }
            let Some((place, procedure)) = self.front_matter(file) else {
                continue;
            };
            let Some(raw) = self.toml::<RawCheck>(place) else {
                continue;
            };
            let check = self.check(place, stem, raw, procedure, into, &known_checks);
            into.checks.insert(check.id.clone(), check);
        }
        self.precedence(into);
    }

    fn front_matter<'b>(&mut self, file: &'b SourceFile) -> Option<(Place<'b>, &'b str)> {
        const FENCE: &str = "+++\n";
        let Some((matter, procedure)) = file
            .text
            .strip_prefix(FENCE)
            .and_then(|rest| rest.split_once("\n+++\n"))
        else {
            self.complain(
                &file.path,
                1,
                "a check begins with a line +++, its fields as TOML, a line +++, then the procedure",
            );
            return None;
        };
        if procedure.trim().is_empty() {
            self.complain(&file.path, 0, "the procedure after the second +++ is empty");
        }
        let place = Place {
            path: &file.path,
            text: matter,
            lines_before: 1,
        };
        Some((place, procedure))
    }

    fn check(
        &mut self,
        place: Place<'_>,
        stem: &str,
        raw: RawCheck,
        procedure: &str,
        catalogue: &Catalogue,
        known_checks: &BTreeSet<&str>,
    ) -> Check {
        let state = self.state(place, "state", &raw.state);
        let leaves = raw.leaves.as_ref().map_or(state, |leaves| {
            let known = self.state(place, "leaves", leaves);
            if known != state && (known != ToolState::Pumped || raw.isolating) {
                let line = place.line(leaves.span().start);
                self.complain(
                    place.path,
                    line,
                    "a check leaves the tool in its own state, or pumped if it is not isolating",
                );
            }
            known
        });
        let vents = raw.vents.as_ref().is_some_and(|vents| {
            if *vents.get_ref() && state != ToolState::StoppedPurged {
                let line = place.line(vents.span().start);
                self.complain(
                    place.path,
                    line,
                    "only a check with the pump stopped and purged vents a chamber that stays under vacuum otherwise",
                );
            }
            *vents.get_ref()
        });
        let minutes = self.number(place, "minutes", &raw.minutes, 0.0..=MOST_MINUTES);
        let false_alarm = raw
            .false_alarm
            .as_ref()
            .map_or(DEFAULT_FALSE_ALARM, |value| {
                self.number(place, "false_alarm", value, 0.0..=1.0)
            });
        let mut reveals = BTreeMap::new();
        for (kind, chance) in &raw.reveals_kind {
            let chance = self.number(place, "chance", chance, 0.0..=1.0);
            match kind.get_ref().parse::<Kind>() {
                Ok(kind) => {
                    for cause in catalogue.causes.values().filter(|cause| cause.kind == kind) {
                        reveals.insert(cause.id.clone(), chance);
                    }
                }
                Err(problem) => {
                    self.complain(place.path, place.line(kind.span().start), problem);
                }
            }
        }
        for (cause, chance) in &raw.reveals {
            let known = catalogue.causes.contains_key(cause.get_ref().as_str());
            self.known(place, "cause", cause, known);
            let chance = self.number(place, "chance", chance, 0.0..=1.0);
            reveals.insert(CauseId::new(cause.get_ref()), chance);
        }
        if reveals.is_empty() {
            let line = self.line_of(place.path, "[reveals");
            self.complain(
                place.path,
                line,
                "the check reveals nothing; [reveals] wants at least one cause",
            );
        }
        for caution in &raw.cautions {
            let known = catalogue.cautions.contains_key(caution.get_ref().as_str());
            self.known(place, "caution", caution, known);
        }
        for first in raw.needs_first.iter().chain(&raw.needs_first_if_fitted) {
            let known = known_checks.contains(first.get_ref().as_str());
            self.known(place, "check", first, known);
        }
        for sign in &raw.shows {
            let known = catalogue.signs.contains_key(sign.get_ref().as_str());
            self.known(place, "sign", sign, known);
        }
        let needs_components = self.component_list(place, &raw.needs_components, catalogue);
        Check {
            shows: raw
                .shows
                .iter()
                .map(|id| SignId::new(id.get_ref()))
                .collect(),
            id: CheckId::new(stem),
            name: raw.name,
            state,
            leaves,
            vents,
            minutes,
            isolating: raw.isolating,
            false_alarm,
            cautions: raw
                .cautions
                .iter()
                .map(|id| CautionId::new(id.get_ref()))
                .collect(),
            needs_first: raw
                .needs_first
                .iter()
                .map(|id| CheckId::new(id.get_ref()))
                .collect(),
            needs_first_if_fitted: raw
                .needs_first_if_fitted
                .iter()
                .map(|id| CheckId::new(id.get_ref()))
                .collect(),
            needs_components,
            basis: raw.basis,
            clears: clears(catalogue, &reveals),
            reveals,
            procedure: procedure.to_owned(),
        }
    }

    /// A circle of checks that each want the other first could never be started.
    fn precedence(&mut self, catalogue: &Catalogue) {
        for check in catalogue.checks.values() {
            let mut reached = BTreeSet::new();
            let mut open: Vec<_> = check.first().collect();
            while let Some(id) = open.pop() {
                if !reached.insert(id) {
                    continue;
                }
                if let Some(earlier) = catalogue.checks.get(id) {
                    open.extend(earlier.first());
                }
            }
            let path = format!("checks/{}.md", check.id);
            let line = self.line_of(&path, "needs_first");
            if reached.contains(&check.id) {
                self.complain(&path, line, "needs_first leads back to this check itself");
            }
            // What is secured in a state lasts no longer than the tool stays in it.
            for earlier in check.first().filter_map(|id| catalogue.checks.get(id)) {
                let lasts = earlier.state == ToolState::Pumped
                    || (earlier.state == check.state
                        && earlier.leaves == earlier.state
                        && !earlier.isolating);
                if !lasts {
                    self.complain(
                        &path,
                        line,
                        format!(
                            "{:?} cannot come first, since it lasts only while the tool stays {}; accepted is a check that is not isolating and leaves the tool as it was, made {} or on the pumped tool",
                            earlier.id.as_str(),
                            earlier.state.name(),
                            check.state.name(),
                        ),
                    );
                }
            }
        }
    }

    /// Every cause has to be findable, or the sequence could never end in it.
    fn coverage(
        &mut self,
        catalogue: &Catalogue,
        place: Place<'_>,
        lines: &BTreeMap<String, usize>,
    ) {
        let revealed: BTreeSet<_> = catalogue
            .checks
            .values()
            .filter(|check| !check.isolating)
            .flat_map(|check| check.reveals.keys())
            .collect();
        for id in &catalogue.cause_order {
            if !revealed.contains(id) {
                self.complain(
                    place.path,
                    lines.get(id.as_str()).copied().unwrap_or_default(),
                    format!(
                        "no check (other than an isolating one) reveals the cause {:?}",
                        id.as_str()
                    ),
                );
            }
        }
    }

    /// The first line of a file that begins with these words; 0 if there is none.
    fn line_of(&self, path: &str, words: &str) -> usize {
        let file = self.files.iter().find(|file| file.path == path);
        let mut lines = file.into_iter().flat_map(|file| file.text.lines());
        lines
            .position(|line| line.starts_with(words))
            .map_or(0, |at| at + 1)
    }
}

fn is_identifier(text: &str) -> bool {
    !text.is_empty()
        && text
            .bytes()
            .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

/// What a name names, without what it says more of it.
fn thing(name: &str) -> &str {
    let ends = [",", ":", " of ", " with ", " between ", " inside "];
    let end = ends.iter().filter_map(|end| name.find(end)).min();
    &name[..end.unwrap_or(name.len())]
}

/// The legal outcome of a search that ended without a cause.
pub const NOT_FOUND: &str = "not-found";

/// A component is cleared by a check that would have shown more than this share of its causes.
const CLEARED: f64 = 0.55;

/// For each class the components that a check with these chances clears if it finds nothing.
fn clears(
    catalogue: &Catalogue,
    reveals: &BTreeMap<CauseId, f64>,
) -> BTreeMap<ClassId, Vec<ComponentId>> {
    let cleared = |class: &ToolClass| {
        let clear = |component: &&ComponentId| {
            let own = || {
                catalogue
                    .causes
                    .values()
                    .filter(|c| c.component == **component)
            };
            let all: f64 = own().map(|cause| cause.weight_in(&class.id)).sum();
            let shown = own().filter_map(|cause| {
                Some(cause.weight_in(&class.id) * reveals.get(cause.id.as_str())?)
            });
            shown.sum::<f64>() > CLEARED * all
        };
        class.components.iter().filter(clear).cloned().collect()
    };
    let classes = catalogue.classes.values();
    classes
        .map(|class| (class.id.clone(), cleared(class)))
        .collect()
}
