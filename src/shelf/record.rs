//! The record of a capture: everything that was known when it was taken.
//!
//! A record of another version of this program may have keys that are not known here (they are
//! passed over) and lack some that are (they take the value that says nothing).

mod parts;

pub(crate) use parts::{
    AdapterRecord, ChipRecord, DoubtRecord, LinkRecord, PassRecord, SheetRecord, SpaceRecord,
    UnsteadyRecord,
};

use super::{BLOCK_BYTES, CaptureId, Label, Lacks, SpaceSummary, Start, sha256_hex};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// The number of this layout of the record.
const FORMAT: u32 = 1;

/// What a record says about something nobody looked at.
pub(crate) const NOT_LOOKED: &str = "not looked";

/// The record of a capture.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Record {
    /// The layout of this record.
    pub(crate) format: u32,
    /// The capture's id; `None` until it is finished.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) id: Option<CaptureId>,
    /// Its running number; 0 until it is finished.
    #[serde(default)]
    pub(crate) number: u32,
    /// When it was finished, UTC.
    pub(crate) time: Timestamp,
    /// The module.
    pub(crate) specimen: Label,
    /// Taken from the simulated bench?
    pub(crate) simulated: bool,
    /// Said by the person who took it.
    #[serde(default)]
    pub(crate) note: String,
    /// How often it was interrupted and gone on with.
    #[serde(default)]
    pub(crate) resumed: u32,
    /// The version of this program that wrote the record.
    #[serde(default)]
    pub(crate) tool_version: String,
    /// The length of the content in bytes.
    pub(crate) bytes: u64,
    /// SHA-256 of the content.
    pub(crate) sha256: String,
    /// The size of the blocks that have checksums, in bytes.
    pub(crate) block_bytes: u32,
    /// What was found out about the lines.
    #[serde(default = "not_looked")]
    pub(crate) line_verdicts: String,
    /// The adapter.
    #[serde(default)]
    pub(crate) adapter: AdapterRecord,
    /// How the line did.
    #[serde(default)]
    pub(crate) link: LinkRecord,
    /// The module sheet.
    pub(crate) sheet: SheetRecord,
    /// The spaces, in the order of the content.
    #[serde(rename = "space")]
    pub(crate) spaces: Vec<SpaceRecord>,
}

fn not_looked() -> String {
    NOT_LOOKED.to_owned()
}

impl Record {
    /// What it lacks to be a whole copy that held still.
    pub(crate) fn lacks(&self) -> Lacks {
        let spaces: Vec<_> = self.spaces.iter().map(SpaceSummary::from).collect();
        Lacks::of(&spaces, &self.sheet.text)
    }

    /// A record of what `start` says, for a sheet of that name and text; everything that was
    /// found out is still to be filled in. Sums, id and number are set when the capture is
    /// finished.
    pub(crate) fn new(start: &Start, sheet_name: &str, sheet_text: &str, time: Timestamp) -> Self {
        let mut offset = 0;
        let spaces = start.parts.iter().map(|part| {
            let space = SpaceRecord::new(part, offset);
            offset += part.bytes();
            space
        });
        Self {
            format: FORMAT,
            id: None,
            number: 0,
            time,
            specimen: start.specimen.clone(),
            simulated: start.simulated,
            note: String::new(),
            resumed: 0,
            tool_version: env!("CARGO_PKG_VERSION").to_owned(),
            spaces: spaces.collect(),
            bytes: start.total_bytes(),
            sha256: String::new(),
            block_bytes: BLOCK_BYTES,
            line_verdicts: not_looked(),
            adapter: AdapterRecord::default(),
            link: LinkRecord::default(),
            sheet: SheetRecord {
                name: sheet_name.to_owned(),
                sha256: sha256_hex(sheet_text.as_bytes()),
                text: sheet_text.to_owned(),
            },
        }
    }
}
