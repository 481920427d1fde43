//! What fails is told apart, and told of the right chip.

use super::{Rig, Setup, name, random_words, setups};
use crate::bus::script::{LaneResult, Why};
use crate::bus::{Nanos, Word};
use crate::chips::{Family, LockKind};
use crate::sim::{ChipFaults, ChipPace, ChipState, ChipType, StuckBit, Wear};

/// Every family with two chips, the second of them with these faults.
fn second_of_two(faults: impl Fn(&ChipType, u8) -> ChipFaults) -> Vec<Setup> {
    let pairs = setups().into_iter().filter(|setup| setup.count == 2);
    pairs
        .map(|setup| {
            let kind = ChipType::builtin(setup.chip).unwrap();
            let faults = faults(&kind, setup.bits);
            setup.last(faults)
        })
        .collect()
}

fn says(said: &[(usize, String)], words: &[&str]) -> bool {
    matches!(said, [(1, text)] if words.iter().any(|words| text.contains(words)))
}

#[test]
fn a_protected_sector_stops_at_once_and_the_other_chip_goes_on() {
    for setup in second_of_two(|_, _| ChipFaults { locked: vec![2], ..ChipFaults::default() }) {
        let said = name(&setup);
        let mut rig = Rig::new(&setup);
        let relocks = matches!(rig.writing.abilities.locks, LockKind::Each { .. });
        let sector = rig.sectors()[2];
        let ones = rig.writing.width.ones();
        rig.set_words(&vec![0x1234_5600 & ones; rig.words().len()]);
        if relocks {
            // All are locked; the first chip's is cleared by itself.
            rig.unlock_lane(0, sector);
        }
        if rig.writing.way.family == Family::Page {
            continue;
        }
        rig.allow(sector);
        let b = rig.base() + sector.0;
        let scripts = rig.writing.erase().unwrap();
        let begun = rig.run(&scripts[0], b, 1, Vec::new());
        assert!(begun.ended.good() && begun.ended.elapsed < Nanos::from_millis(2), "{said}");
        let started = rig.writing.started(&begun.emitted);
        assert_eq!(started, [true, false], "{said}: {:X?}", begun.emitted);
        let why = rig.writing.explain_unstarted(&begun.emitted);
        assert!(says(&why, &["sector is locked", "sector is protected"]), "{said}: {why:?}");
        // The other one is waited for alone.
        let lane = rig.writing.chips[0].lane().mask();
        let end = rig.run_on(lane, &scripts[1], b, 1, Vec::new());
        assert!(end.ended.good(), "{said}: {:?}", end.ended);
        let words = rig.words();
        let wanted = (0x1234_5600 & ones) | lane;
        let range = sector.0 as usize..(sector.0 + sector.1) as usize;
        assert!(words[range].iter().all(|word| *word == wanted), "{said}");
        rig.reset();
        assert!(rig.chips().iter().all(|chip| chip.state() == ChipState::Array), "{said}");
    }
}

#[test]
fn a_cell_that_does_not_go_to_one_is_told_of_its_chip() {
    let faults = |kind: &ChipType, bits: u8| {
        let at = kind.sector_ranges(bits)[3].start;
        ChipFaults { stuck: vec![StuckBit { at, bit: 0, high: false }], ..ChipFaults::default() }
    };
    for setup in second_of_two(faults) {
        let said = name(&setup);
        let mut rig = Rig::new(&setup);
        let sector = rig.sectors()[3];
        rig.open_lock(sector);
        let outcomes = rig.erase(sector);
        let ended = outcomes.last().unwrap().ended;
        assert_eq!((outcomes.len(), ended.why), (2, Why::WaitFailed), "{said}: {ended:?}");
        assert_eq!(ended.lanes[0], LaneResult::Done, "{said}");
        let longest = Nanos::from_millis(u64::from(rig.writing.abilities.erase_ms.1) + 1);
        assert!(ended.elapsed <= longest, "{said}: {ended:?}");
        let why = rig.writing.explain(ended.lanes, ended.d);
        assert!(says(&why, &["gave up", "stands still", "the erase failed"]), "{said}: {why:?}");
        rig.reset();
        assert!(rig.chips().iter().all(|chip| chip.state() == ChipState::Array), "{said}");
    }
}

#[test]
fn a_cell_that_does_not_go_to_zero_is_told_of_its_chip() {
    let faults = |kind: &ChipType, bits: u8| {
        let at = kind.sector_ranges(bits)[3].start + 7;
        ChipFaults { stuck: vec![StuckBit { at, bit: 3, high: true }], ..ChipFaults::default() }
    };
    for setup in second_of_two(faults) {
        let said = name(&setup);
        let mut rig = Rig::new(&setup);
        let sector = rig.sectors()[3];
        rig.open_lock(sector);
        assert!(rig.erase(sector).iter().all(|outcome| outcome.ended.good()), "{said}");
        // Only the last word of a buffer or page is polled for its data.
        let data = [0; 8];
        let outcome = rig.program(sector.0, &data, 256);
        if rig.writing.way.family == Family::Page {
            assert!(outcome.is_ok(), "{said}");
            assert_ne!(rig.read_words(sector.0 + 7, 1), [0], "{said}: only a comparison tells");
            continue;
        }
        let ended = outcome.err().unwrap().ended;
        assert_eq!(ended.why, Why::WaitFailed, "{said}");
        let why = rig.writing.explain(ended.lanes, ended.d);
        assert!(says(&why, &["gave up", "stands still", "the program failed"]), "{said}: {why:?}");
        rig.reset();
        assert!(rig.chips().iter().all(|chip| chip.state() == ChipState::Array), "{said}");
    }
}

#[test]
fn a_chip_that_never_ends_times_out() {
    let faults =
        |_: &ChipType, _| ChipFaults { worn: vec![(3, Wear::Never)], ..ChipFaults::default() };
    for setup in second_of_two(faults) {
        let said = name(&setup);
        let mut rig = Rig::new(&setup);
        if matches!(rig.writing.way.family, Family::Page | Family::Jedec) {
            // These chips only wait their time.
            continue;
        }
        let sector = rig.sectors()[3];
        rig.open_lock(sector);
        let ended = rig.erase(sector).last().unwrap().ended;
        assert_eq!((ended.why, ended.lanes[1]), (Why::TimedOut, LaneResult::TimedOut), "{said}");
        let why = rig.writing.explain(ended.lanes, ended.d);
        assert!(says(&why, &["still busy"]), "{said}: {why:?}");
    }
}

#[test]
fn an_aborted_buffer_is_told_of_its_chip_and_left() {
    let faults = |kind: &ChipType, bits: u8| {
        let at = kind.sector_ranges(bits)[3].start + 5;
        ChipFaults { aborts_at: vec![at], ..ChipFaults::default() }
    };
    let mut seen = 0;
    for setup in second_of_two(faults) {
        let said = name(&setup);
        let mut rig = Rig::new(&setup);
        if rig.writing.abilities.buffer_words.is_none() {
            continue;
        }
        seen += 1;
        let sector = rig.sectors()[3];
        rig.open_lock(sector);
        assert!(rig.erase(sector).iter().all(|outcome| outcome.ended.good()), "{said}");
        let data = random_words(3, 64, 0);
        let ended = rig.program(sector.0, &data, 256).err().unwrap().ended;
        assert_eq!(ended.why, Why::WaitFailed, "{said}: {ended:?}");
        let why = rig.writing.explain(ended.lanes, ended.d);
        let words = ["aborted the load of its write buffer", "the command sequence was wrong"];
        assert!(says(&why, &words), "{said}: {why:?}");
        assert!(rig.chips().iter().all(|chip| chip.state() == ChipState::Array), "{said}");
        // Word by word it works.
        rig.writing.abilities.buffer_words = None;
        assert!(rig.erase(sector).iter().all(|outcome| outcome.ended.good()), "{said}");
        assert!(rig.program(sector.0, &data, 256).is_ok(), "{said}");
        assert_eq!(rig.read_words(sector.0, 64), data, "{said}");
    }
    assert_eq!(seen, 4);
}

#[test]
fn early_and_late_chips_are_both_waited_for() {
    for pace in [ChipPace::Percent(50), ChipPace::NearLongest] {
        for setup in second_of_two(|_, _| ChipFaults { pace, ..ChipFaults::default() }) {
            let said = name(&setup);
            let mut rig = Rig::new(&setup);
            let sector = rig.sectors()[3];
            let data = random_words(9, 128, rig.writing.width.ones());
            rig.open_lock(sector);
            assert!(rig.erase(sector).iter().all(|outcome| outcome.ended.good()), "{said}");
            let ended = rig.program(sector.0, &data, 256).map_err(|outcome| outcome.ended);
            assert!(ended.is_ok(), "{said}: {ended:?}");
            assert_eq!(rig.read_words(sector.0, 128), data, "{said}");
        }
    }
}

#[test]
fn a_low_vpp_is_told() {
    for setup in second_of_two(|_, _| ChipFaults { vpp_low: true, ..ChipFaults::default() }) {
        let said = name(&setup);
        let mut rig = Rig::new(&setup);
        if rig.writing.way.family != Family::Intel {
            continue;
        }
        let sector = rig.sectors()[3];
        if rig.writing.abilities.locks == (LockKind::Each { relocks: true }) {
            rig.open_lock(sector);
        }
        rig.allow(sector);
        let scripts = rig.writing.erase().unwrap();
        let begun = rig.run(&scripts[0], rig.base() + sector.0, 1, Vec::new());
        assert_eq!(rig.writing.started(&begun.emitted), [true, false], "{said}");
        let why = rig.writing.explain_unstarted(&begun.emitted);
        assert!(says(&why, &["VPP is too low"]), "{said}: {why:?}");
    }
}

#[test]
fn a_write_beyond_the_sector_is_let_through_nowhere() {
    for setup in setups() {
        let said = name(&setup);
        let mut rig = Rig::new(&setup);
        let sectors = rig.sectors();
        let (sector, next) = (sectors[2], sectors[3]);
        rig.open_lock(sector);
        rig.allow(sector);
        let before = rig.words();
        let b = rig.base() + next.0;
        let data: Vec<Word> = vec![0; rig.writing.abilities.page_words.unwrap_or(4) as usize];
        let step = rig.writing.program(next.0, &data, 256).remove(0);
        let script = rig.writing.script(step.kind).unwrap();
        let outcome = rig.run(&script, b, step.n, step.payload);
        assert_eq!(outcome.ended.why, Why::NotPermitted, "{said}");
        rig.delay(Nanos::from_millis(100));
        assert!(rig.words() == before, "{said}");
    }
}
