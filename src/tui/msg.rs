//! What happens to the state, and what it wants done.

use super::keys::Key;
use crate::app::workbench::{Command, Elsewhere, Item, ListLine, Snapshot};
use std::time::Instant;

/// Something that happened.
#[derive(Debug)]
pub enum Msg {
    /// Time has gone on.
    Tick(Instant),
    /// A key.
    Key(Key),
    /// A key that has come in one go with others, as nobody types.
    Pasted(Key),
    /// Pasted text.
    Paste(String),
    /// The window has another size.
    Resize(u16, u16),
    /// The core has something new.
    Core(Box<Snapshot>, Vec<Item>),
    /// The words that the map asked for.
    Page(Vec<u32>),
    /// The ports that there are.
    Ports(Vec<ListLine>),
    /// The images that there are.
    Images(Vec<ListLine>),
    /// An image was looked for; why it cannot be planned, if so.
    Image(String, Option<String>),
    /// A module sheet was looked for; why it cannot be taken, if so.
    Sheet(String, Option<String>),
    /// Another workbench was looked at.
    Elsewhere(Option<Elsewhere>),
    /// A signal asks for the end.
    End,
}

/// Something to be done outside.
#[derive(Debug)]
pub enum Effect {
    /// Ask the core.
    Send(Command),
    /// Ask for the safe state.
    Stop,
    /// Ask which ports there are.
    ListPorts,
    /// Ask which images there are.
    ListImages,
    /// Ask whether there is an image of that name.
    FindImage(String),
    /// Ask whether there is a module sheet of that name.
    FindSheet(String),
    /// Stop the process until it is continued.
    Suspend,
    /// Paint everything anew.
    Redraw,
    /// Stop the other workbench safely.
    StopElsewhere,
}
