//! The made-up fleet of `seed-data`, for trying the program.

mod fleet;

use jiff::Timestamp;
use rust_embed::RustEmbed;

use crate::{
    catalogue::Catalogue,
    intake::{self, IntakeError, Wish},
    store::{Store, StoreError},
};

pub use fleet::FleetError;

#[derive(RustEmbed)]
#[folder = "$CARGO_MANIFEST_DIR/seed-data"]
#[include = "fleet.toml"]
#[include = "incidents/*.jsonl"]
struct SeedData;

/// Why the demo could not be set up.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// The fleet's data file is wrong.
    #[error(transparent)]
    Fleet(#[from] FleetError),
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The incidents could not be taken.
    #[error(transparent)]
    Intake(#[from] IntakeError),
    /// Incidents of the demo break the rules.
    #[error("the demo's incidents break the rules:\n{0}")]
    Refused(String),
}

/// Fills an empty store with the demo's sites, tools and incidents; leaves any other as it is.
///
/// # Errors
/// Data files that are wrong, with file and line; a store that fails.
pub async fn fill(store: &Store, catalogue: &Catalogue) -> Result<(), DemoError> {
    if store.last_change().await? > 0 {
        return Ok(());
    }
    let text = text("fleet.toml");
    let (sites, tools) = fleet::parse(&text, catalogue)?;
    store.add_fleet(&sites, &tools).await?;
    let mut lines: Vec<(String, String)> = Vec::new();
    let mut files: Vec<_> = SeedData::iter()
        .filter(|path| path.starts_with("incidents/"))
        .collect();
    files.sort();
    for path in files {
        let path: &str = &path;
        for line in self::text(path)
            .lines()
            .filter(|line| !line.trim().is_empty())
        {
            lines.push((occurred_at(line), line.to_owned()));
        }
    }
    // In the order they happened, so that numbers grow with time.
    lines.sort();
    let all: String = lines.into_iter().map(|(_, line)| line + "\n").collect();
    let mut refused = Vec::new();
    intake::take(
        store,
        catalogue,
        all.as_bytes(),
        Wish::default(),
        Timestamp::now(),
        |row| refused.push(row.to_string()),
        |_| {},
    )
    .await?;
    if refused.is_empty() {
        Ok(())
    } else {
        Err(DemoError::Refused(refused.join("\n")))
    }
}

fn text(path: &str) -> String {
    SeedData::get(path)
        .map(|file| String::from_utf8_lossy(&file.data).into_owned())
        .unwrap_or_default()
}

fn occurred_at(line: &str) -> String {
    serde_json::from_str::<serde_json::Value>(line)
        .ok()
        .and_then(|record| Some(record.get("occurred_at")?.as_str()?.to_owned()))
        .unwrap_or_default()
}
