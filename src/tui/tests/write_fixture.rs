//! States of planning and writing.

use super::fixture::*;
use crate::app::workbench::{
    Action, Doing, Leave, PlanFacts, PlannedPart, Progress, Progressed, Rail, Snapshot, Tone,
    UnfinishedWrite, WriteEnd,
};
use crate::bus::WordAddress;
use crate::tui::msg::Msg;
use crate::tui::state::State;
use std::sync::Arc;
use std::time::Duration;

pub const LABEL: &str = "TG-7 #0417";

/// A plan for the demo bench: a newer table, with a locked sector and one that is not looked at.
pub fn facts() -> PlanFacts {
    let rows = [
        ("aim", "new-table.bin into store"),
        ("way back", "0417-003; the module equals it now"),
        ("store", "32 bits, U1, U2 S29AL008J bottom (maker from a list, device 0x225B)"),
        ("", "0-7     0x0+0x18000       keep"),
        ("", "8-9     0x18000+0x8000    program 4096 words, no erase"),
        ("", "10-12   0x20000+0xC000    erase, program 49152 words"),
        ("", "13      0x2C000+0x4000    LOCKED, stays: its lock is permanent"),
        ("", "14-32   0x30000+0x4C000   keep"),
        ("", "33      0x7C000+0x4000    left alone: it holds words that are never touched"),
        ("changes", "5 sectors, 208 KiB to program"),
        ("stays", "store sector 13 stays as it is: 12 words of it are otherwise in the image"),
        ("fit", "nothing is known of where it comes from: it is taken as words of 32 bits"),
        ("", "zone constants 0x7E000+0x800 keeps the words of this module"),
        ("time", "about 31 s: line 2.1 s, erasing 3.1 s, programming beyond the line 0.0 s"),
        ("think of", "flash wears with every erase: this one erases 3 sectors once"),
        ("", "the module will NOT hold the whole image afterwards: see what stays"),
        ("", "0417-003 is the only way back: keep it elsewhere, too"),
    ];
    PlanFacts {
        code: Some("K7M2QX".into()),
        specimen: LABEL.into(),
        what: "new-table.bin into store".into(),
        backup: "0417-003".into(),
        erased: 3,
        blanked: 0,
        programmed: 2,
        whole: false,
        rows: rows.map(|(head, text)| (head.to_string(), text.to_string())).to_vec(),
    }
}

/// What is connected, with the plan over its map.
pub fn planned_core() -> Snapshot {
    let mut core = identified(80, 24).core;
    core.laid = Some("K7M2QX".into());
    let sectors = core.map[0].sectors.clone();
    let next = |n: usize| sectors.get(n + 1).copied().unwrap_or(0x8_0000);
    core.map[0].planned = (0..sectors.len())
        .map(|n| {
            let action = match n {
                8 | 9 => Action::Program,
                10..13 => Action::Erase,
                13 => Action::Locked,
                33 => Action::Leave,
                _ => Action::Keep,
            };
            let changes = matches!(action, Action::Program | Action::Erase);
            let leave = action == Action::Leave;
            PlannedPart {
                first: sectors[n],
                words: next(n) - sectors[n],
                action,
                unlock: false,
                bytes: if changes { 0x8000 } else { 0 },
                progressed: if leave { Progressed::Doubtful } else { Progressed::Waiting },
                erases: action == Action::Erase,
            }
        })
        .collect();
    core
}

/// The plan was made just now: its review is open.
pub fn reviewing(width: u16, height: u16) -> State {
    let mut state = identified(width, height);
    state.cautioned = true;
    let mut core = planned_core();
    core.plan = Some(Arc::new(facts()));
    let text = "plan K7M2QX for TG-7 #0417 (simulated): new-table.bin into store";
    send(&mut state, Msg::Core(Box::new(core), vec![line("14:10:02", Tone::Good, text)]));
    state
}

/// In the middle of the write.
pub fn writing(width: u16, height: u16) -> State {
    let mut state = reviewing(width, height);
    state.dialog = None;
    let mut core = state.core.clone();
    core.rail = Rail::On { mv: 3301, measured: true };
    core.doing = Doing::Job("write");
    for (n, part) in core.map[0].planned.iter_mut().enumerate() {
        part.progressed = match n {
            8 | 9 => Progressed::Written,
            10 => Progressed::Erased,
            11 | 12 => Progressed::Waiting,
            33 => Progressed::Doubtful,
            _ => Progressed::Verified,
        };
    }
    core.map[0].in_hand = Some(10);
    core.leave = Some(Leave { space: None, until: state.now + Duration::from_secs(45) });
    core.progress = Some(Progress {
        label: "store: writing, 3 of 5".into(),
        done: 150 << 10,
        all: 320 << 10,
        rate_now: 70_000,
        rate_mean: 68_000,
        left_s: Some(14),
    });
    let lines = vec![
        line("14:11:20", Tone::Plain, "RAIL ON - do not touch the module (3301 mV measured)"),
        line("14:11:26", Tone::Plain, "store: checksums before writing: 2 MiB in 5.4 s, 376 KiB/s"),
    ];
    send(&mut state, Msg::Core(Box::new(core), lines));
    state
}

/// The journal of that write, broken off in its third sector.
pub fn unfinished_facts() -> UnfinishedWrite {
    UnfinishedWrite {
        code: "K7M2QX".into(),
        what: "new-table.bin into store".into(),
        specimen: LABEL.into(),
        begun: "2026-03-01 14:11 UTC".into(),
        written: 2,
        of: 5,
        backup: "0417-003".into(),
        broken: vec![("store".into(), WordAddress(0x2_0000), Progressed::Doubtful)],
    }
}

/// Connected to a module whose write was broken off, and to one that nobody has answered for.
pub fn looked(width: u16, height: u16, unfinished: bool, unanswered: bool) -> State {
    let mut state = identified(width, height);
    let mut core = planned_core();
    core.looks = 1;
    if unfinished {
        core.unfinished = Some(Arc::new(unfinished_facts()));
        for (n, part) in core.map[0].planned.iter_mut().enumerate() {
            part.progressed = match n {
                8 | 9 => Progressed::Written,
                10 | 33 => Progressed::Doubtful,
                11 | 12 => Progressed::Waiting,
                _ => Progressed::Verified,
            };
        }
    }
    core.unanswered = unanswered.then(|| "2026-02-27".to_string());
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    state
}

/// A write has ended: well, or not.
pub fn ended(width: u16, height: u16, good: bool) -> State {
    let mut state = writing(width, height);
    let mut core = state.core.clone();
    core.doing = Doing::Nothing;
    core.rail = Rail::Off { mv: 0, measured: true };
    (core.progress, core.leave, core.plan) = (None, None, None);
    core.map[0].in_hand = None;
    let text = if good {
        core.map[0].planned.iter_mut().for_each(|part| {
            if part.action != Action::Leave {
                part.progressed = Progressed::Verified;
            }
        });
        "TG-7 #0417 holds what plan K7M2QX says (new-table.bin into store): 3 sectors erased and \
         programmed, 2 programmed only, 320 KiB in 29.8 s\n  the rail was off in between, measured \
         at 12 mV"
    } else {
        core.map[0].planned[10].progressed = Progressed::Failed;
        core.unfinished = Some(Arc::new(unfinished_facts()));
        "TG-7 #0417 does NOT hold what plan K7M2QX says: 0 sectors erased and programmed, 2 \
         programmed only, 64 KiB in 17.0 s\n  sector 10 of store (words 0x20000+0x4000) failed: \
         U2 D16-D31: the erase did not end in time\n  nothing after it was changed. `buswright \
         resume` tries it once more; `buswright plan --back` goes back to 0417-003"
    };
    let end = WriteEnd {
        plan: "K7M2QX".into(),
        code: u8::from(!good),
        text: text.into(),
        backup: "0417-003".into(),
    };
    core.write_end = Some(Arc::new(end));
    send(&mut state, Msg::Core(Box::new(core), Vec::new()));
    state
}
