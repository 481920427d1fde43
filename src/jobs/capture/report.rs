//! What a capture has come to.

use crate::image::counted;
use crate::link::LinkStats;
use humansize::{BINARY, format_size};
use serde::Serialize;
use std::fmt;

/// What a capture has come to.
#[derive(Clone, Debug, Serialize)]
pub struct CaptureReport {
    /// Its id on the shelf.
    pub id: String,
    /// Its folder.
    pub folder: String,
    /// The module.
    pub specimen: String,
    /// Taken from the simulated bench.
    pub simulated: bool,
    /// The length of the copy.
    pub bytes: u64,
    /// SHA-256 of the copy.
    pub sha256: String,
    /// Blocks that no two passes under opposite conditions gave alike.
    pub blocks_unsettled: usize,
    /// Words that differed between any two passes.
    pub words_unsteady: u64,
    /// A sentence for each space that has some.
    pub unsteady: Vec<String>,
    /// What agreement cannot exclude.
    pub doubts: Vec<String>,
    /// How often it was interrupted and gone on with.
    pub resumed: u32,
    /// The link in one word.
    pub link: &'static str,
    /// What the link has counted.
    pub link_stats: LinkStats,
}

impl fmt::Display for CaptureReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let size = format_size(self.bytes, BINARY);
        if self.blocks_unsettled == 0 {
            writeln!(
                f,
                "{}: {size} of {} agreed, kept as {}",
                self.id, self.specimen, self.folder
            )?;
        } else {
            writeln!(
                f,
                "{}: {size} of {} kept as {}, but {} never held still: clean the contacts, \
                 check rail and access time, and capture again",
                self.id,
                self.specimen,
                self.folder,
                counted(self.blocks_unsettled as u64, "block")
            )?;
        }
        writeln!(f, "  SHA-256 {}", self.sha256)?;
        for sentence in &self.unsteady {
            writeln!(f, "  unsteady: {sentence}")?;
        }
        for doubt in &self.doubts {
            writeln!(f, "  doubt: {doubt}")?;
        }
        if self.resumed > 0 {
            let times = counted(u64::from(self.resumed), "interruption");
            writeln!(f, "  gone on with after {times}")?;
        }
        write!(
            f,
            "  link {}: {} sent, {} again, {} damaged",
            self.link,
            counted(self.link_stats.frames_sent, "frame"),
            self.link_stats.repeats,
            self.link_stats.frames_damaged
        )
    }
}
