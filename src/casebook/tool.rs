//! Sites and tools.

use std::{borrow::Borrow, collections::BTreeSet, fmt};

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::{
    catalogue::{ClassId, ComponentId, ToolClass},
    vacuum::units::TypedPressure,
};

macro_rules! names {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(String);

        impl $name {
            /// Wraps a name as it stands on the nameplate; existence is the store's question.
            pub fn new(text: impl Into<String>) -> Self {
                Self(text.into())
            }

            /// The name as it stands on the nameplate.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl Borrow<str> for $name {
            fn borrow(&self) -> &str {
                &self.0
            }
        }
    )*};
}

names! {
    /// The short code of a site.
    SiteCode,
    /// The name of a tool, unique in the fleet.
    ToolId,
}

/// Where tools stand; the boundary of confidentiality.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Site {
    /// Short code.
    pub code: SiteCode,
    /// Name people read.
    pub name: String,
    /// Where it is, in words.
    pub place: String,
}

/// One machine.
#[derive(Clone, Debug, PartialEq)]
pub struct Tool {
    /// Its name.
    pub id: ToolId,
    /// Where it stands.
    pub site: SiteCode,
    /// The class it is counted with.
    pub class: ClassId,
    /// Serial number.
    pub serial: String,
    /// In service since.
    pub in_service: Option<Date>,
    /// Chamber volume in litres.
    pub volume_litres: f64,
    /// Pumping speed at the chamber in litres per second.
    pub speed_litres_per_second: f64,
    /// Base pressure when healthy.
    pub healthy_base: TypedPressure,
    /// What it is fitted with.
    pub components: BTreeSet<ComponentId>,
    /// Its gauges, in words.
    pub gauges: Vec<String>,
}

impl Tool {
    /// A tool of which only name, site and class are known: built as its class is built.
    pub fn as_built(id: ToolId, site: SiteCode, class: &ToolClass) -> Self {
        Self {
            id,
            site,
            class: class.id.clone(),
            serial: String::new(),
            in_service: None,
            volume_litres: class.volume_litres,
            speed_litres_per_second: class.speed_litres_per_second,
            healthy_base: class.healthy_base,
            components: class.components.iter().cloned().collect(),
            gauges: Vec::new(),
        }
    }
}
