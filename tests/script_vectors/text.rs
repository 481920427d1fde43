//! What `docs/script.md` says: opcodes, numbers of refusals and ends, listings.

use buswright::bus::script::{Abort, LaneResult, OPCODES, Why};

const TEXT: &str = include_str!("../../docs/script.md");

/// The rows of the tables under a heading, cell by cell, without head and rule.
fn rows(heading: &str) -> Vec<Vec<&'static str>> {
    let mut lines = TEXT.lines().skip_while(|line| *line != heading);
    assert!(lines.next().is_some(), "docs/script.md: no heading '{heading}'");
    lines
        .take_while(|line| !line.starts_with('#'))
        .filter_map(|line| line.strip_prefix('|')?.strip_suffix('|'))
        .map(|line| line.split('|').map(str::trim).collect())
        .skip(2)
        .collect()
}

/// The opcode table is the crate's.
pub fn opcodes() {
    let said: Vec<_> = rows("## Opcodes")
        .into_iter()
        .map(|row| (row[0].to_owned(), row[1].to_owned(), row[2].to_owned(), row[3].to_owned()))
        .collect();
    let known: Vec<_> = OPCODES
        .iter()
        .map(|opcode| {
            let operands = opcode.operands.iter();
            let operands: Vec<_> = operands.map(|(name, size)| format!("{name} {size}")).collect();
            let operands = if operands.is_empty() { "–".to_owned() } else { operands.join(", ") };
            let code = format!("{:02X}", opcode.code);
            (code, opcode.name.to_owned(), operands, opcode.len().to_string())
        })
        .collect();
    assert_eq!(said, known, "docs/script.md: opcodes");
}

/// The tables of ends, lane results and refusals have the crate's numbers and names.
pub fn numbers() {
    let said = |heading| -> Vec<(u8, String)> {
        let rows = rows(heading).into_iter();
        rows.map(|row| (row[0].parse().unwrap(), row[1].to_owned())).collect()
    };
    let whys = [
        Why::Good,
        Why::Stopped(Abort::Stop),
        Why::Stopped(Abort::DeadMan),
        Why::Stopped(Abort::RailOff),
        Why::Stopped(Abort::Session),
        Why::WaitFailed,
        Why::TimedOut,
        Why::NotPermitted,
        Why::ReadOnly,
        Why::PartialLanes,
        Why::NoShape,
        Why::NoLine,
        Why::PowerLost,
    ];
    let whys: Vec<_> = whys.iter().map(|why| (why.number(), why.name().to_owned())).collect();
    assert_eq!(said("### Ends"), whys);
    let lanes = [
        LaneResult::Unasked,
        LaneResult::Done,
        LaneResult::Different,
        LaneResult::Failed,
        LaneResult::Aborted,
        LaneResult::TimedOut,
    ];
    let lanes: Vec<_> = lanes.iter().map(|lane| (lane.number(), lane.name().to_owned())).collect();
    assert_eq!(said("### Lane results"), lanes);
    let refusals: Vec<_> = said("## What the checker refuses").iter().map(|row| row.0).collect();
    assert_eq!(refusals, (1..=28).collect::<Vec<_>>());
}

/// Name and text of every block marked `script NAME`.
pub fn listings() -> Vec<(&'static str, String)> {
    let mut found = Vec::new();
    let mut lines = TEXT.lines();
    while let Some(line) = lines.next() {
        if let Some(name) = line.strip_prefix("```script ") {
            let text = lines.by_ref().take_while(|line| *line != "```");
            found.push((name, text.fold(String::new(), |all, line| all + line + "\n")));
        }
    }
    assert!(found.len() >= 3, "docs/script.md: too few listings");
    found
}
