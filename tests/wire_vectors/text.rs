//! What `docs/wire.md` says: its example frames, field tables and fault table.

use super::plain::hex;

pub const TEXT: &str = include_str!("../../docs/wire.md");

/// Name and bytes of every frame in the blocks marked `frame`; a line without a colon goes on
/// with the frame above it.
pub fn frames() -> Vec<(String, Vec<u8>)> {
    let mut found: Vec<(String, Vec<u8>)> = Vec::new();
    let mut inside = false;
    for line in TEXT.lines() {
        if line.starts_with("```") {
            inside = line == "```frame";
        } else if inside {
            match (line.split_once(':'), found.last_mut()) {
                (Some((name, bytes)), _) => found.push((name.to_owned(), hex(bytes))),
                (None, Some((_, frame))) => frame.extend(hex(line)),
                (None, None) => panic!("no name before '{line}'"),
            }
        }
    }
    found
}

/// The cells of a table row.
fn cells(line: &str) -> Option<Vec<&str>> {
    let inner = line.strip_prefix('|')?.strip_suffix('|')?;
    Some(inner.split('|').map(str::trim).collect())
}

/// The rows of the tables under the heading that starts with `heading`, without head and rule.
fn rows(heading: &str) -> Vec<Vec<&'static str>> {
    let mut lines = TEXT.lines().skip_while(|line| !line.starts_with(heading));
    assert!(lines.next().is_some(), "no heading '{heading}'");
    lines.take_while(|line| !line.starts_with('#')).filter_map(cells).skip(2).collect()
}

/// One row of a field table.
#[derive(Debug)]
pub struct Field {
    /// Its offset; `None` where it depends on the fields before.
    pub at: Option<usize>,
    pub name: &'static str,
    /// Its type, as the text writes it.
    pub kind: &'static str,
}

impl Field {
    /// Bytes of one number of it and how many numbers; `None` if that varies.
    pub fn numbers(&self) -> Option<(usize, usize)> {
        let (one, times) = self.kind.split_once(" × ").unwrap_or((self.kind, "1"));
        let size = match one {
            "u8" | "flag" => 1,
            "u16" | "i16" => 2,
            "u32" => 4,
            "text" | "list" | "bytes" => return None,
            _ => panic!("type '{one}' is not explained"),
        };
        Some((size, times.parse().unwrap_or_else(|_| panic!("type '{}'", self.kind))))
    }

    /// Bytes it takes; `None` if that varies.
    pub fn size(&self) -> Option<usize> {
        self.numbers().map(|(size, times)| size * times)
    }
}

/// The field table under a heading; empty for messages without fields.
pub fn fields(heading: &str) -> Vec<Field> {
    rows(heading)
        .into_iter()
        .map(|row| {
            let [at, name, kind, unit, meaning] = row[..] else {
                panic!("not five cells under '{heading}': {row:?}");
            };
            assert!(!unit.contains(' ') && !meaning.is_empty(), "{heading}: {row:?}");
            let at = (at != "–").then(|| at.parse().unwrap_or_else(|_| panic!("offset {at}")));
            Field { at, name, kind }
        })
        .collect()
}

/// Code, name, meaning and remedy of every fault.
pub fn faults() -> Vec<(u8, &'static str, &'static str, &'static str)> {
    rows("### Fault codes")
        .into_iter()
        .map(|row| {
            let [code, name, meaning, remedy] = row[..] else { panic!("not four cells: {row:?}") };
            let code = code.parse().unwrap_or_else(|_| panic!("code '{code}'"));
            (code, name, meaning, remedy)
        })
        .collect()
}
