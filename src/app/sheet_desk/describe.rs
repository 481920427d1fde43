//! Good sheets in a few lines, and as values.

use crate::image::counted;
use crate::module::{AdapterSheet, Sheet, Space, Zone};
use serde_json::{Value, json};
use std::fmt::Write;

/// A module sheet in a few lines.
pub(super) fn sheet_text(sheet: &Sheet) -> String {
    let mut text = format!("{}, rail {}", sheet.title, sheet.rail);
    for space in &sheet.spaces {
        let chips: Vec<_> =
            space.chips.iter().map(|chip| format!("{} {}", chip.reference, chip.lane)).collect();
        let _ = write!(
            text,
            "\n  {} ({}, {} bits): {}; {}",
            space.name,
            space.kind.word(),
            space.width.bits(),
            extent(space),
            chips.join(", ")
        );
    }
    for zone in &sheet.zones {
        let _ = write!(
            text,
            "\n  zone {} of {} at word {}+0x{:X}{}",
            zone.name,
            sheet.spaces[zone.space].name,
            zone.start,
            zone.words,
            flags(zone)
        );
    }
    text
}

fn extent(space: &Space) -> String {
    if !space.words_known {
        return format!("from word {}, its length for the chips to tell", space.base);
    }
    let bytes = u64::from(space.words) * space.width.bytes() as u64;
    let size = humansize::format_size(bytes, humansize::BINARY);
    format!("words {}+0x{:X}, {size}", space.base, space.words)
}

fn flags(zone: &Zone) -> &'static str {
    match zone {
        Zone { keep_off: true, .. } => ", never touched",
        Zone { live: true, keep: true, .. } => ", kept, changes by itself",
        Zone { live: true, .. } => ", changes by itself",
        Zone { keep: true, .. } => ", kept",
        _ => "",
    }
}

/// The same for programs.
pub(super) fn sheet_value(sheet: &Sheet) -> Value {
    let space = |space: &Space| {
        let chips = space.chips.iter();
        let chip = |chip: &crate::module::Chip| json!({ "ref": chip.reference, "lane": chip.lane.to_string() });
        json!({
            "name": space.name,
            "kind": space.kind.word(),
            "bits": space.width.bits(),
            "base": space.base.0,
            "words": space.words_known.then_some(space.words),
            "chips": chips.map(chip).collect::<Vec<_>>(),
        })
    };
    let zone = |zone: &Zone| {
        json!({
            "space": sheet.spaces[zone.space].name,
            "name": zone.name,
            "start": zone.start.0,
            "words": zone.words,
            "keep": zone.keep,
            "live": zone.live,
            "keep_off": zone.keep_off,
        })
    };
    json!({
        "kind": "module",
        "name": sheet.name,
        "title": sheet.title,
        "rail_mv": sheet.rail.0,
        "address_lines": sheet.address_lines,
        "spaces": sheet.spaces.iter().map(space).collect::<Vec<_>>(),
        "zones": sheet.zones.iter().map(zone).collect::<Vec<_>>(),
        "sha256": sheet.sha256(),
    })
}

/// An adapter sheet in a line.
pub(super) fn adapter_text(sheet: &AdapterSheet) -> String {
    format!("{}, {}", sheet.name, counted(sheet.lines.len() as u64, "line"))
}

/// The same for programs.
pub(super) fn adapter_value(sheet: &AdapterSheet) -> Value {
    json!({
        "kind": "adapter",
        "name": sheet.name,
        "board": sheet.board,
        "lines": sheet.lines.len(),
        "pulled_down": sheet.pulled_down,
    })
}
