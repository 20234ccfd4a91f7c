//! Whether a rise that looks straight may be wet walls and no leak.
//!
//! The walls of a pumped chamber give water off ever slower, but after some time of pumping so slowly
//! ever slower that within a test it comes as steadily as a leak. No shape tells the two apart. Their
//! size may: walls give no more than they can, by their area and by how long they were pumped.

use crate::vacuum::units::{Seconds, Volume};

/// Water given off by unbaked metal after one hour of pumping, in Pa·m³/s per m²; it falls as the
/// time of pumping (Chiggiato, arXiv:1404.0960, from memory: 3e-9 mbar·L/s per cm²; Elsey, Vacuum 25
/// (1975) 347, from memory, has 1e-9 to 4e-8 for stainless steel).
const WET_METAL: f64 = 3e-6;
/// How much more the surfaces of a fitted chamber may give: rough shields, spread of data. Set with
/// [`SOONEST`] on 17,000 tuning tests like those of `rise_held_out`: of walls alone 0.1 to 0.2 % are called a leak, and
/// 0.6 % of those pumped for one to two hours where no time was given.
const MORE: f64 = 20.0;
/// Gas given off by fresh fluoroelastomer after one hour, in Pa·m³/s per m²; it falls as the root of the
/// time (O'Hanlon, User's Guide to Vacuum Technology, appendix C, from memory: 1.52e-3; Dayton 1959, from
/// memory).
const ELASTOMER: f64 = 1.5e-3;
/// Area of seals over that of the walls (common practice, no source).
const SEALS: f64 = 0.01;
/// The least hours of pumping taken where none were given (common practice, no source). Walls give the more the
/// shorter they were pumped.
pub(super) const SOONEST: f64 = 2.0;
/// The smallest chamber, m³, taken where no volume was given: it has the most area for its volume
/// (common practice, no source).
const SMALLEST: f64 = 1e-3;
/// The most hours that anybody pumps to tell a leak from walls: a week.
pub(super) const LONGEST: f64 = 168.0;

/// What walls may give within one test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Walls {
    /// Area over volume, per metre.
    area: f64,
    /// Hours of pumping.
    hours: f64,
    volume: Option<Volume>,
    hours_given: bool,
    /// Whether the chamber was pumped for less than the test took.
    as_after: bool,
}

impl Walls {
    /// What they may give steadily within a test of `length` seconds. Of a chamber that was pumped for less than the
    /// test takes, as much as after the length of the test: what walls give more than that slows within it, and its
    /// shape tells.
    pub(super) fn steady(volume: Option<Volume>, pumped: Option<Seconds>, length: f64) -> Self {
        // No chamber that was tested was not pumped at all.
        let pumped = pumped.filter(|pumped| pumped.seconds() > 0.0);
        let hours = match pumped {
            Some(pumped) => (pumped.seconds().max(length) / 3600.0).max(0.1),
            None => SOONEST.max(length / 3600.0),
        };
        Self {
            // The surface of a cube of this volume.
            area: 6.0 / volume.map_or(SMALLEST, Volume::cubic_metres).cbrt(),
            hours,
            volume,
            hours_given: pumped.is_some(),
            as_after: pumped.is_some_and(|pumped| pumped.seconds() < length),
        }
    }

    /// The most they may give, as a rise of the pressure in Pa/s.
    fn most(&self) -> f64 {
        self.area * (MORE * WET_METAL / self.hours + SEALS * ELASTOMER / self.hours.sqrt())
    }

    /// Whether they may give as much as a rise of this many Pa/s.
    pub(super) fn reach(&self, rise: f64) -> bool {
        rise < self.most()
    }

    /// Hours of pumping after which they give less than a rise of this many Pa/s.
    fn hours_below(&self, rise: f64) -> f64 {
        // A quadratic equation for the root of one over the time.
        let (metal, seals) = (MORE * WET_METAL * self.area, SEALS * ELASTOMER * self.area);
        let root = (seals.mul_add(seals, 4.0 * metal * rise).sqrt() - seals) / (2.0 * metal);
        root.powi(-2)
    }

    /// The most they may give, in words.
    fn most_in_words(&self) -> String {
        let most = self.most();
        match self.volume {
            Some(volume) => format!("{:.1e} mbar·L/s", 10.0 * most * volume.cubic_metres()),
            None => format!("{:.1e} mbar/s", 0.01 * most),
        }
    }

    /// Why a steady rise of at least this many Pa/s may be theirs, and what would decide; `shape` says how the
    /// pressure rises.
    pub(super) fn doubt(&self, shape: &str, rise: f64) -> String {
        let pumped = match (self.hours_given, self.hours > SOONEST) {
            (true, _) if self.as_after => {
                format!(
                    "as after {:.1} h of pumping, the length of the test",
                    self.hours
                )
            }
            (true, _) => format!("after {:.1} h of pumping", self.hours),
            (false, false) => "if the chamber was pumped for two hours".to_owned(),
            (false, true) => format!("if the chamber was pumped for {:.1} h", self.hours),
        };
        let place = match self.volume {
            Some(_) => "here",
            None => "in a chamber of 1 L, and less in a larger one",
        };
        let mut decide = Vec::new();
        if self.volume.is_none() {
            decide.push("the volume".to_owned());
        }
        let needed = self.hours_below(rise);
        if needed <= LONGEST {
            decide.push(format!(
                "more than {} h of pumping before the test (then it is a leak)",
                two_figures(needed)
            ));
        }
        decide.push("a rise of this tool when it was healthy".to_owned());
        decide.push("a second test hours later (walls give less then, a leak as much)".to_owned());
        decide.push("nitrogen and argon in air's proportion in a mass spectrum".to_owned());
        format!(
            "{shape}, but wet walls may give gas off as steadily, and up to {} {place} {pumped}; what would decide: {}",
            self.most_in_words(),
            decide.join(", or ")
        )
    }
}

/// Rounded up to two figures, so that what is asked for is enough.
fn two_figures(value: f64) -> String {
    let place = 10f64.powf(value.log10().floor() - 1.0);
    let rounded = (value / place).ceil() * place;
    format!("{:.*}", if place < 1.0 { 1 } else { 0 }, rounded)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn litres(value: f64) -> Volume {
        Volume::from_cubic_metres(1e-3 * value).unwrap()
    }

    fn hours(value: f64) -> Seconds {
        Seconds::from_seconds(3600.0 * value).unwrap()
    }

    /// 1 m³ has 6 m² of cube; after 10 h unbaked metal gives 3e-10 mbar·L/s per cm² (Chiggiato,
    /// arXiv:1404.0960, from memory), twenty times that at most, and 600 cm² of seals 1.5e-5 /√10 W/m²
    /// (as [`ELASTOMER`]): 1 mbar·L/s is 0.1 W.
    #[test]
    fn the_most_is_twenty_times_that_of_unbaked_metal_and_that_of_seals() {
        let walls = Walls::steady(Some(litres(1000.0)), Some(hours(10.0)), 600.0);
        let most = 20.0 * 3e-10 * 60_000.0 + 10.0 * 1.5e-3 * 0.06 / 10f64.sqrt();
        assert!((10.0 * walls.most() / most - 1.0).abs() < 1e-9, "{walls:?}");
        assert_eq!(walls.most_in_words(), "6.4e-4 mbar·L/s");
        assert!((walls.hours_below(walls.most()) / 10.0 - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_time_that_was_not_given_is_taken_as_the_worst() {
        let at = |pumped, length| Walls::steady(Some(litres(100.0)), pumped, length);
        let unknown = at(None, 600.0);
        for pumped in [2.0, 5.0, 10.0, 168.0] {
            assert!(at(Some(hours(pumped)), 600.0).most() <= unknown.most());
        }
        // Less pumping never excludes walls that more does not: none at all is a time that was not given.
        assert_eq!(at(Some(hours(0.0)), 600.0), unknown);
        let length = at(Some(hours(0.5)), 1800.0).most();
        for pumped in [1e-6, 0.1, 0.25, 0.5] {
            assert_eq!(at(Some(hours(pumped)), 1800.0).most(), length);
        }
        assert!(at(None, 10_800.0).most() < unknown.most());
        // As does a volume.
        let unknown = Walls::steady(None, None, 600.0);
        for volume in [1.0, 10.0, 1000.0] {
            let walls = Walls::steady(Some(litres(volume)), None, 600.0);
            assert!(walls.most() <= unknown.most() * (1.0 + 1e-12));
        }
    }

    #[test]
    fn what_would_decide_is_enough() {
        let volume = Some(litres(100.0));
        let walls = Walls::steady(volume, None, 600.0);
        let rise = 0.1 * walls.most();
        assert!(walls.reach(rise));
        let needed = walls.hours_below(rise);
        let asked = format!("more than {} h of pumping", two_figures(needed));
        assert!(
            walls.doubt("the rise is straight", rise).contains(&asked),
            "{}",
            walls.doubt("the rise is straight", rise)
        );
        let pumped = |hours_of: f64| {
            let walls = Walls::steady(volume, Some(hours(hours_of)), 600.0);
            walls.reach(rise)
        };
        assert!(pumped(0.99 * needed) && !pumped(1.01 * needed));
        // No week is asked for.
        let small = 1e-3 * walls.most();
        assert!(
            !walls
                .doubt("the rise is straight", small)
                .contains("h of pumping before")
        );
    }
}
