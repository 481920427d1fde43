//! The switch on the adapter that keeps every write strobe from the module.

use super::{Desk, JobError};
use crate::link::LinkError;
use crate::module::{NoWrite, SpaceAccess};
use crate::wire::{Reply, Request};

const LOCKED: &str = "the adapter's write switch is set to locked, and no write strobe reaches the \
                      module";

/// True if the board has a write switch and it is set to locked; people are told.
async fn is_locked(desk: &Desk<'_>) -> Result<bool, JobError> {
    match desk.client.call(Request::Ping).await? {
        Reply::Ping(ping) => Ok(ping.write_locked),
        other => Err(LinkError::unexpected(Request::Ping.kind(), &other).into()),
    }
}

/// Refuses what needs write cycles while the switch is set to locked.
pub(crate) async fn refuse_locked(desk: &Desk<'_>) -> Result<(), JobError> {
    if !is_locked(desk).await? {
        return Ok(());
    }
    Err(JobError::Safety(format!(
        "{LOCKED}. If this one is to be written, set the switch while the rail is off; nothing was \
         changed"
    )))
}

/// Says that chips cannot be asked while the switch is set to locked; then no space is written.
pub(crate) async fn caution_locked(
    desk: &Desk<'_>,
    access: &mut [SpaceAccess],
) -> Result<(), JobError> {
    if is_locked(desk).await? {
        desk.caution(format!(
            "{LOCKED}: flash chips cannot be asked what they are, since commands are write cycles"
        ));
        for space in access.iter_mut().filter(|space| space.no_write.is_none()) {
            space.no_write = Some(NoWrite::Switch);
        }
    }
    Ok(())
}
