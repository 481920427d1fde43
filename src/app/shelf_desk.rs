//! What can be asked of the shelf without an adapter.

use super::shelf_lines::{
    after, indented, line, pending_line, pending_values, with_lacks, with_marks,
};
use super::unsettled::all_unsettled;
use crate::image::{counted, one_line, word_text};
use crate::jobs::JobError;
use crate::shelf::{Capture, CaptureId, Exported, Label, Listing, OsDisk, Shelf};
use jiff::Timestamp;
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::Path;
use std::sync::Arc;

/// An answer for people and for programs.
#[derive(Debug)]
pub struct Answer {
    /// For people.
    pub text: String,
    /// For programs.
    pub value: Value,
    /// Things that could not be read; they keep nothing else from being answered.
    pub troubles: Vec<String>,
    /// The exit code.
    pub code: u8,
}

impl Answer {
    /// A good answer without troubles.
    pub(super) fn good(text: String, value: Value) -> Self {
        Self { text, value, troubles: Vec::new(), code: 0 }
    }
}

/// The shelf, with the specimen that `@last` means.
pub struct ShelfDesk {
    shelf: Shelf,
    specimen: Option<Label>,
}

impl ShelfDesk {
    /// Opens the shelf in folder `root`.
    pub fn open(root: &Path, specimen: Option<&str>) -> Result<Self, JobError> {
        let specimen = specimen.map(super::wanted::label).transpose()?;
        Ok(Self { shelf: Shelf::open(Arc::new(OsDisk), root)?, specimen })
    }

    pub(super) fn shelf(&self) -> &Shelf {
        &self.shelf
    }

    fn find(&self, which: &str) -> Result<CaptureId, JobError> {
        Ok(self.shelf.find(which, self.specimen.as_ref())?)
    }

    fn get(&self, which: &str) -> Result<Capture, JobError> {
        Ok(self.shelf.get(which, self.specimen.as_ref())?)
    }

    fn nothing_yet(&self) -> String {
        format!("nothing on the shelf in {} yet", one_line(self.shelf.root().display()))
    }

    /// What is said first of writes that have come to no good end: of one module, or of all.
    fn warnings(&self, of: Option<&Label>) -> Vec<String> {
        all_unsettled(&self.shelf, of).unwrap_or_else(|error| vec![error.to_string()])
    }

    /// Every capture, one a line, of the specimen if one is named.
    pub fn list(&self) -> Result<Answer, JobError> {
        let Listing { captures, pending, troubles } = self.shelf.list()?;
        let wanted = |label: &Label| self.specimen.as_ref().is_none_or(|mine| mine == label);
        let captures: Vec<_> = captures.iter().filter(|one| wanted(&one.specimen)).collect();
        let pending: Vec<_> = pending.iter().filter(|one| wanted(&one.start.specimen)).collect();
        let mut text = String::new();
        for one in &captures {
            let _ = writeln!(text, "{}", line(one));
        }
        for one in &pending {
            let _ = writeln!(text, "{}", pending_line(one));
        }
        if text.is_empty() {
            text = self.nothing_yet();
        }
        let value = json!({
            "captures": captures.iter().map(|one| with_marks(one)).collect::<Vec<_>>(),
            "unfinished": pending_values(&pending, false),
            "set_aside": pending_values(&pending, true),
        });
        let code = u8::from(!troubles.is_empty());
        let troubles = troubles.iter().map(ToString::to_string);
        let troubles = troubles.chain(self.warnings(self.specimen.as_ref())).collect();
        Ok(Answer { troubles, code, ..Answer::good(text.trim_end().into(), value) })
    }

    /// The record of a capture with its notes; of a specimen's label its history.
    pub fn show(&self, which: &str) -> Result<Answer, JobError> {
        if which.contains('#') {
            return self.history(&super::wanted::label(which)?);
        }
        let Capture { id, folder, record, notes } = self.get(which)?;
        let mut text = String::new();
        let size = humansize::format_size(record.bytes, humansize::BINARY);
        let simulated = if record.simulated { ", simulated" } else { "" };
        let lacks = after(", ", &record.lacks());
        let _ = writeln!(text, "{id}: {} of {}{simulated}{lacks}", size, record.specimen);
        let _ = writeln!(text, "  taken {}, kept in {}", record.time, one_line(folder.display()));
        let _ = writeln!(text, "  SHA-256 {}", record.sha256);
        let _ = writeln!(text, "  sheet {} ({})", record.sheet.name, record.sheet.sha256);
        let adapter = &record.adapter;
        let _ = writeln!(text, "  adapter {} ({})", adapter.board, adapter.firmware);
        let _ = writeln!(text, "  lines: {}", record.line_verdicts);
        for space in &record.spaces {
            let _ = writeln!(
                text,
                "  {} ({}, {} bits): words {}+0x{:X}, checksums of {}",
                space.name,
                space.kind,
                space.width.bits(),
                space.base.plus(space.first.0),
                space.words,
                counted(space.crc32.len() as u64, "block")
            );
            for chip in &space.chips {
                let _ = writeln!(text, "    {} on {}: ids {}", chip.chip, chip.lane, chip.ids);
            }
            for pass in &space.passes {
                let _ = writeln!(
                    text,
                    "    pass {}: {}, precharge {}, step {}, {} ns, {}",
                    pass.number,
                    pass.kind,
                    pass.precharge,
                    pass.step,
                    pass.access_ns,
                    counted(u64::from(pass.blocks), "block")
                );
            }
            if space.unsteady.total > 0 {
                let _ = writeln!(
                    text,
                    "    unsteady: {}, on {}",
                    counted(space.unsteady.total, "word"),
                    space.unsteady.lines.join(", ")
                );
            }
            for word in &space.unsteady.words {
                let at = space.base.plus(word.address.0);
                let seen: Vec<_> =
                    word.seen.iter().map(|&value| word_text(space.width, value)).collect();
                let end = if word.settled { "then agreed" } else { "never agreed" };
                let lines = word.lines.join(", ");
                let _ = writeln!(text, "      word {at}: {} ({lines}), {end}", seen.join(" / "));
            }
            for doubt in &space.doubts {
                let _ = writeln!(text, "    doubt: {}", doubt.text);
            }
        }
        if !record.note.is_empty() {
            let _ = writeln!(text, "  note: {}", indented(&record.note));
        }
        for note in &notes {
            let _ = writeln!(text, "  note of {}: {}", note.time, indented(&note.text));
        }
        let value = json!({ "id": id.to_string(), "record": record, "notes": notes });
        let value = with_lacks(value, &record.lacks());
        let troubles = self.warnings(Some(&record.specimen));
        Ok(Answer { troubles, ..Answer::good(text.trim_end().into(), value) })
    }

    fn history(&self, label: &Label) -> Result<Answer, JobError> {
        let history = self.shelf.history(label)?;
        let mut text = format!("history of {label}");
        for line in &history.lines {
            let time = line.time.strftime("%Y-%m-%d %H:%M UTC");
            let capture = line.capture.as_ref().map(|id| format!(" {id}")).unwrap_or_default();
            let what = format!("{}{capture} {}", line.event, indented(&line.text));
            let _ = write!(text, "\n  {time}  {}", what.trim_end());
        }
        if history.lines.is_empty() {
            text.push_str(": nothing yet");
        }
        let mut troubles = self.warnings(Some(label));
        if history.damaged > 0 {
            let lines = counted(history.damaged as u64, "line");
            troubles.push(format!("{lines} of the history could not be read, and not shown"));
        }
        Ok(Answer { troubles, ..Answer::good(text, json!({ "history": history.lines })) })
    }

    /// Adds a note.
    pub fn note(&self, which: &str, text: &str) -> Result<Answer, JobError> {
        let id = self.find(which)?;
        self.shelf.note(&id, text, Timestamp::now())?;
        Ok(Answer::good(format!("noted on {id}"), json!({ "id": id.to_string() })))
    }

    /// Proves one capture, or all, against their records.
    pub fn check(&self, which: Option<&str>) -> Result<Answer, JobError> {
        let id = which.map(|which| self.find(which)).transpose()?;
        let reports = self.shelf.check(id.as_ref())?;
        let mut text = String::new();
        let mut value = Vec::new();
        for report in &reports {
            let faults: Vec<_> = report.faults.iter().map(ToString::to_string).collect();
            let verdict = if report.good() { "as recorded" } else { "NOT as recorded" };
            let _ = writeln!(text, "{}: {verdict}", report.id);
            for fault in &faults {
                let _ = writeln!(text, "  {fault}");
            }
            value.push(
                json!({ "id": report.id.to_string(), "good": report.good(), "faults": faults }),
            );
        }
        if reports.is_empty() {
            text = self.nothing_yet();
        }
        let bad = reports.iter().any(|report| !report.good());
        let of = id.and_then(|id| self.shelf.get(&id.to_string(), None).ok());
        // A record that cannot be read does not tell whose it is: then all are warned of.
        let troubles = self.warnings(of.as_ref().map(|of| &of.record.specimen));
        let good = Answer::good(text.trim_end().into(), Value::Array(value));
        Ok(Answer { code: u8::from(bad), troubles, ..good })
    }

    /// Writes a copy to a file.
    pub fn export(&self, which: &str, file: &Path) -> Result<Answer, JobError> {
        let Capture { id, record, .. } = self.get(which)?;
        let what = match self.shelf.export(&id, file)? {
            Exported::Written => "written to",
            Exported::AlreadyThere => "is already in",
        };
        let lacks = record.lacks();
        let text = format!("{id} {what} {}{}", one_line(file.display()), after(": ", &lacks));
        let value = json!({ "id": id.to_string(), "file": file });
        Ok(Answer::good(text, with_lacks(value, &lacks)))
    }
}
