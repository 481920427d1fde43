//! `sheet check`: every fault of every file.

use super::describe::{adapter_text, adapter_value, sheet_text, sheet_value};
use crate::app::input::read_text;
use crate::app::sheets::{review_adapter_sheet, review_sheet};
use crate::app::shelf_desk::Answer;
use crate::jobs::JobError;
use crate::module::{AdapterSheet, Review, Sheet, SheetError};
use serde_json::{Value, json};
use std::path::Path;

/// Checks module sheets, by built-in name or file, or adapter sheets.
pub(crate) fn check_sheets(files: &[String], as_adapter: bool) -> Answer {
    let mut answer = Answer::good(String::new(), Value::Null);
    let mut values = Vec::new();
    for file in files {
        let review = if as_adapter {
            review_adapter_sheet(file).map(|review| one(file, review, adapter_text, adapter_value))
        } else {
            review_sheet(file).map(|review| one(file, review, sheet_text, sheet_value))
        };
        let one = review.unwrap_or_else(|error| unread(file, &error));
        let good = one.text.is_some();
        if let Some(text) = one.text {
            answer.text.push_str(&text);
            answer.text.push('\n');
        }
        answer.troubles.extend(one.troubles);
        if !good {
            answer.code = 2;
            answer.troubles.extend(another_kind(file, as_adapter));
        }
        values.push(one.value);
    }
    answer.text.truncate(answer.text.trim_end().len());
    // As every object that tells of an error: its code, and what people are told.
    let said: Vec<_> = [answer.text.as_str()]
        .into_iter()
        .chain(answer.troubles.iter().map(String::as_str))
        .collect();
    answer.value = json!({ "code": answer.code, "text": said.join("\n").trim(), "files": values });
    answer
}

/// What is said of one file.
struct One {
    text: Option<String>,
    troubles: Vec<String>,
    value: Value,
}

fn unread(file: &str, error: &JobError) -> One {
    let error = error.to_string();
    let value = json!({ "file": file, "good": false, "error": error });
    One { text: None, troubles: vec![error], value }
}

fn one<T>(
    file: &str,
    review: Review<T>,
    text: impl Fn(&T) -> String,
    value: impl Fn(&T) -> Value,
) -> One {
    let Review { sheet, faults, more, warnings } = review;
    let mut troubles: Vec<_> = faults.iter().map(ToString::to_string).collect();
    if more > 0 {
        troubles.push(format!("{file}: and {more} faults more; correct these first"));
    }
    troubles.extend(warnings.iter().map(|warning| format!("{file}: {warning}")));
    let value = json!({
        "file": file,
        "good": sheet.is_some(),
        "faults": faults.iter().map(fault_value).collect::<Vec<_>>(),
        "more_faults": more,
        "warnings": warnings,
        "sheet": sheet.as_ref().map(value),
    });
    let text = sheet.as_ref().map(|sheet| format!("{file}: good. {}", text(sheet)));
    One { text, troubles, value }
}

fn fault_value(fault: &SheetError) -> Value {
    json!({
        "line": fault.line,
        "key": fault.key,
        "fault": fault.fault.to_string(),
        "next": fault.fault.remedy(),
    })
}

/// A word to whoever has named a file of the other kind.
fn another_kind(file: &str, as_adapter: bool) -> Option<String> {
    let text = read_text(Path::new(file)).ok()?;
    if as_adapter {
        Sheet::review(file, &text).sheet?;
        return Some(format!("{file}: this is a module sheet; leave --as-adapter out"));
    }
    AdapterSheet::review(file, &text).sheet?;
    Some(format!("{file}: this is an adapter sheet; check it with --as-adapter"))
}
