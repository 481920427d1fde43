//! QEMU's flash as a bus: what its cycles read is what its backing file holds.

mod support;

use buswright::bus::{Cycles, Nanos, Precharge, Shape, Span, Width, Word, WordAddress};
use std::time::{Duration, Instant};
use support::firmware::{Firmware, FlashImage, RANGE, firmware_image};
use support::qemu::{self, MUSICPAL_BYTES, QemuFlash, VIRT_BYTES, VirtFlash};

/// Reads the firmware's range one by one at scattered addresses and whole in both directions, and
/// compares all of it with the backing file.
fn reads_equal_the_file(flash: &mut QemuFlash, image: &FlashImage) {
    let shape = flash.shape();
    let first = (image.start / shape.width.bytes()) as u32;
    let want: Vec<Word> = shape.width.words(&image.range).collect();
    let mut random = fastrand::Rng::with_seed(7);
    let (before, start) = (flash.now(), Instant::now());
    for _ in 0..2_000 {
        let n = random.usize(..want.len());
        let address = WordAddress(first + n as u32);
        assert_eq!(flash.read(&shape, address, Precharge::None), want[n], "at {address}");
    }
    let rate = 2_000.0 / start.elapsed().as_secs_f64();
    println!("2000 cycles of {} bits one by one, {rate:.0} a second", shape.width.bits());
    assert_eq!(flash.now().since(before), shape.times.cycle() * 2_000);
    let count = want.len() as u32;
    let (mut up, mut down) = (Vec::new(), Vec::new());
    let start = Instant::now();
    flash.read_burst(&shape, Span::up(WordAddress(first), count), Precharge::None, &mut up);
    let rate = f64::from(count) / start.elapsed().as_secs_f64();
    println!("{count} cycles of {} bits in one go, {rate:.0} a second", shape.width.bits());
    assert_eq!(differences(&up, &want), []);
    flash.read_burst(&shape, Span::down(WordAddress(first), count), Precharge::None, &mut down);
    down.reverse();
    assert_eq!(differences(&down, &want), []);
    assert_eq!(flash.now().since(before), shape.times.cycle() * (2_000 + 2 * u64::from(count)));
}

/// Reads every word of the flash in one go, where the long tests are wanted.
fn whole_chip_equals_the_file(flash: &mut QemuFlash, image: &FlashImage) {
    if !support::long() {
        return;
    }
    let shape = flash.shape();
    let want: Vec<Word> = shape.width.words(&image.contents()).collect();
    let mut got = Vec::with_capacity(want.len());
    let span = Span::up(WordAddress(0), want.len() as u32);
    flash.read_burst(&shape, span, Precharge::None, &mut got);
    assert_eq!(differences(&got, &want), []);
}

/// The first few words that differ, with their place; a missing word counts as different.
fn differences(got: &[Word], want: &[Word]) -> Vec<(usize, Option<Word>, Option<Word>)> {
    (0..got.len().max(want.len()))
        .map(|n| (n, got.get(n).copied(), want.get(n).copied()))
        .filter(|(_, got, want)| got != want)
        .take(4)
        .collect()
}

#[test]
fn the_intel_family_on_32_bits() {
    if !qemu::ready() || !Firmware::Arm.ready() {
        return;
    }
    for (which, start) in [(VirtFlash::First, 0), (VirtFlash::Second, VIRT_BYTES - RANGE)] {
        let image = firmware_image(Firmware::Arm, VIRT_BYTES, start);
        let before = image.contents();
        let mut flash = QemuFlash::virt(image.path(), which);
        reads_equal_the_file(&mut flash, &image);
        narrow_reads(&mut flash, &image);
        whole_chip_equals_the_file(&mut flash, &image);
        drop(flash);
        assert!(image.contents() == before, "reading changed the backing file");
    }
}

/// The width of an access is the shape's, and a word address counts words of that width.
fn narrow_reads(flash: &mut QemuFlash, image: &FlashImage) {
    for width in [Width::W8, Width::W16] {
        let shape = Shape { width, ..flash.shape() };
        let first = (image.start / width.bytes()) as u32;
        let want: Vec<Word> = width.words(&image.range[..512]).collect();
        let mut got = Vec::new();
        let span = Span::up(WordAddress(first), want.len() as u32);
        flash.read_burst(&shape, span, Precharge::Ones, &mut got);
        assert_eq!(got, want);
    }
}

#[test]
fn the_amd_family_on_16_bits() {
    if !qemu::ready() || !Firmware::X86.ready() {
        return;
    }
    let image = firmware_image(Firmware::X86, MUSICPAL_BYTES, 0x30_0000);
    let before = image.contents();
    let mut flash = QemuFlash::musicpal(image.path());
    reads_equal_the_file(&mut flash, &image);
    whole_chip_equals_the_file(&mut flash, &image);
    // The part ignores the address lines above its own.
    let (shape, past) = (flash.shape(), (MUSICPAL_BYTES / 2) as u32);
    let at = (image.start / 2) as u32;
    let low = flash.read(&shape, WordAddress(at), Precharge::None);
    assert_eq!(flash.read(&shape, WordAddress(at + past), Precharge::None), low);
    let earlier = flash.now();
    flash.delay(Nanos(5));
    assert_eq!(flash.now().since(earlier), Nanos(5));
    drop(flash);
    assert!(image.contents() == before, "reading changed the backing file");
}

/// The query table of a boot-sector layout (JESD68.01: regions counted at 0x2C, four bytes each
/// from 0x2D: sectors less one, then size in units of 256 bytes).
#[test]
fn sector_regions_are_what_was_asked_for() {
    if !qemu::ready() || !Firmware::X86.ready() {
        return;
    }
    let image = firmware_image(Firmware::X86, MUSICPAL_BYTES, 0);
    let mut flash =
        QemuFlash::musicpal_with_sectors(image.path(), &[(8, 8 << 10), (127, 64 << 10)]);
    let shape = flash.shape();
    flash.write(&shape, WordAddress(0x55), 0x98);
    let mut query = Vec::new();
    flash.read_burst(&shape, Span::up(WordAddress(0x2C), 9), Precharge::None, &mut query);
    assert_eq!(query, [2, 7, 0, 0x20, 0, 126, 0, 0, 1]);
    flash.write(&shape, WordAddress(0), 0xF0);
    let mut first = Vec::new();
    shape.width.put(flash.read(&shape, WordAddress(0), Precharge::None), &mut first);
    assert_eq!(first, image.range[..2]);
}

const SECTOR: usize = 64 << 10;

/// With QEMU's clock stopped an erase stays busy (DQ7 low, DQ6 toggles, as AMD's datasheets
/// describe); with the clock running it ends, and the backing file shows the blank sector.
#[test]
fn the_virtual_clock_runs_and_stops_on_request() {
    if !qemu::ready() || !Firmware::X86.ready() {
        return;
    }
    let image = firmware_image(Firmware::X86, MUSICPAL_BYTES, 0);
    let mut flash = QemuFlash::musicpal(image.path());
    let shape = flash.shape();
    // The sector of word 0x8000: the second of 64 KiB.
    let erase = [(0x555, 0xAA), (0x2AA, 0x55), (0x555, 0x80), (0x555, 0xAA), (0x2AA, 0x55)];
    for (address, value) in erase.into_iter().chain([(0x8000, 0x30)]) {
        flash.write(&shape, WordAddress(address), value);
    }
    let mut seen = Vec::new();
    let still = Span { start: WordAddress(0x8000), step: 0, count: 5_000 };
    flash.read_burst(&shape, still, Precharge::None, &mut seen);
    assert!(seen.iter().all(|word| word & 0x80 == 0), "the erase ended with the clock stopped");
    assert!(seen.windows(2).all(|two| (two[0] ^ two[1]) & 0x40 != 0), "DQ6 does not toggle");
    flash.run_clock();
    let since = Instant::now();
    while flash.read(&shape, WordAddress(0x8000), Precharge::None) != 0xFFFF {
        assert!(since.elapsed() < Duration::from_secs(20), "the erase does not end");
    }
    flash.stop_clock();
    drop(flash);
    let mut want = image.range.clone();
    want[SECTOR..2 * SECTOR].fill(0xFF);
    assert!(image.contents()[..RANGE] == want, "the backing file differs");
}
