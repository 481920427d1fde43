//! Stops and cut supplies at any cycle.

use super::{Rig, Setup, name, random_words, setups};
use crate::bus::script::Why;
use crate::bus::{Nanos, Word};
use crate::chips::Family;
use crate::sim::ChipState;

const WORDS: usize = 48;

/// So often, and less often where the chips are large and each turn is long.
fn turns(rig: &Rig, most: usize) -> usize {
    if rig.words().len() > 1 << 20 { most / 6 + 1 } else { most }
}

/// One of each family and of each way to program.
fn few() -> Vec<Setup> {
    let mut all = setups();
    let large = |chip| matches!(chip, "S29GL064N" | "28F320J3A" | "28F320C3B");
    all.retain(|setup| setup.count == if large(setup.chip) { 1 } else { 2 });
    all
}

/// Programs random words; false if the program ended early.
fn program(rig: &mut Rig, data: &[Word]) -> bool {
    let sector = rig.sectors()[3];
    rig.allow(sector);
    rig.program(sector.0, data, 256).is_ok()
}

#[test]
fn a_stop_at_any_cycle_leaves_whole_words_and_reading_chips() {
    for (seed, setup) in (1..).zip(few()) {
        let said = name(&setup);
        let mut rig = Rig::new(&setup);
        let sector = rig.sectors()[3];
        let ones = rig.writing.width.ones();
        let asked = rig.violations();
        rig.open_lock(sector);
        let count = rig.writing.abilities.page_words.map_or(WORDS, |page| page as usize);
        let data = random_words(seed, count, ones);
        let blank = rig.words();
        let start = rig.made;
        assert!(program(&mut rig, &data));
        let cycles = rig.made - start;
        let mut rng = fastrand::Rng::with_seed(seed);
        for _ in 0..turns(&rig, 24) {
            rig.set_words(&blank);
            rig.stop_at = Some(rig.made + rng.u64(0..=cycles));
            program(&mut rig, &data);
            rig.stop_at = None;
            rig.delay(Nanos::from_millis(50));
            for chip in rig.chips() {
                assert_eq!(chip.state(), ChipState::Array, "{said}");
            }
            let words = rig.words();
            let at = sector.0 as usize;
            for (index, (got, wanted)) in words[at..].iter().zip(&data).enumerate() {
                assert!(*got == *wanted || *got == ones, "{said}: word {index}: {got:X}");
            }
            assert!(words[..at] == blank[..at], "{said}");
        }
        assert_eq!(rig.violations(), asked, "{said}");
    }
}

#[test]
fn a_stop_in_an_erase_waits_for_its_end() {
    for setup in few() {
        let said = name(&setup);
        let mut rig = Rig::new(&setup);
        let sector = rig.sectors()[3];
        let asked = rig.violations();
        rig.open_lock(sector);
        rig.set_words(&vec![0; rig.words().len()]);
        rig.allow(sector);
        let scripts = rig.writing.erase().unwrap();
        let b = rig.base() + sector.0;
        assert!(rig.run(&scripts[0], b, 1, Vec::new()).ended.good(), "{said}");
        rig.stop_at = Some(rig.made + 50);
        // Nothing is left to stop when the erase is over.
        let ended = rig.run(&scripts[1], b, 1, Vec::new()).ended;
        assert!(matches!(ended.why, Why::Good | Why::Stopped(_)), "{said}: {ended:?}");
        let ones = rig.writing.width.ones();
        assert!(rig.words()[sector.0 as usize..][..4].iter().all(|word| *word == ones), "{said}");
        assert_eq!(rig.violations(), asked, "{said}");
    }
}

#[test]
fn after_a_cut_at_any_cycle_the_sector_can_be_written_again() {
    for (seed, setup) in (1..).zip(few()) {
        let said = name(&setup);
        let mut rig = Rig::new(&setup);
        let sector = rig.sectors()[3];
        let ones = rig.writing.width.ones();
        let count = rig.writing.abilities.page_words.map_or(WORDS, |page| page as usize);
        let data = random_words(seed, count, ones);
        let all = random_words(seed + 50, rig.words().len(), ones);
        let mut wanted = all.clone();
        let (at, words) = (sector.0 as usize, sector.1 as usize);
        wanted[at..at + words].fill(ones);
        wanted[at..at + data.len()].copy_from_slice(&data);
        let mut rng = fastrand::Rng::with_seed(seed);
        for _ in 0..turns(&rig, 6) {
            rig.set_words(&all);
            rig.open_lock(sector);
            rig.cut_at = Some(rig.made + rng.u64(1..600));
            let erased = rig.erase(sector);
            let cut = erased.iter().any(|outcome| outcome.ended.why == Why::PowerLost);
            if !cut && erased.len() == 2 {
                program(&mut rig, &data);
            }
            rig.power_again();
            let words = rig.words();
            assert!(words[..at] == all[..at], "{said}: before the sector");
            let behind = at + sector.1 as usize;
            assert!(words[behind..] == all[behind..], "{said}: behind it");
            rig.open_lock(sector);
            if rig.writing.way.family != Family::Page {
                assert!(rig.erase(sector).iter().all(|outcome| outcome.ended.good()), "{said}");
            }
            assert!(program(&mut rig, &data), "{said}");
            assert!(rig.words() == wanted, "{said}: written again");
        }
    }
}
