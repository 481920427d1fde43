//! Reads a space's `chips` and checks that their lanes fill its width.

use crate::bus::{Lane, Width, Word};
use crate::module::keys::CHIP;
use crate::module::section::{At, Section};
use crate::module::source::shown;
use crate::module::{Chip, LineName, SheetError, SheetFault};

/// The chips of a space, lowest lane first; without the key one chip holds the whole width.
pub(super) fn chips(row: &Section<'_>, width: Width) -> Result<Vec<Chip>, SheetError> {
    let rows = row.rows("chips", &CHIP)?;
    if rows.is_empty() {
        let lane = Lane { first: 0, bits: width.bits() as u8 };
        return Ok(vec![Chip { reference: "chip".to_owned(), lane }]);
    }
    let mut chips: Vec<(Chip, usize)> = Vec::new();
    for row in &rows {
        let At { value: name, line } = row.need("ref", row.text("ref")?, "the chip's reference")?;
        if let Some((_, first)) = chips.iter().find(|(chip, _)| chip.reference == name) {
            return Err(row.error("ref", line, SheetFault::Duplicate { name, first: *first }));
        }
        let text = row.need("lane", row.text("lane")?, "its data lines, such as \"D0-D15\"")?;
        let lane = parse_lane(&text.value).ok_or_else(|| {
            let expected = "data lines from low to high, such as \"D0-D15\"".to_owned();
            let got = format!("\"{}\"", shown(&text.value));
            row.error("lane", text.line, SheetFault::Value { expected, got })
        })?;
        let last = width.bits() - 1;
        if u32::from(lane.last()) > last {
            let fault = SheetFault::LaneOutside { chip: name, lane, last };
            return Err(row.error("lane", text.line, fault));
        }
        let shared = |(chip, _): &&(Chip, usize)| chip.lane.mask() & lane.mask() != 0;
        if let Some((chip, _)) = chips.iter().find(shared) {
            let lines = lines_of(chip.lane.mask() & lane.mask());
            let first = chip.reference.clone();
            let fault = SheetFault::LanesOverlap { first, second: name, lines };
            return Err(row.error("lane", text.line, fault));
        }
        chips.push((Chip { reference: name, lane }, line));
    }
    let filled = chips.iter().fold(0, |filled, (chip, _)| filled | chip.lane.mask());
    if filled != width.ones() {
        let line = rows.first().map_or(row.line, |row| row.line);
        let fault = SheetFault::LinesUnfilled(lines_of(width.ones() & !filled));
        return Err(row.error("chips", line, fault));
    }
    chips.sort_by_key(|(chip, _)| chip.lane.first);
    Ok(chips.into_iter().map(|(chip, _)| chip).collect())
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
    let mut runs: Vec<Lane> = Vec::new();
    for line in (0..32).filter(|line| mask >> line & 1 == 1) {
        match runs.last_mut() {
            Some(run) if run.last() + 1 == line => run.bits += 1,
            _ => runs.push(Lane { first: line, bits: 1 }),
        }
    }
    let one = |run: &Lane| match run.bits {
        1 => format!("D{}", run.first),
        _ => run.to_string(),
    };
    runs.iter().map(one).collect::<Vec<_>>().join(", ")
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
