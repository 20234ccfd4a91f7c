//! `demo` and `serve`.

use std::{net::SocketAddr, path::PathBuf, process::ExitCode, sync::Arc, time::Duration};

use anyhow::{Context, bail};
use clap::Args;
use tokio::{net::TcpListener, signal, sync::watch};

use super::{DataAt, StoreAt};
use crate::{
    casebook::Asker,
    catalogue::{Catalogue, source},
    demo,
    follow::{Follower, Progress},
    knowledge::Knowledge,
    search::Shelf,
    store::Store,
    vacuum::residual_gas::Patterns,
    web::{self, App},
};

/// How long a start waits for an index that is being rebuilt while the old one is searched.
const REBUILD: Duration = Duration::from_secs(3);

/// The same where there is no old one to search: answers then say how much of the store they know.
const FIRST: Duration = Duration::from_secs(20);

#[derive(Debug, Args)]
pub(super) struct Demo {
    /// Where to listen; this machine only
    #[arg(long, value_name = "ADDR", default_value = "127.0.0.1:8080")]
    listen: SocketAddr,
    /// A folder for the demo's store and index, kept between runs [default: a fresh temporary one]
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(super) struct Serve {
    #[command(flatten)]
    store: StoreAt,
    #[command(flatten)]
    data: DataAt,
    /// Where to listen; this machine only
    #[arg(long, value_name = "ADDR")]
    listen: SocketAddr,
}

impl Demo {
    pub(super) async fn run(self) -> anyhow::Result<ExitCode> {
        // Held until the end: dropping it removes the folder.
        let temporary = match &self.data {
            Some(_) => None,
            None => Some(
                tempfile::Builder::new()
                    .prefix("coldtrap-demo-")
                    .tempdir()?,
            ),
        };
        let folder = match (&self.data, &temporary) {
            (Some(folder), _) => folder.clone(),
            (None, Some(temporary)) => temporary.path().to_owned(),
            (None, None) => bail!("there is no folder for the demo"),
        };
        std::fs::create_dir_all(&folder)
            .with_context(|| format!("cannot make the folder {}", folder.display()))?;
        let catalogue = Arc::new(source::built_in()?);
        let path = folder.join("demo.db");
        let store = Store::open(&format!("sqlite://{}", path.display())).await?;
        let patterns = Arc::new(source::patterns([folder.as_path()])?);
        demo::fill(&store, &catalogue).await?;
        serve(store, catalogue, patterns, folder, self.listen).await?;
        Ok(ExitCode::SUCCESS)
    }
}

impl Serve {
    pub(super) async fn run(self) -> anyhow::Result<ExitCode> {
        let (store, catalogue) = self.store.open().await?;
        let patterns = self.store.patterns(&self.data.data)?;
        serve(store, catalogue, patterns, self.data.data, self.listen).await?;
        Ok(ExitCode::SUCCESS)
    }
}

/// Serves until the process is asked to end.
async fn serve(
    store: Store,
    catalogue: Arc<Catalogue>,
    patterns: Arc<Patterns>,
    data: PathBuf,
    listen: SocketAddr,
) -> anyhow::Result<()> {
    if !listen.ip().is_loopback() {
        bail!(
            "cannot listen on {listen}: this version has no sign-in, so it serves this machine \
             only; use a loopback address such as 127.0.0.1:8080"
        );
    }
    let shelf = Shelf::open(&data)
        .with_context(|| format!("cannot open the search index in {}", data.display()))?;
    let knowledge = Arc::new(Knowledge::new(&catalogue)?);
    let follower = Follower::new(
        store.clone(),
        shelf,
        Arc::clone(&knowledge),
        Arc::clone(&catalogue),
    )
    .await?;
    let index = follower.index();
    let progress = follower.progress();
    let (stop, stopped) = watch::channel(false);
    let following = tokio::spawn(follower.run(stopped.clone()));
    let app = App {
        store: store.clone(),
        index,
        knowledge,
        catalogue,
        patterns,
        replays: Arc::default(),
        suggestions: Arc::default(),
        holding: Arc::default(),
        asker: Asker::console(),
        progress: progress.clone(),
    };
    let listener = TcpListener::bind(listen)
        .await
        .with_context(|| format!("cannot listen on {listen}"))?;
    let address = listener.local_addr()?;
    let mut asked_to_stop = stopped.clone();
    let serving = tokio::spawn(async move {
        web::serve(listener, app, async move {
            let _ = asked_to_stop.wait_for(|stop| *stop).await;
        })
        .await
    });
    tokio::select! {
        answering = answering(progress) => {
            answering?;
            println!("listening on http://{address}");
            println!("No sign-in yet: only this machine can reach it. Ctrl-C ends it.");
            interrupted().await?;
        }
        ended = interrupted() => ended?,
    }
    stop.send_replace(true);
    serving.await??;
    following.await?;
    store.close().await;
    Ok(())
}

/// Waits until everything is found; while a new index is being made, not for longer than people
/// would.
async fn answering(mut progress: watch::Receiver<Progress>) -> anyhow::Result<()> {
    let now = *progress.borrow();
    let patience = match (now.old_serves, now.filling) {
        (true, _) => REBUILD,
        (false, Some(_)) => FIRST,
        (false, None) => Duration::MAX,
    };
    let waited = tokio::time::timeout(patience, progress.wait_for(|p| p.caught_up));
    if let Ok(caught_up) = waited.await {
        caught_up.context("the search index stopped following the store")?;
    }
    Ok(())
}

async fn interrupted() -> anyhow::Result<()> {
    let mut terminate = signal::unix::signal(signal::unix::SignalKind::terminate())?;
    tokio::select! {
        interrupt = signal::ctrl_c() => interrupt?,
        _ = terminate.recv() => {}
    }
    Ok(())
}
