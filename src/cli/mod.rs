//! The command line. Each verb is a file; errors go to stderr and the process exits
//! with 1 (2 for a command that cannot be understood).

mod backtest;
mod export;
mod import;
mod serve;
mod synthesise;
mod verify;

use std::{
    path::{Path, PathBuf},
    process::ExitCode,
    sync::Arc,
};

use anyhow::Context;
use clap::{Args, Parser, Subcommand};

use crate::{
    catalogue::{Catalogue, source},
    store::Store,
    vacuum::residual_gas::Patterns,
};

/// The fleet's memory of lost base pressure.
#[derive(Debug, Parser)]
#[command(version, about, max_term_width = 100)]
struct Command {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, Subcommand)]
enum Verb {
    /// Serve a made-up fleet with its incidents, to try the program
    Demo(serve::Demo),
    /// Serve a fleet's own incidents
    Serve(serve::Serve),
    /// Take incidents from a file of JSON Lines
    Import(import::Import),
    /// Write every incident as JSON Lines to standard output
    Export(export::Export),
    /// Check store and search index against each other
    Verify(verify::Verify),
    /// Replay closed incidents and tell how the advice would have done
    Backtest(backtest::Backtest),
    /// Write made-up incidents as JSON Lines to standard output
    Synthesise(synthesise::Synthesise),
}

/// Which store.
#[derive(Debug, Args)]
struct StoreAt {
    /// The store, as sqlite://PATH; serve and import make it if it is not there
    #[arg(long, value_name = "URL")]
    db: String,
    /// A folder of catalogue files to use instead of those built in
    #[arg(long, value_name = "DIR")]
    catalogue: Option<PathBuf>,
}

/// Which folder.
#[derive(Debug, Args)]
struct DataAt {
    /// The folder for the search index, which can always be made anew from the store; cracking
    /// patterns of your own go there too, as cracking-patterns.toml
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
}

/// Runs the command the process was started with.
pub fn main() -> ExitCode {
    let command = Command::parse();
    tracing_subscriber::fmt()
        .with_writer(std::io::stderr)
        .with_env_filter(
            tracing_subscriber::EnvFilter::try_from_env("COLDTRAP_LOG")
                // Slow statements are no fault: the indexes of a large first file take seconds.
                .unwrap_or_else(|_| {
                    tracing_subscriber::EnvFilter::new("warn,sqlx::query=error,coldtrap=info")
                }),
        )
        .init();
    let runtime = match tokio::runtime::Runtime::new() {
        Ok(runtime) => runtime,
        Err(error) => {
            eprintln!("coldtrap: cannot start: {error}");
            return ExitCode::FAILURE;
        }
    };
    let outcome = runtime.block_on(async {
        match command.verb {
            Verb::Demo(verb) => verb.run().await,
            Verb::Serve(verb) => verb.run().await,
            Verb::Import(verb) => verb.run().await,
            Verb::Export(verb) => verb.run().await,
            Verb::Verify(verb) => verb.run().await,
            Verb::Backtest(verb) => verb.run().await,
            Verb::Synthesise(verb) => verb.run(),
        }
    });
    match outcome {
        Ok(code) => code,
        Err(error) => {
            eprintln!("coldtrap: {error:#}");
            ExitCode::FAILURE
        }
    }
}

impl StoreAt {
    /// Opens the store, making it if it is not there.
    async fn open(&self) -> anyhow::Result<(Store, Arc<Catalogue>)> {
        let catalogue = self.catalogue()?;
        let store = Store::open(&self.db)
            .await
            .with_context(|| format!("cannot open the store {}", self.db))?;
        Ok((store, catalogue))
    }

    /// Opens a store that has to be there: a mistyped path is no empty store.
    async fn open_existing(&self) -> anyhow::Result<(Store, Arc<Catalogue>)> {
        let catalogue = self.catalogue()?;
        let store = Store::open_existing(&self.db)
            .await
            .with_context(|| format!("cannot open the store {}", self.db))?;
        Ok((store, catalogue))
    }

    /// The cracking patterns: a file in the data folder, one in the catalogue folder, or those
    /// built in.
    fn patterns(&self, data: &Path) -> anyhow::Result<Arc<Patterns>> {
        let folders = [Some(data), self.catalogue.as_deref()];
        Ok(Arc::new(source::patterns(folders.into_iter().flatten())?))
    }

    fn catalogue(&self) -> anyhow::Result<Arc<Catalogue>> {
        Ok(Arc::new(match &self.catalogue {
            Some(folder) => source::folder(folder)?,
            None => source::built_in()?,
        }))
    }
}

/// Success also where whoever reads the output has had enough of it.
fn until_pipe_closes(written: anyhow::Result<()>) -> anyhow::Result<ExitCode> {
    use std::io::ErrorKind::BrokenPipe;
    let closed = |error: &anyhow::Error| {
        error.chain().any(|cause| {
            cause
                .downcast_ref::<std::io::Error>()
                .is_some_and(|error| error.kind() == BrokenPipe)
                || cause
                    .downcast_ref::<serde_json::Error>()
                    .is_some_and(|error| error.io_error_kind() == Some(BrokenPipe))
        })
    };
    match written {
        Err(error) if !closed(&error) => Err(error),
        _ => Ok(ExitCode::SUCCESS),
    }
}
