//! `import`.

use std::{
    fs::File,
    io::{self, BufReader},
    path::PathBuf,
    process::ExitCode,
    sync::Arc,
    time::Duration,
};

use anyhow::Context;
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use jiff::Timestamp;

use super::{
    DataAt, StoreAt,
    verify::{Waited, follower, wait_for},
};
use crate::{
    catalogue::Catalogue,
    intake::{Intake, Wish},
    store::Store,
};

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
    /// Where another process serves the store: seconds to wait while its index comes no further
    #[arg(long, value_name = "SECONDS", default_value_t = 60)]
    wait: u64,
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
            false => follower(&store, &catalogue, &self.data.data).await?,
        };
        let intake = Intake {
            store: &store,
            catalogue: Arc::clone(&catalogue),
            wish,
            now,
            at_hand: about.is_file(),
            index: follower.as_mut(),
        };
        let mut noted = 0_u64;
        let report = intake
            .take(
                BufReader::with_capacity(1 << 20, file),
                |row| bar.suspend(|| eprintln!("{row}")),
                |row| {
                    noted += 1;
                    bar.suspend(|| eprintln!("{row}"));
                },
                |bytes| bar.inc(bytes),
            )
            .await?;
        bar.finish_and_clear();
        let told = match noted {
            0 => String::new(),
            _ => format!(" ({noted} of them outside their tool’s days in service)"),
        };
        println!(
            "{} accepted{told}, {} refused; {}",
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
            let findable = match &mut follower {
                Some(follower) => follower.catch_up().await.map_err(Into::into),
                None => self.until_found(&store, &catalogue).await,
            };
            findable.context("the rows are stored; the search index does not have them yet")?;
        }
        store.close().await;
        Ok(if report.refused == 0 {
            ExitCode::SUCCESS
        } else {
            ExitCode::FAILURE
        })
    }
}

impl Import {
    /// Waits until the process that serves the store finds what was taken in. One that takes longer
    /// than anybody waits goes on by itself.
    async fn until_found(&self, store: &Store, catalogue: &Arc<Catalogue>) -> anyhow::Result<()> {
        let (data, patience) = (&self.data.data, Duration::from_secs(self.wait));
        match wait_for(store, catalogue, data, patience).await? {
            Waited::Reached => {}
            // It may have ended meanwhile.
            Waited::InVain { seen, last } => match follower(store, catalogue, data).await? {
                Some(_) => {}
                None => println!(
                    "the process that serves this store has {seen} of {last} changes in its search \
                     index so far; it takes in the rest by itself"
                ),
            },
        }
        Ok(())
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
