//! The dialogs of planning and writing as they are drawn.

use super::draw::{Page, lacks_room, room_of, shown_of};
use super::plan_form::{Field, PlanForm};
use super::{CAUTIONS, Dialog};
use crate::app::workbench::{PlanFacts, Progressed, UnfinishedWrite, WriteEnd};
use crate::tui::line_edit::LineEdit;
use crate::tui::plain::wrap;
use crate::tui::state::State;
use ratatui::text::{Line, Span};

/// Room for the heads.
const HEADS: usize = 10;

/// The rows of a dialog from which one is chosen.
pub fn rows_of(state: &State, dialog: &Dialog) -> Vec<String> {
    match dialog {
        Dialog::Unfinished { .. } => {
            let mut rows = Vec::new();
            if let Some(unfinished) = &state.core.unfinished {
                rows.push(format!("go on with plan {}", unfinished.code));
            }
            if let Some(code) = state.core.plan_code() {
                rows.push(format!("write plan {code} instead"));
            }
            rows
        }
        Dialog::Started { .. } => {
            ["not tried yet: ask again at the next connect", "yes, it started", "no, it did not"]
                .map(String::from)
                .to_vec()
        }
        _ => Vec::new(),
    }
}

fn choose(state: &State, page: &mut Page, dialog: &Dialog, at: usize) {
    let theme = &state.look.theme;
    page.lines.push(Line::default());
    for (n, row) in rows_of(state, dialog).into_iter().enumerate() {
        let (mark, style) = if n == at { ('>', theme.cursor) } else { (' ', theme.text) };
        page.lines.push(Line::styled(format!("{mark} {row} "), style));
        if n == at {
            page.seen = page.lines.len() - 1;
        }
    }
}

/// The form of a plan.
pub fn form(state: &State, form: &PlanForm, room: usize) -> Page {
    let theme = &state.look.theme;
    let mut page = Page::new(format!("Plan: {}", form.image));
    page.say(
        "Nothing is written by this. The module is identified and compared with its copies, and \
         what a write would do is shown, sector by sector.",
        room,
    );
    page.lines.push(Line::default());
    let column = form.zones.iter().map(|(zone, _)| zone.len() + 2).max().unwrap_or(0).max(HEADS);
    for (n, field) in form.fields().into_iter().enumerate() {
        let (head, value) = match field {
            Field::Space => {
                let name = form.space.and_then(|space| form.spaces.get(space));
                ("space".to_string(), name.map_or("all that it holds".into(), Clone::clone))
            }
            Field::Range => ("range".to_string(), String::new()),
            Field::Zone(zone) => {
                let (name, taken) = &form.zones[zone];
                let value = if *taken { "TAKEN from the image" } else { "stays as it is" };
                (name.clone(), value.to_string())
            }
        };
        let here = n == form.at;
        let style = if here { theme.cursor } else { theme.text };
        page.lines.push(Line::from(vec![
            Span::styled(format!("{head:<column$}"), theme.key),
            Span::styled(value, style),
        ]));
        if field == Field::Range {
            page.edit = Some((page.lines.len() - 1, column as u16, form.range.area(here)));
        }
        if here {
            page.seen = page.lines.len();
        }
    }
    page.lines.push(Line::default());
    let hint = match form.field() {
        Field::Space => "Left and Right choose: all spaces, as a capture has them, or one of them.",
        Field::Range => {
            "Words such as 0x8000+0x4000, where a file is of a part only, or a part is to become \
             blank. Empty: all of it."
        }
        Field::Zone(_) => "The sheet keeps this zone. Left and Right change that, for this plan.",
    };
    if let Some(wrong) = &form.wrong {
        let style = theme.trouble;
        page.lines.extend(wrap(wrong, room).into_iter().map(|text| Line::styled(text, style)));
    } else {
        page.say(hint, room);
    }
    page.seen = page.seen.max(page.lines.len().saturating_sub(1).min(page.seen + 3));
    if form.down > 0 {
        page.seen = form.down + shown_of(state).saturating_sub(1);
    }
    page
}

/// The plan to be read.
pub fn review(state: &State, plan: &PlanFacts, down: usize, room: usize) -> Page {
    let title = match &plan.code {
        Some(code) => format!("Plan {code} for {}", plan.specimen),
        None => format!("Nothing to do for {}", plan.specimen),
    };
    let mut page = Page::new(title);
    if plan.code.is_none() {
        page.say("The module holds that already.", room);
    }
    for (head, text) in &plan.rows {
        page.pair(state, head, text, HEADS, room);
    }
    page.seen = down;
    page
}

fn sectors(count: usize) -> String {
    if count == 1 { "1 sector".into() } else { format!("{count} sectors") }
}

fn does(plan: &PlanFacts) -> String {
    let both = plan.erased.saturating_sub(plan.blanked);
    let all: Vec<_> = [
        (both, "erased and programmed"),
        (plan.blanked, "erased and left blank"),
        (plan.programmed, "programmed without erasing"),
    ]
    .into_iter()
    .filter(|(count, _)| *count > 0)
    .map(|(count, how)| format!("{} {how}", sectors(count)))
    .collect();
    let all = all.join(", ");
    let part = if plan.whole { "" } else { "; NOT the whole image, see `stays` in the plan" };
    format!("{}: {all}{part}", plan.what)
}

/// Why Enter does nothing in the question before a write, if there is no room for all of it.
pub fn too_small(state: &State, resume: bool) -> Option<String> {
    let tight = question(state, resume, &LineEdit::default(), true, room_of(state));
    lacks_room(state, &tight)
}

/// The last question before a module is changed.
pub fn confirm(
    state: &State,
    resume: bool,
    label: &LineEdit,
    wrong: Option<&str>,
    room: usize,
) -> Page {
    let small = too_small(state, resume);
    let wrong = small.as_deref().or(wrong);
    let wrong = wrong.map_or_else(Vec::new, |wrong| wrap(wrong, room));
    let mut page = question(state, resume, label, false, room);
    if page.lines.len() + wrong.len() > shown_of(state) {
        page = question(state, resume, label, true, room);
    }
    let style = state.look.theme.trouble;
    page.lines.extend(wrong.into_iter().map(|text| Line::styled(text, style)));
    page.seen = page.lines.len() - 1;
    page
}

/// What is to be read, and the line for the label; without empty lines where it must be `tight`.
fn question(state: &State, resume: bool, label: &LineEdit, tight: bool, room: usize) -> Page {
    let (plan, unfinished) = (state.core.plan.as_deref(), state.core.unfinished.as_deref());
    let (title, module, what, back) = match (resume, plan, unfinished) {
        (true, _, Some(unfinished)) => {
            let UnfinishedWrite { code, specimen, what, written, of, backup, .. } = unfinished;
            let rest = if unfinished.is_unproven() {
                format!("{what}: nothing is left to write, it is proven after a power cycle")
            } else {
                format!("{what}: {} of {} left", of - written, sectors(*of))
            };
            (format!("Go on with plan {code}"), specimen, rest, backup)
        }
        (false, Some(plan), _) => {
            let code = plan.code.as_deref().unwrap_or_default();
            (format!("Write plan {code}"), &plan.specimen, does(plan), &plan.backup)
        }
        _ => return Page::new("There is no plan any more"),
    };
    let mut page = Page::new(title);
    for (head, text) in [
        (
            "Meanwhile",
            "From the first sector to the last the module is good for nothing: a lost supply or a \
             pulled cable leaves it so until the write is gone on with. Touch neither before the \
             rail is off.",
        ),
        (
            "Instrument",
            "Unproven afterwards: a person qualified for its use checks it against a known \
             reference before anyone relies on it.",
        ),
    ] {
        page.pair(state, head, text, HEADS + 2, room);
    }
    if !tight {
        page.lines.push(Line::default());
    }
    let back = format!("{back}, by a plan of the image @back");
    for (head, text) in [("module", module), ("does", &what), ("way back", &back)] {
        page.pair(state, head, text, HEADS + 2, room);
    }
    if let Some(unfinished) = unfinished.filter(|_| !resume) {
        let text = format!("the unfinished write of plan {} is given up", unfinished.code);
        page.pair(state, "instead", &text, HEADS + 2, room);
    }
    if !tight {
        page.lines.push(Line::default());
    }
    page.say("Read the label on the module itself, and type it as it is written there:", room);
    page.lines.push(Line::from("label "));
    page.edit = Some((page.lines.len() - 1, 6, label.area(true)));
    page
}

/// A write that was interrupted.
pub fn unfinished(state: &State, dialog: &Dialog, at: usize, room: usize) -> Page {
    let Some(unfinished) = state.core.unfinished.as_deref() else {
        let mut page = Page::new("A write is not finished");
        page.say("It is finished.", room);
        return page;
    };
    let UnfinishedWrite { code, what, specimen, begun, broken, .. } = unfinished;
    let mut page = Page::new(if unfinished.is_unproven() {
        "A write is not proven yet"
    } else {
        "A write is not finished"
    });
    let progress = unfinished.progress();
    page.say(
        &format!("{specimen}: plan {code}, begun {begun} ({what}). So far: {progress}."),
        room,
    );
    for (space, address, how) in broken {
        let how = match how {
            Progressed::Failed => "has failed and is tried again",
            _ => "was broken off: what it holds is not known, and it is erased again",
        };
        page.say(&format!("The sector of {space} at {address} {how}."), room);
    }
    page.say("Before anything is changed, module, backup and plan are compared again.", room);
    choose(state, &mut page, dialog, at);
    page
}

/// How a write has ended.
pub fn end(state: &State, room: usize) -> Page {
    let Some(WriteEnd { plan, code, text, backup }) = state.core.write_end.as_deref() else {
        return Page::new("Nothing was written");
    };
    let good = *code == 0;
    let mut page = Page::new(if good {
        format!("Plan {plan} is on the module")
    } else {
        format!("Plan {plan} is NOT on the module")
    });
    page.say(text, room);
    page.lines.push(Line::default());
    if !good {
        let next = if state.core.unfinished.is_some() {
            "w goes on with it; n and the image @back plan the way back."
        } else {
            "n and the image @back plan the way back."
        };
        page.say(next, room);
        return page;
    }
    let (instrument, caution) = CAUTIONS[4];
    let back =
        format!("n and the image @back. {backup} is on the shelf alone: keep it elsewhere, too.");
    for (head, text) in [
        ("Rail", "Before the module goes out, the status line must say that it is safe to move."),
        ("Way back", &back),
        (instrument, caution),
        ("Answer", "Whether the instrument started is asked at the next connect."),
    ] {
        page.pair(state, head, text, HEADS + 2, room);
    }
    page
}

/// Did it work?
pub fn started(state: &State, dialog: &Dialog, at: usize, room: usize) -> Page {
    let mut page = Page::new("Did the instrument start?");
    let label = state.core.specimen.as_deref().unwrap_or_default();
    let day = state.core.unanswered.as_deref().unwrap_or_default();
    page.say(
        &format!(
            "{label} was written to on {day}. Did the instrument start with it? The answer is kept \
             in the history of the module, and plans with the same contents tell it."
        ),
        room,
    );
    choose(state, &mut page, dialog, at);
    page
}
