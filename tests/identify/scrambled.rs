//! Chips whose data and address lines go to the module in another order, as boards that were easier
//! to route that way have them. Commands and answers must come out as the chip sees them.

use super::{Made, Rig, chips, warnings};
use buswright::app::SimPort;
use buswright::bus::{Cycles, Millivolts, Nanos, Precharge, Shape, Width, Word, WordAddress};
use buswright::sim::{Bench, Chip, Socket};
use serde_json::json;

/// One chip of 8 lines on a socket of its own, and the module's lines on its own D0.. and A0..
struct Lane {
    chip: Box<dyn Socket>,
    data: Vec<u32>,
    address: Vec<u32>,
}

impl Lane {
    fn address(&self, module: WordAddress) -> WordAddress {
        let known = self.address.len();
        let above = module.0 >> known << known;
        let bits = self.address.iter().enumerate();
        WordAddress(bits.fold(above, |at, (bit, line)| at | (module.0 >> line & 1) << bit))
    }

    fn own(&self, word: Word) -> Word {
        let bits = self.data.iter().enumerate();
        bits.fold(0, |value, (bit, line)| value | (word >> line & 1) << bit)
    }

    fn on_module(&self, value: Word) -> Word {
        let bits = self.data.iter().enumerate();
        bits.fold(0, |word, (bit, line)| word | (value >> bit & 1) << line)
    }
}

/// Two such chips side by side.
struct Scrambled(Vec<Lane>);

fn narrow(shape: &Shape) -> Shape {
    Shape { width: Width::W8, ..*shape }
}

impl Cycles for Scrambled {
    fn read(&mut self, shape: &Shape, address: WordAddress, precharge: Precharge) -> Word {
        let shape = narrow(shape);
        let lanes = self.0.iter_mut();
        lanes.fold(0, |word, lane| {
            let at = lane.address(address);
            let value = lane.chip.read(&shape, at, precharge);
            word | lane.on_module(value)
        })
    }

    fn write(&mut self, shape: &Shape, address: WordAddress, value: Word) {
        let shape = narrow(shape);
        for lane in &mut self.0 {
            let (at, value) = (lane.address(address), lane.own(value));
            lane.chip.write(&shape, at, value);
        }
    }

    fn delay(&mut self, time: Nanos) {
        self.0.iter_mut().for_each(|lane| lane.chip.delay(time));
    }

    fn now(&self) -> Nanos {
        self.0[0].chip.now()
    }
}

impl Socket for Scrambled {
    fn power(&mut self, now: Nanos, mv: Millivolts) {
        self.0.iter_mut().for_each(|lane| lane.chip.power(now, mv));
    }

    /// `first` or `second`.
    fn chips(&self, space: &str) -> &[Chip] {
        self.0[usize::from(space == "second")].chip.chips("store")
    }

    fn contents(&self, space: &str) -> Option<Vec<u8>> {
        self.0[usize::from(space == "second")].chip.contents("store")
    }
}

const SIZE: u32 = 0x8_0000;

/// Lines as a sheet lists them.
fn listed(letter: char, lines: &[u32]) -> String {
    let lines: Vec<_> = lines.iter().map(|line| format!("\"{letter}{line}\"")).collect();
    format!("[{}]", lines.join(", "))
}

/// Identifies two chips of `kind` with these orders; the sheet says them if `told`.
fn identified(kind: &str, family: &str, orders: [(&[u32], &[u32]); 2], told: bool) -> (Rig, i32) {
    let made = Made::of(kind, 8, (16, SIZE), family);
    let mut sheet = made.sheet();
    for (n, (data, address)) in orders.iter().enumerate().filter(|_| told) {
        let lane = format!("lane = \"D{}-D{}\"", n * 8, n * 8 + 7);
        let order = |key: &str, letter, lines: &[u32]| match lines {
            [] => String::new(),
            lines => format!(", {key} = {}", listed(letter, lines)),
        };
        let orders = order("data_order", 'D', data) + &order("address_order", 'A', address);
        let said = lane.clone() + &orders;
        sheet = sheet.replace(&lane, &said);
    }
    let mut rig = Rig::with_sheet(made.bench(), &sheet);
    let one = Made::of(kind, 8, (8, SIZE), family).bench();
    let lanes = orders.iter().enumerate().map(|(n, (data, address))| {
        let straight: Vec<u32> = (0..8).map(|line| line + 8 * n as u32).collect();
        let mut chip = one.module(n as u64 + 1);
        let fill: Vec<u8> = (0..SIZE).map(|at| (at * 13 + at / 255) as u8).collect();
        assert!(chip.set_contents("store", &fill));
        let data = if data.is_empty() { straight } else { data.to_vec() };
        Lane { chip, data, address: address.to_vec() }
    });
    let socket = Scrambled(lanes.collect());
    rig.port = SimPort::new(Bench::with_socket(&rig.description, Box::new(socket), 1));
    let before = ["first", "second"].map(|lane| contents(&rig, lane));
    let run = rig.identify();
    for (lane, before) in ["first", "second"].iter().zip(before) {
        assert!(contents(&rig, lane) == before, "the {lane} chip has changed");
        let chip = &rig.port.bench().adapter().socket().chips(lane)[0];
        assert_eq!(chip.books().programs, 0, "{kind}");
        assert!(chip.books().erases.iter().all(|count| *count == 0), "{kind}");
    }
    if told {
        assert_eq!(run.outcome.code, 0, "{kind}: {}", run.words());
        for chip in chips(&run) {
            let named = chip["parts"][0].as_str().unwrap_or_default();
            assert!(named.ends_with(&kind[kind.len() - 4..]), "{kind}: {chip}");
            assert_eq!(chip["family"], json!(family), "{kind}: {chip}");
        }
        assert_eq!(warnings(&run), [""; 0]);
    }
    let code = i32::from(run.outcome.code);
    (rig, code)
}

fn contents(rig: &Rig, lane: &str) -> Vec<u8> {
    rig.port.bench().adapter().socket().contents(lane).unwrap()
}

const DATA: [&[u32]; 2] = [&[7, 6, 5, 4, 3, 2, 1, 0], &[8, 10, 9, 11, 15, 14, 12, 13]];
const ADDRESS: &[u32] = &[3, 0, 1, 2, 10, 5, 6, 7, 8, 9, 4];

#[test]
fn data_lines_in_another_order() {
    for (kind, family) in [("Am29LV040B", "amd"), ("SST39VF040", "jedec")] {
        identified(kind, family, [(DATA[0], &[]), (DATA[1], &[])], true);
    }
}

#[test]
fn address_lines_in_another_order_the_same_for_both() {
    for (kind, family) in [("Am29LV040B", "amd"), ("SST39VF040", "jedec")] {
        identified(kind, family, [(DATA[0], ADDRESS), (&[], ADDRESS)], true);
    }
}

/// A command for one chip is at another address for the other: each is asked by itself.
#[test]
fn address_lines_in_another_order_for_one_chip() {
    identified("Am29LV040B", "amd", [(&[], &[]), (DATA[1], ADDRESS)], true);
}

#[test]
fn an_order_that_the_sheet_does_not_say_changes_nothing() {
    let (_, code) = identified("Am29LV040B", "amd", [(DATA[0], ADDRESS), (&[], ADDRESS)], false);
    assert_eq!(code, 1);
}
