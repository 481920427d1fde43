//! Which sheet a job works with, where it came from, and what is remembered of that.

use super::Known;
use super::sheets::{bench_sheet, load_sheet, sheet_names, which_are_built_in};
use crate::image::{SHEET, SPECIMEN};
use crate::jobs::JobError;
use crate::module::{Sheet, builtin};
use crate::shelf::Label;

/// A sheet that was chosen without being named.
pub(super) struct Chosen {
    /// The sheet.
    pub sheet: Sheet,
    /// The name or file under which it is remembered for this adapter.
    pub remembered: Option<String>,
}

/// The sheet of a simulated bench, else the one remembered for the adapter, unchanged since.
pub(super) fn choose_sheet(
    of_bench: Option<&str>,
    board: &str,
    known: &Known,
    identity: &str,
) -> Result<Chosen, JobError> {
    // A bench may be of a sheet that only its own file names.
    let of_bench = of_bench.or_else(|| bench_sheet(board).filter(|name| builtin(name).is_some()));
    if let Some(name) = of_bench {
        return Ok(Chosen { sheet: load_sheet(name)?, remembered: None });
    }
    let remembered =
        known.adapter(identity).and_then(|it| it.sheet.as_deref().zip(it.sheet_sha256.as_deref()));
    let Some((name, sha256)) = remembered else {
        return Err(JobError::Usage(format!(
            "no module sheet: the adapter cannot know what is plugged in, and the rail stays off \
             without one; name it with {SHEET} NAME or FILE ({})",
            which_are_built_in()
        )));
    };
    let sheet = load_sheet(name).map_err(|error| {
        JobError::Usage(format!(
            "the sheet remembered for this adapter is no longer good: {error}. Name the sheet \
             with {SHEET}"
        ))
    })?;
    if sha256 != sheet.sha256() {
        return Err(JobError::Usage(format!(
            "the sheet remembered for this adapter, {name}, has changed since it was used: look at \
             it, then name it (or another) with {SHEET}"
        )));
    }
    Ok(Chosen { sheet, remembered: Some(name.to_owned()) })
}

/// What is remembered of the sheet of a job, once its rail could be switched on.
pub(super) struct Keep<'a> {
    known: &'a mut Known,
    identity: &'a str,
    sheet: Option<(String, String)>,
}

impl<'a> Keep<'a> {
    /// `named` is what the user wrote for `sheet`; nothing of a sheet that was not named.
    pub fn new(
        known: &'a mut Known,
        identity: &'a str,
        named: Option<&str>,
        sheet: &Sheet,
    ) -> Self {
        let sheet = named.and_then(|named| Some((lasting_name(named)?, sheet.sha256())));
        Self { known, identity, sheet }
    }

    /// Remembers it. Losing it costs the user an option, so a disk that refuses ends no job.
    pub fn now(self) {
        if let Some((name, sha256)) = self.sheet {
            let _ = self.known.remember(self.identity, |adapter| {
                adapter.sheet = Some(name);
                adapter.sheet_sha256 = Some(sha256);
            });
        }
    }
}

/// A built-in name, or a path that means the same from every folder.
fn lasting_name(named: &str) -> Option<String> {
    if let Some(name) = sheet_names().find(|name| name.eq_ignore_ascii_case(named)) {
        return Some(name.to_owned());
    }
    // A path that is no text cannot be written down.
    std::path::absolute(named).ok()?.into_os_string().into_string().ok()
}

/// Refuses a label of another kind of module than the sheet's: one of the two is wrong, and a wrong
/// sheet may mean a wrong voltage.
pub(super) fn same_kind(label: &Label, sheet: &Sheet) -> Result<(), JobError> {
    let kind = Label::kind_of(&sheet.name);
    if label.kind().eq_ignore_ascii_case(&kind) {
        return Ok(());
    }
    Err(JobError::Safety(format!(
        "the label {label} is of the kind {}, the sheet is of {}: one of them is wrong, and a wrong \
         sheet can ruin a module. If it is a {}, name its sheet with {SHEET}; if it is a {}, change \
         the label: {SPECIMEN} \"{kind} #{}\"",
        label.kind(),
        sheet.name,
        label.kind(),
        sheet.name,
        label.serial()
    )))
}
