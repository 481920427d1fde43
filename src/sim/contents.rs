//! Demo contents: generated, the same every time, and saying so.
//!
//! The scenario is our own: coastal tide recorders with plug-in modules. Nothing here comes from a
//! real instrument.

use crate::bus::{Width, crc32};
use std::ops::Range;

/// Names of stations in the scenario.
const STATIONS: [&str; 5] =
    ["SALTMARSH NORTH", "HERON SLUICE", "GREY SPIT", "LONG MOLE", "COCKLE BANK"];
const MESSAGES: [&str; 8] = [
    "LEVEL %05d MM  SEA TEMP %03d",
    "FLOAT WELL BLOCKED - CLEAR INLET",
    "BACKUP CELL LOW",
    "CLOCK SET BY HAND",
    "RECORDS FULL - OLDEST OVERWRITTEN",
    "TABLE ENDS IN %02d DAYS",
    "SELF TEST GOOD",
    "SELF TEST FAILED AT %08X",
];
/// Where the program proper starts, in bytes; the header stands before it.
const PROGRAM: usize = 0x200;
/// A store of fewer bytes has no parts, only a title and noise.
const SMALL: usize = 0x4_0000;
/// Bytes of one log record.
const RECORD: usize = 16;

/// The word addresses of the zone with the station's constants.
pub(super) fn constants_zone(width: Width, words: u32) -> Range<u32> {
    if width == Width::W32 {
        let start = words / 64 * 63;
        start..start + words / 256
    } else {
        // The second of the boot sectors of 4 Ki words at the bottom.
        let sector = 0x1000.min(words / 4);
        sector..2 * sector
    }
}

/// A program store: header, program, texts, tide table, blank parts, the station's constants.
///
/// The header holds, from byte 0x80 on, start, end and CRC-32 of the checked part.
pub(super) fn store(sheet: &str, specimen: &str, width: Width, words: u32) -> Vec<u8> {
    let size = words as usize * width.bytes();
    let mut rng = seeded(sheet);
    let mut out = vec![0xFF; size];
    let part = |percent: usize| size / 100 * percent / 16 * 16;
    let (texts, table, end) = (part(44), part(46), part(60));
    let title = format!("SALTMARSH {sheet} PROGRAM 2.14 - GENERATED DEMO DATA");
    if size < SMALL {
        rng.fill(&mut out);
        let head = size.min(0x80);
        text(&mut out[..head], &title);
        return out;
    }
    program(&mut rng, &mut out[PROGRAM..texts]);
    messages(sheet, &mut out[texts..table]);
    tide_table(&mut rng, &mut out[table..end]);
    program(&mut rng, &mut out[part(88)..part(96)]);
    let zone = constants_zone(width, words);
    let zone = zone.start as usize * width.bytes()..zone.end as usize * width.bytes();
    constants(specimen, &mut out[zone.clone()]);
    let checked = if zone.end < end { zone.end..end } else { PROGRAM..end };
    let sum = crc32(&out[checked.clone()]);
    text(&mut out[..0x80], &title);
    for (place, value) in
        out[0x80..].chunks_exact_mut(4).zip([checked.start as u32, checked.end as u32, sum, 0x0214])
    {
        place.copy_from_slice(&value.to_le_bytes());
    }
    out
}

/// A full ring of log records: number, minute, level, temperature, CRC-32 of those.
pub(super) fn records(specimen: &str, width: Width, words: u32) -> Vec<u8> {
    let size = words as usize * width.bytes();
    let mut rng = seeded(specimen);
    let first = rng.u32(100_000..900_000);
    let mut out = Vec::with_capacity(size + RECORD);
    for n in 0.. {
        if out.len() >= size {
            break;
        }
        let number = first + n;
        let start = out.len();
        out.extend(number.to_le_bytes());
        out.extend((number.wrapping_mul(10)).to_le_bytes());
        out.extend(tide(number, &mut rng).to_le_bytes());
        out.extend(rng.i16(40..180).to_le_bytes());
        let sum = crc32(&out[start..]);
        out.extend(sum.to_le_bytes());
    }
    out.truncate(size);
    out
}

fn seeded(name: &str) -> fastrand::Rng {
    fastrand::Rng::with_seed(u64::from(crc32(name.as_bytes())) | 0x7147_0000_0000)
}

fn text(place: &mut [u8], text: &str) {
    let n = text.len().min(place.len());
    place.fill(0);
    place[..n].copy_from_slice(&text.as_bytes()[..n]);
}

/// Blocks that look like code, and blocks of packed tables that no packer makes smaller.
fn program(rng: &mut fastrand::Rng, place: &mut [u8]) {
    let opcodes: Vec<u8> = (0..24).map(|_| rng.u8(..)).collect();
    for (n, block) in place.chunks_mut(0x1000).enumerate() {
        rng.fill(block);
        if n % 3 != 2 {
            for word in block.chunks_exact_mut(4) {
                word[3] = opcodes[usize::from(word[3]) % opcodes.len()];
                word[1] &= 0x1F;
            }
        }
    }
}

fn messages(sheet: &str, place: &mut [u8]) {
    for (n, line) in place.chunks_mut(48).enumerate() {
        text(line, &format!("{n:05} {sheet} {}", MESSAGES[n % MESSAGES.len()]));
    }
}

/// Millimetres above datum: two tides of nearly half a day, and noise.
fn tide(step: u32, rng: &mut fastrand::Rng) -> i16 {
    let hours = f64::from(step) / 6.0;
    let wave = |period: f64, height: f64| height * (hours / period * std::f64::consts::TAU).sin();
    (1_800.0 + wave(12.42, 1_450.0) + wave(12.0, 480.0)) as i16 + rng.i16(-30..30)
}

fn tide_table(rng: &mut fastrand::Rng, place: &mut [u8]) {
    for (n, entry) in place.chunks_exact_mut(2).enumerate() {
        entry.copy_from_slice(&tide(n as u32, rng).to_le_bytes());
    }
}

fn constants(specimen: &str, place: &mut [u8]) {
    let mut rng = seeded(specimen);
    let station = STATIONS[rng.usize(..STATIONS.len())];
    text(&mut place[..0x40], &format!("STATION {station} - GENERATED"));
    text(&mut place[0x40..0x80], specimen);
    rng.fill(&mut place[0x80..0x280]);
    let sum = crc32(&place[..0x280]);
    place[0x280..0x284].copy_from_slice(&sum.to_le_bytes());
}

#[cfg(test)]
mod tests {
    use super::*;

    const CASES: [(&str, Width, u32); 3] = [
        ("TG-7", Width::W32, 0x8_0000),
        ("TG-7b", Width::W16, 0x20_0000),
        ("TG-7c", Width::W32, 0x8_0000),
    ];

    fn lines_differ(width: Width, bytes: &[u8]) {
        let words: Vec<u32> = width.words(bytes).collect();
        for line in 0..width.bits() {
            let ones = words.iter().filter(|word| *word >> line & 1 == 1).count();
            assert!(ones > 0 && ones < words.len(), "D{line} is constant");
            for other in 0..line {
                let equal = words.iter().all(|word| (word >> line ^ word >> other) & 1 == 0);
                assert!(!equal, "D{line} equals D{other}");
            }
        }
        for lines in 1..words.len().ilog2() {
            let half = 1 << lines;
            assert_ne!(words[..half], words[half..2 * half], "mirrored at {half:X}");
        }
    }

    #[test]
    fn stores_say_what_they_are_and_use_every_line() {
        for (sheet, width, words) in CASES {
            let bytes = store(sheet, "TG-7 #0417", width, words);
            assert_eq!(bytes.len(), words as usize * width.bytes());
            assert!(String::from_utf8_lossy(&bytes[..0x80]).contains("GENERATED DEMO DATA"));
            assert_eq!(bytes, store(sheet, "TG-7 #0417", width, words));
            lines_differ(width, &bytes);
            let blank = bytes.chunks(64).filter(|c| c.iter().all(|b| *b == 0xFF)).count();
            let share = blank * 64 * 100 / bytes.len();
            assert!((25..40).contains(&share), "{share} % blank");
        }
    }

    #[test]
    fn the_stored_checksum_is_that_of_the_checked_part() {
        for (sheet, width, words) in CASES {
            let bytes = store(sheet, "TG-7 #0417", width, words);
            let at: Vec<u32> = Width::W32.words(&bytes[0x80..0x8C]).collect();
            let checked = &bytes[at[0] as usize..at[1] as usize];
            assert!(checked.len() > bytes.len() / 2);
            assert_eq!(crc32(checked), at[2]);
        }
    }

    #[test]
    fn specimens_differ_in_their_constants_only() {
        for (sheet, width, words) in CASES {
            let a = store(sheet, "TG-7 #0417", width, words);
            let b = store(sheet, "TG-7 #0418", width, words);
            let zone = constants_zone(width, words);
            let zone = zone.start as usize * width.bytes()..zone.end as usize * width.bytes();
            let differing = (0..a.len()).filter(|at| a[*at] != b[*at]);
            assert!(differing.clone().count() > 100);
            assert!(differing.clone().all(|at| zone.contains(&at)), "{sheet}");
        }
        assert_eq!(constants_zone(Width::W32, 0x8_0000), 0x7_E000..0x7_E800);
        assert_eq!(constants_zone(Width::W16, 0x20_0000), 0x1000..0x2000);
    }

    #[test]
    fn records_use_every_line() {
        lines_differ(Width::W32, &records("TG-7 #0417", Width::W32, 0x1_0000));
    }
}
