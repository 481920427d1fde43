//! The workbench: a full-screen program over the core of [`crate::app`].
//!
//! `update` changes the state and `draw` shows it; neither does anything else. The shell waits for
//! keys, signals and the core, and sleeps while nothing happens.

mod burst;
mod console;
mod dialogs;
mod draw;
mod glyphs;
mod input;
mod keys;
mod layout;
mod line_edit;
mod msg;
mod panes;
mod plain;
mod shell;
mod signals;
mod state;
mod status;
mod strip;
mod term;
#[cfg(test)]
mod tests;
mod theme;
mod update;

use crate::app::workbench::{Command, Rail, Setup, Watch, port_lines, start};
use crate::app::{PortName, sheet_names};
use shell::{End, Shell};
use signals::Wake;
use state::{Look, State};
use std::io::{IsTerminal, Write, stderr, stdin, stdout};
use std::time::Instant;
use theme::Theme;

/// What is said where there is no terminal to draw on.
const NO_TERMINAL: &str = "the workbench needs a terminal; commands work everywhere: `buswright \
                           capture --out copy.bin`, and `buswright --help` lists the others";

fn variable(name: &str) -> Option<String> {
    std::env::var(name).ok().filter(|value| !value.is_empty())
}

fn fail(code: u8, text: &str) -> u8 {
    let _ = writeln!(stderr(), "buswright: {text}");
    code
}

fn look(setup: &Setup) -> Result<Look, String> {
    // An empty NO_COLOR counts as unset (no-color.org).
    let mono = setup.mono || variable("NO_COLOR").is_some();
    let name = match &setup.theme {
        Some(name) if !mono => name,
        _ if mono => "mono",
        _ => "dark",
    };
    Ok(Look { theme: Theme::load(name)?, glyphs: glyphs::of_locale(variable) })
}

/// Runs the workbench to its end; gives the exit code.
pub fn run(setup: Setup) -> u8 {
    let dumb = variable("TERM").is_none_or(|term| term == "dumb");
    if dumb || !stdin().is_terminal() || !stdout().is_terminal() {
        return fail(2, NO_TERMINAL);
    }
    let look = match look(&setup) {
        Ok(look) => look,
        Err(text) => return fail(2, &text),
    };
    match open(setup, &look) {
        Ok(mut shell) => live(&mut shell),
        Err(error) => {
            term::give_back();
            fail(3, &format!("the terminal cannot be used: {error}"))
        }
    }
}

fn open(setup: Setup, look: &Look) -> std::io::Result<Shell> {
    let (wake, calls) = (Wake::new()?, Wake::new()?);
    let size = crossterm::terminal::size()?;
    let mut state = State::new(look, size, Instant::now());
    let name = setup.port.as_ref().map(ToString::to_string).unwrap_or_default();
    state.port.clone_from(&name);
    state.wanted = setup.wanted.clone();
    state.sheets = sheet_names().map(str::to_string).collect();
    let watch = Watch::new(&setup.places.folder, &name);
    let shelf = setup.places.shelf.clone();
    let mut handle = start(setup.places, wake.caller())?;
    let flags = signals::watch(&calls, handle.ender())?;
    let there = watch.look();
    match setup.port {
        Some(port) if there.is_none() => handle.send(Command::Connect(port, setup.wanted)),
        Some(_) => drop(update::update(&mut state, msg::Msg::Elsewhere(there))),
        None => {
            update::update(&mut state, msg::Msg::Key(keys::Key::Char('p')));
            update::update(&mut state, msg::Msg::Ports(port_lines()));
        }
    }
    term::restore_on_panic();
    let screen = term::Screen::enter()?;
    Ok(Shell::new(screen, state, handle, (wake, calls), flags, (watch, shelf)))
}

fn live(shell: &mut Shell) -> u8 {
    let end = match shell.run() {
        Ok(End::HungUp) => {
            shell.headless();
            // Nothing may be written to a terminal that is gone.
            return shell.handle.join();
        }
        Ok(end) => end,
        Err(error) => {
            // A terminal that is gone often shows as a write that fails, before anything else:
            // what runs is finished all the same.
            shell.headless();
            let code = shell.handle.join();
            term::give_back();
            return fail(code, &format!("the terminal failed: {error}"));
        }
    };
    term::give_back();
    let said = match shell.state.core.rail {
        Rail::NotAsked => None,
        Rail::Off { measured: true, .. } | Rail::OffConfirmed => {
            Some("RAIL OFF - safe to move the module")
        }
        Rail::Off { .. } => {
            Some("RAIL OFF, not measured - measure the rail before you move the module")
        }
        Rail::On { .. } | Rail::Unknown => {
            Some("RAIL NOT KNOWN - measure it before you touch the module")
        }
    };
    if let Some(said) = said {
        let _ = writeln!(stdout(), "{said}");
    }
    if let Some(unfinished) = &shell.state.core.unfinished {
        let port = shell.state.core.port.parse();
        let bench = matches!(port, Ok(PortName::Sim | PortName::SimFile(_)));
        let _ = writeln!(stdout(), "{}", unfinished.left_behind(bench));
    }
    match end {
        End::Signal(code) => code,
        End::Asked | End::HungUp => 0,
    }
}
