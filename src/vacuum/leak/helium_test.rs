//! What a helium test on this chamber can find, and how long it takes to answer.

use super::LeakError;
use super::conversion::{LEAST, share_of_test_gas};
use crate::vacuum::units::{Pressure, Seconds, Speed, Throughput, Volume};

/// Share of helium in air (US Standard Atmosphere: 5.24 parts per million).
pub const HELIUM_IN_AIR: f64 = 5.24e-6;

/// A chamber under a helium test: a detector of helium partial pressure on a pumped volume.
///
/// The signal follows dp/dt = (Q − S·p)/V, with V the volume and S the speed *for helium*, which
/// on a cryopump is far below that for air and falls as its charcoal fills.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeliumTest {
    volume: Volume,
    helium_speed: Speed,
    helium_share: f64,
}

impl HeliumTest {
    /// A chamber, its pumping speed for helium (above zero), and the share of helium in the gas
    /// sprayed at the leak (a millionth to 1). Volume over speed from 1e-6 s to 1e9 s. An error
    /// outside. The limits are common practice, no source.
    pub fn new(volume: Volume, helium_speed: Speed, helium_share: f64) -> Result<Self, LeakError> {
        if helium_speed.cubic_metres_per_second() <= 0.0 {
            return Err(LeakError::NoHeliumSpeed);
        }
        share_of_test_gas(helium_share)?;
        let seconds = volume.cubic_metres() / helium_speed.cubic_metres_per_second();
        if !(1e-6..=1e9).contains(&seconds) {
            return Err(LeakError::TimeConstant { seconds });
        }
        Ok(Self {
            volume,
            helium_speed,
            helium_share,
        })
    }

    /// V/S: the time in which the signal comes to 63 % of its end, and in which it fades to 37 %;
    /// in the range of [`HeliumTest::new`].
    ///
    /// Source: the balance above, as in any text on leak testing (EN 1779, from memory).
    pub fn time_constant(&self) -> Result<Seconds, LeakError> {
        Ok(Seconds::from_seconds(
            self.volume.cubic_metres() / self.helium_speed.cubic_metres_per_second(),
        )?)
    }

    /// The share of its end that the signal reaches while helium is sprayed this long, 0 to 1; for
    /// any such test, in the range of [`HeliumTest::new`].
    ///
    /// Source: the solution of the balance above.
    pub fn response(&self, spray: Seconds) -> Result<f64, LeakError> {
        Ok(-(-spray.seconds() / self.time_constant()?.seconds()).exp_m1())
    }

    /// The smallest leak, as a rate of pure helium, that lifts the helium partial pressure by
    /// `smallest_change` within the time sprayed; pressure as the detector would read it in helium.
    ///
    /// An error for a spray of less than a millionth of the time constant, or a leak outside 1e-20 Pa·m³/s
    /// to 1e30. Source: the solution of the balance above.
    pub fn smallest_leak(
        &self,
        smallest_change: Pressure,
        spray: Seconds,
    ) -> Result<Throughput, LeakError> {
        let response = self.response(spray)?;
        let rate = smallest_change.pascals() * self.helium_speed.cubic_metres_per_second()
            / (response * self.helium_share);
        if response < 1e-6 || rate < LEAST {
            return Err(LeakError::NoLeak);
        }
        Ok(Throughput::from_pascal_cubic_metres_per_second(rate)?)
    }
}
