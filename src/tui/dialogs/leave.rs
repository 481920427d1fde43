//! Leave to write by hand: where, how long, and the word that gives it.

use super::Dialog;
use super::draw::{Page, lacks_room, room_of};
use crate::app::workbench::{Command, Order};
use crate::bus::WordAddress;
use crate::module::Kind;
use crate::tui::keys::Key;
use crate::tui::line_edit::LineEdit;
use crate::tui::msg::Effect;
use crate::tui::plain::wrap;
use crate::tui::state::State;
use crate::tui::update::TYPE_IT;
use ratatui::text::Line;

/// Times that can be chosen, in seconds.
const TIMES: [u16; 5] = [30, 60, 120, 300, 600];
/// What gives leave where no chip is changed.
const WORD: &str = "allow";

/// Leave to write that is about to be asked for.
#[derive(Clone, Debug)]
pub struct LeaveForm {
    /// The space.
    pub space: usize,
    /// How long, in seconds.
    pub seconds: u16,
    /// What is to be written with it, if anything waits for it.
    pub order: Option<Order>,
    /// Where flash chips may be changed, and what would change them.
    pub changes: Option<((WordAddress, WordAddress), String)>,
    /// What is typed.
    line: LineEdit,
    /// Why that does not do.
    wrong: Option<String>,
}

impl LeaveForm {
    /// For no change of flash chips.
    pub fn new(space: usize, seconds: u16, order: Option<Order>) -> Self {
        let (changes, line, wrong) = (None, LineEdit::default(), None);
        Self { space, seconds, order, changes, line, wrong }
    }

    /// Says why what has come is not taken.
    pub fn refuse(&mut self, why: &str) {
        self.wrong = Some(why.into());
    }

    /// The next longer time of those that can be chosen, or the next shorter one.
    fn turn(&mut self, longer: bool) {
        let mut times = TIMES.into_iter();
        let next = if longer {
            times.find(|time| *time > self.seconds)
        } else {
            times.rev().find(|time| *time < self.seconds)
        };
        self.seconds = next.unwrap_or(self.seconds);
    }
}

/// What is to be typed: what changes chips wants the label of the module.
fn word(state: &State, form: &LeaveForm) -> String {
    let label = state.core.specimen.clone().filter(|_| form.changes.is_some());
    label.unwrap_or_else(|| WORD.into())
}

/// A key in the dialog: Enter alone gives no leave, it may have been meant for the console.
pub(super) fn key(state: &mut State, mut form: LeaveForm, key: Key) -> Vec<Effect> {
    let word = word(state, &form);
    match key {
        Key::Enter if too_small(state, &form).is_some() => state.notice = too_small(state, &form),
        Key::Enter if form.line.text().trim() == word => {
            let LeaveForm { space, seconds, order, changes, .. } = form;
            let changes = changes.map(|(window, _)| window);
            state.after_leave = order;
            return vec![Effect::Send(Command::Order(Order::Allow { space, seconds, changes }))];
        }
        Key::Enter => {
            let typed = form.line.text().trim();
            form.wrong = Some(if typed.is_empty() {
                match form.wrong.take().filter(|wrong| wrong == TYPE_IT) {
                    Some(pasted) => pasted,
                    None => format!("Enter alone gives no leave: type {word}"),
                }
            } else {
                format!("'{typed}' gives no leave, and nothing was sent: type {word}, or Esc")
            });
        }
        Key::Left | Key::Down => form.turn(false),
        Key::Right | Key::Up => form.turn(true),
        key => {
            form.line.key(key);
            form.wrong = None;
        }
    }
    state.dialog = Some(Dialog::Leave(form));
    Vec::new()
}

/// Why there is no leave from here, if there is no room for all of the question.
fn too_small(state: &State, form: &LeaveForm) -> Option<String> {
    lacks_room(state, &question(state, form, room_of(state)))
}

/// The dialog as it is drawn.
pub(super) fn page(state: &State, form: &LeaveForm, room: usize) -> Page {
    let mut page = question(state, form, room);
    if let Some(wrong) = too_small(state, form).as_ref().or(form.wrong.as_ref()) {
        let style = state.look.theme.trouble;
        page.lines.extend(wrap(wrong, room).into_iter().map(|text| Line::styled(text, style)));
    }
    page.seen = page.lines.len() - 1;
    page
}

/// What is to be read, and the line for the word.
fn question(state: &State, form: &LeaveForm, room: usize) -> Page {
    let mut page = Page::new("Leave to write");
    let sheet = state.core.sheet.as_deref();
    if let Some(space) = sheet.and_then(|sheet| sheet.spaces.get(form.space)) {
        let last = space.base.0 + (space.words - 1);
        page.pair(
            state,
            "window",
            &format!("all of {}, words {} to 0x{last:X}", space.name, space.base),
            9,
            room,
        );
        let words = match &form.changes {
            Some(((first, last), _)) => Some(format!("words {first} to {last} of its chips")),
            None if space.kind == Kind::Flash => Some("nothing: commands that only ask".into()),
            None => None,
        };
        if let Some(words) = words {
            page.pair(state, "changes", &words, 9, room);
        }
    }
    let time = format!("{} s, Left and Right change it", form.seconds);
    page.pair(state, "time", &time, 9, room);
    page.lines.push(Line::default());
    if let Some((_, does)) = &form.changes {
        page.say(
            &format!(
                "{does}. What is changed is gone from the module, and a sector is erased whole. \
                 The copy on the shelf is the only way back: has it been exported?"
            ),
            room,
        );
        page.lines.push(Line::default());
    }
    page.say(
        "The adapter writes nothing without leave, and nothing outside the window. It ends with \
         the time, with the rail, and with `locked`.",
        room,
    );
    page.lines.push(Line::default());
    let word = word(state, form);
    page.say(&format!("To give it, type {word} and Enter:"), room);
    page.lines.push(Line::default());
    page.edit = Some((page.lines.len() - 1, 0, form.line.area(true)));
    page
}
