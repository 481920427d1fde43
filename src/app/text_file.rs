//! Files that people write, read with a bound: whatever a name leads to, reading it ends.

use crate::jobs::JobError;
use crate::module::MOST_BYTES;
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// The text of a sheet's file. `what` it is and what else could be named go into the message.
pub(super) fn read_text(file: &str, what: &str, instead: &str) -> Result<String, JobError> {
    let wrong = |why: &str, next: &str| JobError::Usage(format!("{what} {file}: {why}; {next}"));
    let system =
        |error: std::io::Error| wrong(&error.to_string(), &format!("name a file ({instead})"));
    // Looked at before it is opened: to open a pipe waits for its other end.
    let there = std::fs::metadata(Path::new(file)).map_err(system)?;
    if !there.is_file() {
        let kind = if there.is_dir() { "it is a folder" } else { "it is a device, pipe or socket" };
        return Err(wrong(kind, &format!("name a file of text ({instead})")));
    }
    let mut bytes = Vec::new();
    let most = MOST_BYTES as u64;
    File::open(file)
        .and_then(|open| open.take(most + 1).read_to_end(&mut bytes))
        .map_err(system)?;
    if bytes.len() > MOST_BYTES {
        let why = format!("it is longer than {MOST_BYTES} bytes (1 MiB), and no sheet is");
        return Err(wrong(&why, "check that this file is a sheet"));
    }
    String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let before = error.as_bytes().split(|byte| *byte == b'\n').scan(0, |end, line| {
            *end += line.len() + 1;
            Some(*end)
        });
        let line = before.take_while(|end| *end <= at).count() + 1;
        JobError::Usage(format!(
            "{file}:{line}: byte 0x{at:X} is no UTF-8; a sheet is plain text: save it as UTF-8"
        ))
    })
}
