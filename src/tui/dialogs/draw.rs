//! Dialogs on the screen: a few lines between two rules.

use super::elsewhere::sentences;
use super::{CAUTIONS, Choice, Choose, Dialog, leave, write_pages};
use crate::tui::console::grammar::{VERBS, Verb};
use crate::tui::draw::clear;
use crate::tui::keys::tables;
use crate::tui::plain::{fit, width, wrap};
use crate::tui::state::{Pane, State};
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;

/// The widest that a dialog is.
const WIDEST: u16 = 72;

/// Rows that a dialog's lines do not have: status line, key strip, two rules and the margins
/// within them.
const FRAME: u16 = 7;

/// Columns for the lines of a dialog in the present window.
pub(super) fn room_of(state: &State) -> usize {
    usize::from(state.size.0.min(WIDEST)).saturating_sub(4)
}

/// Rows for them.
pub(super) fn shown_of(state: &State) -> usize {
    usize::from(state.size.1.saturating_sub(FRAME))
}

/// The lines of a dialog, with the one that must be seen and the line edit in one of them.
pub(super) struct Page {
    title: String,
    pub lines: Vec<Line<'static>>,
    pub seen: usize,
    pub edit: Option<(usize, u16, tui_textarea::TextArea<'static>)>,
}

impl Page {
    pub fn new(title: impl Into<String>) -> Self {
        Self { title: title.into(), lines: Vec::new(), seen: 0, edit: None }
    }

    pub fn say(&mut self, text: &str, room: usize) {
        self.lines.extend(wrap(text, room).into_iter().map(Line::from));
    }

    /// A head in the first column and a wrapped text in the second.
    pub fn pair(&mut self, state: &State, head: &str, text: &str, column: usize, room: usize) {
        let theme = &state.look.theme;
        for (n, part) in wrap(text, room.saturating_sub(column)).into_iter().enumerate() {
            let head = if n == 0 { head } else { "" };
            self.lines.push(Line::from(vec![
                Span::styled(format!("{head:<column$}"), theme.key),
                Span::styled(part, theme.text),
            ]));
        }
    }
}

/// Why nothing is allowed in this window, if it has no room for all that is to be read before.
pub(super) fn lacks_room(state: &State, page: &Page) -> Option<String> {
    let rows = page.lines.len();
    let (wide, height) = (state.size.0, rows + usize::from(FRAME));
    (rows > shown_of(state)).then(|| {
        format!(
            "this window is too small for what is to be read before: nothing is written from here. \
             Make it {wide}x{height} or larger"
        )
    })
}

/// Draws the dialog that is open over `area`.
pub fn draw(state: &State, frame: &mut Frame, area: Rect) {
    let Some(dialog) = &state.dialog else { return };
    let wide = area.width.min(WIDEST);
    let room = usize::from(wide).saturating_sub(4);
    let page = page(state, dialog, room);
    let height = (page.lines.len() as u16 + 4).min(area.height);
    let place = Rect {
        x: area.x + (area.width - wide) / 2,
        y: area.y + (area.height - height) / 2,
        width: wide,
        height,
    };
    // From edge to edge: half a pane beside a dialog is no use to anybody.
    let band = Rect { x: area.x, width: area.width, ..place };
    clear(state, frame, band);
    let theme = &state.look.theme;
    let rule = state.look.glyphs.rule.to_string();
    let title = fit(&page.title, room, state.look.glyphs.more);
    let title_width = width(&title);
    let before = usize::from(place.x - area.x) + 1;
    let rest = usize::from(area.width).saturating_sub(before + title_width + 2);
    let top = Line::from(vec![
        Span::styled(rule.repeat(before), theme.rule),
        Span::styled(format!(" {title} "), theme.focus),
        Span::styled(rule.repeat(rest), theme.rule),
    ]);
    frame.render_widget(Paragraph::new(top), Rect { height: 1, ..band });
    let inner = Rect {
        x: place.x + 2,
        y: place.y + 2.min(height.saturating_sub(1)),
        width: wide.saturating_sub(4),
        height: height.saturating_sub(4),
    };
    let shown = usize::from(inner.height);
    let skip = match dialog {
        Dialog::Help { .. } | Dialog::Review { .. } | Dialog::Cautions { .. } => {
            page.seen.min(page.lines.len().saturating_sub(shown))
        }
        _ => (page.seen + 1).saturating_sub(shown),
    };
    let below = page.lines.len().saturating_sub(skip + shown);
    let more = if below > 0 { format!(" {below} more below ") } else { String::new() };
    let rest = usize::from(area.width).saturating_sub(before + more.len());
    let bottom = Line::from(vec![
        Span::styled(rule.repeat(before), theme.rule),
        Span::styled(more, theme.key),
        Span::styled(rule.repeat(rest), theme.rule),
    ]);
    frame.render_widget(Paragraph::new(bottom), Rect { y: place.bottom() - 1, height: 1, ..band });
    let lines: Vec<_> = page.lines.into_iter().skip(skip).take(shown).collect();
    frame.render_widget(Paragraph::new(lines), inner);
    if let Some((row, column, edit)) = page.edit
        && let Some(row) = row.checked_sub(skip).filter(|row| *row < shown)
    {
        let column = column.min(inner.width);
        let at = Rect {
            x: inner.x + column,
            y: inner.y + row as u16,
            width: inner.width - column,
            height: 1,
        };
        frame.render_widget(&edit, at);
    }
}

/// How far down a long text can be scrolled.
pub fn last_down(state: &State, dialog: &Dialog) -> usize {
    page(state, dialog, room_of(state)).lines.len().saturating_sub(shown_of(state))
}

fn page(state: &State, dialog: &Dialog, room: usize) -> Page {
    match dialog {
        Dialog::Choose(choose) => list(state, choose, room),
        Dialog::Specimen(line) => {
            let mut page = Page::new("Specimen");
            page.say(
                "Which individual module is this? Its kind, #, and what is written on it, such \
                 as TG-7 #0417. History and copies belong to specimens.",
                room,
            );
            page.lines.push(Line::default());
            page.lines.push(Line::from("label "));
            page.edit = Some((page.lines.len() - 1, 6, line.area(true)));
            page.seen = page.lines.len() - 1;
            page
        }
        Dialog::Cautions { then, down } => {
            let title = if then.is_some() { "Before the rail goes on" } else { "Cautions" };
            let mut page = Page::new(title);
            for (head, text) in CAUTIONS {
                page.pair(state, head, text, 12, room);
            }
            if state.core.simulated && then.is_some() {
                page.lines.push(Line::default());
                page.say("This is a simulated bench: no hardware is touched.", room);
            }
            page.seen = *down;
            page
        }
        Dialog::Leave(form) => leave::page(state, form, room),
        Dialog::Measured => {
            let mut page = Page::new("Measured by hand");
            page.say(
                "Have you measured the module's rail with a meter just now, and is it below \
                 300 mV? Only then the module is safe to move.",
                room,
            );
            page
        }
        Dialog::Quit => {
            let mut page = Page::new("End the workbench");
            page.say(
                "The rail is on, or a job runs. It is stopped at its next safe point, the rail \
                 goes off, and the workbench ends. A capture or a write goes on where it was, \
                 next time.",
                room,
            );
            page
        }
        Dialog::Help { pane, down } => help(state, *pane, *down, room),
        Dialog::Plan(form) => write_pages::form(state, form, room),
        Dialog::Review { down } => match &state.core.plan {
            Some(plan) => write_pages::review(state, plan, *down, room),
            None => Page::new("There is no plan any more"),
        },
        Dialog::Confirm { resume, line, wrong } => {
            write_pages::confirm(state, *resume, line, wrong.as_deref(), room)
        }
        Dialog::Unfinished { at } => write_pages::unfinished(state, dialog, *at, room),
        Dialog::WriteEnd => write_pages::end(state, room),
        Dialog::Started { at } => write_pages::started(state, dialog, *at, room),
        Dialog::Elsewhere { there, follow } => {
            let mut page = Page::new("A job elsewhere");
            for sentence in sentences(there.as_ref(), *follow) {
                page.say(&sentence, room);
            }
            page
        }
    }
}

fn list(state: &State, choose: &Choose, room: usize) -> Page {
    let theme = &state.look.theme;
    let (title, other) = match choose.what {
        Choice::Port => ("Port", "a device, device@RATE, tcp:HOST:PORT or sim:FILE.toml"),
        Choice::Sheet => ("Module sheet", "a file"),
        Choice::Image => ("Image to plan", "a file, or the id of a capture"),
    };
    let mut page = Page::new(title);
    for (n, (name, about)) in choose.rows.iter().enumerate() {
        let style = if n == choose.at { theme.cursor } else { theme.text };
        let name = fit(name, room / 2, state.look.glyphs.more);
        let about = fit(about, room.saturating_sub(25), state.look.glyphs.more);
        page.lines.push(Line::from(vec![
            Span::styled(format!(" {name:<22} "), style),
            Span::styled(about, theme.quiet),
        ]));
    }
    page.lines.push(Line::styled("other ", theme.text));
    page.edit = Some((page.lines.len() - 1, 7, choose.typed.area(choose.is_typed())));
    page.seen = choose.at;
    let hint = choose.wrong.clone().unwrap_or_else(|| other.to_string());
    let style = if choose.wrong.is_some() { theme.trouble } else { theme.quiet };
    page.lines.extend(wrap(&hint, room).into_iter().map(|text| Line::styled(text, style)));
    page
}

/// A line of the console; one that is too long for the column stands above what it does.
fn line_help(state: &State, text: &mut Page, verb: &Verb, room: usize) {
    const COLUMN: usize = 24;
    if width(verb.form) < COLUMN {
        return text.pair(state, verb.form, verb.help, COLUMN, room);
    }
    let style = state.look.theme.key;
    text.lines.extend(wrap(verb.form, room).into_iter().map(|form| Line::styled(form, style)));
    text.pair(state, "", verb.help, COLUMN, room);
}

fn help(state: &State, pane: Pane, down: usize, room: usize) -> Page {
    let mut text = Page::new(format!("Keys of {}", pane.title()));
    if pane == Pane::Console {
        text = Page::new("Lines of Bus console, and its keys");
        for verb in VERBS {
            line_help(state, &mut text, verb, room);
        }
        text.lines.push(Line::default());
    }
    for row in tables(pane).into_iter().flatten() {
        text.pair(state, row.name, row.help, 11, room);
    }
    text.seen = down;
    text
}
