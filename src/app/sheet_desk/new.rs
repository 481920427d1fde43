//! `sheet new`: a sheet to be filled in.

use crate::app::input::read_text;
use crate::app::shelf_desk::Answer;
use crate::image::one_line;
use crate::jobs::JobError;
use crate::module::{Sheet, builtin, new_sheet};
use serde_json::json;
use std::fs::Permissions;
use std::io::{ErrorKind, Write};
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

/// A sheet is to be shared: whatever the user's mask leaves.
const READABLE: u32 = 0o666;

/// The text of a new sheet of this name, or what was written to `out`. A file that is there
/// is never replaced, except by itself.
pub(crate) fn write_new_sheet(name: &str, out: Option<&Path>) -> Result<Answer, JobError> {
    let text = new_sheet(name);
    let faults = Sheet::review(name, &text).faults;
    if let Some(fault) = faults.iter().find(|fault| fault.key == "name") {
        return Err(JobError::Usage(format!(
            "this cannot be the name of a sheet: {}; choose another",
            fault.fault
        )));
    }
    if builtin(name).is_some() {
        return Err(JobError::Usage(format!(
            "{name} is a built-in sheet, which --sheet {name} would take; choose another name"
        )));
    }
    let Some(out) = out else {
        let value = json!({ "name": name, "text": text });
        return Ok(Answer::good(text.trim_end().to_owned(), value));
    };
    write_new(out, &text)?;
    let file = one_line(out.display());
    let said = format!(
        "{file}: fill in its zeros, then: buswright sheet check {file} (it names every blank)"
    );
    Ok(Answer::good(said, json!({ "name": name, "file": out.display().to_string() })))
}

/// Writes the file whole, or not at all where a file with other contents is.
fn write_new(out: &Path, text: &str) -> Result<(), JobError> {
    let usage = |what: &dyn std::fmt::Display| {
        JobError::Usage(format!("{}: {what}", one_line(out.display())))
    };
    let folder = out.parent().filter(|folder| !folder.as_os_str().is_empty());
    let mut new = tempfile::Builder::new()
        .permissions(Permissions::from_mode(READABLE))
        .tempfile_in(folder.unwrap_or(Path::new(".")))
        .map_err(|error| usage(&format!("{error}; name a file in a folder that can be written")))?;
    new.write_all(text.as_bytes()).map_err(|error| usage(&error))?;
    match new.persist_noclobber(out) {
        Ok(_) => Ok(()),
        Err(error) if error.error.kind() == ErrorKind::AlreadyExists => {
            let there = read_text(out);
            if there.is_ok_and(|there| there == text) {
                return Ok(());
            }
            Err(usage(
                &"it is there and holds something else; it is not replaced: name another file",
            ))
        }
        Err(error) => Err(usage(&error.error)),
    }
}
