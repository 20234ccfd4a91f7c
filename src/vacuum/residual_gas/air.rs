//! Is it air? Judged from the peaks 28, 14, 32 and 40 together.
//!
//! Mass 28 alone proves nothing: nitrogen and carbon monoxide share it. A hot filament or a getter
//! eats oxygen, so its absence does not clear air. Argon is neither eaten nor given off by walls,
//! so mass 40 decides, unless argon is let in for the process or a pump gives it back.

use super::spectrum::Spectrum;
use crate::vacuum::units::to_figures;

/// Air gives 28 : 40 of 100 : 1.0 to 1.5 (from memory: O'Hanlon, Umrath); widened for mass discrimination.
const ARGON_IN_AIR: (f64, f64) = (0.006, 0.025);
/// Nitrogen gives 14 : 28 of 0.05 to 0.14, carbon monoxide about 0.006 (same sources); widened.
const NITROGEN_14: (f64, f64) = (0.04, 0.2);
/// Below this, most of mass 28 is carbon monoxide.
const MONOXIDE_14: f64 = 0.02;
/// Air gives 28 : 32 of 3.7 to 5 (same sources); widened for mass discrimination.
const OXYGEN_28: (f64, f64) = (2.5, 8.0);
/// Air gives 32 : 40 of 18.7, by 20.9476 and 0.934 % (U.S. Standard Atmosphere) and argon ionised 1.2 times
/// as well (Summers, NASA TN D-5285); widened for mass discrimination.
const OXYGEN_32_TO_40: (f64, f64) = (9.0, 40.0);
/// Air gives 40 : 14 of 0.10 to 0.20, by the same and 14 : 28 of nitrogen of 0.07 to 0.14; widened.
const ARGON_40_TO_14: (f64, f64) = (0.05, 0.45);
/// More at 14 beside 28 than carbon monoxide gives (about 0.006), twice over.
const NOT_MONOXIDE_14: f64 = 0.012;
/// Ion current at 12 for 1 at 28 from carbon monoxide, and for 1 at 44 from dioxide (patterns of the
/// catalogue), and the share of 28 up to which monoxide at 12 is next to none: with patterns good to 30 %,
/// half of 28 shows as less than this once in a thousand.
const MONOXIDE_AT_12: f64 = 0.045;
const DIOXIDE_AT_12: f64 = 0.06;
const LITTLE_MONOXIDE: f64 = 0.2;
/// Ion current at 28 for 1 at 44 from carbon dioxide, and at 14 and 12 for 1 at 15 from methane (0.230 and 0.043 by
/// electrons of 70 eV, from where the catalogue has its row).
const DIOXIDE_AT_28: f64 = 0.11;
const METHANE_14_TO_15: f64 = 0.24;
const METHANE_12_TO_15: f64 = 0.043;
/// How well such a share is known, as that of the patterns' heights (common practice, no source).
const SHARE_SPREAD: f64 = 0.3;
/// Ion current at 15 for 1 at 16 from methane (from where the catalogue has its row), and at 16 from 1 of water at 18,
/// oxygen at 32 and carbon dioxide at 44 (patterns of the catalogue).
const METHANE_15_TO_16: f64 = 0.89;
const AT_16: [(u16, f64); 3] = [(18, 0.015), (32, 0.11), (44, 0.085)];
/// Ion current at 14 for 1 at 15 from what is no methane, and the most of it: acetone has 0.13 and 0.19 (MassBank JP007680
/// and JP006441), methanol 0.14 (the table that the catalogue names); isopropanol and oils little, from memory.
const OTHERS_14_TO_15: f64 = 0.15;
const MOST_OTHERS_14_TO_15: f64 = 0.3;
/// Ion current at 40 (C3H4) for 1 at 39, at 41 or at 43 from hydrocarbons, the nearest that was measured: hexane and decane
/// have 40 at 0.15 of 39, at 0.05 of 41 and at 0.02 to 0.05 of 43 (70 eV, from memory), toluene and the rings of an
/// oil half as much and more, as the spread has it.
const HYDROCARBON_AT_40: [(u16, f64); 3] = [(39, 0.15), (41, 0.05), (43, 0.03)];
const HYDROCARBON_SPREAD: f64 = 0.6;

/// Less at 28 than this share of the highest peak is no air worth naming (common practice, no source).
const FAINT: f64 = 1e-3;

/// Masses of argon: its isotopes 36, 38 and 40, and 40 with two charges.
const ARGON: [u16; 4] = [20, 36, 38, 40];

/// What one peak says about air.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Evidence {
    /// In the proportion of air.
    For,
    /// Not in the proportion of air, and nothing else explains it.
    Against,
    /// Could be either.
    Open,
    /// The mass was not measured, or nothing can be read from it here.
    Silent,
}

/// One peak's evidence with its reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// What it says.
    pub evidence: Evidence,
    /// Why, in a sentence.
    pub reason: String,
}

/// The answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Air {
    /// Air is there.
    Present,
    /// What is at mass 28 is not air.
    Absent,
    /// These peaks cannot tell.
    Undecided,
}

/// The air test of one spectrum.
#[derive(Clone, Debug, PartialEq)]
pub struct AirTest {
    /// The answer.
    pub air: Air,
    /// Nitrogen by mass 14 against 28.
    pub nitrogen: Finding,
    /// Oxygen by mass 32 against 28.
    pub oxygen: Finding,
    /// Argon by mass 40 against 28.
    pub argon: Finding,
    /// Whether more than the share of carbon dioxide stands at mass 28.
    pub stands_at_28: bool,
    /// Whether so little stands there that nothing can be read from its companions, and no air is worth naming.
    pub faint_at_28: bool,
    /// Whether 28 is nitrogen without the argon of air, as a gas line, a vent or a purge brings it.
    pub nitrogen_let_in: bool,
    /// Whether the peaks are those of air, which a regenerating pump gives back.
    pub given_back: bool,
    /// What 14, 32 and 40 say of air without 28, where only they decide.
    pub without_28: Option<String>,
    /// What 12 says of carbon monoxide, where 14 and 40 are as in air but oxygen is missing.
    pub monoxide: Option<Finding>,
}

impl AirTest {
    /// What of the answer holds where the known gases do not explain the spectrum, `unexplained` the masses that
    /// stand out.
    ///
    /// A gas that no pattern knows may have a part of any of these peaks, so only all of them together in the
    /// proportions of air still show air: no gas imitates that, unless one of them is itself unexplained. As it takes
    /// nothing away either, that next to nothing stands at 28 still clears air.
    pub fn beside_unknown_gas(self, unexplained: &[u16]) -> Self {
        let judged = [14, 28, 32, 40];
        let company = [&self.nitrogen, &self.oxygen, &self.argon];
        let all = company.iter().all(|found| found.evidence == Evidence::For);
        let stands = self.air == Air::Present
            && (all || self.without_28.is_some())
            && !judged.iter().any(|mass| unexplained.contains(mass));
        let nothing_at_28 = self.air == Air::Absent && (!self.stands_at_28 || self.faint_at_28);
        if stands || nothing_at_28 {
            return self;
        }
        Self {
            air: Air::Undecided,
            nitrogen_let_in: false,
            faint_at_28: false,
            without_28: None,
            monoxide: None,
            ..self
        }
    }

    /// The peaks that say that air is there.
    pub fn deciding(&self) -> Vec<u16> {
        if self.without_28.is_some() {
            return vec![14, 32, 40];
        }
        let companions = [(&self.nitrogen, 14), (&self.oxygen, 32), (&self.argon, 40)];
        let say = companions
            .into_iter()
            .filter(|(found, _)| found.evidence == Evidence::For);
        std::iter::once(28)
            .chain(say.map(|(_, mass)| mass))
            .collect()
    }
}

fn finding(evidence: Evidence, reason: impl Into<String>) -> Finding {
    Finding {
        evidence,
        reason: reason.into(),
    }
}

/// Tests `spectrum` for air; `argon_is_process_gas` or a pump that regenerates gives argon of another source, and
/// such a pump gives back the nitrogen and oxygen that it took as well, so that nothing shows a leak.
pub(crate) fn test(
    spectrum: &Spectrum,
    argon_is_process_gas: bool,
    pump_is_regenerating: bool,
) -> AirTest {
    let argon_elsewhere = argon_is_process_gas || pump_is_regenerating;
    let limit = spectrum.stands_from();
    let at = |mass| spectrum.at(mass);
    let Some(at_28) = at(28) else {
        let silent = || finding(Evidence::Silent, "Mass 28 was not measured.");
        return AirTest {
            air: Air::Undecided,
            nitrogen: silent(),
            oxygen: silent(),
            argon: silent(),
            stands_at_28: false,
            faint_at_28: false,
            nitrogen_let_in: false,
            given_back: false,
            without_28: None,
            monoxide: None,
        };
    };
    let net_28 = at_28 - DIOXIDE_AT_28 * at(44).unwrap_or(0.0);
    if net_28 < limit || net_28 < 0.2 * at_28 {
        let nothing = finding(
            Evidence::Against,
            "Mass 28 does not stand above the noise once the share of carbon dioxide is taken off.",
        );
        return AirTest {
            air: Air::Absent,
            oxygen: nothing.clone(),
            argon: nothing.clone(),
            nitrogen: nothing,
            stands_at_28: false,
            faint_at_28: false,
            nitrogen_let_in: false,
            given_back: false,
            without_28: None,
            monoxide: None,
        };
    }
    let nitrogen = nitrogen(spectrum, net_28, limit);
    let oxygen = oxygen(spectrum, net_28, limit);
    let argon = argon(spectrum, net_28, limit, argon_elsewhere);
    let oxygen_stands = at(32).is_some_and(|current| current >= limit);
    // Beside argon of another source air may be a thousandth and still be the fault.
    let let_in = |mass: u16| argon_elsewhere && ARGON.contains(&mass);
    let others = spectrum.currents().iter();
    let most = others
        .filter(|(mass, _)| !let_in(**mass))
        .map(|(_, current)| *current)
        .fold(0.0, f64::max);
    let faint_at_28 = net_28 < FAINT * most;
    use Evidence::{Against, For, Open, Silent};
    let air = match (nitrogen.evidence, oxygen.evidence, argon.evidence) {
        (For, For | Open | Silent, For) | (Open | Silent, For, For) => Air::Present,
        (For, For, Silent) if argon_elsewhere => Air::Present,
        (Against, Open | Against | Silent, Silent) if !oxygen_stands => Air::Absent,
        (_, Open | Against | Silent, Against) => Air::Absent,
        (Silent, Silent, Silent) if faint_at_28 => Air::Absent,
        _ => Air::Undecided,
    };
    let nitrogen_let_in = air == Air::Absent && nitrogen.evidence == For;
    let monoxide =
        (air == Air::Present && !oxygen_stands).then(|| monoxide(spectrum, net_28, limit));
    let air = match &monoxide {
        Some(found) if found.evidence != For => Air::Undecided,
        _ => air,
    };
    let without_28 = (air == Air::Undecided && !argon_elsewhere)
        .then(|| as_in_air_without_28(spectrum, net_28, limit))
        .flatten();
    let air = if without_28.is_some() {
        Air::Present
    } else {
        air
    };
    let given_back = air == Air::Present && pump_is_regenerating;
    AirTest {
        air: if given_back { Air::Undecided } else { air },
        stands_at_28: true,
        faint_at_28: faint_at_28 && air == Air::Absent,
        nitrogen_let_in,
        given_back,
        without_28,
        monoxide,
        nitrogen,
        oxygen,
        argon,
    }
}

/// Whether mass 12 clears 28 of carbon monoxide, so that nitrogen and argon stand as in air.
///
/// Without oxygen, nitrogen let in and monoxide beside as much argon as that nitrogen had in the air give
/// the same 14, 28 and 40 as air whose oxygen was eaten, within what patterns are good for.
fn monoxide(spectrum: &Spectrum, net_28: f64, limit: f64) -> Finding {
    let Some(at_12) = spectrum.at(12) else {
        return finding(
            Evidence::Silent,
            "No oxygen shows, and mass 12 was not measured, so carbon monoxide beside nitrogen let in may look like air whose oxygen was eaten.",
        );
    };
    if limit > LITTLE_MONOXIDE * MONOXIDE_AT_12 * net_28 {
        return finding(
            Evidence::Silent,
            "No oxygen shows, and mass 28 is too low for the carbon of carbon monoxide to show at 12.",
        );
    }
    let dioxide = DIOXIDE_AT_12 * spectrum.at(44).unwrap_or(0.0);
    let methane = METHANE_12_TO_15 * spectrum.at(15).unwrap_or(0.0);
    let net_12 = Net::less(at_12 - dioxide, Share::within(methane, SHARE_SPREAD));
    let share = |current: f64| current / MONOXIDE_AT_12 / net_28;
    if share(net_12.high) <= LITTLE_MONOXIDE {
        finding(
            Evidence::For,
            format!(
                "{} is {:.2} % of 28: next to no carbon monoxide, so 28 is nitrogen, with argon as in air.",
                less(12, Some(at_12), net_12.value),
                100.0 * net_12.value / net_28
            ),
        )
    } else {
        let (about, share) = if share(net_12.value) > LITTLE_MONOXIDE {
            ("some", share(net_12.value))
        } else {
            ("up to", share(net_12.high))
        };
        finding(
            Evidence::Open,
            format!(
                "No oxygen shows, and by {} {about} {:.0} % of 28 is carbon monoxide: air whose oxygen was eaten, or nitrogen let in with argon of another source.",
                less(12, Some(at_12), net_12.value),
                100.0 * share.min(1.0)
            ),
        )
    }
}

/// Whether 14, 32 and 40, of which carbon monoxide gives next to nothing, stand to each other as in air.
///
/// All three have to stand above the noise, and 14 above what monoxide gives: then air is there, whatever
/// shares mass 28 with it.
fn as_in_air_without_28(spectrum: &Spectrum, net_28: f64, limit: f64) -> Option<String> {
    let standing = |current: Option<f64>| current.filter(|current| *current >= limit);
    let at_14 = net_14(spectrum)?;
    standing(Some(at_14.low)).filter(|least| *least >= NOT_MONOXIDE_14 * net_28)?;
    let at_32 = standing(spectrum.at(32))?;
    let at_40 = net_40(spectrum)?;
    standing(Some(at_40.low))?;
    let within = |ratio: f64, (low, high): (f64, f64)| (low..=high).contains(&ratio);
    let to_14 = |argon: f64, nitrogen: f64| within(argon / nitrogen, ARGON_40_TO_14);
    let to_40 = |argon: f64| within(at_32 / argon, OXYGEN_32_TO_40);
    (to_40(at_40.low)
        && to_40(at_40.high)
        && to_14(at_40.low, at_14.high)
        && to_14(at_40.high, at_14.low))
    .then(|| {
        format!(
            "14, 32 and 40 stand to each other as in air (32 is {:.0} times 40, 40 is {:.2} times 14), so air is there beside another gas at 28.",
            at_32 / at_40.value,
            at_40.value / at_14.value
        )
    })
}

fn nitrogen(spectrum: &Spectrum, net_28: f64, limit: f64) -> Finding {
    let Some(net_14) = net_14(spectrum) else {
        return finding(
            Evidence::Silent,
            "Mass 14 was not measured, so nitrogen and carbon monoxide cannot be told apart by it.",
        );
    };
    let ratio = net_14.value / net_28;
    let (least, most) = (net_14.low / net_28, net_14.high / net_28);
    let shown = format!(
        "{} is {:.2} % of {}",
        less(14, spectrum.at(14), net_14.value),
        100.0 * ratio,
        less(28, spectrum.at(28), net_28)
    );
    if limit / net_28 > NITROGEN_14.0 {
        finding(
            Evidence::Silent,
            "Mass 28 is too low for its companion at 14 to show above the noise.",
        )
    } else if least > NITROGEN_14.1 {
        finding(
            Evidence::Open,
            format!("{shown}: more than nitrogen gives, so another gas is at 14."),
        )
    } else if least >= NITROGEN_14.0 && most <= NITROGEN_14.1 {
        finding(
            Evidence::For,
            format!(
                "{shown}: as nitrogen gives (5 to 14 %, by analysers that weigh masses unlike 4 to 20 %)."
            ),
        )
    } else if most < MONOXIDE_14 {
        finding(
            Evidence::Against,
            format!(
                "{shown}: too little for nitrogen, so 28 is mostly carbon monoxide or another gas."
            ),
        )
    } else if (MONOXIDE_14..NITROGEN_14.0).contains(&ratio) {
        finding(
            Evidence::Open,
            format!("{shown}: between nitrogen and carbon monoxide."),
        )
    } else {
        finding(
            Evidence::Open,
            format!(
                "{shown}, but from {:.1} to {:.1} %, as what other gases give at 14 is known roughly: that tells nitrogen and carbon monoxide not apart.",
                100.0 * least,
                100.0 * most
            ),
        )
    }
}

fn oxygen(spectrum: &Spectrum, net_28: f64, limit: f64) -> Finding {
    let Some(at_32) = spectrum.at(32) else {
        return finding(Evidence::Silent, "Mass 32 was not measured.");
    };
    if at_32 < limit {
        return finding(
            Evidence::Open,
            "No oxygen at 32: this does not clear air, because a hot filament or a getter eats oxygen.",
        );
    }
    let ratio = net_28 / at_32;
    if net_28.max(at_32) < OXYGEN_28.1 * limit {
        return finding(
            Evidence::Silent,
            "Masses 28 and 32 are both too low for their ratio to say anything above the noise.",
        );
    }
    let shown = format!(
        "{} is {} times 32",
        less(28, spectrum.at(28), net_28),
        if ratio < 1000.0 {
            to_figures(ratio, 2)
        } else {
            "more than 1000".to_owned()
        }
    );
    if ratio > OXYGEN_28.1 {
        finding(
            Evidence::Open,
            format!(
                "{shown}: less oxygen than air (3.7 to 5 times), which a hot filament or a getter could have eaten."
            ),
        )
    } else if ratio >= OXYGEN_28.0 {
        finding(
            Evidence::For,
            format!(
                "{shown}: as in air (3.7 to 5, by analysers that weigh masses unlike 2.5 to 8)."
            ),
        )
    } else {
        finding(
            Evidence::Open,
            format!(
                "{shown}: more oxygen than air has, so oxygen has another source as well, or air came through elastomers, which pass it more easily than nitrogen."
            ),
        )
    }
}

fn argon(spectrum: &Spectrum, net_28: f64, limit: f64, elsewhere: bool) -> Finding {
    if elsewhere {
        return finding(
            Evidence::Silent,
            "Argon is in use here or given back by a pump, so mass 40 says nothing about air.",
        );
    }
    let Some(net_40) = net_40(spectrum) else {
        return finding(Evidence::Silent, "Mass 40 was not measured.");
    };
    if limit / net_28 > ARGON_IN_AIR.0 {
        return finding(
            Evidence::Silent,
            "Mass 28 is too low for the argon of air to show above the noise at 40.",
        );
    }
    let (least, most) = (net_40.low / net_28, net_40.high / net_28);
    let shown = format!(
        "{} is {:.2} % of {}",
        less(40, spectrum.at(40), net_40.value),
        100.0 * net_40.value / net_28,
        less(28, spectrum.at(28), net_28)
    );
    if least > ARGON_IN_AIR.1 {
        finding(
            Evidence::Open,
            format!(
                "{shown}: more argon than air has, so argon has another source; if it is let in for the process, or was shortly before, say so and calculate again."
            ),
        )
    } else if least >= ARGON_IN_AIR.0 && most <= ARGON_IN_AIR.1 {
        finding(
            Evidence::For,
            format!(
                "{shown}: as in air (1.0 to 1.5 %, by analysers that weigh masses unlike 0.6 to 2.5 %)."
            ),
        )
    } else if most >= ARGON_IN_AIR.0 {
        finding(
            Evidence::Open,
            format!(
                "{shown}, but from {:.1} to {:.1} %, as what hydrocarbons give at 40 is known roughly: that shows neither the argon of air nor that there is none.",
                100.0 * least,
                100.0 * most
            ),
        )
    } else if net_40.high >= limit && net_40.high >= ARGON_IN_AIR.0 * least_nitrogen(spectrum) {
        finding(
            Evidence::Open,
            format!(
                "{shown}: too little if all of 28 were air (1.0 to 1.5 %), but enough if part of it is carbon monoxide."
            ),
        )
    } else {
        finding(
            Evidence::Against,
            format!("{shown}: air would bring 1.0 to 1.5 %, and nothing eats argon."),
        )
    }
}

/// The name of mass 12, 14, 28 or 40, with what was taken off its current where that is more than a hundredth.
fn less(mass: u16, measured: Option<f64>, net: f64) -> String {
    let other = match mass {
        12 => "carbon dioxide and methane",
        14 => "the gases at 15",
        40 => "hydrocarbons",
        _ => "carbon dioxide",
    };
    match measured {
        Some(measured) if net < 0.99 * measured => {
            format!("{mass} (less the share of {other})")
        }
        _ => mass.to_string(),
    }
}

/// The least nitrogen, as ion current at 28, that mass 14 asks for; 0 where it was not measured.
fn least_nitrogen(spectrum: &Spectrum) -> f64 {
    net_14(spectrum).map_or(0.0, |net_14| net_14.low / NITROGEN_14.1)
}

/// Ion current at 14 less that of methane and of what else has a CH3 at 15: solvents and oils.
fn net_14(spectrum: &Spectrum) -> Option<Net> {
    let at_14 = spectrum.at(14)?;
    let at = |mass| spectrum.at(mass).unwrap_or(0.0);
    let others_at_16: f64 = AT_16.iter().map(|(mass, share)| share * at(*mass)).sum();
    let methane = spectrum.at(16).map_or(at(15), |at_16| {
        (METHANE_15_TO_16 * (at_16 - others_at_16)).clamp(0.0, at(15))
    });
    let others = at(15) - methane;
    let of_methane = Share::within(METHANE_14_TO_15 * methane, SHARE_SPREAD);
    Some(Net::less(
        at_14,
        Share {
            least: of_methane.least,
            about: of_methane.about + OTHERS_14_TO_15 * others,
            most: of_methane.most + MOST_OTHERS_14_TO_15 * others,
        },
    ))
}

/// Ion current at 40 less that of hydrocarbons.
fn net_40(spectrum: &Spectrum) -> Option<Net> {
    let at_40 = spectrum.at(40)?;
    let hydrocarbon = HYDROCARBON_AT_40
        .into_iter()
        .find_map(|(mass, share)| Some(share * spectrum.at(mass)?));
    let share = Share::within(hydrocarbon.unwrap_or(0.0), HYDROCARBON_SPREAD);
    Some(Net::less(at_40, share))
}

/// What other gases give at a mass: the least, about, and the most.
#[derive(Clone, Copy)]
struct Share {
    least: f64,
    about: f64,
    most: f64,
}

impl Share {
    /// An ion current known to `spread` of it.
    fn within(about: f64, spread: f64) -> Self {
        Self {
            least: (1.0 - spread) * about,
            about,
            most: (1.0 + spread) * about,
        }
    }
}

/// What is left of an ion current once the share of other gases is taken off, and the least and the most it may be: of
/// much of them what is left may be less than the error of their share.
#[derive(Clone, Copy)]
struct Net {
    value: f64,
    low: f64,
    high: f64,
}

impl Net {
    fn less(current: f64, share: Share) -> Self {
        let rest = |share: f64| (current - share).max(0.0);
        Self {
            value: rest(share.about),
            low: rest(share.most),
            high: rest(share.least),
        }
    }
}
