//! Sheet against board, shapes, and the rail: what stands before and after every job.

use super::runs::renew;
use super::{Desk, Event, JobError};
use crate::bus::{Millivolts, Nanos, ShapeTimes};
use crate::link::{FoundAgain, LinkError, find_again};
use crate::module::{AdapterSheet, Board, ControlLine, Sheet, SpaceAccess, plan_access};
use crate::wire::{
    HelloReply, Kind, RailAction, RailReply, RailRequest, Reply, Request, ShapeRequest,
};

/// Time for the rail to reach the floor; supplies with soft start need some (common practice, no
/// source).
const SETTLE_MS: u16 = 500;
/// The rail counts as up from this share of its nominal voltage, in per cent.
const FLOOR_PERCENT: u32 = 90;
/// The rail may differ from the sheet by this much, in per cent.
const RAIL_PERCENT: u32 = 5;
/// Below 300 mV for at least so long counts as having been without supply.
const OFF_FOR_MS: u64 = 100;
/// STOP, the fall of the rail and repeats: the longest time to the safe state while reading.
const OFF_WITHIN_MS: u64 = 3_000;
/// I/O pins may be above the rail by this much.
const IO_ABOVE: u16 = 300;

/// A module whose rail is on.
#[derive(Clone, Debug)]
pub struct Powered {
    /// How each space is reached, in sheet order.
    pub access: Vec<SpaceAccess>,
    /// The times that the adapter really makes: normal and slow, per space.
    pub times: Vec<(ShapeTimes, ShapeTimes)>,
}

/// Checks lines and voltages of the board against the sheet; nothing is switched.
pub fn check_fit(
    sheet: &Sheet,
    adapter: Option<&AdapterSheet>,
    hello: &HelloReply,
) -> Result<Vec<SpaceAccess>, JobError> {
    let access = plan_access(sheet, adapter, &board(hello))?;
    let wanted = sheet.rail;
    let fits = |mv: &Millivolts| {
        let off = u32::from(mv.0.abs_diff(wanted.0));
        off * 100 <= u32::from(wanted.0) * RAIL_PERCENT
    };
    // The first is the one the board is set to; another one is a jumper away.
    if !hello.rails.first().is_some_and(fits) {
        let has: Vec<_> = hello.rails.iter().map(Millivolts::to_string).collect();
        return Err(JobError::Safety(format!(
            "the sheet of {} asks for a rail of {wanted}, the board has {}; set the board to the \
             module's voltage (the first is what it is set to), and never the sheet to the \
             board's",
            sheet.name,
            if has.is_empty() { "none".into() } else { has.join(", ") }
        )));
    }
    if hello.io_high.0 > wanted.0.saturating_add(IO_ABOVE) {
        return Err(JobError::Safety(format!(
            "the board drives its lines to {} ({}), which is more than 300 mV above the module's \
             rail of {wanted}: a module is ruined that way; use level shifters",
            hello.io_high,
            if hello.io_measured { "measured" } else { "declared" }
        )));
    }
    if wanted > hello.input_max {
        return Err(JobError::Safety(format!(
            "the module's rail of {wanted} is above the {} that the board's inputs take; use \
             level shifters",
            hello.input_max
        )));
    }
    Ok(access)
}

fn board(hello: &HelloReply) -> Board {
    let control = hello.control.iter().map(|line| ControlLine {
        name: line.name.clone(),
        write_strobe: line.write_strobe,
        pulled_down: line.pulled_down,
    });
    Board {
        data_lines: hello.data_lines,
        address_lines: hello.address_lines,
        control: control.collect(),
        shortest: hello.shortest,
        shape_slots: hello.sizes.shape_slots,
    }
}

/// Gives the adapter every shape and switches the rail on.
pub async fn power_up(
    desk: &Desk<'_>,
    sheet: &Sheet,
    access: Vec<SpaceAccess>,
) -> Result<Powered, JobError> {
    desk.check()?;
    let client = &desk.client;
    let mut times = Vec::new();
    for space in &access {
        let mut used = [ShapeTimes::default(); 2];
        for (slot, (id, shape)) in
            used.iter_mut().zip([(space.id, space.shape), (space.slow_id, space.slow)])
        {
            if let Reply::Shape(reply) =
                client.call(Request::Shape(ShapeRequest { id, shape })).await?
            {
                *slot = reply.used;
            }
        }
        times.push((used[0], used[1]));
    }
    desk.check()?;
    let floor = u32::from(sheet.rail.0) * FLOOR_PERCENT / 100;
    let request = RailRequest {
        action: RailAction::On,
        expected: sheet.rail,
        settle_ms: SETTLE_MS,
        floor: Millivolts(floor as u16),
        shapes: (access.len() * 2) as u8,
    };
    rail(desk, request).await?;
    if desk.chain.borrow().is_used() {
        // It was halted when the rail went off before.
        renew(desk).await?;
    }
    Ok(Powered { access, times })
}

/// Switches the rail off long enough that every chip forgets what is not in its cells, and on
/// again; how it was told that the rail was off.
pub async fn power_cycle(
    desk: &Desk<'_>,
    sheet: &Sheet,
    access: Vec<SpaceAccess>,
) -> Result<(Powered, RailReply), JobError> {
    let off = power_down(desk).await?;
    desk.client.sleep(Nanos::from_millis(OFF_FOR_MS)).await;
    Ok((power_up(desk, sheet, access).await?, off))
}

/// Stops what runs and switches the rail off; the reply comes when it has fallen.
pub async fn power_down(desk: &Desk<'_>) -> Result<RailReply, LinkError> {
    // STOP empties the adapter's queue, so that rail off is the next thing it does.
    desk.client.call(Request::Stop).await?;
    rail(desk, RailRequest::OFF).await
}

async fn rail(desk: &Desk<'_>, request: RailRequest) -> Result<RailReply, LinkError> {
    let on = request.action == RailAction::On;
    if on {
        desk.rail_asked.set(true);
    }
    let reply = desk.client.call(Request::Rail(request)).await?;
    let Reply::Rail(rail) = reply else {
        return Err(LinkError::unexpected(Kind::RAIL, &reply));
    };
    desk.rail_asked.set(on);
    desk.tell(&Event::Rail { on, mv: rail.mv.0, measured: rail.measured });
    Ok(rail)
}

/// The end of a job whose adapter cannot be asked any more: what is known of the rail is said.
fn out_of_reach(desk: &Desk<'_>, error: LinkError, at: Option<String>) -> JobError {
    let ended = JobError::Link { error, at };
    if !desk.rail_asked.get() {
        return ended;
    }
    desk.tell(&Event::RailUnknown);
    let stopped = if desk.cancel.is_requested() { "stopped on request; " } else { "" };
    JobError::RailUnknown { before: format!("{stopped}{ended}") }
}

/// Switches the rail on, does `work` and switches it off again, however the work ends.
///
/// Work that was done counts as not done where the rail could not be proven off afterwards.
pub async fn with_rail<R>(
    desk: &Desk<'_>,
    sheet: &Sheet,
    hello: &HelloReply,
    access: Vec<SpaceAccess>,
    work: impl AsyncFnOnce(&Powered) -> Result<R, JobError>,
) -> Result<R, JobError> {
    let before = "the job was done".to_owned();
    match on_and_off(desk, sheet, hello, access, work).await? {
        (done, None) => Ok(done),
        (_, Some(error)) => Err(JobError::RailUnproven { before, error }),
    }
}

/// The same for the last work of a job whose report is worth telling in any case: where the rail
/// could not be proven off, the runner says so with the report.
pub async fn with_rail_told<R>(
    desk: &Desk<'_>,
    sheet: &Sheet,
    hello: &HelloReply,
    access: Vec<SpaceAccess>,
    work: impl AsyncFnOnce(&Powered) -> Result<R, JobError>,
) -> Result<R, JobError> {
    let (done, unproven) = on_and_off(desk, sheet, hello, access, work).await?;
    *desk.rail_unproven.borrow_mut() = unproven;
    Ok(done)
}

/// What came of the work, and why the rail is not known to be off after it.
async fn on_and_off<R>(
    desk: &Desk<'_>,
    sheet: &Sheet,
    hello: &HelloReply,
    access: Vec<SpaceAccess>,
    work: impl AsyncFnOnce(&Powered) -> Result<R, JobError>,
) -> Result<(R, Option<LinkError>), JobError> {
    let result = match power_up(desk, sheet, access).await {
        Ok(powered) => work(&powered).await,
        Err(error) => Err(error),
    };
    let result = match result {
        Err(JobError::Link { error: error @ LinkError::Silent { .. }, at }) => {
            match find_again(&desk.client, hello).await {
                FoundAgain::Restarted => {
                    return Err(out_of_reach(desk, LinkError::Restarted, at));
                }
                // It went to its reset rate because it had heard nothing for long.
                FoundAgain::Same => {
                    let error = desk.client.dead_man().unwrap_or(error);
                    Err(JobError::Link { error, at })
                }
                FoundAgain::No => Err(JobError::Link { error, at }),
            }
        }
        other => other,
    };
    if desk.cancel.is_requested() {
        desk.tell(&Event::Stopping { within_ms: OFF_WITHIN_MS });
    }
    match (result, power_down(desk).await) {
        (result, Ok(_)) => Ok((result?, None)),
        // The session is over: the job's own error says what happened.
        (Err(JobError::Link { error, at }), Err(_)) if error.is_final() => {
            Err(out_of_reach(desk, error, at))
        }
        (Ok(done), Err(error)) => Ok((done, Some(error))),
        (Err(before), Err(error)) => {
            Err(JobError::RailUnproven { before: before.to_string(), error })
        }
    }
}
