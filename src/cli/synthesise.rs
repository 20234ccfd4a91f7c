//! `synthesise`.

use std::{
    io::{self, BufWriter, Write},
    process::ExitCode,
};

use clap::Args;

use crate::{casebook, catalogue::source, synthesise::Fleet};

#[derive(Debug, Args)]
pub(super) struct Synthesise {
    /// How many incidents
    #[arg(long, value_name = "N", required_unless_present = "model")]
    incidents: Option<u64>,
    /// Any whole number; the same one gives the same bytes
    #[arg(long, value_name = "S")]
    seed: u64,
    /// Print what the incidents of this seed are drawn from instead: every true chance and
    /// time, as JSON
    #[arg(long, conflicts_with = "incidents")]
    model: bool,
}

impl Synthesise {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        super::until_pipe_closes(self.write())
    }

    fn write(self) -> anyhow::Result<()> {
        let catalogue = source::built_in()?;
        let mut out = BufWriter::with_capacity(1 << 20, io::stdout().lock());
        let fleet = Fleet::new(&catalogue, self.seed);
        if self.model {
            serde_json::to_writer_pretty(&mut out, &fleet.model())?;
            out.write_all(b"\n")?;
            return Ok(out.flush()?);
        }
        for made in fleet.incidents(self.incidents.unwrap_or_default()) {
            let details = casebook::tool_details(made.tool, made.site, &catalogue);
            let record = casebook::new_record(&made.incident, made.tool, Some(details));
            serde_json::to_writer(&mut out, &record)?;
            out.write_all(b"\n")?;
        }
        out.flush()?;
        Ok(())
    }
}
