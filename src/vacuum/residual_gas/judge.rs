//! What the peaks say: air, water, hydrocarbons, solvents, pump fluid, process gas, helium.
//!
//! `None` means that the masses needed were not measured; a rule never guesses a missing peak.

use super::air::{self, AirTest};
use super::spectrum::Spectrum;

/// A peak below this share of the highest one is no sign of its own (common practice, no source).
const WORTH_NAMING: f64 = 1e-3;

/// What else is known about the chamber.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Circumstances {
    /// Argon is let in for the process, or was shortly before.
    pub argon_is_process_gas: bool,
    /// A pump is regenerating or was just regenerated, and gives back what it held.
    pub pump_is_regenerating: bool,
}

/// Each question with its answer, `None` where the masses needed were not measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// Air.
    pub air: AirTest,
    /// Water is by far the highest peak: 18 at least twice any other mass but 17.
    pub water: Option<bool>,
    /// 17 is more than 18 and the methane at 16 explain: ammonia or another gas is there.
    pub excess_at_17: Option<bool>,
    /// Hydrocarbon groups fourteen masses apart: 41/43, 55/57 as 0.15 of them or with 71 (solvents have less and
    /// none), and 69/71 or 39.
    pub hydrocarbon: Option<bool>,
    /// Isopropanol: 45 with 43, and above the 31 of the lighter alcohols and the 73 of methyl silicones.
    pub isopropanol: Option<bool>,
    /// Methanol or ethanol: 31 above 45, with 29, and with 32 or with 45 and 46.
    pub light_alcohol: Option<bool>,
    /// Acetone: 43 with 58.
    pub acetone: Option<bool>,
    /// Fluorinated pump fluid: 69 with two or more of 31, 47, 50, 119, of them 47 or 119, above the hydrocarbon 55
    /// and 57 and the 100 and 131 of ring-shaped fluorocarbons. `None` where 69, 31 and 50 stand alone, as of the
    /// process gas CF4.
    pub fluorinated_oil: Option<bool>,
    /// Silicone pump fluid with phenyl groups: 78 with at least 0.3 of it at 77, and 51 or 39, above
    /// the hydrocarbon 55 and 57. Benzene has less at 77 (0.18 to 0.21, MassBank JP002347 and JP002103).
    pub silicone_oil: Option<bool>,
    /// Argon is the highest peak.
    pub argon_highest: Option<bool>,
    /// Oxygen is the highest peak (of methanol 31 is higher than 32).
    pub oxygen_highest: Option<bool>,
    /// Helium at 4.
    pub helium: Option<bool>,
    /// Hydrogen at 2 is the highest peak.
    pub hydrogen_highest: Option<bool>,
    /// How many peaks stand above the noise.
    pub standing: usize,
}

/// Methane gives 1.64 % of its 16 at 17 (70 eV, from where the catalogue has its row); with the spread of patterns.
const MOST_METHANE_17_TO_16: f64 = 1.3 * 0.0164;

/// Judges a spectrum by its peaks. Rules from memory of O'Hanlon and Umrath, and common practice.
pub fn judge(spectrum: &Spectrum, circumstances: Circumstances) -> Judgement {
    let (highest_mass, highest) = spectrum.highest();
    let limit = spectrum.stands_from().max(WORTH_NAMING * highest);
    let at = |mass| spectrum.at(mass);
    let stands = |mass| at(mass).map(|current| current >= limit);
    let pair = |a: Option<bool>, b: Option<bool>| Some(a? && b?);
    Judgement {
        air: air::test(
            spectrum,
            circumstances.argon_is_process_gas,
            circumstances.pump_is_regenerating,
        ),
        water: at(18).map(|water| {
            water > limit
                && spectrum
                    .currents()
                    .iter()
                    .all(|(mass, current)| matches!(mass, 17 | 18) || 2.0 * current <= water)
        }),
        excess_at_17: at(17).zip(at(18)).map(|(at_17, water)| {
            let rest = at_17 - MOST_METHANE_17_TO_16 * at(16).unwrap_or(0.0);
            rest > limit && rest > 0.4 * water
        }),
        hydrocarbon: hydrocarbon(spectrum, limit),
        isopropanol: pair(
            at(45).map(|at_45| {
                at_45 - DIOXIDE_AT_45 * at(44).unwrap_or(0.0) >= limit
                    && at_45 > highest_of(spectrum, [31, 73])
            }),
            stands(43),
        ),
        light_alcohol: light_alcohol(spectrum, limit),
        acetone: pair(
            at(58)
                .zip(at(43))
                .map(|(at_58, at_43)| at_58 >= limit && at_58 >= 0.1 * at_43),
            stands(43),
        ),
        fluorinated_oil: fluorinated(spectrum, limit),
        silicone_oil: silicone(spectrum, limit),
        argon_highest: at(40).map(|_| highest_mass == 40),
        oxygen_highest: at(32).map(|_| highest_mass == 32),
        helium: stands(4),
        hydrogen_highest: at(2).map(|_| highest_mass == 2),
        standing: spectrum
            .currents()
            .values()
            .filter(|&&current| current >= spectrum.stands_from())
            .count(),
    }
}

/// How many times a peak must have grown beside the others to build up, and within how much it stands
/// still (common practice, no source).
const GROWN: f64 = 1.5;
const STILL: f64 = 1.2;

/// Whether hydrogen at 2 or helium at 4 builds up since an `earlier` spectrum by the same analyser and
/// settings.
///
/// A peak that grew by half or more, and by half more than the others, builds up; growth by less than a
/// fifth at both masses is none, and nothing is said between. What is not above the noise now does not build up, earlier spectrum or not.
pub fn light_gas(earlier: Option<&Spectrum>, now: &Spectrum) -> Option<LightGas> {
    let limit = now.stands_from();
    let growths: Vec<Option<(u16, f64)>> = [2, 4]
        .into_iter()
        .map(|mass| {
            let current = now.at(mass)?;
            if current < limit {
                return Some((mass, 0.0));
            }
            let earlier = earlier?;
            let before = earlier.at(mass)?.max(earlier.stands_from());
            // Others that fell, as water does, make no growth of it.
            Some((mass, current / before / rest(earlier, now)?.max(1.0)))
        })
        .collect();
    let grown = growths
        .iter()
        .flatten()
        .copied()
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    if grown.1 >= GROWN {
        Some(LightGas::BuildsUp {
            mass: grown.0,
            times: grown.1,
        })
    } else {
        (growths.iter().all(Option::is_some) && grown.1 < STILL).then_some(LightGas::DoesNot)
    }
}

/// What became of hydrogen and helium since an earlier spectrum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LightGas {
    /// One of them builds up.
    BuildsUp {
        /// Mass 2 or 4.
        mass: u16,
        /// How many times it grew beside the other peaks.
        times: f64,
    },
    /// Neither does.
    DoesNot,
}

/// The middle of how many times the other peaks that stand in both grew; `None` for fewer than two.
fn rest(earlier: &Spectrum, now: &Spectrum) -> Option<f64> {
    let mut times: Vec<f64> = now
        .currents()
        .iter()
        .filter(|(mass, current)| !matches!(mass, 2 | 4) && **current >= now.stands_from())
        .filter_map(|(mass, current)| {
            let before = earlier.at(*mass)?;
            (before >= earlier.stands_from()).then(|| current / before)
        })
        .collect();
    times.sort_by(f64::total_cmp);
    (times.len() >= 2).then(|| 0.5 * (times[(times.len() - 1) / 2] + times[times.len() / 2]))
}

/// Ion current at 45 for 1 at 44 from carbon dioxide, by its isotopes.
const DIOXIDE_AT_45: f64 = 0.012;

/// By the 70 eV patterns of the catalogue: methanol has 29 at 45 % and 32 at 74 % of 31, ethanol 29 at 12 to 30 %,
/// 45 at 50 % and 46 at 20 %.
fn light_alcohol(spectrum: &Spectrum, limit: f64) -> Option<bool> {
    let (at_31, at_29) = (spectrum.at(31)?, spectrum.at(29)?);
    let share = |mass: u16, of: f64| spectrum.at(mass).map(|current| current >= of * at_31);
    let methanol = share(32, 0.4);
    let ethanol = share(45, 0.25).zip(share(46, 0.08)).map(|(a, b)| a && b);
    let told = match (methanol, ethanol) {
        (Some(true), _) | (_, Some(true)) => true,
        (None, None) => return None,
        _ => false,
    };
    // Oxygen stands at 32 as well, and isopropanol has a little 31 below its 45; of both alcohols 31 is the
    // highest, above what a fluid leaves there.
    let highest = at_31 > highest_of(spectrum, [45, 69]);
    Some(told && highest && at_31 >= limit && at_29 >= 0.08 * at_31)
}

/// An oil has 0.7 of its 43 and more at 57, acetone up to 0.06 (MassBank JP007680).
const LEAST_OF_OIL: f64 = 0.15;

fn hydrocarbon(spectrum: &Spectrum, limit: f64) -> Option<bool> {
    let group = |masses: &[u16]| {
        masses
            .iter()
            .filter_map(|&mass| spectrum.at(mass))
            .map(|current| current >= limit)
            .reduce(|a, b| a || b)
    };
    let three = group(&[41, 43])?;
    let four = group(&[55, 57])?;
    let chain = spectrum.at(71).is_some_and(|current| current >= limit)
        || highest_of(spectrum, [55, 57]) >= LEAST_OF_OIL * highest_of(spectrum, [41, 43]);
    Some(three && four && chain && group(&[39, 69, 71]).unwrap_or(true))
}

fn fluorinated(spectrum: &Spectrum, limit: f64) -> Option<bool> {
    let at_69 = spectrum.at(69)?;
    let stand = |masses: &[u16]| -> Vec<bool> {
        let measured = masses.iter().filter_map(|&mass| spectrum.at(mass));
        measured.map(|current| current >= limit).collect()
    };
    let companions = stand(&[31, 47, 50, 119]);
    if companions.len() < 2 {
        return None;
    }
    let is_fluid = at_69 >= limit
        && at_69 > highest_of(spectrum, [55, 57])
        && at_69 > highest_of(spectrum, [100, 131])
        && companions.iter().filter(|&&there| there).count() >= 2;
    // Of CF4 there are 69, 50 and 31 too, and none of these.
    match (is_fluid, stand(&[47, 119]).contains(&true)) {
        (true, false) => None,
        (told, _) => Some(told),
    }
}

fn silicone(spectrum: &Spectrum, limit: f64) -> Option<bool> {
    let (at_78, at_77) = (spectrum.at(78)?, spectrum.at(77)?);
    let measured = [51, 39].into_iter().any(|mass| spectrum.at(mass).is_some());
    measured.then(|| {
        at_78 >= limit
            && at_77 >= limit.max(0.3 * at_78)
            && at_78 > highest_of(spectrum, [55, 57])
            && highest_of(spectrum, [51, 39]) >= limit
    })
}

/// The higher of two peaks; zero where neither was measured.
fn highest_of(spectrum: &Spectrum, masses: [u16; 2]) -> f64 {
    masses
        .into_iter()
        .filter_map(|mass| spectrum.at(mass))
        .fold(0.0, f64::max)
}
