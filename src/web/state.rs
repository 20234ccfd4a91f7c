//! What every handler works with.

use std::sync::Arc;

use jiff::Timestamp;
use tokio::sync::watch;

use crate::{
    casebook::Asker, catalogue::Catalogue, day, follow::Progress, knowledge::Knowledge,
    search::IndexInUse, store::Store, vacuum::residual_gas::Patterns,
};

use super::{holding::Holding, replaying::Replays, suggesting::Suggestions};

/// The parts of the running program; clones share them.
#[derive(Clone, Debug)]
pub struct App {
    /// The truth.
    pub store: Store,
    /// Its searchable copy.
    pub index: IndexInUse,
    /// What the closed incidents teach.
    pub knowledge: Arc<Knowledge>,
    /// What the trade knows beforehand.
    pub catalogue: Arc<Catalogue>,
    /// The cracking patterns of residual gas.
    pub patterns: Arc<Patterns>,
    /// The last replay of the closed incidents.
    pub replays: Arc<Replays>,
    /// What is suggested while somebody types.
    pub suggestions: Arc<Suggestions>,
    /// Long logs that may be kept with an incident yet.
    pub holding: Arc<Holding>,
    /// Who asks, until people sign in: whoever reaches the address it listens on.
    pub asker: Asker,
    /// How far the copies have come.
    pub progress: watch::Receiver<Progress>,
}

impl App {
    /// Who is asking.
    pub fn asker(&self) -> Asker {
        self.asker.clone()
    }

    /// The present, to the precision the store keeps.
    pub fn now(&self) -> Timestamp {
        let now = Timestamp::now();
        Timestamp::from_microsecond(now.as_microsecond()).unwrap_or(now)
    }

    /// The day, in days since 1 January 1970.
    pub fn today(&self) -> i64 {
        day::of(self.now())
    }
}
