//! Chips and their faults in a bench file.

use super::chips::{ERASE, module, read, shape, writes};
use super::*;
use crate::bus::Cycles;
use crate::sim::{ChipPace, ChipState, ChipViolation, Socket, StuckBit, Wear};

const TG7: &str = include_str!("../benches/tg-7.toml");

fn parse(more: &str) -> Result<BenchDescription, crate::sim::BenchError> {
    BenchDescription::parse("x.toml", &format!("{TG7}\n{more}"))
}

fn faulty(more: &str) -> Box<dyn Socket> {
    let mut module = parse(more).unwrap().module(1);
    module.power(Nanos::ZERO, Millivolts(3300));
    module
}

#[test]
fn every_fault_reaches_its_chip() {
    let text = "
[[chip_fault]]
memory = \"store\"
chip = 1
kind = \"worn_sector\"
sectors = [4]
ends = \"never\"
[[chip_fault]]
memory = \"store\"
chip = 1
kind = \"stuck_bit\"
address = 0x123
bit = 5
level = \"high\"
[[chip_fault]]
memory = \"store\"
chip = 1
kind = \"pace\"
percent = 250
[[chip_fault]]
memory = \"store\"
kind = \"locked\"
sectors = [0, 18]
[[chip_fault]]
memory = \"store\"
kind = \"vpp_low\"
[[chip_fault]]
memory = \"store\"
chip = 0
kind = \"slow\"
[[chip_fault]]
memory = \"store\"
chip = 0
kind = \"nonsense\"
[[chip_fault]]
memory = \"store\"
chip = 0
kind = \"ones_look_good\"
[[chip_fault]]
memory = \"store\"
chip = 1
kind = \"buffer_abort\"
address = 0x45
";
    let description = parse(text).unwrap();
    let [low, high] = &description.memories[0].0.chips[..] else { panic!() };
    let (low, high) = (&low.faults, &high.faults);
    assert_eq!(high.worn, [(4, Wear::Never)]);
    assert_eq!(high.stuck, [StuckBit { at: 0x123, bit: 5, high: true }]);
    assert_eq!((high.pace, low.pace), (ChipPace::Percent(250), ChipPace::NearLongest));
    assert_eq!((&low.locked, &high.locked), (&vec![0, 18], &vec![0, 18]));
    assert!(low.vpp_low && high.vpp_low && low.nonsense && !high.nonsense);
    assert!(low.ones_look_good && !high.ones_look_good);
    assert_eq!((&low.aborts_at[..], &high.aborts_at[..]), (&[][..], &[0x45][..]));
}

#[test]
fn wrong_faults_are_refused_with_their_line() {
    let first = TG7.lines().count() + 2;
    let cases = [
        ("memory = \"records\"\nkind = \"vpp_low\"", 1, "no memory with chips"),
        ("memory = \"store\"\nchip = 2\nkind = \"vpp_low\"", 2, "no chip 2"),
        ("memory = \"store\"\nkind = \"locked\"\nsectors = [19]", 3, "sector 19 of 19"),
        ("memory = \"store\"\nkind = \"locked\"", 0, "lacks 'sectors'"),
        ("memory = \"store\"\nkind = \"pace\"\npercent = 0", 3, "0 %"),
        (
            "memory = \"store\"\nkind = \"stuck_bit\"\naddress = 0x80000\nbit = 0\nlevel = \"low\"",
            3,
            "beyond the chip",
        ),
        ("memory = \"store\"\nkind = \"buffer_abort\"", 0, "lacks 'address'"),
        (
            "memory = \"store\"\nkind = \"stuck_bit\"\naddress = 0\nbit = 16\nlevel = \"low\"",
            4,
            "no such bit",
        ),
    ];
    for (text, line, word) in cases {
        let error = parse(&format!("[[chip_fault]]\n{text}\n")).unwrap_err();
        assert_eq!(error.line, first + line, "{error}");
        assert!(error.to_string().contains(word), "{error}");
    }
}

#[test]
fn chips_must_fill_their_memory() {
    let wrong = |from: &str, to: &str| {
        let text = TG7.replace(from, to);
        BenchDescription::parse("x.toml", &text).unwrap_err().to_string()
    };
    let chip = "chip = \"S29AL008J\"";
    let cases = [
        (wrong(chip, "chip = \"S29AL009\""), "use one of S29AL008J"),
        (wrong(chip, "chip = \"MBM29LV320BE\""), "0x200000 words of 16 bits, the memory 0x80000"),
        (wrong(chip, "chips = [\"S29AL008J\"]"), "1 chips do not share 32"),
        (wrong(chip, "chips = [\"SST39VF1601\", \"AT29C040A\"]"), "SST39VF1601 has 0x100000"),
        (wrong(chip, "chips = [\"AT29C040A\", \"AT29C040A\"]"), "has no 16 data lines"),
        (wrong(chip, &format!("{chip}\nchips = []")), "both chip and chips"),
        (wrong("base = 0x0", "base = 0x1000"), "no multiple"),
        (wrong("kind = \"flash\"", "kind = \"rom\""), "no flash"),
    ];
    for (error, word) in cases {
        assert!(error.starts_with("x.toml:") && error.contains(word), "{error}");
    }
    let mixed = TG7
        .replace(chip, "chips = [\"AT29C040A\", \"SST39VF040\", \"Am29LV040B\", \"am29lv040b\"]");
    let bench = BenchDescription::parse("x", &mixed).unwrap();
    let names: Vec<_> = bench.memories[0].0.chips.iter().map(|c| c.kind.name.as_str()).collect();
    assert_eq!(names, ["AT29C040A", "SST39VF040", "Am29LV040B", "Am29LV040B"]);
}

#[test]
fn one_lane_is_early_and_one_fails_alone() {
    let mut early =
        faulty("[[chip_fault]]\nmemory = \"store\"\nchip = 1\nkind = \"pace\"\npercent = 50\n");
    let mut worn = faulty(
        "[[chip_fault]]\nmemory = \"store\"\nchip = 0\nkind = \"worn_sector\"\nsectors = [4]\n",
    );
    for module in [&mut early, &mut worn] {
        writes(module, Width::W32, &ERASE);
        writes(module, Width::W32, &[(0x8000, 0x0030_0030)]);
        module.delay(Nanos::from_millis(400));
    }
    assert_eq!(read(&mut early, Width::W32, 0x8000) >> 16, 0xFFFF);
    assert_eq!(read(&mut early, Width::W32, 0x8000) & 0x80, 0);
    worn.delay(Nanos::from_secs(15));
    let states: Vec<_> = worn.chips("store").iter().map(crate::sim::Chip::state).collect();
    assert_eq!(states, [ChipState::Failed, ChipState::Array]);
    let got = read(&mut worn, Width::W32, 0x8000);
    assert_eq!((got >> 16, got & 0xA0), (0xFFFF, 0x20));
}

#[test]
fn a_chip_that_answers_nonsense_answers_otherwise_each_time() {
    let mut module = faulty("[[chip_fault]]\nmemory = \"store\"\nchip = 0\nkind = \"nonsense\"\n");
    let mut passes = [Vec::new(), Vec::new()];
    for pass in &mut passes {
        let span = crate::bus::Span::up(WordAddress(0x100), 64);
        module.read_burst(&shape(Width::W32), span, Precharge::Zeros, pass);
    }
    assert_ne!(passes[0], passes[1]);
    assert!(passes[0].iter().zip(&passes[1]).all(|(a, b)| a >> 16 == b >> 16));
}

#[test]
fn a_supervisor_holds_the_chips_deselected() {
    let text = TG7.replace("chip = \"S29AL008J\"", "chip = \"S29AL008J\"\nheld_ms = 200");
    let mut module = BenchDescription::parse("x", &text).unwrap().module(1);
    module.power(Nanos::ZERO, Millivolts(3300));
    let store = shape(Width::W32);
    let both = |module: &mut Box<dyn Socket>| {
        [Precharge::Zeros, Precharge::Ones]
            .map(|precharge| module.read(&store, WordAddress(0x40), precharge))
    };
    assert_eq!(both(&mut module), [0, u32::MAX]);
    writes(&mut module, Width::W32, &[(0x555, 0x00AA_00AA)]);
    let [chip, _] = module.chips("store") else { panic!() };
    assert_eq!(chip.books().violations[0].1, ChipViolation::Deselected(0x555));
    module.delay(Nanos::from_millis(200));
    let [zeros, ones] = both(&mut module);
    assert_eq!(zeros, ones);
    let mut free = self::module("TG-7", |_| ());
    assert_eq!(read(&mut free, Width::W32, 0x40), zeros);
}
