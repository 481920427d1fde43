//! Identify: what is on the module, without harming what is not known.
//!
//! Every space is looked at by reading. Commands go only into spaces that the sheet calls flash,
//! and into one more that the person names; where the sheet names no family, or page writes, only
//! with an agreed capture at hand, and the sectors touched are compared with it afterwards.

mod ask;
mod locks;
mod look;
mod report;
mod space;
mod twins;

pub use locks::{Lock, Locks};
pub use report::{ChipReport, FlashFound, IdentifyReport, MIXED, SpaceReport};
pub use twins::{Twin, whole};

use super::runs::Runs;
use super::{Desk, Ending, JobError, Powered};
use crate::bus::WordAddress;
use crate::chips::{Catalogue, Family, Window};
use crate::module::{Kind, Sheet, Space};
use crate::wire::{DataPath, HelloReply};
use ask::Asker;
use std::ops::RangeInclusive;

/// What to identify, and what is known before.
#[derive(Debug)]
pub struct IdentifyRequest {
    /// The individual module, if it was named.
    pub specimen: Option<String>,
    /// It is the simulated bench's.
    pub simulated: bool,
    /// A space that the sheet does not call flash and that is to be asked all the same.
    pub probe: Option<usize>,
    /// Captures that each space may equal, in sheet order.
    pub twins: Vec<Vec<Twin>>,
    /// Words that may read other than a moment ago, by space: first and last on the bus.
    pub in_doubt: Vec<(usize, RangeInclusive<WordAddress>)>,
}

/// Takes captures for a job that must have one.
pub trait Keep {
    /// Captures space `index` whole, onto the shelf.
    async fn keep(&mut self, powered: &Powered, index: usize) -> Result<Twin, JobError>;
}

/// Looks at every space of the sheet and asks the chips of its flash.
pub async fn identify(
    desk: &Desk<'_>,
    sheet: &Sheet,
    hello: &HelloReply,
    powered: &Powered,
    catalogue: &Catalogue,
    request: IdentifyRequest,
    keeper: &mut impl Keep,
) -> Result<(IdentifyReport, Ending), JobError> {
    let mut report = IdentifyReport {
        specimen: request.specimen,
        simulated: request.simulated,
        board: hello.board.clone(),
        sheet: sheet.name.clone(),
        rail_mv: sheet.rail.0,
        spaces: Vec::new(),
        captured: Vec::new(),
    };
    let verdicts = hello.data_path != DataPath::AutoDirection;
    let mut runs = Runs::new(desk, hello.sizes);
    let mut candidates = request.twins.into_iter();
    for (index, space) in sheet.spaces.iter().enumerate() {
        let looked = look::look(desk, powered, index, space).await?;
        let shape_times = powered.times.get(index).map(|times| times.0).unwrap_or_default();
        let window = Window::new(hello.atomic.operation, hello.atomic.cycle, &shape_times);
        let mut found = space::looked_at(space, looked, verdicts, window);
        let candidates = candidates.next().unwrap_or_default();
        let twins = twins::twins(desk, hello, powered, (index, space), candidates).await?;
        found.equals = twins.iter().map(|twin| twin.name.clone()).collect();
        if to_be_asked(space, index, request.probe, powered, &mut found)
            && quick_enough(desk, powered, catalogue, (index, space), &mut found).await?
        {
            let careful = is_careful(space);
            let copy = match twins.into_iter().find(|twin| twin.agreed) {
                _ if !careful => None,
                Some(twin) => Some(twin),
                None => {
                    let kept = keeper.keep(powered, index).await?;
                    report.captured.push(kept.name.clone());
                    Some(kept)
                }
            };
            if copy.as_ref().is_some_and(|copy| !copy.agreed) {
                found.warnings.push(
                    "its capture did not agree, so no command was sent: find the reason first"
                        .into(),
                );
                report.spaces.push(found);
                continue;
            }
            let in_doubt = request.in_doubt.iter().filter(|(of, _)| *of == index);
            let in_doubt: Vec<_> = in_doubt.map(|(_, words)| words.clone()).collect();
            let mut asker = Asker {
                desk,
                runs: &mut runs,
                slow: powered.access[index].slow_id,
                width: space.width,
                catalogue,
                careful,
                in_doubt: &in_doubt,
            };
            let shape = powered.access[index].id;
            space::ask_space(&mut asker, space, shape, sheet.rail, &mut found).await?;
            if let Some(copy) = copy {
                let name = copy.name.clone();
                let still = twins::twins(desk, hello, powered, (index, space), vec![copy]).await?;
                if still.is_empty() {
                    found.warnings.push(format!(
                        "after the commands {} no longer equals the capture {name}: that capture \
                         is the good copy, keep it",
                        space.name
                    ));
                }
            }
        }
        report.spaces.push(found);
    }
    let good = report.spaces.iter().all(|space| space.warnings.is_empty());
    Ok((report, if good { Ending::Good } else { Ending::No }))
}

/// Commands may be data to what is there: a copy comes first.
fn is_careful(space: &Space) -> bool {
    space.kind != Kind::Flash || matches!(space.family, None | Some(Family::Page))
}

fn to_be_asked(
    space: &Space,
    index: usize,
    probe: Option<usize>,
    powered: &Powered,
    found: &mut SpaceReport,
) -> bool {
    if space.kind != Kind::Flash && probe != Some(index) {
        return false;
    }
    if let Some(why) = &powered.access[index].no_write {
        found.notes.push(format!("no command was sent: {why}"));
        return false;
    }
    let silent =
        found.chips.iter().all(|chip| chip.presence == look::Presence::Nothing.to_string());
    if silent {
        found.notes.push("no command was sent to where nothing answers".into());
    }
    !silent
}

/// False, with a note, where page-write parts are or may be and the adapter is too slow for them.
async fn quick_enough(
    desk: &Desk<'_>,
    powered: &Powered,
    catalogue: &Catalogue,
    (index, space): (usize, &Space),
    found: &mut SpaceReport,
) -> Result<bool, JobError> {
    let shape = powered.access[index].id;
    let Some(slow) = space::too_slow(space, shape, &found.window, catalogue) else {
        return Ok(true);
    };
    if let Some(words) = slow.beyond
        && look::goes_on(desk, powered, index, space, words).await?
    {
        return Ok(true);
    }
    found.notes.push(slow.note.clone());
    found.too_slow = Some(slow.note);
    Ok(false)
}
