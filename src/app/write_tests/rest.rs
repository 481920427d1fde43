//! Locks, page protection, several sectors and whole chips, scrambled lines, reset.

use super::{Rig, Setup, name, random_words, setups};
use crate::bus::Nanos;
use crate::bus::script::{Builder, list};
use crate::bus::{Lane, WordAddress};
use crate::chips::{Family, LockKind, ScriptKind, Wiring};
use crate::sim::ChipState;

#[test]
fn every_script_of_every_family_fits_and_is_accepted() {
    for setup in setups() {
        let said = name(&setup);
        let rig = Rig::new(&setup);
        let writing = &rig.writing;
        let mut scripts = writing.erase().unwrap();
        let kinds: &[ScriptKind] = match writing.way.family {
            Family::Page => &[ScriptKind::Pages, ScriptKind::BlankPages],
            _ if writing.abilities.buffer_words.is_some() => {
                &[ScriptKind::Words, ScriptKind::Buffers, ScriptKind::PartBuffer]
            }
            _ => &[ScriptKind::Words],
        };
        scripts.extend(kinds.iter().map(|kind| writing.script(*kind).unwrap()));
        scripts.extend(writing.unlock().map(Result::unwrap));
        scripts.extend(writing.lock().map(Result::unwrap));
        scripts.extend(
            [true, false].into_iter().filter_map(|on| writing.protection(on)).map(Result::unwrap),
        );
        scripts.push(writing.reset().unwrap());
        scripts.extend(writing.erase_chip().into_iter().flat_map(Result::unwrap));
        let firsts: Vec<_> = (0..28).map(|n| WordAddress(0x1_0000 * n)).collect();
        scripts.extend(writing.erase_sectors(&firsts).into_iter().flat_map(Result::unwrap));
        for script in scripts {
            assert!(script.0.len() <= 512, "{said}: {} bytes", script.0.len());
            let checked = crate::bus::script::check(&script, &rig.limits());
            let checked =
                checked.unwrap_or_else(|error| panic!("{said}: {error}\n{}", list(&script)));
            // As many words as a run of the largest adapter takes.
            assert!(checked.need(256).is_ok(), "{said}");
        }
        assert!(writing.command_addresses().len() <= 8, "{said}");
    }
}

#[test]
fn locks_of_each_sector() {
    let mut rig = Rig::new(&Setup::new("28F320C3B", 16, 2));
    assert_eq!(rig.writing.abilities.locks, LockKind::Each { relocks: true });
    let sectors = rig.sectors();
    rig.open_lock(sectors[3]);
    let locked =
        |rig: &Rig, sector| rig.chips().iter().map(|c| c.is_locked(sector)).collect::<Vec<_>>();
    assert_eq!((locked(&rig, 3), locked(&rig, 4)), (vec![false; 2], vec![true; 2]));
    let lock = rig.writing.lock().unwrap().unwrap();
    let b = rig.base() + sectors[3].0;
    assert!(rig.run(&lock, b, 1, Vec::new()).ended.good());
    assert_eq!(locked(&rig, 3), [true; 2]);
    assert!(rig.chips().iter().all(|chip| chip.state() == ChipState::Array));
    assert_eq!(rig.violations(), Vec::<String>::new());
}

#[test]
fn clearing_clears_the_locks_of_all_sectors() {
    for bits in [8, 16] {
        let mut rig = Rig::new(&Setup::new("28F320J3A", bits, 2));
        assert_eq!(rig.writing.abilities.locks, LockKind::ClearsAll);
        let sectors = rig.sectors();
        let lock = rig.writing.lock().unwrap().unwrap();
        for index in [3, 9] {
            rig.allow(sectors[index]);
            let b = rig.base() + sectors[index].0;
            assert!(rig.run(&lock, b, 1, Vec::new()).ended.good());
        }
        assert!(rig.chips().iter().all(|chip| chip.is_locked(3) && chip.is_locked(9)));
        rig.open_lock(sectors[3]);
        assert!(rig.chips().iter().all(|chip| !chip.is_locked(3) && !chip.is_locked(9)));
        assert_eq!(rig.violations(), Vec::<String>::new());
    }
}

#[test]
fn other_families_have_no_lock_to_change() {
    for setup in setups() {
        let rig = Rig::new(&setup);
        let fixed = rig.writing.way.family != Family::Intel;
        assert_eq!(rig.writing.unlock().is_none(), fixed, "{}", name(&setup));
        assert_eq!(rig.writing.lock().is_none(), fixed, "{}", name(&setup));
        assert_eq!(rig.writing.protection(true).is_some(), rig.writing.erases_itself());
    }
}

/// Without protection a plain write is a page write; with it a plain write changes nothing.
#[test]
fn page_protection_goes_off_and_on() {
    let mut rig = Rig::new(&Setup::new("AT29C040A", 8, 2));
    let sector = rig.sectors()[3];
    rig.allow(sector);
    let b = rig.base() + sector.0;
    let asked = rig.violations().len();
    let plain = Builder::new(rig.writing.shape).write(WordAddress(b + 1), 0x1234).script().unwrap();
    for (on, complaints, word) in [(false, 0, 0x1234), (true, 2, 0xFFFF)] {
        rig.set_words(&vec![0xFFFF; rig.words().len()]);
        let before = rig.violations().len();
        let script = rig.writing.protection(on).unwrap().unwrap();
        assert!(rig.run(&script, b, 1, Vec::new()).ended.good());
        assert!(rig.run(&plain, b, 1, Vec::new()).ended.good());
        rig.delay(Nanos::from_millis(30));
        assert_eq!(rig.words()[sector.0 as usize + 1], word);
        assert_eq!(rig.violations().len() - before, complaints);
    }
    assert_eq!(rig.violations().len(), asked + 2);
}

#[test]
fn several_sectors_and_whole_chips() {
    for (chip, bits) in [("S29AL008J", 16), ("Am29LV040B", 8), ("SST39VF040", 8)] {
        let setup = Setup::new(chip, bits, 2);
        let said = name(&setup);
        let mut rig = Rig::new(&setup);
        let ones = rig.writing.width.ones();
        let sectors = rig.sectors();
        let count = rig.words().len();
        let asked = rig.violations();
        rig.permit.1 = rig.writing.command_addresses();
        rig.permit.0 = rig.base()..rig.base() + count as u32;
        let firsts: Vec<_> = [2, 4, 5].map(|n| WordAddress(rig.base() + sectors[n].0)).to_vec();
        rig.set_words(&vec![0; count]);
        if let Some(scripts) = rig.writing.erase_sectors(&firsts) {
            let scripts = scripts.unwrap();
            let begun = rig.run(&scripts[0], firsts[0].0, 1, Vec::new());
            assert_eq!(rig.writing.started(&begun.emitted), [true, true], "{said}");
            assert!(rig.run(&scripts[1], firsts[0].0, 1, Vec::new()).ended.good(), "{said}");
            let words = rig.words();
            for (index, sector) in sectors.iter().enumerate() {
                let wanted = if [2, 4, 5].contains(&index) { ones } else { 0 };
                let range = sector.0 as usize..(sector.0 + sector.1) as usize;
                assert!(words[range].iter().all(|word| *word == wanted), "{said}: {index}");
            }
        }
        let scripts = rig.writing.erase_chip().unwrap().unwrap();
        let base = rig.base();
        let begun = rig.run(&scripts[0], base, 1, Vec::new());
        assert_eq!(rig.writing.started(&begun.emitted), [true, true], "{said}");
        assert!(rig.run(&scripts[1], base, 1, Vec::new()).ended.good(), "{said}");
        assert!(rig.words().iter().all(|word| *word == ones), "{said}");
        assert_eq!(rig.violations(), asked, "{said}");
    }
    let rig = Rig::new(&Setup::new("28F320J3A", 16, 1));
    assert!(rig.writing.erase_chip().is_none() && rig.writing.erase_sectors(&[]).is_none());
}

/// Data lines of each chip in another order, address lines of both in the same other order that
/// leaves the smallest sector whole.
#[test]
fn scrambled_lines() {
    let chips = [("S29GL064N", 16), ("28F320J3A", 16), ("S29AL008J", 16), ("SST39VF1601", 16)];
    for (chip, bits) in chips {
        for low_lines in [0, 6] {
            let mut rng = fastrand::Rng::with_seed(11);
            let mut address: Vec<u8> = (0..11).collect();
            rng.shuffle(&mut address[..low_lines]);
            address[9..].reverse();
            let wiring = |n: u8| {
                let mut data: Vec<u8> = (n * 16..n * 16 + 16).collect();
                fastrand::Rng::with_seed(n.into()).shuffle(&mut data);
                Wiring::new(Lane { first: n * 16, bits: 16 }, data, address.clone())
            };
            let mut setup = Setup::new(chip, bits, 2);
            setup.wirings = vec![wiring(0), wiring(1)];
            let said = format!("{} with {low_lines} lines", name(&setup));
            let mut rig = Rig::new(&setup);
            let asked = rig.violations();
            let sector = rig.sectors()[2];
            rig.open_lock(sector);
            rig.set_words(&vec![0; rig.words().len()]);
            assert!(rig.erase(sector).iter().all(|outcome| outcome.ended.good()), "{said}");
            let data = random_words(8, 200, rig.writing.width.ones());
            let result = rig.program(sector.0 + 5, &data, 256);
            assert!(result.is_ok(), "{said}: {:?}", result.map_err(|outcome| outcome.ended));
            let mut wanted = vec![0; rig.words().len()];
            let range = sector.0 as usize..(sector.0 + sector.1) as usize;
            wanted[range].fill(u32::MAX);
            wanted[sector.0 as usize + 5..][..200].copy_from_slice(&data);
            assert!(rig.words() == wanted, "{said}");
            assert_eq!(rig.violations(), asked, "{said}");
        }
    }
}

#[test]
fn reset_leads_back_from_every_mode() {
    for setup in setups() {
        let said = name(&setup);
        let mut rig = Rig::new(&setup);
        let family = rig.writing.way.family;
        let unlock = rig.writing.way.unlock.addresses(rig.writing.way.mode).unwrap_or([0, 0]);
        let at = unlock.map(|chip| WordAddress(rig.base() + chip));
        let every = |value| rig.writing.chips.iter().fold(0, |all, chip| all | chip.put(value));
        let open = || Builder::new(rig.writing.shape);
        let command = |code| match family {
            Family::Intel => open().write(at[0], every(code)),
            _ => {
                open().write(at[0], every(0xAA)).write(at[1], every(0x55)).write(at[0], every(code))
            }
        };
        let codes: &[u16] = if rig.writing.abilities.bypass { &[0x90, 0x20] } else { &[0x90] };
        let scripts: Vec<_> = codes.iter().map(|code| command(*code).script().unwrap()).collect();
        let reset = rig.writing.reset().unwrap();
        let base = rig.base();
        for script in scripts {
            assert!(rig.run(&script, base, 1, Vec::new()).ended.good());
            assert_ne!(rig.chips()[0].state(), ChipState::Array, "{said}");
            assert!(rig.run(&reset, base, 1, Vec::new()).ended.good());
            assert_eq!(rig.chips()[0].state(), ChipState::Array, "{said}");
        }
    }
}
