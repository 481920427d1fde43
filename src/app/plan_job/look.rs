//! What stands before a plan: the chips, and a copy of the module that is sure to be of now.

use super::backup::{Backup, backup};
use crate::app::chosen::Keep;
use crate::app::identify_job::{Keeper, is_unsure, remember, twins};
use crate::app::parts::{Asked, parts};
use crate::app::unsettled::Unsettled;
use crate::chips::Catalogue;
use crate::jobs::{
    Arrival, Desk, IdentifyReport, IdentifyRequest, JobError, Powered, identify, refuse_locked,
    with_rail,
};
use crate::module::{Sheet, SpaceAccess};
use crate::shelf::{ChipFile, Label, Shelf};
use crate::wire::HelloReply;

/// The module in hand, and who works on it.
pub(in crate::app) struct Subject<'a, 'd> {
    /// Its sheet.
    pub sheet: &'a Sheet,
    /// The adapter.
    pub hello: &'a HelloReply,
    /// Its label.
    pub specimen: &'a Label,
    /// It is the simulated bench's.
    pub simulated: bool,
    /// Where captures are.
    pub shelf: &'a Shelf,
    /// The link, and where events go.
    pub desk: &'a Desk<'d>,
    /// A write of it that has come to no good end.
    pub unsettled: Option<&'a Unsettled>,
    /// Chip files that add to the part list, and that list.
    pub chip_files: &'a [ChipFile],
    pub catalogue: &'a Catalogue,
}

/// What was found.
pub(in crate::app) struct Looked {
    /// Its chips.
    pub found: IdentifyReport,
    /// An agreed copy of all of it, which it equals; without sectors in doubt.
    pub backup: Backup,
}

/// Switches the rail on, identifies the module, finds the copy on the shelf that it equals (or
/// takes one), and switches the rail off.
pub(in crate::app) async fn look(
    subject: &Subject<'_, '_>,
    access: Vec<SpaceAccess>,
    keep: Keep<'_>,
) -> Result<Looked, JobError> {
    refuse_locked(subject.desk).await?;
    with_rail(subject.desk, subject.sheet, subject.hello, access, async |powered| {
        keep.now();
        look_powered(subject, powered).await
    })
    .await
}

/// The same while the rail is on.
pub(in crate::app) async fn look_powered(
    subject: &Subject<'_, '_>,
    powered: &Powered,
) -> Result<Looked, JobError> {
    let Subject { sheet, hello, specimen, simulated, shelf, desk, unsettled, catalogue, .. } =
        *subject;
    let mut whole = parts(sheet, Asked::default())?;
    let mut in_doubt = Vec::new();
    if let Some(unsettled) = unsettled {
        whole = unsettled.sure(sheet, whole);
        in_doubt = unsettled.words(sheet);
    }
    let mut twins = twins(desk, shelf, sheet, simulated);
    for (space, twins) in sheet.spaces.iter().zip(&mut twins) {
        // The whole module is compared below; only these must be known before commands.
        if !is_unsure(space) {
            twins.clear();
        }
    }
    let request = IdentifyRequest {
        specimen: Some(specimen.to_string()),
        simulated,
        probe: None,
        twins,
        in_doubt,
    };
    let mut keeper = Keeper { desk, sheet, hello, shelf, specimen: Some(specimen), simulated };
    let (found, _) = identify(desk, sheet, hello, powered, catalogue, request, &mut keeper).await?;
    desk.show(&Arrival::Identified(&found));
    remember(desk, shelf, sheet, specimen.clone(), &found);
    let backup = backup(subject, powered, &whole).await?;
    Ok(Looked { found, backup })
}
