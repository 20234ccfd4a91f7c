//! `export`.

use std::{
    collections::{HashMap, HashSet},
    io::{self, BufWriter, Write},
    process::ExitCode,
};

use anyhow::Context;
use clap::Args;

use super::StoreAt;
use crate::{
    casebook::{self, Asker, Calculation, Site, SiteCode, Tool, ToolId},
    catalogue::Catalogue,
    store::Store,
};

/// Incidents read from the store at a time.
const BATCH: i64 = 1_000;

#[derive(Debug, Args)]
pub(super) struct Export {
    #[command(flatten)]
    store: StoreAt,
}

impl Export {
    pub(super) async fn run(self) -> anyhow::Result<ExitCode> {
        let (store, catalogue) = self.store.open_existing().await?;
        let out = BufWriter::with_capacity(1 << 20, io::stdout().lock());
        super::until_pipe_closes(write(&store, &catalogue, out).await)
    }
}

async fn write(store: &Store, catalogue: &Catalogue, mut out: impl Write) -> anyhow::Result<()> {
    let asker = Asker::console();
    let sites: HashMap<SiteCode, Site> = store
        .sites(&asker)
        .await?
        .into_iter()
        .map(|site| (site.code.clone(), site))
        .collect();
    let calculated: HashSet<i64> = store.with_calculations().await?.into_iter().collect();
    let mut tools: HashMap<ToolId, Tool> = HashMap::new();
    let mut after = 0;
    loop {
        let batch = store.filed_after(after, BATCH).await?;
        let Some(last) = batch.last() else {
            break;
        };
        after = last.number;
        for filed in &batch {
            let id = &filed.current().incident.tool;
            if !tools.contains_key(id) {
                for tool in store.tools(&asker).await? {
                    tools.insert(tool.id.clone(), tool);
                }
            }
            let tool = tools
                .get(id)
                .with_context(|| format!("incident {} names an unknown tool", filed.number))?;
            let details = sites
                .get(&tool.site)
                .map(|site| casebook::tool_details(tool, site, catalogue));
            let calculations: Vec<Calculation> = if calculated.contains(&filed.number) {
                let mut whole = Vec::new();
                for attached in store.calculations(&asker, filed.number).await? {
                    let mut calculation = attached.calculation;
                    store.read_logs(&mut calculation).await?;
                    whole.push(calculation);
                }
                whole
            } else {
                Vec::new()
            };
            let record = casebook::filed_record(filed, &calculations, tool, details);
            serde_json::to_writer(&mut out, &record)?;
            out.write_all(b"\n")?;
        }
    }
    out.flush()?;
    Ok(())
}
