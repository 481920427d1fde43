//! Reads a space's `chips` and checks that their lanes fill its width.

use super::order::{address_order, data_order};
use super::space::Extent;
use crate::bus::{Lane, Width, Word};
use crate::module::keys::CHIP;
use crate::module::section::{At, Section};
use crate::module::source::shown;
use crate::module::{Chip, LineName, SheetFault};

/// Each chip has a data line of its own at least.
const MOST_CHIPS: usize = 32;

/// The chips of a space, lowest lane first; without the key one chip holds the whole width.
pub(super) fn chips(row: &Section<'_>, width: Option<Width>, extent: Option<&Extent>) -> Vec<Chip> {
    let rows = row.rows("chips", &CHIP, MOST_CHIPS);
    if rows.is_empty() {
        let bits = width.map_or(8, Width::bits) as u8;
        return vec![Chip::straight("chip", Lane { first: 0, bits })];
    }
    let before = row.source.count();
    let mut names: Vec<At<String>> = Vec::new();
    let mut chips: Vec<Chip> = Vec::new();
    for row in &rows {
        let name = row.need("ref", row.text("ref"), "the chip's reference");
        if let Some(name) = &name {
            match names.iter().find(|first| first.value == name.value) {
                Some(first) => {
                    let (name, first, line) = (name.value.clone(), first.line, name.line);
                    row.tell("ref", line, SheetFault::Duplicate { name, first });
                }
                None => names.push(name.clone()),
            }
        }
        let text = row.need("lane", row.text("lane"), "its data lines, such as \"D0-D15\"");
        let name = name.map_or_else(|| "?".to_owned(), |name| name.value);
        let lane = text.and_then(|text| lane(row, &text, &name, width, &chips));
        let data_order = data_order(row, lane);
        let address_order = address_order(row, extent);
        if let Some(lane) = lane {
            chips.push(Chip { reference: name, lane, data_order, address_order });
        }
    }
    let filled = chips.iter().fold(0, |filled, chip| filled | chip.lane.mask());
    if let Some(width) = width.filter(|width| filled != width.ones())
        && row.source.count() == before
    {
        let line = rows.first().map_or(row.line, |row| row.line);
        let fault = SheetFault::LinesUnfilled(lines_of(width.ones() & !filled));
        row.tell("chips", line, fault);
    }
    chips.sort_by_key(|chip| chip.lane.first);
    chips
}

/// The lane of a chip, if it is inside the width and shares no line with another.
fn lane(
    row: &Section<'_>,
    text: &At<String>,
    name: &str,
    width: Option<Width>,
    chips: &[Chip],
) -> Option<Lane> {
    let Some(lane) = parse_lane(&text.value) else {
        let expected = "data lines from low to high, such as \"D0-D15\"";
        row.wrong("lane", text.line, expected, format!("\"{}\"", shown(&text.value)));
        return None;
    };
    let last = width?.bits() - 1;
    if u32::from(lane.last()) > last {
        let fault = SheetFault::LaneOutside { chip: name.to_owned(), lane, last };
        row.tell("lane", text.line, fault);
        return None;
    }
    if let Some(chip) = chips.iter().find(|chip| chip.lane.mask() & lane.mask() != 0) {
        let lines = lines_of(chip.lane.mask() & lane.mask());
        let (first, second) = (chip.reference.clone(), name.to_owned());
        row.tell("lane", text.line, SheetFault::LanesOverlap { first, second, lines });
        return None;
    }
    Some(lane)
}

/// Reads `D0-D15`, or `D0` for a single line.
fn parse_lane(text: &str) -> Option<Lane> {
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    let number = |text: &str| match LineName::parse(text.trim()) {
        Some(LineName::Data(number)) => Some(number),
        _ => None,
    };
    let (first, last) = (number(first)?, number(last)?);
    (first <= last).then(|| Lane { first, bits: last - first + 1 })
}

/// The data lines of a mask: `D0-D3, D8`.
fn lines_of(mask: Word) -> String {
    crate::module::line::listed('D', (0..32).filter(|line| mask >> line & 1 == 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lanes_are_data_lines_from_low_to_high() {
        assert_eq!(parse_lane("D16-D31"), Some(Lane { first: 16, bits: 16 }));
        assert_eq!(parse_lane("D7"), Some(Lane { first: 7, bits: 1 }));
        for text in ["D15-D0", "D0-D32", "0-15", "A0-A7", "D0-", "-", ""] {
            assert_eq!(parse_lane(text), None, "{text:?}");
        }
    }

    #[test]
    fn lines_are_listed_in_runs() {
        assert_eq!(lines_of(0x8000_010F), "D0-D3, D8, D31");
    }
}
