//! What is written is read back, nothing else changes, and the chips complain of nothing.

use super::{Rig, name, random_words, setups};
use crate::sim::ChipState;

#[test]
fn a_sector_is_erased_and_programmed_in_every_family() {
    for (seed, setup) in (1..).zip(setups()) {
        let said = name(&setup);
        let mut rig = Rig::new(&setup);
        // A part without a query table does not know the question for it.
        let asked = rig.violations();
        let ones = rig.writing.width.ones();
        let sectors = rig.sectors();
        let all = rig.words().len();
        let before = random_words(seed, all, ones);
        rig.set_words(&before);
        // A small one and, where there is another size, a large one.
        let large = sectors.iter().position(|sector| sector.1 != sectors[0].1);
        for index in [1, large.map_or(3, |large| large + 1)] {
            let sector = sectors[index];
            let before = rig.words();
            let (first, words) = (sector.0 as usize, sector.1 as usize);
            rig.open_lock(sector);
            let outcomes = rig.erase(sector);
            assert!(outcomes.iter().all(|outcome| outcome.ended.good()), "{said}: erase");
            let blank = rig.words();
            assert!(blank[first..first + words].iter().all(|word| *word == ones), "{said}");
            let data = random_words(seed + 100, words.min(2048), ones);
            let from = (words - data.len()) / 2;
            let result = rig.program((first + from) as u32, &data, 256);
            assert!(result.is_ok(), "{said}: {:?}", result.map_err(|outcome| outcome.ended));
            let mut wanted = before;
            wanted[first..first + words].fill(ones);
            wanted[first + from..first + from + data.len()].copy_from_slice(&data);
            assert!(rig.words() == wanted, "{said}: contents");
        }
        assert_eq!(rig.violations(), asked, "{said}");
        for chip in rig.chips() {
            assert_eq!(chip.state(), ChipState::Array, "{said}");
        }
    }
}
