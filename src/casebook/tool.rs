//! Sites and tools.

use std::{
    borrow::Borrow,
    collections::{BTreeSet, HashSet},
    hash::Hash,
    ops::Deref,
};

use jiff::{Timestamp, civil::Date};
use serde::{Serialize, Serializer};

use crate::{
    catalogue::{ClassId, ComponentId, ToolClass},
    quick::Quickly,
    vacuum::units::TypedPressure,
};

crate::catalogue::identifiers! {
    /// The short code of a site.
    SiteCode,
    /// The name of a tool, unique in the fleet.
    ToolId,
}

/// Where tools stand; the boundary of confidentiality.
#[derive(Clone, Debug, PartialEq)]
pub struct Site {
    /// Short code.
    pub code: SiteCode,
    /// Name people read.
    pub name: String,
    /// Where it is, in words.
    pub place: String,
    /// What bringing a helium leak detector or a residual gas analyser costs it, waiting
    /// included, in minutes; none if nobody has said.
    pub help_minutes: Option<f64>,
}

/// A service done by plan, not because something had failed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PlannedService {
    /// Its number, once it is on record.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<i64>,
    /// The component that was renewed.
    pub component: ComponentId,
    /// The day it was done.
    pub on: Date,
    /// What was done, in a few words; may be empty.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub note: String,
    /// Who wrote it down.
    pub author: String,
    /// When it was written down.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<Timestamp>,
}

/// What a tool is fitted with: in order, and found by hash, since an import asks dozens of times a row.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Components {
    sorted: BTreeSet<ComponentId>,
    fitted: HashSet<ComponentId, Quickly>,
}

impl Components {
    /// Whether this one is fitted.
    pub fn contains<Q: Eq + Hash + ?Sized>(&self, id: &Q) -> bool
    where
        ComponentId: Borrow<Q>,
    {
        self.fitted.contains(id)
    }

    /// Fits one.
    pub fn insert(&mut self, id: ComponentId) {
        self.fitted.insert(id.clone());
        self.sorted.insert(id);
    }

    /// Takes one away, and says whether it was there.
    pub fn remove(&mut self, id: &str) -> bool {
        self.fitted.remove(id);
        self.sorted.remove(id)
    }
}

impl Deref for Components {
    type Target = BTreeSet<ComponentId>;

    fn deref(&self) -> &Self::Target {
        &self.sorted
    }
}

impl FromIterator<ComponentId> for Components {
    fn from_iter<T: IntoIterator<Item = ComponentId>>(ids: T) -> Self {
        let sorted = BTreeSet::from_iter(ids);
        let fitted = sorted.iter().cloned().collect();
        Self { sorted, fitted }
    }
}

impl Serialize for Components {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.sorted.serialize(serializer)
    }
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
    /// Last day in service, if it has been taken out.
    pub out_of_service: Option<Date>,
    /// Chamber volume in litres.
    pub volume_litres: f64,
    /// Pumping speed at the chamber in litres per second.
    pub speed_litres_per_second: f64,
    /// Base pressure when healthy.
    pub healthy_base: TypedPressure,
    /// What it is fitted with.
    pub components: Components,
    /// Its gauges, in words.
    pub gauges: Vec<String>,
    /// Services done by plan, oldest first.
    pub services: Vec<PlannedService>,
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
            out_of_service: None,
            volume_litres: class.volume_litres,
            speed_litres_per_second: class.speed_litres_per_second,
            healthy_base: class.healthy_base,
            components: class.components.iter().cloned().collect(),
            gauges: Vec::new(),
            services: Vec::new(),
        }
    }
}
