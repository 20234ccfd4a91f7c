//! Tools, and the incidents that befall them.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp, civil};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{
    FIX_SIGMA, LONGEST_SEARCH, LOOKED_FOR, MINUTES_SIGMA, Model, NOT_FOUND_SHARE, SITES,
    TOOLS_PER_CLASS, loss_range, words,
};
use crate::{
    casebook::{CheckDone, Finding, Incident, Outcome, Pressures, Site, Status, Tool, ToolId},
    catalogue::{Catalogue, Cause, Check, SignId, ToolClass},
    vacuum::units::TypedPressure,
};

/// The days the incidents are spread over.
const DAYS: i64 = 6 * 365;

/// A made-up fleet.
#[derive(Debug)]
pub struct Fleet<'a> {
    catalogue: &'a Catalogue,
    sites: Vec<Site>,
    tools: Vec<Tool>,
    classes: BTreeMap<&'a str, ClassModel<'a>>,
    seed: u64,
}

/// An incident with the tool and site it belongs to.
#[derive(Debug)]
pub struct Made<'f> {
    /// The report.
    pub incident: Incident,
    /// Its tool.
    pub tool: &'f Tool,
    /// The tool's site.
    pub site: &'f Site,
}

/// What is true in a class and nobody there knows.
#[derive(Debug)]
struct ClassModel<'a> {
    causes: Vec<(&'a Cause, f64)>,
    /// Checks in common-practice order.
    checks: Vec<&'a Check>,
}

impl<'a> Fleet<'a> {
    /// Draws a fleet.
    pub fn new(catalogue: &'a Catalogue, seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let sites: Vec<Site> = (0..SITES).map(words::site).collect();
        let mut tools = Vec::new();
        let mut classes = BTreeMap::new();
        for class in catalogue.classes() {
            for _ in 0..TOOLS_PER_CLASS {
                let site = &sites[rng.random_range(0..sites.len())];
                tools.push(tool(&mut rng, class, site, tools.len()));
            }
            classes.insert(class.id.as_str(), class_model(&mut rng, catalogue, class));
        }
        Self {
            catalogue,
            sites,
            tools,
            classes,
            seed,
        }
    }

    /// What is true of this fleet, in full.
    pub fn model(&self) -> Model<'_> {
        Model::of(self)
    }

    pub(super) fn catalogue(&self) -> &'a Catalogue {
        self.catalogue
    }

    pub(super) fn seed(&self) -> u64 {
        self.seed
    }

    /// The true chances of the causes of a class, and its checks in the order of its people.
    pub(super) fn truth(&self, class: &ToolClass) -> (BTreeMap<&str, f64>, Vec<&str>) {
        self.classes
            .get(class.id.as_str())
            .map_or_else(Default::default, |model| {
                let causes = model.causes.iter();
                (
                    causes
                        .map(|(cause, chance)| (cause.id.as_str(), *chance))
                        .collect(),
                    model.checks.iter().map(|check| check.id.as_str()).collect(),
                )
            })
    }

    /// Draws incidents, in the order they happened.
    pub fn incidents(&self, count: u64) -> impl Iterator<Item = Made<'_>> {
        // Incidents have a stream of their own, so that a change to the fleet's drawing
        // does not shift them.
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        rng.set_stream(1);
        let start = civil::date(2019, 1, 1)
            .to_zoned_datetime(jiff::tz::TimeZone::UTC)
            .map(|zoned| zoned.timestamp())
            .unwrap_or(Timestamp::UNIX_EPOCH);
        let minutes = DAYS * 24 * 60;
        let step = (minutes as f64) / (count.max(1) as f64);
        (0..count).map(move |index| {
            let at = (index as f64 + rng.random::<f64>()) * step;
            let time = start + SignedDuration::from_mins(at as i64);
            self.incident(&mut rng, time)
        })
    }

    fn incident(&self, rng: &mut ChaCha8Rng, occurred_at: Timestamp) -> Made<'_> {
        let tool = &self.tools[rng.random_range(0..self.tools.len())];
        let model = &self.classes[tool.class.as_str()];
        let cause = drawn(rng, &model.causes);
        let found = rng.random::<f64>() >= NOT_FOUND_SHARE;
        let catalogue = self.catalogue;

        let mut signs: BTreeMap<SignId, bool> = BTreeMap::new();
        for sign in catalogue.signs_of(&tool.components) {
            if rng.random::<f64>() < LOOKED_FOR {
                let chance = cause
                    .signs
                    .get(&sign.id)
                    .copied()
                    .unwrap_or(sign.background);
                let seen = rng.random::<f64>() < chance;
                let before = signs.iter().filter(|(_, seen)| **seen);
                let before = before.map(|(id, _): (&SignId, _)| id.as_str());
                if catalogue.excluded(sign.id.as_str(), before).is_none() {
                    signs.insert(sign.id.clone(), seen);
                }
            }
        }
        let mut antecedents = BTreeMap::new();
        for antecedent in catalogue.antecedents_of(&tool.components) {
            if rng.random::<f64>() < LOOKED_FOR {
                let chance = cause
                    .antecedents
                    .get(&antecedent.id)
                    .copied()
                    .unwrap_or(antecedent.background);
                antecedents.insert(antecedent.id.clone(), rng.random::<f64>() < chance);
            }
        }
        let checks = self.checks(rng, tool, model, cause, found);
        let searched: f64 = checks.iter().filter_map(|check| check.minutes).sum();
        let labour = searched + cause.fix_minutes * log_normal(rng, FIX_SIGMA);
        let down = labour / 60.0 + 3.0 + 20.0 * rng.random::<f64>();
        let (low, high) = loss_range(cause);
        let loss = low + (high - low) * rng.random::<f64>();
        let healthy = tool.healthy_base;
        let times = |typed: TypedPressure, factor: f64| TypedPressure {
            value: rounded(typed.value * factor),
            unit: typed.unit,
        };
        let faulty = times(healthy, 10f64.powf(loss));
        let restored = times(healthy, log_normal(rng, 0.05 * std::f64::consts::LN_10));
        let hand = words::Hand::drawn(rng);
        let seen: Vec<&str> = signs
            .iter()
            .filter(|(_, seen)| **seen)
            .filter_map(|(id, _)| catalogue.sign(id.as_str()))
            .map(|sign| sign.name.as_str())
            .collect();
        let before: Vec<&str> = antecedents
            .iter()
            .filter(|(_, happened)| **happened)
            .filter_map(|(id, _): (&crate::catalogue::AntecedentId, _)| {
                catalogue.antecedent(id.as_str())
            })
            .map(|antecedent| antecedent.name.as_str())
            .collect();
        let symptom = hand.symptom(rng, &seen, &before, healthy, faulty);
        let down = (down * 10.0).round() / 10.0;
        let incident = Incident {
            status: Status::Closed,
            tool: tool.id.clone(),
            occurred_at,
            closed_at: Some(occurred_at + SignedDuration::from_mins((down * 60.0) as i64)),
            symptom,
            signs,
            antecedents,
            pressures: Pressures {
                healthy: Some(healthy),
                faulty: Some(faulty),
                restored: Some(restored),
            },
            checks,
            cause: Some(if found {
                Finding::Cause(cause.id.clone())
            } else {
                Finding::NotFound
            }),
            fix: hand.fix(rng, found.then_some(cause)),
            parts: Vec::new(),
            labour_minutes: Some(labour.round()),
            down_hours: Some(down),
            proof: hand.proof(rng, restored),
            not_restored_reason: if restored.value > faulty.value {
                "conditioning still under way when this was closed".to_owned()
            } else {
                String::new()
            },
            notes: String::new(),
            author: hand.name().to_owned(),
        };
        let site = self
            .sites
            .iter()
            .find(|site| site.code == tool.site)
            .unwrap_or(&self.sites[0]);
        Made {
            incident,
            tool,
            site,
        }
    }

    fn checks(
        &self,
        rng: &mut ChaCha8Rng,
        tool: &Tool,
        model: &ClassModel<'_>,
        cause: &Cause,
        found: bool,
    ) -> Vec<CheckDone> {
        let mut done = Vec::new();
        for check in &model.checks {
            if !check
                .needs_components
                .iter()
                .all(|component| tool.components.contains(component))
            {
                continue;
            }
            let detection = check.reveals.get(&cause.id).copied();
            let hit = rng.random::<f64>() < detection.unwrap_or(check.false_alarm);
            let ends = hit && found && detection.is_some() && !check.isolating;
            done.push(CheckDone {
                check: check.id.clone(),
                outcome: if hit && (ends || check.isolating || found) {
                    Outcome::Found
                } else {
                    Outcome::Clear
                },
                minutes: Some(
                    (check.minutes * log_normal(rng, MINUTES_SIGMA))
                        .round()
                        .max(1.0),
                ),
                note: String::new(),
            });
            if ends || done.len() == LONGEST_SEARCH {
                break;
            }
        }
        done
    }
}

fn tool(rng: &mut ChaCha8Rng, class: &ToolClass, site: &Site, index: usize) -> Tool {
    let id = ToolId::new(format!("{}-{:03}", site.code, index + 1));
    let mut tool = Tool::as_built(id, site.code.clone(), class);
    tool.serial = format!("{:06}", rng.random_range(100_000..1_000_000));
    tool.in_service = Some(civil::date(
        rng.random_range(2008..2019),
        rng.random_range(1..13),
        1,
    ));
    let healthy = class.healthy_base;
    tool.healthy_base = TypedPressure {
        value: rounded(healthy.value * log_normal(rng, 0.15 * std::f64::consts::LN_10)),
        unit: healthy.unit,
    };
    tool
}

fn class_model<'a>(
    rng: &mut ChaCha8Rng,
    catalogue: &'a Catalogue,
    class: &ToolClass,
) -> ClassModel<'a> {
    let mut causes: Vec<(&Cause, f64)> = catalogue
        .causes()
        .filter(|cause| class.components.contains(&cause.component))
        .map(|cause| {
            // The sum of two exponentials is gamma(2); halved, its mean is one.
            let factor = (exponential(rng) + exponential(rng)) / 2.0;
            (cause, cause.weight_in(&class.id) * factor)
        })
        .collect();
    let total: f64 = causes.iter().map(|(_, weight)| weight).sum();
    for (_, weight) in &mut causes {
        *weight /= total;
    }
    let believed: f64 = causes
        .iter()
        .map(|(cause, _)| cause.weight_in(&class.id))
        .sum();
    let worth = |check: &Check| {
        let chance: f64 = causes
            .iter()
            .filter_map(|(cause, _)| {
                Some(check.reveals.get(&cause.id)? * cause.weight_in(&class.id) / believed)
            })
            .sum();
        chance / check.minutes.max(1.0)
    };
    let mut checks: Vec<&Check> = catalogue
        .checks()
        .filter(|check| {
            causes
                .iter()
                .any(|(cause, _)| check.reveals.contains_key(&cause.id))
        })
        .collect();
    checks.sort_by(|a, b| worth(b).total_cmp(&worth(a)).then_with(|| a.id.cmp(&b.id)));
    ClassModel { causes, checks }
}

fn drawn<'a>(rng: &mut ChaCha8Rng, causes: &[(&'a Cause, f64)]) -> &'a Cause {
    let mut left: f64 = rng.random();
    for (cause, chance) in causes {
        left -= chance;
        if left <= 0.0 {
            return cause;
        }
    }
    causes[causes.len() - 1].0
}

fn exponential(rng: &mut impl Rng) -> f64 {
    -(1.0 - rng.random::<f64>()).ln()
}

/// A log-normal factor with median one; `sigma` in natural logarithm.
fn log_normal(rng: &mut impl Rng, sigma: f64) -> f64 {
    // Box and Muller (1958).
    let radius = (-2.0 * (1.0 - rng.random::<f64>()).ln()).sqrt();
    let normal = radius * (std::f64::consts::TAU * rng.random::<f64>()).cos();
    (sigma * normal).exp()
}

/// Two figures, as people read a gauge.
fn rounded(value: f64) -> f64 {
    format!("{value:.1e}").parse().unwrap_or(value)
}
