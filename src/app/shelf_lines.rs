//! One line for each thing on the shelf, and the same for programs.

use crate::image::{counted, one_line};
use crate::shelf::{Lacks, Part, Pending, Summary};
use serde_json::{Value, json};

/// A capture in a list.
pub(super) fn line(one: &Summary) -> String {
    let size = humansize::format_size(one.bytes, humansize::BINARY);
    let simulated = if one.simulated { "simulated" } else { "" };
    let id = one.id.to_string();
    let specimen = one.specimen.to_string();
    let time = one.time.strftime("%Y-%m-%d %H:%M UTC");
    let note = one.note.lines().next().unwrap_or("");
    let lacks = after(" ", &one.lacks());
    let doubts = match one.doubts().as_slice() {
        [] => String::new(),
        kinds => format!(" IN DOUBT ({})", kinds.join(", ")),
    };
    format!("{id:<12} {specimen:<14} {time}  {size:>10} {simulated:<9}{lacks}{doubts} {note}")
        .trim_end()
        .into()
}

/// A text of several lines that cannot be taken for lines of ours.
pub(super) fn indented(text: &str) -> String {
    text.replace('\n', "\n        ")
}

/// What a capture lacks after `mark`; nothing if it lacks nothing.
pub(super) fn after(mark: &str, lacks: &Lacks) -> String {
    let said = lacks.to_string();
    if said.is_empty() { said } else { format!("{mark}{said}") }
}

/// The same for programs: `agreed`, and the words that a part is of.
pub(super) fn with_lacks(mut value: Value, lacks: &Lacks) -> Value {
    value["agreed"] = lacks.agreement.is_none().into();
    value["part"] = lacks.words.clone().into();
    value
}

/// A capture in a list for programs: the same, and the kinds of doubt.
pub(super) fn with_marks(one: &Summary) -> Value {
    let mut value = with_lacks(json!(one), &one.lacks());
    value["doubts"] = json!(one.doubts());
    value
}

/// What an unfinished capture holds, and which command goes on with it.
pub(super) fn pending_line(one: &Pending) -> String {
    let Pending { folder, start, blocks_done, blocks, set_aside } = one;
    let what = if *set_aside { "set aside" } else { "unfinished" };
    let specimen = start.specimen.to_string();
    let parts: Vec<_> = start.parts.iter().map(ToString::to_string).collect();
    format!(
        "{what:<12} {specimen:<14} {blocks_done} of {} of {}: `{}` goes on with it ({})",
        counted(*blocks as u64, "block"),
        parts.join(", "),
        command(&start.parts),
        one_line(folder.display())
    )
}

/// The command that a capture of `parts` was begun with, port and labels left out.
fn command(parts: &[Part]) -> String {
    match parts {
        [part] => {
            let at = part.base.plus(part.first.0);
            format!("capture --space {} --range {at}+0x{:X}", part.space, part.words)
        }
        _ => "capture".into(),
    }
}

/// Unfinished captures for programs.
pub(super) fn pending_values(pending: &[&Pending], set_aside: bool) -> Vec<Value> {
    let value = |one: &&Pending| {
        json!({
            "folder": one.folder.display().to_string(),
            "specimen": one.start.specimen,
            "parts": one.start.parts,
            "blocks_done": one.blocks_done,
            "blocks": one.blocks,
            "command": command(&one.start.parts),
        })
    };
    pending.iter().filter(|one| one.set_aside == set_aside).map(value).collect()
}
