//! The sheets that come with the program: the modules of the demo scenario.

const SHEETS: [(&str, &str); 3] = [
    ("TG-7", include_str!("sheets/tg-7.toml")),
    ("TG-7b", include_str!("sheets/tg-7b.toml")),
    ("TG-7c", include_str!("sheets/tg-7c.toml")),
];

/// The text of a built-in module sheet; letter case does not count.
pub fn builtin(name: &str) -> Option<&'static str> {
    SHEETS.iter().find(|(known, _)| known.eq_ignore_ascii_case(name)).map(|(_, text)| *text)
}

/// The names of the built-in module sheets.
pub fn builtin_names() -> impl Iterator<Item = &'static str> {
    SHEETS.iter().map(|(name, _)| *name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bus::Width;
    use crate::module::{Kind, Sheet};

    #[test]
    fn every_built_in_sheet_reads_and_says_that_it_is_a_demo() {
        for name in builtin_names() {
            let sheet = Sheet::parse(name, builtin(name).unwrap()).unwrap();
            assert!(sheet.name.eq_ignore_ascii_case(name));
            assert!(sheet.title.contains("demo"), "{}", sheet.title);
            let named: Vec<_> = sheet.pins.iter().map(|pin| &pin.line).collect();
            for line in sheet.control_lines() {
                let line = crate::module::LineName::Control(line.to_owned());
                assert!(named.contains(&&line), "{name}: {line} has no pin");
            }
        }
        assert_eq!(builtin("TG-7B"), builtin("tg-7b"));
        assert_eq!(builtin("tg-9"), None);
    }

    #[test]
    fn tg_7_is_the_module_of_the_scenario() {
        let sheet = Sheet::parse("tg-7", builtin("tg-7").unwrap()).unwrap();
        let (_, store) = sheet.space("store").unwrap();
        assert_eq!(store.words as usize * store.width.bytes(), 2 << 20);
        let (index, records) = sheet.space("records").unwrap();
        assert_eq!(records.words as usize * records.width.bytes(), 256 << 10);
        assert!(records.battery && records.kind == Kind::Ram && index == 1);
        assert_eq!(sheet.zones_of(0).filter(|zone| zone.keep).count(), 1);
    }

    #[test]
    fn tg_7c_has_the_store_of_tg_7_in_four_chips() {
        let [tg7, tg7c] =
            ["tg-7", "tg-7c"].map(|name| Sheet::parse(name, builtin(name).unwrap()).unwrap());
        let (old, new) = (&tg7.spaces[0], &tg7c.spaces[0]);
        assert_eq!((new.width, new.words), (old.width, old.words));
        assert_eq!((new.chips.len(), old.chips.len()), (4, 2));
        assert!(new.chips.iter().all(|chip| chip.lane.bits == 8));
        assert_eq!(tg7c.zones_of(0).filter(|zone| zone.keep).count(), 1);
    }

    #[test]
    fn tg_7b_keeps_one_boot_sector() {
        let sheet = Sheet::parse("tg-7b", builtin("tg-7b").unwrap()).unwrap();
        let store = &sheet.spaces[0];
        assert_eq!((store.width, store.words), (Width::W16, 0x20_0000));
        assert_eq!((store.words as usize) * store.width.bytes(), 4 << 20);
        let constants = sheet.zones.iter().find(|zone| zone.keep).unwrap();
        assert_eq!(constants.words, 0x1000);
        assert!(constants.last().0 < 0x8000, "the boot sectors are the first 32 KiWords");
    }
}
