//! The copy that leads back: whole, agreed, and equal to the module now.

use super::Subject;
use crate::app::identify_job::PASSES;
use crate::app::image::compared;
use crate::jobs::{
    CaptureRequest, Ending, JobError, Powered, Sums, VerifyPart, begin, capture, equal_copies, sums,
};
use crate::module::Space;
use crate::shelf::{Capture, CaptureId, Part, Record};

/// An agreed copy of the whole module.
pub(in crate::app) struct Backup {
    /// Which capture it is.
    pub id: CaptureId,
    /// SHA-256 of its content.
    pub sha256: String,
    /// It was taken just now.
    pub new: bool,
    record: Record,
    content: Vec<u8>,
}

impl Backup {
    fn new(of: Capture, content: Vec<u8>, new: bool) -> Self {
        let sha256 = of.record.sha256.clone();
        Self { id: of.id, sha256, new, record: of.record, content }
    }

    /// All words of a space; ones where they are never touched.
    pub fn words_of(&self, space: &Space) -> Vec<u8> {
        let size = space.width.bytes();
        let mut words = vec![0xFF; space.words as usize * size];
        for part in self.record.spaces.iter().filter(|part| part.name == space.name) {
            let from = part.offset as usize;
            let to = part.first.0 as usize * size;
            let length = part.bytes as usize;
            if let (Some(source), Some(place)) =
                (self.content.get(from..from + length), words.get_mut(to..to + length))
            {
                place.copy_from_slice(source);
            }
        }
        words
    }
}

/// The latest capture of this specimen that is whole and agreed and that the module equals;
/// otherwise one that is taken now.
///
/// Words that change by themselves are not compared, and those that are never touched not read.
pub(super) async fn backup(
    subject: &Subject<'_, '_>,
    powered: &Powered,
    whole: &[(usize, Part)],
) -> Result<Backup, JobError> {
    let Subject { sheet, hello, desk, .. } = *subject;
    let mut copies = candidates(subject, whole)?;
    let steady: Vec<_> = whole
        .iter()
        .flat_map(|(index, part)| compared(sheet, *index, part, &vec![0; part.bytes() as usize]))
        .map(|VerifyPart { space, part, .. }| (space, part))
        .collect();
    let sums: Vec<Sums> = copies.iter_mut().map(|(_, sums)| std::mem::take(sums)).collect();
    let equal = equal_copies(desk, hello, powered, &steady, &sums).await?;
    if let Some(first) = equal.first() {
        let of = copies.swap_remove(*first).0;
        let content = subject.shelf.content(&of.id)?;
        return Ok(Backup::new(of, content, false));
    }
    desk.note(if copies.is_empty() {
        "no agreed copy of the whole module is on the shelf: it is captured first"
    } else {
        "the module equals no copy of it on the shelf any more: it is captured first"
    });
    take(subject, powered, whole).await
}

/// The whole, agreed captures of this specimen with their checksums, latest first.
fn candidates(
    subject: &Subject<'_, '_>,
    whole: &[(usize, Part)],
) -> Result<Vec<(Capture, Sums)>, JobError> {
    let Subject { sheet, specimen, simulated, shelf, desk, .. } = *subject;
    let mut found = Vec::new();
    for summary in shelf.list()?.captures.into_iter().rev() {
        if summary.specimen != *specimen || summary.simulated != simulated {
            continue;
        }
        let Ok(capture) = shelf.get(&summary.id.to_string(), None) else { continue };
        if capture.record.lacks().agreement.is_some() || !is_whole(&capture.record, whole) {
            continue;
        }
        let content = match shelf.content(&capture.id) {
            Ok(content) => content,
            Err(error) => {
                desk.caution(format!("{} is no way back: {error}", capture.id));
                continue;
            }
        };
        let mut parts = Vec::new();
        for ((index, part), record) in whole.iter().zip(&capture.record.spaces) {
            let bytes =
                content.get(record.offset as usize..(record.offset + record.bytes) as usize);
            parts.extend(compared(sheet, *index, part, bytes.unwrap_or_default()));
        }
        found.push((capture, sums(&parts)));
    }
    Ok(found)
}

/// True if a capture has just the words of `whole`, in that order.
fn is_whole(record: &Record, whole: &[(usize, Part)]) -> bool {
    let same = |((_, part), of): (&(usize, Part), &crate::shelf::SpaceRecord)| of.is_of(part);
    record.spaces.len() == whole.len()
        && whole.iter().zip(&record.spaces).all(same)
        && record.spaces.iter().all(|of| of.bytes == u64::from(of.words) * of.width.bytes() as u64)
}

async fn take(
    subject: &Subject<'_, '_>,
    powered: &Powered,
    whole: &[(usize, Part)],
) -> Result<Backup, JobError> {
    let Subject { sheet, hello, specimen, simulated, shelf, desk, .. } = *subject;
    let request = CaptureRequest {
        specimen: specimen.clone(),
        simulated,
        parts: whole.to_vec(),
        passes: PASSES,
        note: match subject.unsettled {
            Some(of) if of.leaves_doubt() => format!("without sectors in doubt: {}", of.note()),
            Some(of) => of.note(),
            None => "taken before a plan".into(),
        },
        identified: shelf.last_identity(specimen, &sheet.sha256())?,
    };
    let store = begin(desk, sheet, shelf, &request)?;
    let (report, ending) = capture(desk, sheet, hello, powered, &request, store).await?;
    if ending != Ending::Good {
        return Err(JobError::Safety(format!(
            "the module does not hold still, so there is no sure copy to go back to, and nothing \
             is planned: rail and contacts first. Where an erase by hand was cut off, erase that \
             sector by hand once more, and plan then: the copy of before is on the shelf: {report}"
        )));
    }
    let of = shelf.get(&report.id, None)?;
    let content = shelf.content(&of.id)?;
    Ok(Backup::new(of, content, true))
}
