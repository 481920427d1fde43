//! Reads `data_order` and `address_order`: which module line is the chip's line 0, 1, ...

use super::space::Extent;
use crate::bus::Lane;
use crate::module::LineName;
use crate::module::line::listed;
use crate::module::section::{At, Section};
use crate::module::source::shown;

/// The module's data lines on the chip's D0, D1, ...: each line of its lane once. Empty where the
/// key is missing or wrong.
pub(super) fn data_order(row: &Section<'_>, lane: Option<Lane>) -> Vec<u8> {
    let Some((order, at)) = lines(row, "data_order", 'D') else { return Vec::new() };
    let Some(lane) = lane else { return Vec::new() };
    let wanted: Vec<u8> = (lane.first..=lane.last()).collect();
    permutation(row, "data_order", at, 'D', &wanted, order)
}

/// The module's address lines on the chip's A0, A1, ...: each of the lowest lines once, those
/// above running straight. Empty where the key is missing or wrong.
pub(super) fn address_order(row: &Section<'_>, extent: Option<&Extent>) -> Vec<u8> {
    let Some((order, line)) = lines(row, "address_order", 'A') else { return Vec::new() };
    let wanted: Vec<u8> = (0..order.len().min(32) as u8).collect();
    let order = permutation(row, "address_order", line, 'A', &wanted, order);
    let moved = (0_u32..).zip(&order).filter(|(own, line)| *own != u32::from(**line));
    let Some((highest, _)) = moved.last() else { return order };
    let Some(extent) = extent else { return order };
    // Only then the words of the space come out as the words of the space.
    let unit = 1_u64 << (highest + 1);
    let whole = |number: u32| u64::from(number).is_multiple_of(unit);
    if !whole(extent.base.0) || (extent.known && !whole(extent.words)) {
        let expected = format!(
            "moved lines that stay inside the space: `base` and `words` being multiples of \
             0x{unit:X}"
        );
        row.wrong("address_order", line, expected, format!("A{highest} moved"));
        return Vec::new();
    }
    order
}

/// The lines of a list, runs such as `D0-D7` or `D7-D0` spelt out, and where it begins.
fn lines(row: &Section<'_>, key: &str, letter: char) -> Option<(Vec<u8>, usize)> {
    let texts = row.texts(key)?;
    let first = texts.first().map(|text| text.line);
    let before = row.source.count();
    let mut order = Vec::new();
    for At { value, line } in &texts {
        if let Some(run) = run(value, letter) {
            order.extend(run);
        } else {
            let expected =
                format!("lines such as \"{letter}3\", or runs such as \"{letter}0-{letter}7\"");
            row.wrong(key, *line, expected, format!("\"{}\"", shown(value)));
        }
        if order.len() > 32 {
            row.wrong(key, *line, "at most 32 lines", "more".to_owned());
            break;
        }
    }
    if texts.is_empty() && row.has(key) {
        row.wrong(key, row.line, "at least one line", "none".to_owned());
    }
    (row.source.count() == before).then_some((order, first?))
}

fn run(text: &str, letter: char) -> Option<Vec<u8>> {
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    let number = |text: &str| match LineName::parse(text.trim()) {
        Some(LineName::Data(number)) if letter == 'D' => Some(number),
        Some(LineName::Address(number)) if letter == 'A' => Some(number),
        _ => None,
    };
    let (first, last) = (number(first)?, number(last)?);
    Some(if first <= last { (first..=last).collect() } else { (last..=first).rev().collect() })
}

fn permutation(
    row: &Section<'_>,
    key: &str,
    line: usize,
    letter: char,
    wanted: &[u8],
    order: Vec<u8>,
) -> Vec<u8> {
    let strange = order.iter().find(|line| !wanted.contains(line));
    let twice = order.iter().enumerate().find(|(at, line)| order[..*at].contains(line));
    let missing = wanted.iter().filter(|line| !order.contains(line)).copied();
    let missing = listed(letter, missing);
    let got = match (strange, twice) {
        (Some(line), _) => format!("{letter}{line}"),
        (_, Some((_, line))) => format!("{letter}{line} twice"),
        _ if missing.is_empty() => return order,
        _ => format!("no {missing}"),
    };
    let expected = format!("each of {} once", listed(letter, wanted.iter().copied()));
    row.wrong(key, line, expected, got);
    Vec::new()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_go_both_ways() {
        assert_eq!(run("D3", 'D'), Some(vec![3]));
        assert_eq!(run("A0-A2", 'A'), Some(vec![0, 1, 2]));
        assert_eq!(run("D9 - D7", 'D'), Some(vec![9, 8, 7]));
        for text in ["A3", "D", "D3-", "D3-A4", "D32", "", "3"] {
            assert_eq!(run(text, 'D'), None, "{text:?}");
        }
    }
}
