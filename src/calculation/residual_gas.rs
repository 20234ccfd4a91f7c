//! Residual gas: which gas is in the chamber, from a mass spectrum.

use serde::{Deserialize, Serialize};

use super::spoken::Spoken;
use super::{FieldError, FieldErrors, Outcome};
use crate::vacuum::residual_gas::{
    Air, Circumstances, Decomposition, Evidence, Judgement, LightGas, Patterns, Spectrum,
    decompose, judge, light_gas,
};
use crate::vacuum::units::{Typed, TypedPressure};

/// Above this total pressure (1e-4 mbar) peaks are no longer in proportion to pressure.
const HIGHEST_PRESSURE_PASCALS: f64 = 1e-2;
/// The longest spectrum in bytes: 100,000 points, where a fine scan of masses 1 to 300 has 30,000. Two of
/// them fit in a request that is kept with an incident.
pub const SPECTRUM_LIMIT: usize = 2 << 20;
/// More unexplained current than this share, and the shares are not given as a verdict.
const UNEXPLAINED: f64 = 0.3;
/// More than this, or a peak of its own that no gas explains, and what the patterns know of oils and solvents
/// is not all there may be: that none is there is not said (common practice, no source).
const DENIES: f64 = 0.1;
/// Below this mass a peak is a fragment of few atoms, which points to no oil or solvent.
const LIGHTEST_OF_OILS: u16 = 26;
/// A peak is one that no gas explains where it is more than this share of the highest and the fit less than
/// half of it (common practice, no source).
const FOREIGN: f64 = 0.02;
/// Masses that are named where no gas explains them.
const NAMED: usize = 6;
/// Fewer standing peaks than this say nothing.
const FEWEST_PEAKS: usize = 3;

/// A spectrum and what is known beside it.
#[derive(Clone, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Request {
    /// A table of mass and ion current, or a peak list such as `18:4e-9 28:2.1e-9`.
    pub spectrum: String,
    /// An earlier spectrum by the same analyser and settings, to see whether hydrogen or helium builds
    /// up.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub earlier: Option<String>,
    /// Total pressure while the spectrum was taken.
    pub total_pressure: Option<TypedPressure>,
    /// Argon is let in for the process, or was shortly before.
    #[serde(default)]
    pub argon_is_process_gas: bool,
    /// A pump is regenerating or was just regenerated.
    #[serde(default)]
    pub pump_is_regenerating: bool,
    /// Fixes the intervals; 0 unless given.
    #[serde(default)]
    pub seed: u64,
}

/// An estimate with its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Interval {
    /// Best estimate.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// One gas.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Gas {
    /// Id in the cracking patterns.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// Share of the total pressure, per cent.
    pub share_percent: Interval,
    /// Ion current of its highest peak, in the unit of the spectrum.
    pub ion_current: Interval,
}

/// What one gas gives to one mass.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PeakPart {
    /// Id of the gas.
    pub gas: String,
    /// Ion current, in the unit of the spectrum.
    pub ion_current: f64,
}

/// One mass for the plot and its table.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Peak {
    /// Mass number (mass over charge).
    pub mass: u16,
    /// Measured ion current, in the unit of the spectrum.
    pub measured: f64,
    /// Fitted ion current.
    pub fitted: f64,
    /// What each gas gives to it.
    pub parts: Vec<PeakPart>,
}

/// The answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Report {
    /// Verdict, assumptions, signs, next checks and cautions.
    #[serde(flatten)]
    pub outcome: Outcome,
    /// Why, one sentence each.
    pub reasons: Vec<String>,
    /// The gases, largest share first.
    pub gases: Vec<Gas>,
    /// The spectrum by mass.
    pub peaks: Vec<Peak>,
    /// Where the cracking patterns are from.
    pub patterns: String,
    /// Share of the ion current that no gas of the patterns explains, per cent.
    pub unexplained_percent: f64,
}

/// Computes the report. Errors: an unreadable spectrum, one longer than [`SPECTRUM_LIMIT`], or a total pressure that is no pressure or
/// above 1e-4 mbar (common practice, from memory), where a spectrum is refused.
pub fn run(request: &Request, patterns: &Patterns) -> Result<Report, Vec<FieldError>> {
    let mut errors = FieldErrors::new();
    if let Some(typed) = request.total_pressure {
        let pressure = errors.quantity("total_pressure", typed);
        if pressure.is_some_and(|pressure| pressure.pascals() > HIGHEST_PRESSURE_PASCALS) {
            errors.refuse(
                "total_pressure",
                format!("{typed} is too high for a spectrum: peaks are no longer in proportion to pressure"),
                format!("a spectrum taken at {} or less", highest(typed)),
            );
        }
    }
    let spectrum = read("spectrum", &request.spectrum, &mut errors);
    let earlier = request.earlier.as_deref();
    let earlier = earlier.and_then(|text| read("earlier", text, &mut errors));
    let fit = spectrum.as_ref().and_then(|spectrum| {
        errors.take(
            "spectrum",
            "masses 2 to 60, of which 14, 18, 28, 32, 40 and 44 at least",
            decompose(spectrum, patterns, request.seed),
        )
    });
    let own_total = spectrum
        .as_ref()
        .zip(fit.as_ref())
        .and_then(|(spectrum, fit)| own_total(spectrum, fit));
    if let (Some(own), None) = (own_total, request.total_pressure)
        && own
            .pressure()
            .is_ok_and(|own| own.pascals() > HIGHEST_PRESSURE_PASCALS)
    {
        errors.refuse(
            "spectrum",
            format!(
                "its partial pressures add up to {own}, too high for a spectrum: peaks are no longer in proportion to pressure"
            ),
            format!(
                "a spectrum taken at {} or less, or the total pressure if the analyser's own scale is not calibrated",
                highest(own)
            ),
        );
    }
    errors.finish()?;
    let (Some(spectrum), Some(fit)) = (spectrum, fit) else {
        return Err(Vec::new());
    };
    let mut judgement = judge(
        &spectrum,
        Circumstances {
            argon_is_process_gas: request.argon_is_process_gas,
            pump_is_regenerating: request.pump_is_regenerating,
        },
    );
    let mut gases: Vec<Gas> = fit
        .gases
        .iter()
        .map(|part| Gas {
            id: part.gas.clone(),
            name: part.name.clone(),
            share_percent: interval(part.share, 100.0),
            ion_current: interval(part.current, 1.0),
        })
        .collect();
    gases.sort_by(|a, b| b.share_percent.value.total_cmp(&a.share_percent.value));

    let explained = fit.unexplained <= UNEXPLAINED;
    let enough = judgement.standing >= FEWEST_PEAKS;
    let light = light_gas(earlier.as_ref(), &spectrum);
    let foreign = foreign(&spectrum, &fit, &judgement);
    if !explained {
        judgement.air = judgement.air.beside_unknown_gas(&foreign);
    }
    let mut outcome = Outcome {
        assumed: assumed(request, &spectrum, &judgement, &fit),
        ..Outcome::default()
    };
    if enough {
        let denies = fit.unexplained <= DENIES && !foreign.iter().any(of_oils);
        set_signs(
            &mut outcome,
            &judgement,
            request.argon_is_process_gas,
            denies,
        );
        if let Some(light) = light {
            let grows = light != LightGas::DoesNot;
            outcome.sign("residual-hydrogen-helium", grows);
        }
        suggest(&mut outcome, &judgement, light);
        if !explained {
            outcome.suggest(&["residual-gas-scan", "change-review"]);
        }
    }
    // Each sign is told by peaks of its own, whatever of the rest is not.
    let told = outcome.signs.values().any(|seen| *seen);
    outcome.concluded = enough && (told || judgement.air.air != Air::Undecided);
    outcome.verdict = verdict(
        &judgement,
        light,
        &gases,
        &foreign,
        request.argon_is_process_gas,
        (enough, explained, told),
    );
    Ok(Report {
        outcome,
        reasons: reasons(&judgement, fit.unexplained, &foreign),
        gases,
        peaks: fit
            .peaks
            .into_iter()
            .map(|peak| Peak {
                mass: peak.mass,
                measured: peak.measured,
                fitted: peak.fitted,
                parts: peak
                    .parts
                    .into_iter()
                    .map(|(gas, ion_current)| PeakPart { gas, ion_current })
                    .collect(),
            })
            .collect(),
        patterns: patterns.origin().to_owned(),
        unexplained_percent: 100.0 * fit.unexplained,
    })
}

/// The highest total pressure of a spectrum in the unit of this one.
fn highest(typed: TypedPressure) -> String {
    let spoken = Spoken {
        pressure: typed.unit,
        ..Spoken::SI
    };
    spoken.pressure(HIGHEST_PRESSURE_PASCALS)
}

/// Whether a mass may be that of an oil or solvent.
fn of_oils(mass: &u16) -> bool {
    *mass >= LIGHTEST_OF_OILS
}

/// Masses of peaks that no gas of the patterns explains, the highest first; 14 where it is as nitrogen may have it
/// by an analyser that weighs masses unlike is none of them.
fn foreign(spectrum: &Spectrum, fit: &Decomposition, judgement: &Judgement) -> Vec<u16> {
    let limit = (FOREIGN * spectrum.highest().1).max(spectrum.stands_from());
    let nitrogen = judgement.air.nitrogen.evidence == Evidence::For;
    let is_foreign = |peak: &&crate::vacuum::residual_gas::PeakFit| {
        peak.measured >= limit
            && peak.fitted < 0.5 * peak.measured
            && !(nitrogen && peak.mass == 14)
    };
    let mut peaks: Vec<_> = fit.peaks.iter().filter(is_foreign).collect();
    peaks.sort_by(|a, b| b.measured.total_cmp(&a.measured));
    peaks.iter().map(|peak| peak.mass).collect()
}

/// What the partial pressures of a spectrum add up to: those of the highest peaks of its gases.
fn own_total(spectrum: &Spectrum, fit: &Decomposition) -> Option<TypedPressure> {
    let total: f64 = fit.gases.iter().map(|part| part.current.value).sum();
    let rounded = format!("{total:.1e}").parse().unwrap_or(total);
    Some(Typed::new(rounded, spectrum.unit()?))
}

/// Reads the spectrum of a field.
fn read(field: &'static str, text: &str, errors: &mut FieldErrors) -> Option<Spectrum> {
    if text.len() > SPECTRUM_LIMIT {
        errors.refuse(
            field,
            format!("a spectrum of more than {:.2} MB", ((100 * text.len()) >> 20) as f64 / 100.0),
            format!(
                "up to {} MB, in which a fine scan of masses 1 to 300 fits many times: one scan alone",
                SPECTRUM_LIMIT >> 20
            ),
        );
        return None;
    }
    Spectrum::read(text)
        .map_err(|error| errors.refuse(field, error.to_string(), error.accepted))
        .ok()
}

fn interval(amount: crate::vacuum::residual_gas::Amount, factor: f64) -> Interval {
    Interval {
        value: factor * amount.value,
        low: factor * amount.low,
        high: factor * amount.high,
    }
}

fn verdict(
    judgement: &Judgement,
    light: Option<LightGas>,
    gases: &[Gas],
    foreign: &[u16],
    argon_is_process_gas: bool,
    (enough, explained, told): (bool, bool, bool),
) -> String {
    if !enough {
        return "No conclusion: fewer than three peaks stand above the noise.".into();
    }
    // What is told goes before what is not, and only a verdict that tells nothing is none.
    let is_open = judgement.air.air == Air::Undecided;
    let open = |what: &str, refused: &str| {
        if told {
            format!("{what} is not told")
        } else {
            format!("No conclusion about {refused}")
        }
    };
    let open_air = || open("Whether air is there", "air");
    let mut sentences = vec![match judgement.air.air {
        Air::Present => format!(
            "Air is in the chamber, by the peaks {} together.",
            masses(&judgement.air.deciding())
        ),
        Air::Absent if judgement.air.nitrogen_let_in => {
            "No air shows: 28 and 14 are nitrogen without the argon of air, as a gas line, a vent or a purge brings it."
                .to_owned()
        }
        Air::Absent if judgement.air.faint_at_28 => {
            "No air shows: mass 28 is less than a thousandth of the highest peak.".to_owned()
        }
        Air::Absent if judgement.air.stands_at_28 => {
            "No air shows: mass 28 is not in the company that air brings.".to_owned()
        }
        Air::Absent => {
            "No air shows: nothing stands at mass 28 but what carbon dioxide gives there."
                .to_owned()
        }
        Air::Undecided if judgement.air.given_back => {
            format!(
                "{}: a pump that regenerates gives back the air that it took; scan again once it is cold.",
                open_air()
            )
        }
        Air::Undecided => format!("{}: these peaks cannot tell.", open_air()),
    }];
    if !explained {
        let which = match foreign {
            [] => String::new(),
            _ => format!(" Of its peaks, {} by none of them.", stand(foreign)),
        };
        let advice = "See whether the mass scale is right, by water at 18 or argon at 40, and which gas, solvent or material is new here; then scan again, to mass 100 or more.";
        if is_open {
            sentences = vec![format!(
                "{}: the known gases do not explain this spectrum.{which} {advice}",
                open(
                    "Whether air is there and how much there is of each gas",
                    "air or shares"
                )
            )];
        } else {
            sentences.push(format!(
                "How much there is of each gas is not told: the known gases do not explain the rest of this spectrum.{which} {advice}"
            ));
        }
    } else if let Some(first) = gases.first() {
        let share = first.share_percent;
        sentences.push(format!(
            "Largest by pressure: {} with {:.0} % ({:.0} to {:.0} %).",
            first.name, share.value, share.low, share.high
        ));
    }
    let found = [
        (judgement.water, "Water is by far the highest peak."),
        (
            judgement.excess_at_17,
            "Mass 17 is more than water and methane give: ammonia or another gas is there.",
        ),
        (
            judgement.hydrocarbon,
            "There are hydrocarbons: oil, grease or fingerprints.",
        ),
        (
            judgement.isopropanol,
            "Masses 45 and 43 point to isopropanol.",
        ),
        (
            judgement.light_alcohol,
            "Mass 31 and its companions point to methanol or ethanol.",
        ),
        (judgement.acetone, "Masses 43 and 58 point to acetone."),
        (
            judgement.fluorinated_oil,
            "Mass 69 and its companions point to a fluorinated pump fluid.",
        ),
        (
            judgement.silicone_oil,
            "Masses 78 and 77 with 51 or 39 point to a silicone pump fluid.",
        ),
        (
            judgement.argon_highest,
            if argon_is_process_gas {
                "Argon is the highest peak."
            } else {
                "Argon is the highest peak: if it is let in for the process, or was shortly before, say so and calculate again; if not, see whether its line shuts."
            },
        ),
        (
            judgement.oxygen_highest,
            "Oxygen is the highest peak: let in for the process, or by a line that does not shut.",
        ),
        (judgement.helium, "Helium shows at mass 4."),
        (judgement.hydrogen_highest, "Hydrogen is the highest peak."),
    ];
    let mut found: Vec<String> = found
        .into_iter()
        .filter(|(answer, _)| *answer == Some(true))
        .map(|(_, sentence)| sentence.to_owned())
        .collect();
    if let Some(LightGas::BuildsUp { mass, times }) = light {
        found.push(format!(
            "{} builds up: mass {mass} grew at least {times:.1} times since the earlier spectrum.",
            if mass == 2 { "Hydrogen" } else { "Helium" }
        ));
    }
    let in_order = if is_open {
        [found, sentences]
    } else {
        [sentences, found]
    };
    in_order.concat().join(" ")
}

/// That these masses stand there.
fn stand(foreign: &[u16]) -> String {
    let named = &foreign[..foreign.len().min(NAMED)];
    match (foreign.len(), foreign.len().saturating_sub(NAMED)) {
        (1, _) => format!("mass {} is explained", named[0]),
        (_, 0) => format!("masses {} are explained", masses(named)),
        (_, more) => format!("masses {} and {more} more are explained", listed(named)),
    }
}

fn listed(masses: &[u16]) -> String {
    let masses: Vec<String> = masses.iter().map(u16::to_string).collect();
    masses.join(", ")
}

fn masses(masses: &[u16]) -> String {
    match masses {
        [all @ .., last] if !all.is_empty() => format!("{} and {last}", listed(all)),
        all => listed(all),
    }
}

fn reasons(judgement: &Judgement, unexplained: f64, foreign: &[u16]) -> Vec<String> {
    let air = &judgement.air;
    let mut reasons = vec![air.nitrogen.reason.clone()];
    for reason in [&air.oxygen.reason, &air.argon.reason] {
        if !reasons.contains(reason) {
            reasons.push(reason.clone());
        }
    }
    reasons.extend(air.monoxide.iter().map(|found| found.reason.clone()));
    reasons.extend(air.without_28.clone());
    reasons.push(format!(
        "{:.0} % of the ion current is left unexplained by the known gases.",
        100.0 * unexplained
    ));
    if !foreign.is_empty() {
        let oils = if foreign.iter().any(of_oils) {
            ", so an oil or solvent that is not among them may be there"
        } else {
            ""
        };
        reasons.push(format!(
            "Of the peaks, {} by none of them{oils}.",
            stand(foreign)
        ));
    }
    reasons
}

/// Sets the signs; `denies` if what is not seen of oils and solvents is not there.
fn set_signs(
    outcome: &mut Outcome,
    judgement: &Judgement,
    argon_is_process_gas: bool,
    denies: bool,
) {
    let solvent = match (judgement.isopropanol, judgement.acetone) {
        _ if judgement.light_alcohol == Some(true) => Some(true),
        (Some(true), _) | (_, Some(true)) => Some(true),
        (Some(false), Some(false)) => Some(false),
        _ => None,
    };
    let air = match judgement.air.air {
        Air::Present => Some(true),
        Air::Absent => Some(false),
        Air::Undecided => None,
    };
    let pump_fluid = match (judgement.silicone_oil, judgement.fluorinated_oil) {
        (Some(true), _) | (_, Some(true)) => Some(true),
        (Some(false), Some(false)) => Some(false),
        _ => None,
    };
    // Only argon is known here as a process gas, so the lack of an argon peak denies the sign
    // only where argon is the process gas.
    let process = judgement
        .argon_highest
        .filter(|&highest| highest || argon_is_process_gas);
    for (sign, answer) in [
        ("residual-air", air),
        ("residual-water", judgement.water),
        (
            "residual-hydrocarbon",
            judgement.hydrocarbon.filter(|seen| *seen || denies),
        ),
        ("residual-solvent", solvent.filter(|seen| *seen || denies)),
        (
            "residual-pump-fluid",
            pump_fluid.filter(|seen| *seen || denies),
        ),
        ("residual-process-gas", process),
    ] {
        if let Some(answer) = answer {
            outcome.sign(sign, answer);
        }
    }
}

/// Suggests the checks that what was found leads a person to.
fn suggest(outcome: &mut Outcome, judgement: &Judgement, light: Option<LightGas>) {
    let solvents = [
        judgement.isopropanol,
        judgement.light_alcohol,
        judgement.acetone,
    ];
    let solvent = solvents.contains(&Some(true));
    let fluid = judgement.fluorinated_oil == Some(true) || judgement.silicone_oil == Some(true);
    let light = judgement.helium == Some(true)
        || judgement.hydrogen_highest == Some(true)
        || matches!(light, Some(LightGas::BuildsUp { .. }));
    let checks: [(bool, &[&str]); 9] = [
        (
            judgement.air.air == Air::Present,
            &["pressure-rise-test", "helium-leak-test"],
        ),
        (
            judgement.air.air == Air::Undecided,
            &["residual-gas-scan", "pressure-rise-test"],
        ),
        (
            judgement.water == Some(true),
            &["cooling-water-off-test", "extended-pumping-or-bake"],
        ),
        (
            solvent || judgement.hydrocarbon == Some(true),
            &["change-review", "shields-and-deposit-inspection"],
        ),
        (
            fluid || judgement.hydrocarbon == Some(true),
            &["backing-pump-quick-look", "roughing-pump-test"],
        ),
        (
            judgement.argon_highest == Some(true),
            &["gas-line-isolation-test"],
        ),
        (
            judgement.air.nitrogen_let_in,
            &[
                "gas-line-isolation-test",
                "vent-valve-inspection",
                "purge-valve-inspection",
            ],
        ),
        (
            judgement.oxygen_highest == Some(true),
            &["gas-line-isolation-test"],
        ),
        (light, &["cryo-temperature-watch", "turbo-health-check"]),
    ];
    for (found, checks) in checks {
        if found {
            outcome.suggest(checks);
        }
    }
}

fn assumed(
    request: &Request,
    spectrum: &Spectrum,
    judgement: &Judgement,
    fit: &Decomposition,
) -> Vec<String> {
    let (own_total, untried) = (own_total(spectrum, fit), &fit.untried);
    let mut assumed = vec![
        "Peak heights of the cracking patterns are good to 30 % or the spread in their row; ion currents to 5 %; sensitivities to 20 %, of hydrogen and helium to a factor of four.".to_owned(),
        "Sensitivities are ionisation-gauge factors, not this analyser's own calibration.".to_owned(),
    ];
    match (request.total_pressure, own_total) {
        (Some(_), _) => {}
        (None, Some(own)) => assumed.push(format!(
            "Total pressure not given: by the spectrum's own scale {own}; above 1e-4 mbar a spectrum does not hold."
        )),
        (None, None) => assumed.push("Total pressure not given: taken to be at most 1e-4 mbar; above that the spectrum does not hold.".into()),
    }
    if !request.argon_is_process_gas {
        assumed.push("Argon is not a process gas.".into());
    }
    if judgement.air.air == Air::Present && judgement.air.monoxide.is_some() {
        assumed.push("Nitrogen let in holds no argon; some that is made on site from air does, and looks like air whose oxygen was eaten.".into());
    }
    if !request.pump_is_regenerating {
        assumed.push("No pump is regenerating.".into());
    }
    let missing: Vec<String> = [14, 18, 28, 32, 40, 44]
        .into_iter()
        .filter(|&mass| spectrum.at(mass).is_none())
        .map(|mass| mass.to_string())
        .collect();
    if !missing.is_empty() {
        assumed.push(format!(
            "Masses {} are not in the spectrum; nothing is concluded from them.",
            missing.join(", ")
        ));
    }
    if !untried.is_empty() {
        assumed.push(format!(
            "Not tried, as their highest peak was not measured: {}.",
            untried.join(", ")
        ));
    }
    assumed.extend(spectrum.notes().iter().cloned());
    assumed
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vacuum::units::PressureUnit;

    /// Air with water: 28 to 32 as 78.084 to 20.9476 (U.S. Standard Atmosphere), 40 as 0.934 ionised 1.2 times as
    /// well (Summers, NASA TN D-5285), 14 at 7 % of 28 (typical quadrupole, from memory of O'Hanlon).
    const AIR: &str = "12:1e-12 14:5.5e-10 16:4e-10 17:4e-10 18:2e-9 20:1.3e-11 28:7.8e-9 32:2.1e-9 40:1.1e-10 44:3e-11 \
                       43:0 45:0 58:0 41:0 55:0 57:0 39:0";

    fn asked(spectrum: &str) -> Request {
        Request {
            spectrum: spectrum.into(),
            earlier: None,
            total_pressure: Some(TypedPressure::new(3e-6, PressureUnit::Torr)),
            argon_is_process_gas: false,
            pump_is_regenerating: false,
            seed: 0,
        }
    }

    fn patterns() -> Patterns {
        crate::catalogue::source::built_in_patterns().expect("shipped patterns")
    }

    #[test]
    fn air_is_concluded_with_its_signs_and_reasons() {
        let report = run(&asked(AIR), &patterns()).unwrap();
        assert!(report.outcome.concluded, "{report:?}");
        assert!(report.outcome.verdict.starts_with("Air is in the chamber"));
        assert_eq!(report.outcome.signs.get("residual-air"), Some(&true));
        assert_eq!(report.outcome.signs.get("residual-solvent"), Some(&false));
        assert_eq!(
            report.outcome.signs.get("residual-hydrocarbon"),
            Some(&false)
        );
        assert_eq!(
            report.outcome.next_checks,
            ["pressure-rise-test", "helium-leak-test"]
        );
        assert_eq!(report.gases[0].id, "nitrogen");
        for peak in &report.peaks {
            let sum: f64 = peak.parts.iter().map(|part| part.ion_current).sum();
            assert!((sum - peak.fitted).abs() <= 1e-9 * peak.fitted.max(1e-30));
        }
    }

    /// 14 at 13.8 % of 28 is nitrogen's own (NIST, 70 eV, from memory), and 12 of dioxide no oil.
    #[test]
    fn fragments_of_few_atoms_point_to_no_oil() {
        let heavy = AIR.replace("14:5.5e-10", "14:1.2e-9");
        let report = run(&asked(&heavy), &patterns()).unwrap();
        assert!(report.outcome.concluded, "{report:?}");
        let oils = |report: &Report| report.reasons.iter().any(|r| r.contains("oil or solvent"));
        assert!(!oils(&report), "{:?}", report.reasons);
        assert_eq!(
            report.outcome.signs.get("residual-hydrocarbon"),
            Some(&false)
        );
        let foreign = AIR.replace("58:0", "58:9e-10");
        assert!(oils(&run(&asked(&foreign), &patterns()).unwrap()));
    }

    /// Krypton and water: nothing at 28 and 32 but the noise.
    #[test]
    fn what_is_in_the_noise_has_no_ratio() {
        let report = run(
            &asked("2:1e-9 12:1e-14 14:1e-14 16:3e-10 17:4.6e-10 18:2e-9 28:2e-14 32:2e-14 40:1e-14 44:1e-14 84:1e-9 86:3e-10 82:2e-10"),
            &patterns(),
        )
        .unwrap();
        assert!(
            !report.reasons.iter().any(|r| r.contains("more oxygen")),
            "{:?}",
            report.reasons
        );
        assert!(
            report.outcome.verdict.contains("No air shows"),
            "{report:?}"
        );
    }

    /// A regenerating pump gives back what it took of air as well as the argon (common practice, no source).
    #[test]
    fn no_leak_is_concluded_from_what_a_pump_gives_back() {
        let mut request = asked(AIR);
        request.pump_is_regenerating = true;
        let report = run(&request, &patterns()).unwrap();
        assert!(!report.outcome.concluded, "{report:?}");
        assert!(
            report
                .outcome
                .verdict
                .contains("scan again once it is cold")
        );
        assert_eq!(report.outcome.signs.get("residual-air"), None);
        let checks = &report.outcome.next_checks;
        assert!(
            !checks.contains(&"helium-leak-test".to_owned()),
            "{checks:?}"
        );
    }

    /// Nitrogen without the argon and oxygen of air comes from a line, a vent or a purge (common practice, no source).
    #[test]
    fn nitrogen_let_in_is_named_and_leads_to_its_valves() {
        let report = run(
            &asked("2:2e-10 12:1e-13 14:7e-10 16:2e-11 17:4.6e-10 18:2e-9 28:1e-8 29:7.5e-11 32:1e-14 40:1e-14 44:1e-14"),
            &patterns(),
        )
        .unwrap();
        assert!(
            report
                .outcome
                .verdict
                .contains("nitrogen without the argon"),
            "{report:?}"
        );
        assert_eq!(report.outcome.signs.get("residual-air"), Some(&false));
        let checks = &report.outcome.next_checks;
        assert!(
            checks.contains(&"vent-valve-inspection".to_owned()),
            "{checks:?}"
        );
    }

    /// A quadrupole passing masses as their inverse shows a seventh of the pressure as half and more (common
    /// practice, no source): the interval holds the true share.
    #[test]
    fn shares_of_light_gases_allow_for_mass_discrimination() {
        let report = run(
            &asked("2:1.2e-9 12:2e-12 14:2e-11 16:1e-11 17:4.6e-10 18:2e-9 28:1.2e-10 32:1e-13 40:1e-13 44:1e-12"),
            &patterns(),
        )
        .unwrap();
        let hydrogen = report
            .gases
            .iter()
            .find(|gas| gas.id == "hydrogen")
            .expect("hydrogen");
        let share = hydrogen.share_percent;
        assert!(share.high > 2.0 * share.low && share.low > 0.0, "{share:?}");
    }

    /// Marker masses of pump fluids, from memory.
    #[test]
    fn a_pump_fluid_sets_its_sign_and_sends_to_the_pumps() {
        let silicone = "78:1e-9 77:7e-10 51:4e-10 39:2.5e-10";
        let fluorinated = "69:1e-9 31:2.5e-10 47:2e-10 50:1.5e-10 119:1e-10";
        for (fluid, sign, gas) in [
            (silicone.to_owned(), Some(true), "silicone-oil"),
            (fluorinated.to_owned(), Some(true), "fluorinated-oil"),
            (
                "69:0 31:0 47:0 50:0 119:0 78:0 77:0 51:0 39:0".to_owned(),
                Some(false),
                "",
            ),
            (String::new(), None, ""),
        ] {
            let plain = "14:1e-12 17:4.6e-10 18:2e-9 28:1e-11 32:1e-13 40:1e-13 41:0 43:0 44:1e-11 55:0 57:0";
            let report = run(&asked(&format!("{plain} {fluid}")), &patterns()).unwrap();
            assert_eq!(
                report.outcome.signs.get("residual-pump-fluid").copied(),
                sign
            );
            let found = sign == Some(true);
            assert_eq!(report.outcome.verdict.contains("pump fluid."), found);
            let looked_at = "backing-pump-quick-look".to_owned();
            assert_eq!(report.outcome.next_checks.contains(&looked_at), found);
            if found {
                let share = report.gases.iter().find(|part| part.id == gas).unwrap();
                assert!(share.ion_current.value > 5e-10, "{share:?}");
            }
        }
    }

    /// Water and another gas, of which these are the peaks beside it; other masses that show nothing.
    fn in_water(gas: &[(u16, f64)]) -> String {
        let water = [(18, 100.0), (17, 23.0), (16, 1.5), (2, 3.0)];
        let empty = [
            4, 5, 6, 7, 12, 14, 15, 28, 29, 31, 32, 39, 40, 41, 43, 44, 45, 47, 51, 55, 57, 58, 69,
            71, 77, 78, 119,
        ];
        let masses: std::collections::BTreeSet<u16> = water
            .iter()
            .chain(gas)
            .map(|(mass, _)| *mass)
            .chain(empty)
            .collect();
        let height = |mass: u16| {
            let of = |(at, height): &(u16, f64)| if *at == mass { *height } else { 0.0 };
            1e-3 + water.iter().map(of).sum::<f64>() + 0.3 * gas.iter().map(of).sum::<f64>()
        };
        let rows = masses
            .into_iter()
            .map(|mass| format!("{mass}\t{:e}\n", 1e-11 * height(mass)));
        rows.collect()
    }

    /// Peaks of toluene, trichloroethylene and dichloromethane, of a methyl silicone grease and of CF4 by
    /// electrons of 70 eV, all from memory: the first four are in no pattern here.
    #[test]
    fn what_the_patterns_do_not_know_is_not_denied() {
        let toluene = [
            (91, 100.0),
            (92, 60.0),
            (65, 12.0),
            (39, 12.0),
            (63, 8.0),
            (51, 6.0),
            (50, 5.0),
        ];
        let chlorinated = [
            (95, 100.0),
            (130, 90.0),
            (132, 85.0),
            (60, 60.0),
            (97, 64.0),
            (35, 40.0),
        ];
        let paint_stripper = [
            (49, 100.0),
            (84, 65.0),
            (86, 42.0),
            (51, 31.0),
            (47, 14.0),
            (35, 10.0),
        ];
        let grease = [
            (73, 100.0),
            (147, 40.0),
            (45, 20.0),
            (59, 12.0),
            (43, 12.0),
            (29, 10.0),
            (27, 8.0),
        ];
        let tetrafluoromethane = [(69, 100.0), (50, 12.0), (19, 7.0), (31, 5.0)];
        for (gas, mass) in [
            (&toluene[..], "91"),
            (&chlorinated, "95"),
            (&paint_stripper, "49"),
            (&grease, "73"),
        ] {
            let report = run(&asked(&in_water(gas)), &patterns()).unwrap();
            for sign in [
                "residual-solvent",
                "residual-pump-fluid",
                "residual-hydrocarbon",
            ] {
                assert_eq!(report.outcome.signs.get(sign), None, "{sign} of {mass}");
            }
            let said = report.reasons.last().unwrap();
            assert!(
                said.contains(&format!("mass {mass}")) || said.contains(&format!("masses {mass}")),
                "{said}"
            );
        }
        let process = run(&asked(&in_water(&tetrafluoromethane)), &patterns()).unwrap();
        assert_ne!(
            process.outcome.signs.get("residual-pump-fluid"),
            Some(&true)
        );
        // Water alone, every mass measured: then they are denied.
        let water = run(&asked(&in_water(&[])), &patterns()).unwrap();
        assert_eq!(water.outcome.signs.get("residual-solvent"), Some(&false));
    }

    /// Peaks of carbon dioxide as in the catalogue; argon as a process gas says nothing of air.
    #[test]
    fn sentences_name_the_peaks_that_decide() {
        let declared = run(
            &Request {
                argon_is_process_gas: true,
                ..asked(AIR)
            },
            &patterns(),
        )
        .unwrap();
        assert!(
            declared
                .outcome
                .verdict
                .starts_with("Air is in the chamber, by the peaks 28, 14 and 32 together."),
            "{}",
            declared.outcome.verdict
        );
        let dioxide =
            "12:8.7e-11 14:1e-13 16:9e-11 18:2e-11 28:1.1e-10 32:1e-13 40:1e-13 44:1e-9 45:1.2e-11";
        let none = run(&asked(dioxide), &patterns()).unwrap();
        assert!(
            none.outcome
                .verdict
                .starts_with("No air shows: nothing stands at mass 28 but"),
            "{}",
            none.outcome.verdict
        );
        let methane = "12:3e-12 13:8e-11 14:2.6e-10 15:8.6e-10 16:1e-9 18:2e-11 28:1e-9 32:1e-13 40:1e-13 44:1e-13";
        let less = run(&asked(methane), &patterns()).unwrap();
        assert!(
            less.reasons[0].starts_with("14 (less the share of the gases at 15) is"),
            "{}",
            less.reasons[0]
        );
        // Methane alone gives 12 and 17 (70 eV, the table that the catalogue names), so neither is another gas.
        let much = "12:3.8e-10 13:1.07e-9 14:2.04e-9 15:8.9e-9 16:1e-8 17:1.64e-10 18:1e-10 28:1e-11 32:1e-13 40:1e-13 44:1e-13";
        let much = run(&asked(much), &patterns()).unwrap();
        let verdict = &much.outcome.verdict;
        assert!(!verdict.contains("Mass 17"), "{verdict}");
        let reasons = much.reasons.join(" ");
        assert!(!reasons.contains("explained by none"), "{reasons}");
    }

    /// A cryopump whose charcoal is full gives hydrogen and helium back first; grown by half counts (common
    /// practice, no source).
    #[test]
    fn hydrogen_or_helium_builds_up_between_two_spectra() {
        let rest = "14:1e-12 28:1e-11 32:1e-13 40:1e-13 44:1e-11";
        let now = |light: &str, earlier: Option<&str>| {
            let mut request = asked(&format!("{rest} 17:4.6e-10 18:2e-9 {light}"));
            request.earlier = earlier.map(|light| format!("{rest} 17:9e-10 18:4e-9 {light}"));
            run(&request, &patterns()).unwrap().outcome
        };
        let sign = |outcome: &Outcome| outcome.signs.get("residual-hydrogen-helium").copied();
        let grown = now("2:9e-11 4:1e-13", Some("2:3e-11 4:1e-13"));
        assert_eq!(sign(&grown), Some(true));
        assert!(
            grown
                .verdict
                .contains("Hydrogen builds up: mass 2 grew at least 3.0 times"),
            "{}",
            grown.verdict
        );
        assert!(
            grown
                .next_checks
                .contains(&"cryo-temperature-watch".to_owned())
        );
        // As high as before while water fell; grown by a little; with nothing to hold it against.
        assert_eq!(sign(&now("2:9e-11 4:0", Some("2:9e-11 4:0"))), Some(false));
        assert_eq!(sign(&now("2:1.2e-10 4:0", Some("2:9e-11 4:0"))), None);
        assert_eq!(sign(&now("2:9e-11 4:0", None)), None);
        // Not above the noise at either mass, nothing builds up.
        assert_eq!(sign(&now("2:0 4:0", None)), Some(false));
        assert_eq!(sign(&now("4:0", None)), None);
        let mut request = asked(AIR);
        request.earlier = Some("nothing".to_owned());
        assert_eq!(run(&request, &patterns()).unwrap_err()[0].field, "earlier");
    }

    /// Up to 1e-4 mbar peaks are in proportion to pressure (common practice, no source).
    #[test]
    fn a_pressure_too_high_is_refused_and_the_limit_is_not() {
        let mut request = asked(AIR);
        request.total_pressure = Some(TypedPressure::new(1.01e-4, PressureUnit::Millibar));
        let errors = run(&request, &patterns()).unwrap_err();
        assert_eq!(errors[0].field, "total_pressure");
        request.total_pressure = Some(TypedPressure::new(0.99e-4, PressureUnit::Millibar));
        assert!(run(&request, &patterns()).is_ok());
    }

    /// 1e-3 Torr at 28 alone is 13 times 1e-4 mbar (1 Torr = 1.333224 mbar).
    #[test]
    fn partial_pressures_that_add_up_to_too_much_are_refused() {
        let table = |heading: &str, scale: f64| {
            let rows = [
                (18, 1e-4),
                (17, 2.3e-5),
                (28, 1e-3),
                (32, 2.3e-4),
                (40, 1.2e-5),
                (14, 7e-5),
                (44, 5e-7),
                (16, 2.6e-5),
                (2, 1e-6),
            ];
            let rows = rows.map(|(mass, height)| format!("{mass},{:e}\n", height * scale));
            format!("{heading}\n{}", rows.concat())
        };
        let run_it = |spectrum: &str, total: Option<f64>| {
            let mut request = asked(spectrum);
            request.total_pressure =
                total.map(|mbar| TypedPressure::new(mbar, PressureUnit::Millibar));
            run(&request, &patterns())
        };
        let refused = run_it(&table("mass,pressure (Torr)", 1.0), None).unwrap_err();
        assert_eq!(refused[0].field, "spectrum");
        assert!(
            refused[0].problem.contains("Torr, too high"),
            "{}",
            refused[0].problem
        );
        // A thousandth of it, and the same figures as currents, hold; and an uncalibrated scale beside a gauge.
        let low = run_it(&table("mass,pressure (Torr)", 1e-3), None).unwrap();
        let said = |line: &String| line.contains("own scale 1.") && line.contains("e-6 Torr");
        assert!(
            low.outcome.assumed.iter().any(said),
            "{:?}",
            low.outcome.assumed
        );
        assert!(run_it(&table("mass,ion current (A)", 1.0), None).is_ok());
        let picoamperes = run_it(&table("mass,ion current (pA)", 1e6), None).unwrap();
        let own_scale = |line: &String| line.contains("own scale");
        assert!(!picoamperes.outcome.assumed.iter().any(own_scale));
        assert!(run_it(&table("mass,pressure (Torr)", 1.0), Some(3e-6)).is_ok());
        // Units behind each figure.
        let behind = "18:1e-4mbar 28:1e-3mbar 32:2e-4mbar 14:7e-5mbar";
        assert_eq!(run_it(behind, None).unwrap_err()[0].field, "spectrum");
    }

    #[test]
    fn what_cannot_be_told_is_not_concluded() {
        let without_argon =
            run(&asked("14:5e-10 18:2e-9 28:7.8e-9 32:2.1e-9"), &patterns()).unwrap();
        assert!(!without_argon.outcome.concluded);
        assert!(!without_argon.outcome.signs.contains_key("residual-air"));
        assert!(
            without_argon
                .outcome
                .assumed
                .iter()
                .any(|line| line.contains("40, 44"))
        );
        let two = run(&asked("18:2e-9 28:7.8e-9"), &patterns()).unwrap();
        assert!(!two.outcome.concluded && two.outcome.signs.is_empty());
        let unknown = run(
            &asked("18:1e-10 28:1e-10 32:1e-11 40:1e-13 14:1e-12 93:9e-9 95:8e-9"),
            &patterns(),
        )
        .unwrap();
        assert!(!unknown.outcome.concluded && unknown.unexplained_percent > 30.0);
        // What is not explained is named first, with what to do about it.
        let verdict = &unknown.outcome.verdict;
        assert!(
            verdict.starts_with("No conclusion about air or shares")
                && verdict.contains("masses 93 and 95"),
            "{verdict}"
        );
        for check in ["residual-gas-scan", "change-review"] {
            assert!(unknown.outcome.next_checks.iter().any(|next| next == check));
        }
    }

    /// What the verdict, `concluded` and the signs say of air agree, whatever is unexplained: air by all its peaks stands beside
    /// krypton (84 to 82 as its isotopes, from memory), nitrogen beside an oil that no argon is shown with does not.
    #[test]
    fn a_refusal_sets_no_sign_of_air() {
        let krypton = format!("{AIR} 84:5.7e-9 86:1.7e-9 82:1.2e-9 83:1.2e-9");
        let beside = run(&asked(&krypton), &patterns()).unwrap();
        assert!(
            beside.unexplained_percent > 30.0,
            "{}",
            beside.unexplained_percent
        );
        let outcome = &beside.outcome;
        assert!(outcome.concluded && outcome.signs["residual-air"]);
        assert!(
            outcome
                .verdict
                .starts_with("Air is in the chamber, by the peaks 28, 14, 32 and 40 together.")
                && outcome.verdict.contains("masses 84")
                && !outcome.verdict.contains("No conclusion"),
            "{}",
            outcome.verdict
        );
        // Without oxygen the unknown gas may have a part of the few peaks that are left.
        let eaten = krypton.replace("32:2.1e-9", "32:1e-13");
        let refused = run(&asked(&eaten), &patterns()).unwrap().outcome;
        assert!(!refused.concluded, "{}", refused.verdict);
        assert!(
            refused.signs.values().all(|seen| !seen),
            "{:?}",
            refused.signs
        );
        assert!(!refused.signs.contains_key("residual-air"));
        assert!(
            refused
                .verdict
                .starts_with("No conclusion about air or shares")
                && !refused.verdict.contains("Air is in"),
            "{}",
            refused.verdict
        );
        assert!(!refused.next_checks.contains(&"helium-leak-test".to_owned()));
        // What other peaks tell beside it is concluded, and said first.
        let oil = "39:6e-10 41:2.7e-9 43:3e-9 55:1.8e-9 57:2.2e-9 69:9e-10 71:7e-10";
        let beside = "14:7.2e-10 17:4.6e-10 18:2e-9 28:8e-9 32:2e-12 40:9e-11 44:1e-10";
        for unknown in ["", "84:9e-9 91:5e-9"] {
            let report = run(&asked(&format!("{beside} {oil} {unknown}")), &patterns()).unwrap();
            let outcome = &report.outcome;
            assert!(outcome.concluded && outcome.signs["residual-hydrocarbon"]);
            assert!(!outcome.signs.contains_key("residual-air"));
            assert!(
                outcome.verdict.starts_with("There are hydrocarbons")
                    && outcome.verdict.contains("Whether air is there")
                    && !outcome.verdict.contains("No conclusion"),
                "{}",
                outcome.verdict
            );
        }
    }

    /// Argon far above its share of air (0.934 %, U.S. Standard Atmosphere) has another source.
    #[test]
    fn argon_that_nobody_spoke_of_is_asked_for() {
        let argon = AIR
            .replace("40:1.1e-10", "40:9e-8")
            .replace("20:1.3e-11", "20:1e-8");
        let asks = "say so and calculate again";
        let undeclared = run(&asked(&argon), &patterns()).unwrap();
        assert!(undeclared.outcome.verdict.contains(asks), "{undeclared:?}");
        let declared = Request {
            argon_is_process_gas: true,
            ..asked(&argon)
        };
        let declared = run(&declared, &patterns()).unwrap();
        assert!(!declared.outcome.verdict.contains(asks), "{declared:?}");
        // Not the highest peak, but more than air has.
        let some = AIR
            .replace("40:1.1e-10", "40:1.1e-9")
            .replace("20:1.3e-11", "20:1.3e-10");
        let some = run(&asked(&some), &patterns()).unwrap();
        assert!(some.reasons.iter().any(|reason| reason.contains(asks)));
    }

    #[test]
    fn an_unreadable_spectrum_names_its_field_and_line() {
        let errors = run(&asked("18:2e-9 28"), &patterns()).unwrap_err();
        assert_eq!(errors[0].field, "spectrum");
        assert!(errors[0].problem.starts_with("line 1"));
    }
}
