//! The six kinds of cause. Closed on purpose: statistics, colours and the first
//! question of every call ("air, water, outgassing, gauge, pump?") hang on them.

use std::{fmt, str::FromStr};

use serde::{Deserialize, Serialize};

/// What sort of thing made the tool lose its base pressure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Air enters from outside.
    AirLeak,
    /// Cooling water enters.
    WaterLeak,
    /// Gas from inside: a trapped volume, permeation or a dirty or wet surface.
    Outgassing,
    /// The pressure is right and the reading is wrong.
    GaugeFault,
    /// A pump or its valves no longer keep up.
    PumpingFault,
    /// The process, a material, a fixture or the cleaning changed.
    ProcessChange,
}

impl Kind {
    /// Every kind, in the order pages list them.
    pub const ALL: [Self; 6] = [
        Self::AirLeak,
        Self::WaterLeak,
        Self::Outgassing,
        Self::GaugeFault,
        Self::PumpingFault,
        Self::ProcessChange,
    ];

    /// The identifier used in data files, addresses and the API.
    pub fn id(self) -> &'static str {
        match self {
            Self::AirLeak => "air-leak",
            Self::WaterLeak => "water-leak",
            Self::Outgassing => "outgassing",
            Self::GaugeFault => "gauge-fault",
            Self::PumpingFault => "pumping-fault",
            Self::ProcessChange => "process-change",
        }
    }

    /// The name people read.
    pub fn name(self) -> &'static str {
        match self {
            Self::AirLeak => "air leak",
            Self::WaterLeak => "water leak",
            Self::Outgassing => "virtual leak or outgassing",
            Self::GaugeFault => "gauge fault",
            Self::PumpingFault => "pumping fault",
            Self::ProcessChange => "process or material change",
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl FromStr for Kind {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Self::ALL
            .into_iter()
            .find(|kind| kind.id() == text)
            .ok_or_else(|| {
                let known: Vec<_> = Self::ALL.iter().map(|kind| kind.id()).collect();
                format!(
                    "no kind of cause is called {text:?}; known are {}",
                    known.join(", ")
                )
            })
    }
}
