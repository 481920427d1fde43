//! Random tables: what is encoded is what is decoded, and no bytes make the decoder panic.

use super::{Table, region};
use crate::bus::{Millivolts, Nanos};
use crate::chips::cfi::{Cfi, Interface, Query, Spacing, Time, Volts};
use crate::chips::geometry::total;
use crate::chips::{Boot, Doubt, MakerId, Region};
use proptest::prelude::*;

/// Sectors that fill 2^n bytes: a boot end of smaller ones and the rest, or all alike.
fn fitting() -> impl Strategy<Value = (u8, Vec<Region>)> {
    (16_u8..=25, 7_u32..=16, 0_u32..=3).prop_map(|(size, sector, halvings)| {
        let sector = sector.min(u32::from(size) - 3);
        let bytes = 1_u64 << sector;
        let count = (1_u64 << (u32::from(size) - sector)) as u32;
        let small = bytes >> halvings;
        // A region counts at most 65536 sectors; 128 and whole pages of 256 bytes are the units.
        let halves = halvings > 0 && small >= 256 && count <= 0x1_0000;
        let regions = if halves {
            vec![region(1 << halvings, small), region(count - 1, bytes)]
        } else {
            let bytes = bytes.max((1_u64 << size) >> 16).max(256);
            vec![region(((1_u64 << size) / bytes) as u32, bytes)]
        };
        (size, regions)
    })
}

/// A time as two exponents.
fn exponents() -> impl Strategy<Value = (u8, u8)> {
    (0_u8..=24, 0_u8..=15)
}

fn time(unit: u64, (typical, factor): (u8, u8)) -> Option<Time> {
    let short = unit << typical;
    let most = (factor > 0).then(|| Nanos(short << factor));
    (typical > 0).then_some(Time { typical: Nanos(short), most })
}

fn tenths(volts: u8, tenths: u8) -> (u8, Millivolts) {
    (volts << 4 | tenths, Millivolts(u16::from(volts) * 1000 + u16::from(tenths) * 100))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn what_is_encoded_is_decoded(
        (size, regions) in fitting(),
        times in [exponents(), exponents(), exponents(), exponents()],
        low in (0_u8..=4, 0_u8..=9),
        high in (5_u8..=9, 0_u8..=9),
        vpp in prop::option::of((1_u8..=15, 0_u8..=9)),
        interface in 0_u16..=6,
        buffer in 0_u8..=16,
        flag in 0_u8..=6,
        minor in 0_u8..=5,
        spacing in prop::sample::select(vec![Spacing::Every, Spacing::Second, Spacing::Twice]),
    ) {
        let mut table = Table::new(size, &regions).amd(minor, flag);
        let (least, most) = (tenths(low.0, low.1), tenths(high.0, high.1));
        table.set(0x1B, &[least.0, most.0]);
        let vpp = vpp.map(|(volts, tenth)| tenths(volts, tenth));
        table.set(0x1D, &vpp.map_or([0, 0], |vpp| [vpp.0, vpp.0]));
        for (index, (typical, factor)) in (0..).zip(times) {
            table.set(0x1F + index, &[typical]);
            table.set(0x23 + index, &[factor]);
        }
        let [low_byte, high_byte] = interface.to_le_bytes();
        table.set(0x28, &[low_byte, high_byte, buffer, 0]);

        // As the chip shows it on the bus, and back.
        let mut read = vec![0xEE; spacing.address(0x10) as usize];
        for byte in table.bytes.iter().copied().map(u16::from) {
            read.push(byte);
            match spacing {
                Spacing::Every => {}
                Spacing::Second => read.push(!byte & 0xFF),
                Spacing::Twice => read.push(byte),
            }
        }
        prop_assert_eq!(Spacing::find(&read), Some(spacing));
        let cfi = Cfi::decode(&Query::pick(&read, spacing), None).unwrap();

        prop_assert_eq!(cfi.vcc, Volts { least: least.1, most: most.1 });
        prop_assert_eq!(cfi.vpp, vpp.map(|vpp| Volts { least: vpp.1, most: vpp.1 }));
        prop_assert_eq!(cfi.times.word, time(1_000, times[0]));
        prop_assert_eq!(cfi.times.buffer, time(1_000, times[1]));
        prop_assert_eq!(cfi.times.sector, time(1_000_000, times[2]));
        prop_assert_eq!(cfi.times.chip, time(1_000_000, times[3]));
        prop_assert_eq!(cfi.interface, Interface::of(interface));
        let buffered = buffer > 0 && times[1].0 > 0;
        prop_assert_eq!(cfi.write_buffer, buffered.then(|| 1 << buffer));
        prop_assert_eq!(&cfi.listed, &regions);

        let geometry = cfi.geometry();
        prop_assert_eq!(geometry.size_bytes, 1 << size);
        let boot = match (regions.len(), minor, flag) {
            (1, ..) => Boot::Uniform,
            (_, 1.., 2) => Boot::Bottom,
            (_, 1.., 3) => Boot::Top,
            _ => Boot::Unknown,
        };
        prop_assert_eq!(geometry.boot, boot);
        prop_assert_eq!(geometry.doubt.is_some(), boot == Boot::Unknown);
        let mut in_order = regions;
        if boot == Boot::Top {
            in_order.reverse();
        }
        prop_assert_eq!(geometry.regions, in_order);
    }

    /// Sectors that do not fill the chip are never trusted, unless they are two ways to cut it.
    #[test]
    fn inconsistent_sizes_are_refused(
        size in 0x0A_u8..=0x24,
        counts in prop::collection::vec((1_u32..=0x1_0000, 0_u64..=0xFFFF), 1..5),
        flag in 0_u8..=5,
    ) {
        let one = |(count, units)| region(count, if units == 0 { 128 } else { units * 256 });
        let regions: Vec<_> = counts.into_iter().map(one).collect();
        let geometry = Table::new(size, &regions).amd(3, flag).decode().unwrap().geometry();
        let (size_bytes, sum) = (1 << size, total(&regions));
        let cuts = regions.len() == 2 && regions.iter().all(|region| region.total() == size_bytes);
        if sum != size_bytes && !cuts {
            prop_assert_eq!(geometry.doubt, Some(Doubt::Inconsistent { size_bytes, sum }));
        }
    }

    #[test]
    fn no_bytes_make_it_panic(
        mut bytes in prop::collection::vec(any::<u8>(), 0..600),
        real in any::<bool>(),
        maker in prop::option::of(any::<u8>()),
    ) {
        if real {
            for (byte, start) in bytes.iter_mut().zip(b"QRY\x02\0\x40\0\0\0\0\0\x27\x36\0\0") {
                *byte = *start;
            }
        }
        let maker = maker.map(|code| MakerId { bank: 1, code });
        match Cfi::decode(&Query::new(bytes.clone()), maker) {
            Ok(cfi) => prop_assert!(!cfi.geometry().to_string().is_empty()),
            Err(error) => prop_assert!(error.to_string().starts_with("offset 0x")),
        }
        let read: Vec<u16> = bytes.chunks(2).map(|pair| pair.iter().fold(0, |word, byte| word << 8 | u16::from(*byte))).collect();
        for spacing in [Spacing::Every, Spacing::Second, Spacing::Twice] {
            let _ = Cfi::decode(&Query::pick(&read, spacing), None).map_err(|e| e.to_string());
        }
    }

    /// One wrong byte in a good table gives an error, or a table whose parts still fit.
    #[test]
    fn one_wrong_byte((size, regions) in fitting(), at in 0_usize..0x48, byte in any::<u8>()) {
        let mut table = Table::new(size, &regions).amd(1, 2);
        table.bytes[at] = byte;
        if let Ok(cfi) = table.decode() {
            let geometry = cfi.geometry();
            let sum = total(&geometry.regions);
            prop_assert!(geometry.doubt.is_some() || sum == geometry.size_bytes);
        }
    }
}
