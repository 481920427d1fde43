//! Opening a PORT for as long as the workbench keeps it.

use super::handle::Attention;
use super::paced_sim::PacedSim;
use crate::app::ports::{DEFAULT_BENCH, builtin_bench, identity, load_bench};
use crate::app::{Known, OpenPort, OpenPortError, PortName, open_port};
use crate::link::{Port, RatePlan};
use crate::sim::BenchDescription;
use jiff::Timestamp;
use std::sync::Arc;

/// A port that stays open from job to job.
pub(super) struct Opened {
    pub(super) port: Box<dyn Port>,
    pub(super) attention: Attention,
    pub(super) plan: RatePlan,
    pub(super) identity: String,
    pub(super) bench: Option<BenchDescription>,
    /// When the bench inside this program was made; nothing else is as young as that.
    pub(super) made: Option<Timestamp>,
}

/// Opens `name`; a simulated bench is in real time here, and the one that was open `before` is
/// still there, with the module in it, as a real one would be.
pub(super) fn open(
    name: &PortName,
    known: &Known,
    before: Option<Opened>,
) -> Result<Opened, OpenPortError> {
    if name.is_sim() {
        let (description, bench) = match name {
            PortName::SimFile(file) => load_bench(file)?,
            _ => builtin_bench(DEFAULT_BENCH)?,
        };
        let same = |one: &Opened| one.bench.as_ref() == Some(&description);
        if let Some(before) = before.filter(same) {
            return Ok(before);
        }
        let (port, attention) = PacedSim::new(bench);
        return Ok(Opened {
            port: Box::new(port),
            attention,
            plan: RatePlan::default(),
            identity: identity(name),
            bench: Some(description),
            made: Some(Timestamp::now()),
        });
    }
    let OpenPort { port, attention, plan, identity, bench } =
        open_port(name, |identity| known.rate(identity))?;
    let attention: Attention = match attention {
        Some(attention) => Arc::new(move || attention.call()),
        None => Arc::new(|| ()),
    };
    Ok(Opened { port, attention, plan, identity, bench, made: None })
}
