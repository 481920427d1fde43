//! States to begin with, and screens as text.

use crate::app::workbench::{
    AdapterFacts, ChipFacts, Doing, Item, Line, Mark, Phase, Progress, Rail, Snapshot, SpaceMap,
    Tone, sheet_facts,
};
use crate::link::LinkStats;
use crate::module::{Sheet, builtin};
use crate::tui::draw::draw;
use crate::tui::glyphs::UNICODE;
use crate::tui::keys::Key;
use crate::tui::msg::{Effect, Msg};
use crate::tui::state::{Look, State};
use crate::tui::theme::Theme;
use crate::tui::update::update;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Instant;

/// A window of this size with nothing open.
pub fn closed(width: u16, height: u16) -> State {
    let look = Look { theme: Theme::load("dark").unwrap(), glyphs: UNICODE };
    let mut state = State::new(&look, (width, height), Instant::now());
    state.port = "sim".into();
    state.sheets = ["TG-7", "TG-7b", "TG-7c"].map(String::from).to_vec();
    state
}

/// What the core shows once it is connected to the demo bench.
pub fn ready() -> Snapshot {
    let sheet = Sheet::parse("TG-7", builtin("TG-7").unwrap()).unwrap();
    let facts = sheet_facts(&sheet);
    Snapshot {
        port: "sim".into(),
        phase: Phase::Ready,
        adapter: Some(AdapterFacts {
            board: "bench:TG-7".into(),
            firmware: "simulated adapter 0.1.0".into(),
            baud: Some(1_000_000),
            rail_mv: 3300,
            rail_sensed: true,
            io_mv: 3300,
            io_measured: false,
            control: ["OE", "WE", "CS0", "CS1"].map(String::from).to_vec(),
            data_lines: 32,
            address_lines: 24,
        }),
        map: facts.spaces.iter().map(SpaceMap::new).collect(),
        sheet: Some(Arc::new(facts)),
        specimen: Some("TG-7 #0417".into()),
        simulated: true,
        rail: Rail::Off { mv: 0, measured: true },
        ..Snapshot::default()
    }
}

pub fn line(time: &str, tone: Tone, text: &str) -> Item {
    Item::Line(Line { time: time.into(), tone, text: text.into() })
}

fn connected_line() -> Item {
    let text = "adapter bench:TG-7 (simulated adapter 0.1.0) at 1000000 baud";
    line("14:03:10", Tone::Plain, text)
}

/// Connected, nothing done yet.
pub fn connected(width: u16, height: u16) -> State {
    let mut state = closed(width, height);
    send(&mut state, Msg::Core(Box::new(ready()), vec![connected_line()]));
    state
}

/// After identification: chips, and a store of boot sectors at its low end.
pub fn identified(width: u16, height: u16) -> State {
    let mut state = connected(width, height);
    let mut core = ready();
    core.link = Some(LinkStats { frames_sent: 60, frames_received: 60, ..LinkStats::default() });
    let (sectors, large) = ([0, 0x2000, 0x3000, 0x4000], (1..32).map(|n| n * 0x4000 + 0x4000));
    core.map[0].sectors = sectors.into_iter().chain(large.filter(|&at| at < 0x8_0000)).collect();
    let chip = |reference: &str, part: &str, more: &str, sectors| ChipFacts {
        reference: reference.into(),
        part: part.into(),
        what: format!("{part}{more}"),
        sectors,
    };
    let flash = " (maker from a list, device 0x225B)";
    core.chips = vec![
        chip("U1", "S29AL008J bottom", flash, 19),
        chip("U2", "S29AL008J bottom", flash, 19),
        chip("U3", "answers", "", 0),
    ];
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    state
}

/// In the middle of a capture, with a block in doubt.
pub fn capturing(width: u16, height: u16) -> State {
    let mut state = connected(width, height);
    let mut core = ready();
    core.rail = Rail::On { mv: 3287, measured: true };
    core.doing = Doing::Job("capture");
    core.link = Some(LinkStats { frames_sent: 900, frames_received: 888, ..LinkStats::default() });
    for (n, cell) in core.map[0].cells.iter_mut().enumerate() {
        cell.mark = match n {
            5 => Mark::Unsteady,
            0..12 => Mark::Agreed,
            _ => Mark::ReadOnce,
        };
    }
    core.map[0].under_way = Some(12);
    core.map[1].cells.iter_mut().for_each(|cell| cell.mark = Mark::ReadOnce);
    core.progress = Some(Progress {
        label: "store: pass 2, checksums".into(),
        done: 12 << 16,
        all: 2 << 20,
        rate_now: 401_000,
        rate_mean: 398_000,
        left_s: Some(4),
    });
    let lines = vec![
        line("14:03:31", Tone::Plain, "RAIL ON - do not touch the module (3287 mV measured)"),
        line("14:03:47", Tone::Plain, "store: pass 1, words: 2 MiB in 16.2 s, 125.81 KiB/s"),
        line("14:03:50", Tone::Plain, "records: pass 1, words: 256 KiB in 2.7 s, 94.78 KiB/s"),
        line("14:03:52", Tone::Trouble, "store: the block at word 0x14000 does not hold still"),
    ];
    send(&mut state, Msg::Core(Box::new(core), lines));
    state.cautioned = true;
    state
}

/// The rail is on for cycles by hand.
pub fn by_hand(width: u16, height: u16) -> State {
    let mut state = connected(width, height);
    let mut core = ready();
    core.rail = Rail::On { mv: 3301, measured: true };
    core.doing = Doing::ByHand;
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    state.cautioned = true;
    keys(&mut state, &[Key::Char('4')]);
    state
}

/// Sends a message.
pub fn send(state: &mut State, msg: Msg) -> Vec<Effect> {
    update(state, msg)
}

/// Presses keys; gives all effects.
pub fn keys(state: &mut State, keys: &[Key]) -> Vec<Effect> {
    keys.iter().flat_map(|key| update(state, Msg::Key(*key))).collect()
}

/// Types a line and Enter.
pub fn types(state: &mut State, line: &str) -> Vec<Effect> {
    let mut effects: Vec<_> =
        line.chars().flat_map(|c| update(state, Msg::Key(Key::Char(c)))).collect();
    effects.extend(keys(state, &[Key::Enter]));
    effects
}

/// What would be on the screen.
pub fn buffer(state: &State) -> Buffer {
    let backend = TestBackend::new(state.size.0, state.size.1);
    let mut terminal = Terminal::new(backend).unwrap();
    terminal.draw(|frame| draw(state, frame)).unwrap();
    terminal.backend().buffer().clone()
}

/// The same as text, without blanks at the ends of lines.
pub fn text(state: &State) -> String {
    let buffer = buffer(state);
    let mut out = String::new();
    for y in 0..buffer.area.height {
        let row: String = (0..buffer.area.width).map(|x| buffer[(x, y)].symbol()).collect();
        out.push_str(row.trim_end());
        out.push('\n');
    }
    out
}

/// A file of the repository.
pub fn file(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// True where texts that tests keep are to be written anew.
pub fn writes_anew() -> bool {
    std::env::var_os("BUSWRIGHT_SCREENS").is_some_and(|value| value == "write")
}

/// The text is that of the file.
#[track_caller]
pub fn same_as_file(name: &str, text: &str) {
    let path = file(name);
    if writes_anew() {
        std::fs::write(&path, text).unwrap();
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        kept == text,
        "{name} is not what is drawn now; BUSWRIGHT_SCREENS=write cargo test --lib tui writes it \
         anew. Now:\n{text}"
    );
}
