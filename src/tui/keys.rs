//! Keys and what they do: one table a pane, from which keys, key strip, help and the documents
//! are made.

use super::state::Pane;

/// A key as this program knows keys.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// A sign.
    Char(char),
    /// A letter with Ctrl.
    Ctrl(char),
    Enter,
    Esc,
    Tab,
    BackTab,
    Backspace,
    Delete,
    Up,
    Down,
    Left,
    Right,
    Home,
    End,
    PageUp,
    PageDown,
}

/// What a key does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Action {
    Stop,
    NextPane,
    PreviousPane,
    Pane(Pane),
    Help,
    Quit,
    Suspend,
    Redraw,
    Port,
    Sheet,
    Specimen,
    Connect,
    Details,
    Cautions,
    Measured,
    Identify,
    Lines,
    Rail,
    Capture,
    Verify,
    Blank,
    Plan,
    Review,
    Write,
    View,
    Up,
    Down,
    Left,
    Right,
    PageUp,
    PageDown,
    Home,
    End,
    ZoomIn,
    ZoomOut,
    Run,
    Back,
    On,
    Complete,
    Leave,
}

/// A stage of the work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    Look,
    Keep,
    Plan,
    Write,
    Prove,
}

impl Stage {
    /// All, in the order of the work.
    pub const ALL: [Self; 5] = [Self::Look, Self::Keep, Self::Plan, Self::Write, Self::Prove];

    /// Its name in the key strip.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Look => "LOOK",
            Self::Keep => "KEEP",
            Self::Plan => "PLAN",
            Self::Write => "WRITE",
            Self::Prove => "PROVE",
        }
    }
}

/// A row of a table.
#[derive(Clone, Copy, Debug)]
pub struct Binding {
    /// Any of these.
    pub keys: &'static [Key],
    /// How they are shown.
    pub name: &'static str,
    /// A word or two for the key strip; empty for what is only in the help.
    pub word: &'static str,
    /// A sentence for help and documents.
    pub help: &'static str,
    /// The stage of the work it belongs to.
    pub stage: Option<Stage>,
    /// What it does.
    pub action: Action,
}

const fn row(
    keys: &'static [Key],
    name: &'static str,
    word: &'static str,
    help: &'static str,
    action: Action,
) -> Binding {
    Binding { keys, name, word, help, stage: None, action }
}

const fn stage(
    stage: Stage,
    keys: &'static [Key],
    name: &'static str,
    word: &'static str,
    help: &'static str,
    action: Action,
) -> Binding {
    Binding { keys, name, word, help, stage: Some(stage), action }
}

/// Everywhere, in dialogs and in the console too.
pub static ALWAYS: &[Binding] = &[
    row(
        &[Key::Ctrl('c')],
        "^C",
        "rail off",
        "Stops what runs at its next safe point and takes the rail off. A second one within 5 s \
         sends nothing but STOP and rail off.",
        Action::Stop,
    ),
    row(
        &[Key::Ctrl('z')],
        "^Z",
        "",
        "Suspends the workbench; refused while the rail is on or a job runs.",
        Action::Suspend,
    ),
    row(&[Key::Ctrl('l')], "^L", "", "Paints the whole screen anew.", Action::Redraw),
];

/// In every pane.
pub static PANES: &[Binding] = &[
    row(&[Key::Tab], "Tab", "next", "Goes to the next pane.", Action::NextPane),
    row(&[Key::BackTab], "Shift-Tab", "", "Goes to the pane before.", Action::PreviousPane),
];

/// In every pane but the console, where these are signs of a line.
pub static WORK: &[Binding] = &[
    stage(
        Stage::Look,
        &[Key::Char('i')],
        "i",
        "identify",
        "Looks at every space and asks the chips of its flash who they are.",
        Action::Identify,
    ),
    stage(
        Stage::Look,
        &[Key::Char('l')],
        "l",
        "lines",
        "Samples the level of every line; nothing is driven.",
        Action::Lines,
    ),
    stage(
        Stage::Look,
        &[Key::Char('r')],
        "r",
        "rail",
        "Rail on for cycles by hand, or off again.",
        Action::Rail,
    ),
    stage(
        Stage::Keep,
        &[Key::Char('k')],
        "k",
        "capture",
        "Reads every space to agreement and keeps the copy on the shelf. After a stop it goes on \
         where it was.",
        Action::Capture,
    ),
    stage(
        Stage::Plan,
        &[Key::Char('n')],
        "n",
        "plan",
        "Asks for an image and computes what writing it would do. Nothing is written by that.",
        Action::Plan,
    ),
    stage(
        Stage::Plan,
        &[Key::Char('e')],
        "e",
        "review",
        "Shows the plan that was made last.",
        Action::Review,
    ),
    stage(
        Stage::Write,
        &[Key::Char('w')],
        "w",
        "write",
        "Writes that plan, once the label of the module was typed; or goes on with a write that \
         was interrupted.",
        Action::Write,
    ),
    stage(
        Stage::Prove,
        &[Key::Char('v')],
        "v",
        "verify",
        "Compares the module with its last capture, by checksums.",
        Action::Verify,
    ),
    row(&[Key::Char('?')], "?", "help", "Shows the keys of this pane.", Action::Help),
    row(&[Key::Char('q')], "q", "quit", "Ends the workbench, with the rail off.", Action::Quit),
    row(&[Key::Char('1')], "1", "", "Goes to Connection.", Action::Pane(Pane::Connection)),
    row(&[Key::Char('2')], "2", "", "Goes to Memory map.", Action::Pane(Pane::Map)),
    row(&[Key::Char('3')], "3", "", "Goes to Transfer log.", Action::Pane(Pane::Log)),
    row(&[Key::Char('4')], "4", "", "Goes to Bus console.", Action::Pane(Pane::Console)),
];

static CONNECTION: &[Binding] = &[
    row(&[Key::Char('p')], "p", "port", "Chooses the port and connects.", Action::Port),
    row(
        &[Key::Char('s')],
        "s",
        "sheet",
        "Chooses the module sheet, which says what is plugged in.",
        Action::Sheet,
    ),
    row(
        &[Key::Char('m')],
        "m",
        "specimen",
        "Names the individual module: its kind and what is written on it.",
        Action::Specimen,
    ),
    row(
        &[Key::Char('c')],
        "c",
        "connect",
        "Connects, or closes the port if one is open.",
        Action::Connect,
    ),
    row(
        &[Key::Char('d')],
        "d",
        "",
        "Shows what identify has found, then what the link has counted, then goes back.",
        Action::Details,
    ),
    row(
        &[Key::Char('o')],
        "o",
        "measured",
        "Says that a person has measured the rail and found it off.",
        Action::Measured,
    ),
    row(&[Key::Char('a')], "a", "", "Shows the cautions.", Action::Cautions),
    row(&[Key::Esc], "Esc", "", "Goes back from what d shows.", Action::Leave),
];

static MAP: &[Binding] = &[
    row(&[Key::Left], "Left", "", "To the sector or block before.", Action::Left),
    row(&[Key::Right], "Right", "", "To the next sector or block.", Action::Right),
    row(&[Key::Up], "Up", "move", "A row up, or to the space before.", Action::Up),
    row(&[Key::Down], "Down", "", "A row down, or to the next space.", Action::Down),
    row(&[Key::PageUp], "PgUp", "", "A page up.", Action::PageUp),
    row(&[Key::PageDown], "PgDn", "", "A page down.", Action::PageDown),
    row(&[Key::Home], "Home", "", "To the beginning.", Action::Home),
    row(&[Key::End], "End", "", "To the end.", Action::End),
    row(
        &[Key::Enter, Key::Char('+')],
        "Enter",
        "closer",
        "Goes closer: module, sectors or blocks of a space, words.",
        Action::ZoomIn,
    ),
    row(&[Key::Esc, Key::Char('-')], "Esc", "farther", "Goes farther away again.", Action::ZoomOut),
    row(
        &[Key::Char('x')],
        "x",
        "view",
        "Shows the next view: the copy, what the plan does, how far the write is.",
        Action::View,
    ),
    row(
        &[Key::Char('b')],
        "b",
        "",
        "Asks whether the sector or block under the cursor is blank, by checksums.",
        Action::Blank,
    ),
];

static LOG: &[Binding] = &[
    row(&[Key::Up], "Up", "scroll", "A line back.", Action::Up),
    row(&[Key::Down], "Down", "", "A line on.", Action::Down),
    row(&[Key::PageUp], "PgUp", "page", "A page back.", Action::PageUp),
    row(&[Key::PageDown], "PgDn", "", "A page on.", Action::PageDown),
    row(&[Key::Home], "Home", "", "To the oldest line.", Action::Home),
    row(&[Key::End], "End", "newest", "To the newest line, where new ones show.", Action::End),
];

static CONSOLE: &[Binding] = &[
    row(
        &[Key::Enter],
        "Enter",
        "do it",
        "Does what the line says; an empty line repeats the last cycle.",
        Action::Run,
    ),
    row(&[Key::Up], "Up", "earlier", "An earlier line.", Action::Back),
    row(&[Key::Down], "Down", "", "A later line.", Action::On),
    row(&[Key::PageUp], "PgUp", "", "Scrolls back in what was said.", Action::PageUp),
    row(&[Key::PageDown], "PgDn", "", "Scrolls on again.", Action::PageDown),
    row(
        &[Key::Tab],
        "Tab",
        "complete",
        "Completes the word before the cursor; with an empty line, goes to the next pane.",
        Action::Complete,
    ),
    row(
        &[Key::Esc],
        "Esc",
        "leave",
        "Empties the line; with an empty line, leaves the console.",
        Action::Leave,
    ),
];

/// The pane's own table.
pub fn table(pane: Pane) -> &'static [Binding] {
    match pane {
        Pane::Connection => CONNECTION,
        Pane::Map => MAP,
        Pane::Log => LOG,
        Pane::Console => CONSOLE,
    }
}

/// Every table that holds in a pane, its own first.
pub fn tables(pane: Pane) -> [&'static [Binding]; 4] {
    let work = if pane == Pane::Console { &[][..] } else { WORK };
    [table(pane), work, PANES, ALWAYS]
}

/// What a key does in a pane.
pub fn action(pane: Pane, key: Key) -> Option<Action> {
    let mut rows = tables(pane).into_iter().flatten();
    rows.find(|row| row.keys.contains(&key)).map(|row| row.action)
}

/// What a key does in a dialog, whatever the dialog is.
pub fn always(key: Key) -> Option<Action> {
    ALWAYS.iter().find(|row| row.keys.contains(&key)).map(|row| row.action)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_key_means_two_things_in_a_pane() {
        for pane in Pane::ALL {
            let own = table(pane);
            // Tab is the one key that a pane may take from the others.
            let rest = tables(pane).into_iter().skip(1).flatten().filter(|r| r.name != "Tab");
            let keys: Vec<_> = own.iter().chain(rest).flat_map(|row| row.keys).collect();
            for (n, key) in keys.iter().enumerate() {
                assert!(!keys[..n].contains(key), "{key:?} in {pane:?}");
            }
        }
    }

    #[test]
    fn rows_have_sentences_and_no_function_keys() {
        let all = Pane::ALL.into_iter().flat_map(tables).flatten();
        for row in all {
            assert!(row.help.ends_with('.'), "{}", row.name);
            assert!(!row.keys.is_empty() && row.word.len() <= 16, "{}", row.name);
        }
    }
}
