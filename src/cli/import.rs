//! `import`.

use std::{
    fs::File,
    io::{self, BufReader},
    path::PathBuf,
    process::ExitCode,
    sync::Arc,
};

use anyhow::Context;
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use jiff::Timestamp;

use super::{DataAt, StoreAt};
use crate::intake::{Intake, Wish};

#[derive(Debug, Args)]
pub(super) struct Import {
    /// The file, one JSON object a line
    file: PathBuf,
    #[command(flatten)]
    store: StoreAt,
    #[command(flatten)]
    data: DataAt,
    /// Check every row and store nothing
    #[arg(long)]
    dry_run: bool,
    /// Store the good rows even if others are refused
    #[arg(long)]
    keep_good: bool,
}

impl Import {
    pub(super) async fn run(self) -> anyhow::Result<ExitCode> {
        let file = File::open(&self.file)
            .with_context(|| format!("cannot read {}", self.file.display()))?;
        let about = file.metadata()?;
        let length = about.len();
        let (store, catalogue) = self.store.open().await?;
        let bar = bar(length);
        let wish = Wish {
            dry_run: self.dry_run,
            keep_good: self.keep_good,
        };
        let now = Timestamp::from_microsecond(Timestamp::now().as_microsecond())?;
        let mut follower = match wish.dry_run {
            true => None,
            false => super::verify::follower(&store, &catalogue, &self.data.data).await?,
        };
        let intake = Intake {
            store: &store,
            catalogue: Arc::clone(&catalogue),
            wish,
            now,
            at_hand: about.is_file(),
            index: follower.as_mut(),
        };
        let report = intake
            .take(
                BufReader::with_capacity(1 << 20, file),
                |row| bar.suspend(|| eprintln!("{row}")),
                |bytes| bar.inc(bytes),
            )
            .await?;
        bar.finish_and_clear();
        println!(
            "{} accepted, {} refused; {}",
            report.accepted,
            report.refused,
            if report.stored {
                "the accepted ones are stored"
            } else if self.dry_run {
                "nothing was stored, as asked"
            } else {
                "nothing was stored"
            }
        );
        if report.stored {
            match &mut follower {
                Some(follower) => follower.catch_up().await?,
                None => {
                    super::verify::bring_up(&store, &catalogue, &self.data.data).await?;
                }
            }
        }
        store.close().await;
        Ok(if report.refused == 0 {
            ExitCode::SUCCESS
        } else {
            ExitCode::FAILURE
        })
    }
}

/// A bar on a terminal; nothing elsewhere.
pub(super) fn bar(length: u64) -> ProgressBar {
    use io::IsTerminal;
    if !io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    if length == 0 {
        return ProgressBar::new_spinner();
    }
    let style = ProgressStyle::with_template("{bar:40} {percent} %, {eta} left")
        .unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(length).with_style(style)
}
