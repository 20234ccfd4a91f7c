//! Whether the gauges of one chamber can be believed.

use serde::{Deserialize, Serialize};

use super::spoken::Spoken;
use super::{FieldError, FieldErrors, Outcome};
use crate::vacuum::gas::Gas;
use crate::vacuum::gauge::{
    GaugeKind, Judgement, Reading, Situation, Step, Verdict, correction, judge,
};
use crate::vacuum::units::{Pressure, PressureUnit, Typed, TypedPressure};

/// The readings of one chamber at one time.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Request {
    /// What each gauge shows.
    pub readings: Vec<ReadingRequest>,
    /// The gas that makes up most of the chamber, if known.
    pub gas: Option<Gas>,
    /// Whether the chamber is known by other means to be in high vacuum.
    pub surely_high_vacuum: Option<bool>,
}

/// What one gauge shows.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReadingRequest {
    /// The kind of gauge.
    pub kind: GaugeKind,
    /// What it shows; a capacitance gauge may read below zero.
    pub pressure: TypedPressure,
    /// Whether its cathode or filament is lit, if looked at.
    pub lit: Option<bool>,
    /// Whether it moves when the pressure must, if tried.
    pub moves: Option<bool>,
}

/// The verdict on the gauges.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// Verdict, assumptions, signs, next checks and cautions.
    #[serde(flatten)]
    pub outcome: Outcome,
    /// The verdict by name.
    pub finding: Verdict,
    /// The reason, in one sentence.
    pub reason: String,
    /// Highest over lowest reading, if two or more can be compared.
    pub disagreement_factor: Option<f64>,
    /// The same once corrected for the gas, if it is known.
    pub disagreement_factor_corrected: Option<f64>,
    /// Each reading corrected for the gas; empty if the gas is not known.
    pub corrected: Vec<CorrectedReading>,
    /// What to do next, in order.
    pub next: Vec<String>,
}

/// A reading corrected for the gas.
#[derive(Clone, Debug, Serialize)]
pub struct CorrectedReading {
    /// The kind of gauge.
    pub kind: GaugeKind,
    /// What it shows.
    pub reading: TypedPressure,
    /// The true pressure; absent if there is no factor.
    pub true_pressure: Option<TypedPressure>,
    /// Spread of the factor between gauges, as a share.
    pub spread: Option<f64>,
    /// Where the factor is from, or why there is none.
    pub basis: String,
}

/// Judges the gauges.
pub fn run(request: &Request) -> Result<Report, Vec<FieldError>> {
    let mut errors = FieldErrors::new();
    let readings: Vec<Option<Reading>> = request
        .readings
        .iter()
        .enumerate()
        .map(|(place, reading)| {
            // A diaphragm goes below zero where its zero is off; of any other gauge that is no reading.
            let negative = reading.kind == GaugeKind::Capacitance && reading.pressure.value < 0.0;
            let size = Typed::new(
                if negative {
                    -reading.pressure.value
                } else {
                    reading.pressure.value
                },
                reading.pressure.unit,
            );
            let size = errors.quantity(&format!("readings[{place}].pressure"), size)?;
            Some(Reading {
                kind: reading.kind,
                pressure: if negative { Pressure::ZERO } else { size },
                below_zero: negative.then_some(size),
                lit: reading.lit,
                moves: reading.moves,
            })
        })
        .collect();
    errors.finish()?;
    let situation = Situation {
        readings: readings.into_iter().flatten().collect(),
        gas: request.gas,
        surely_high_vacuum: request.surely_high_vacuum,
        unit: request
            .readings
            .first()
            .map_or(PressureUnit::Torr, |reading| reading.pressure.unit),
    };
    let mut errors = FieldErrors::new();
    let Some(judgement) = errors.take(
        "readings",
        "one or more gauges, each with its reading (above zero on a cathode or filament)",
        judge(&situation),
    ) else {
        return Err(errors.into_vec());
    };
    let mut assumed = vec![
        "All gauges are set for nitrogen or air, and were read at the same time".to_owned(),
        "Ranges of gauges and a factor of three for agreement are common practice, with no source"
            .to_owned(),
    ];
    if request.gas.is_none() {
        assumed.push("The gas reads like nitrogen or air".to_owned());
    }
    let mut outcome = Outcome {
        verdict: headline(judgement.verdict).to_owned(),
        concluded: judgement.verdict != Verdict::CannotTell,
        assumed,
        ..Outcome::default()
    };
    set_signs(&mut outcome, &judgement, request.gas);
    let sides = ion_sides(request);
    for step in &judgement.next {
        for check in checks(*step) {
            if concerns(check, sides) {
                outcome.suggest(&[check]);
            }
        }
    }
    Ok(Report {
        finding: judgement.verdict,
        outcome,
        corrected: corrected(request, &situation),
        disagreement_factor: judgement.disagreement,
        disagreement_factor_corrected: judgement.disagreement_corrected,
        next: judgement
            .next
            .iter()
            .map(|step| step.words().to_owned())
            .collect(),
        reason: judgement.reason,
    })
}

/// Whether there is a cold cathode, and whether there is a hot filament.
fn ion_sides(request: &Request) -> (bool, bool) {
    let any = |kinds: [GaugeKind; 2]| request.readings.iter().any(|r| kinds.contains(&r.kind));
    (
        any([GaugeKind::ColdCathode, GaugeKind::CombinationColdCathode]),
        any([GaugeKind::HotFilament, GaugeKind::CombinationHotFilament]),
    )
}

/// Whether a check of a cathode or a filament is about one of these gauges.
fn concerns(check: &str, (cathode, filament): (bool, bool)) -> bool {
    match check {
        "cathode-gauge-strike-check" | "cathode-gauge-cleaning" => cathode,
        "filament-gauge-check" => filament,
        _ => true,
    }
}

fn headline(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Consistent => "The readings hang together: take the pressure as real",
        Verdict::StuckAtPiraniLimit => "The gauge is stuck at its Pirani limit",
        Verdict::StuckDecadesLower => {
            "The gauge is stuck one or two decades below its Pirani limit"
        }
        Verdict::NotLit => "The high-vacuum sensor is not lit",
        Verdict::GasDependent => "The gauges differ because of the gas, not a fault",
        Verdict::PiraniZeroOff => "The zero of the Pirani or convection side is off",
        Verdict::CapacitanceZeroOff => "The zero of the capacitance gauge is off",
        Verdict::CannotTell => "The readings cannot tell whether a gauge is at fault",
    }
}

/// Signs of the verdict, and those that the readings decide whatever the verdict.
fn set_signs(outcome: &mut Outcome, judgement: &Judgement, gas: Option<Gas>) {
    let mut set = |id: &str, seen: bool| outcome.sign(id, seen);
    // In a gas without factors the readings say nothing of what they would be in nitrogen.
    let as_read = judgement
        .disagreement
        .filter(|_| gas.is_none() || judgement.verdict == Verdict::Consistent);
    if let Some(factor) = judgement.disagreement_corrected.or(as_read) {
        set("gauge-disagrees", factor > judgement.agree_within);
    }
    match judgement.verdict {
        Verdict::Consistent => {
            set("gauge-plausible", true);
            set("gauge-stuck-pirani-limit", false);
            set("gauge-stuck-decades-lower", false);
        }
        Verdict::StuckAtPiraniLimit => {
            set("gauge-stuck-pirani-limit", true);
            set("gauge-plausible", false);
        }
        Verdict::StuckDecadesLower => {
            set("gauge-stuck-decades-lower", true);
            set("gauge-plausible", false);
        }
        Verdict::NotLit => {
            set("gauge-not-lit", true);
            set("gauge-plausible", false);
        }
        Verdict::PiraniZeroOff => {
            set("gauge-zero-off", true);
            set("gauge-plausible", false);
        }
        // The sign of a zero is about the Pirani or convection side.
        Verdict::CapacitanceZeroOff => set("gauge-plausible", false),
        Verdict::GasDependent | Verdict::CannotTell => {}
    }
}

/// Ids of the checks in which a step is described.
fn checks(step: Step) -> &'static [&'static str] {
    match step {
        Step::TryWhetherItMoves => &["gate-valve-closed-test"],
        Step::SeeWhetherLit | Step::SwitchOn | Step::SeeThatItIsOff => {
            &["cathode-gauge-strike-check", "filament-gauge-check"]
        }
        Step::SecondGauge | Step::CompareWithoutGas => &["gauge-comparison"],
        Step::SetZero | Step::LookAtWire => &["gauge-zero-check"],
        Step::FindGas => &["residual-gas-scan", "gas-line-isolation-test"],
        Step::Clean => &["cathode-gauge-cleaning"],
    }
}

fn corrected(request: &Request, situation: &Situation) -> Vec<CorrectedReading> {
    let Some(gas) = request.gas else {
        return Vec::new();
    };
    request
        .readings
        .iter()
        .zip(&situation.readings)
        .map(|(typed, reading)| {
            let unit = typed.pressure.unit;
            let factor = correction(reading.kind, reading.pressure, gas);
            let is_pressure = reading.below_zero.is_none();
            CorrectedReading {
                kind: reading.kind,
                reading: typed.pressure,
                true_pressure: factor
                    .as_ref()
                    .ok()
                    .and_then(|factor| factor.apply(reading.pressure).ok())
                    .filter(|_| is_pressure)
                    .map(|pressure| Typed::new(pressure.in_unit(unit), unit)),
                spread: factor.as_ref().ok().map(|factor| factor.spread),
                basis: match factor {
                    Ok(factor) => factor.source.to_owned(),
                    Err(error) => {
                        let spoken = Spoken {
                            pressure: unit,
                            ..Spoken::SI
                        };
                        spoken.gauge(&error)
                    }
                },
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run_json(json: &str) -> Result<Report, Vec<FieldError>> {
        run(&serde_json::from_str(json).unwrap())
    }

    #[test]
    fn every_step_has_a_check_with_its_cautions() {
        for step in Step::ALL {
            let mut outcome = Outcome::default();
            outcome.suggest(checks(step));
            assert!(!outcome.next_checks.is_empty() && !outcome.cautions.is_empty());
        }
    }

    /// A combination head whose ion side is off stays at 5e-4 Torr or so (common practice, no source).
    #[test]
    fn a_stuck_combination_gauge_sets_its_sign() {
        let report = run_json(
            r#"{"readings": [{"kind": "combination-cold-cathode",
                "pressure": {"value": 5e-4, "unit": "torr"}, "moves": false}]}"#,
        )
        .unwrap();
        assert_eq!(report.finding, Verdict::StuckAtPiraniLimit);
        assert!(report.outcome.concluded && report.outcome.signs["gauge-stuck-pirani-limit"]);
        assert!(report.outcome.cautions.contains(&"high-voltage".to_owned()));
        assert_eq!(
            report.outcome.next_checks,
            [
                "cathode-gauge-strike-check",
                "gauge-comparison",
                "cathode-gauge-cleaning"
            ]
        );
        assert!(
            report.reason.contains("stays at 5.0e-4 Torr"),
            "{}",
            report.reason
        );
        let alone = run_json(
            r#"{"readings": [{"kind": "pirani", "pressure": {"value": 1e-2, "unit": "mbar"}}]}"#,
        )
        .unwrap();
        assert!(
            alone.next.iter().all(|step| !step.contains("filament")),
            "{:?}",
            alone.next
        );
    }

    #[test]
    fn what_cannot_be_told_sets_no_fault() {
        let report = run_json(
            r#"{"readings": [{"kind": "combination-cold-cathode",
                "pressure": {"value": 5e-4, "unit": "torr"}}]}"#,
        )
        .unwrap();
        assert!(!report.outcome.concluded && report.outcome.signs.is_empty());
        assert!(!report.next.is_empty());
    }

    /// Most Piranis rest at 5e-4 to 1e-3 mbar in high vacuum (common practice, no source): no sign of a fault.
    #[test]
    fn a_sound_chamber_sets_no_sign_of_a_fault() {
        let report = run_json(
            r#"{"readings": [
                {"kind": "pirani", "pressure": {"value": 5e-4, "unit": "mbar"}},
                {"kind": "cold-cathode", "pressure": {"value": 1e-6, "unit": "mbar"}, "lit": true, "moves": true}]}"#,
        )
        .unwrap();
        assert!(report.outcome.concluded && report.outcome.signs["gauge-plausible"]);
        assert!(!report.outcome.signs.contains_key("gauge-disagrees"));
        // A head that may be at its Pirani limit, beside a Pirani at its own: neither seen nor denied.
        let rest = run_json(
            r#"{"readings": [
                {"kind": "pirani", "pressure": {"value": 6e-4, "unit": "mbar"}},
                {"kind": "combination-cold-cathode", "pressure": {"value": 6e-4, "unit": "mbar"}}]}"#,
        )
        .unwrap();
        assert!(!rest.outcome.concluded && rest.outcome.signs.is_empty());
        // In a gas without a factor the difference as read is no sign; the table says why in the typed unit.
        let methanol = run_json(
            r#"{"gas": "methanol", "readings": [
                {"kind": "pirani", "pressure": {"value": 1e-2, "unit": "torr"}},
                {"kind": "capacitance", "pressure": {"value": 5e-2, "unit": "torr"}},
                {"kind": "pirani", "pressure": {"value": 1e-5, "unit": "torr"}}]}"#,
        )
        .unwrap();
        assert!(!methanol.outcome.signs.contains_key("gauge-disagrees"));
        let basis = &methanol.corrected[2].basis;
        assert!(basis.ends_with("Torr, not at 1e-5 Torr"), "{basis}");
    }

    /// Argon: an ion gauge shows 1.2 times the pressure (Summers, NASA TN D-5285, 1969).
    #[test]
    fn argon_reads_high_on_an_ion_gauge() {
        let report = run_json(
            r#"{"readings": [{"kind": "hot-filament", "moves": true,
                "pressure": {"value": 6e-6, "unit": "mbar"}}], "gas": "argon"}"#,
        )
        .unwrap();
        let corrected = report.corrected[0].true_pressure.unwrap();
        assert!((corrected.value / 5e-6 - 1.0).abs() < 1e-9, "{corrected}");
    }

    /// Gauges agree within a factor of three (common practice, no source).
    #[test]
    fn agreement_and_disagreement_are_signs() {
        let two = |left: f64, right: f64| {
            run_json(&format!(
                r#"{{"readings": [
                    {{"kind": "hot-filament", "pressure": {{"value": {left:e}, "unit": "torr"}}}},
                    {{"kind": "cold-cathode", "pressure": {{"value": {right:e}, "unit": "torr"}}}}]}}"#
            ))
            .unwrap()
        };
        let agree = two(5e-7, 4e-7);
        assert!(agree.outcome.signs["gauge-plausible"] && !agree.outcome.signs["gauge-disagrees"]);
        let differ = two(5e-7, 4e-6);
        assert!(differ.outcome.signs["gauge-disagrees"] && !differ.outcome.concluded);
    }

    /// No pressure is below zero, so a diaphragm that reads so has its zero off; within the least that it can measure it reads
    /// zero (common practice, no source). Other gauges do not read below zero, and are refused without contradiction.
    #[test]
    fn a_diaphragm_below_zero_has_its_zero_off() {
        let reads = |kind: &str, value: f64| {
            run_json(&format!(
                r#"{{"gas": "argon", "readings": [
                    {{"kind": "{kind}", "pressure": {{"value": {value:e}, "unit": "torr"}}}},
                    {{"kind": "cold-cathode", "pressure": {{"value": 5e-7, "unit": "torr"}}, "lit": true, "moves": true}}]}}"#
            ))
        };
        let off = reads("capacitance", -2e-4).unwrap();
        assert_eq!(off.finding, Verdict::CapacitanceZeroOff);
        assert!(off.outcome.concluded);
        assert!(
            off.reason.contains("2.0e-4 Torr below zero"),
            "{}",
            off.reason
        );
        assert!(off.next[0].contains("set its zero"), "{:?}", off.next);
        assert_eq!(off.outcome.next_checks, ["gauge-zero-check"]);
        assert!(off.corrected[0].true_pressure.is_none());
        let noise = reads("capacitance", -5e-5).unwrap();
        assert_eq!(noise.finding, Verdict::Consistent, "{}", noise.reason);
        let refused = &reads("pirani", -2e-4).unwrap_err()[0];
        assert!(
            refused.problem.contains("zero or more") && refused.accepted.contains("zero or more")
        );
    }

    #[test]
    fn what_cannot_be_taken_is_named() {
        let fields = |json: &str| -> Vec<String> {
            run_json(json)
                .unwrap_err()
                .into_iter()
                .map(|e| e.field)
                .collect()
        };
        assert_eq!(fields(r#"{"readings": []}"#), ["readings"]);
        assert_eq!(
            fields(
                r#"{"readings": [{"kind": "pirani", "pressure": {"value": -1, "unit": "torr"}}]}"#
            ),
            ["readings[0].pressure"]
        );
        assert!(serde_json::from_str::<Request>(r#"{"readings": [], "gass": "argon"}"#).is_err());
    }
}
