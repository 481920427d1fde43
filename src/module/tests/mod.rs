//! Tests of sheets and of what they mean.

mod adapters;
mod document;
mod extras;
mod fits;
mod random;
mod refusals;
mod reviews;
mod sheets;
mod wires;

use super::{Board, ControlLine, Sheet};
use crate::bus::ShapeTimes;

/// A sheet with everything in it; the tests break one line at a time.
const WHOLE: &str = r#"format = 1
name = "T"
title = "A test module"
rail_mv = 5000
address_lines = 8

[[space]]
name = "one"
kind = "flash"
width = 16
base = 0x10
words = 0x40
select = { CS0 = "low" }
read = { OE = "low" }
write = { WE = "low" }
family = "jedec"
chips = [
  { ref = "U1", lane = "D0-D7" },
  { ref = "U2", lane = "D8-D15" },
]
timing = { access_ns = 90, set_up_ns = 10 }

[[space]]
name = "two"
kind = "ram"
width = 8
words = 0x20
battery = false
select = { CS1 = "low" }

[[zone]]
space = "one"
name = "a"
range = "0x10+0x8"
keep = true

[[zone]]
space = "one"
name = "b"
range = "0x20+8"

[pins]
"J1-1" = "D0"
"J1-2" = "A0"
"J1-3" = "CS0"
"J2-1" = "D0"
"#;

fn whole() -> Sheet {
    Sheet::parse("t.toml", WHOLE).unwrap()
}

/// `WHOLE` with one piece of it replaced.
fn with(old: &str, new: &str) -> String {
    assert!(WHOLE.contains(old), "{old:?} is not in the sheet");
    WHOLE.replacen(old, new, 1)
}

/// A board with plain names and pull-ups everywhere.
fn board(data: u8, address: u8, control: &[&str]) -> Board {
    let line = |name: &&str| ControlLine {
        name: (*name).to_owned(),
        write_strobe: name.starts_with("WE"),
        pulled_down: false,
    };
    Board {
        data_lines: data,
        address_lines: address,
        control: control.iter().map(line).collect(),
        shortest: ShapeTimes { setup: 63, pulse: 125, hold: 63, recover: 63, release: 125 },
        shape_slots: 8,
    }
}
