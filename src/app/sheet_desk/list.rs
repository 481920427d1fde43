//! `sheet list`: built-in sheets and the user's own.

use crate::app::input::read_text;
use crate::app::shelf_desk::Answer;
use crate::module::{AdapterSheet, Sheet, builtin, builtin_names};
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::Path;

/// One sheet of the list.
struct Row {
    name: String,
    title: String,
    kind: &'static str,
    file: Option<String>,
}

/// Every built-in sheet, and every sheet in the `folder`, which need not be there.
pub(crate) fn list_sheets(folder: &Path) -> Answer {
    let built_in = builtin_names().filter_map(|name| {
        let sheet = Sheet::parse(name, builtin(name)?).ok()?;
        Some(Row { name: name.to_owned(), title: sheet.title, kind: "module", file: None })
    });
    let mut rows: Vec<_> = built_in.collect();
    let mut troubles = Vec::new();
    for file in files(folder) {
        match row(&file) {
            Ok(row) => rows.push(row),
            Err(trouble) => troubles.push(trouble),
        }
    }
    let mut text = String::new();
    for row in &rows {
        let from = row.file.as_deref().unwrap_or("built in");
        let _ = writeln!(text, "{:<12} {:<7} {}  ({from})", row.name, row.kind, row.title);
    }
    let value = |row: &Row| json!({ "name": row.name, "kind": row.kind, "title": row.title, "file": row.file });
    let values: Vec<Value> = rows.iter().map(value).collect();
    let value = json!({ "sheets": values, "folder": folder, "unread": troubles });
    Answer { troubles, ..Answer::good(text.trim_end().to_owned(), value) }
}

/// The TOML files of the folder, by name.
fn files(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let toml = |path: &Path| path.extension().is_some_and(|kind| kind == "toml");
    let paths = entries.map(|entry| entry.path()).filter(|path| toml(path));
    let mut files: Vec<_> = paths.map(|path| path.display().to_string()).collect();
    files.sort();
    files
}

fn row(file: &str) -> Result<Row, String> {
    let plain = |text: &str| text.chars().filter(|c| !c.is_control()).collect::<String>();
    let text = read_text(Path::new(file)).map_err(|error| plain(&error.to_string()))?;
    let shown = Some(plain(file));
    let module = Sheet::review(file, &text);
    if let Some(Sheet { name, title, .. }) = module.sheet {
        return Ok(Row { name, title, kind: "module", file: shown });
    }
    if let Some(AdapterSheet { name, .. }) = AdapterSheet::review(file, &text).sheet {
        return Ok(Row { title: name.clone(), name, kind: "adapter", file: shown });
    }
    let count = module.faults.len() + module.more;
    Err(format!("{}: no good sheet, {count} faults; `sheet check` names them", plain(file)))
}
