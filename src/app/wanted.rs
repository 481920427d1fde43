//! What a user wants to work on, and what that means once the adapter has answered.

use super::Known;
use super::chosen::{Chosen, Keep, choose_sheet, same_kind};
use super::sheets::{bench_sheet, load_adapter_sheet, refuse_unchecked};
use crate::image::SPECIMEN;
use crate::jobs::{Arrival, Desk, Event, JobError, check_fit};
use crate::link::{RatePlan, connect_told, raise_rate};
use crate::module::{Sheet, SpaceAccess};
use crate::shelf::Label;
use crate::sim::BenchDescription;
use crate::wire::{HelloReply, PingReply, RailRequest, RailState, Reply, Request};

/// Names from the command line or the dialogs.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wanted {
    /// A module sheet, by name or file.
    pub sheet: Option<String>,
    /// An adapter sheet's file.
    pub adapter: Option<String>,
    /// The label of the individual module.
    pub specimen: Option<String>,
}

/// Everything that a job needs to begin; nothing is switched yet.
pub(super) struct Ready<'a> {
    pub hello: HelloReply,
    pub sheet: Sheet,
    pub access: Vec<SpaceAccess>,
    pub simulated: bool,
    pub specimen: Option<Label>,
    /// What to remember once the rail is on: nothing of a run that is refused.
    pub keep: Keep<'a>,
}

/// What is known before the adapter has answered.
pub(super) struct Before<'a> {
    pub wanted: &'a Wanted,
    pub plan: RatePlan,
    pub identity: &'a str,
    pub known: &'a mut Known,
    /// The simulated bench inside this program.
    pub bench: Option<&'a BenchDescription>,
}

/// Finds the adapter, then the sheet, then checks that they go together: in this order, and the
/// rail is not switched.
pub(super) async fn ready<'a>(desk: &Desk<'_>, before: Before<'a>) -> Result<Ready<'a>, JobError> {
    let Before { wanted, plan, identity, known, bench } = before;
    // Files first: a wrong one must not cost a search for the adapter.
    let adapter = wanted.adapter.as_deref().map(load_adapter_sheet).transpose()?;
    let named = wanted.sheet.as_deref().map(super::sheets::load_sheet).transpose()?;
    let specimen = wanted.specimen.as_deref().map(label).transpose()?;
    let mut told = false;
    let busy = |most: u32| {
        // It is asked again and again; said once.
        if !std::mem::replace(&mut told, true) {
            desk.caution(format!(
                "the adapter is still busy with what an earlier session left: it is waited for, \
                 {} s at most. Until then nobody knows whether the rail is on: do not touch the \
                 module",
                most.div_ceil(1_000)
            ));
        }
    };
    let hello = connect_told(&desk.client, plan, busy).await?;
    desk.show(&Arrival::Adapter(&hello));
    let rate = match plan.fixed {
        Some(fixed) => Some(fixed),
        None => raise_rate(&desk.client, &hello, None).await?,
    };
    desk.tell(&Event::Connected {
        board: hello.board.clone(),
        firmware: hello.firmware.clone(),
        baud: rate.map(|rate| rate.0),
    });
    let simulated = bench_sheet(&hello.board).is_some();
    if !simulated {
        let _ = known.real_port();
    }
    if bench.is_none() {
        let _ = known.remember(identity, |adapter| adapter.rate = rate.map(|rate| rate.0));
    }
    leave_no_rail_on(desk, &hello).await?;
    let sheet = if let Some(sheet) = named {
        sheet
    } else {
        let of_bench = bench.filter(|_| simulated).map(|bench| bench.sheet.as_str());
        let Chosen { sheet, remembered } = choose_sheet(of_bench, &hello.board, known, identity)?;
        if let Some(name) = remembered {
            desk.caution(format!("sheet {}: {name} (remembered for this adapter)", sheet.name));
        }
        sheet
    };
    let access = check_fit(&sheet, adapter.as_ref(), &hello)?;
    refuse_unchecked(&sheet)?;
    let specimen = match (specimen, simulated) {
        (Some(label), _) => Some(label),
        (None, true) => Some(bench_label(bench, &hello.board)?),
        (None, false) => None,
    };
    if let Some(label) = &specimen {
        same_kind(label, &sheet)?;
    }
    desk.show(&Arrival::Bench { sheet: &sheet, specimen: specimen.as_ref(), simulated });
    let named = wanted.sheet.as_deref().filter(|_| bench.is_none());
    let keep = Keep::new(known, identity, named, &sheet);
    Ok(Ready { hello, sheet, access, simulated, specimen, keep })
}

pub(super) fn label(text: &str) -> Result<Label, JobError> {
    Label::parse(text).map_err(|error| JobError::Usage(error.to_string()))
}

/// The bench's own label: its description's, or that of the built-in bench that is served.
fn bench_label(bench: Option<&BenchDescription>, board: &str) -> Result<Label, JobError> {
    let served = || BenchDescription::builtin(bench_sheet(board)?).map(|bench| bench.specimen);
    let own = bench.map(|bench| bench.specimen.clone()).or_else(served);
    label(&own.ok_or_else(|| {
        JobError::Usage(format!(
            "which specimen is in the bench there? It calls itself {board} and is none of the \
             built-in ones, and a label does not travel on the wire: name the one of its file, such \
             as {SPECIMEN} \"TG-7 #0417\""
        ))
    })?)
}

/// A host that was killed may have left the rail on; a new session has cleared its shapes.
async fn leave_no_rail_on(desk: &Desk<'_>, hello: &HelloReply) -> Result<(), JobError> {
    let Reply::Ping(PingReply { rail, rail_mv, .. }) = desk.client.call(Request::Ping).await?
    else {
        return Ok(());
    };
    let (mut mv, mut measured) = (rail_mv.0, hello.rail_sensed);
    if !matches!(rail, RailState::Off | RailState::Tripped) {
        desk.caution("the rail was still on from an earlier session; it is switched off first");
        let off = desk.client.call(Request::Rail(RailRequest::OFF)).await?;
        if let Reply::Rail(off) = off {
            (mv, measured) = (off.mv.0, off.measured);
        }
    }
    desk.show(&Arrival::RailOff { mv, measured });
    Ok(())
}
