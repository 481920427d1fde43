//! Random cycles: nothing panics, and without a program or erase nothing changes.

use super::*;
use proptest::prelude::*;

#[derive(Clone, Copy, Debug)]
enum Act {
    Write(u32, u16),
    Read(u32),
    Wait(u32),
    Cut,
}

fn address() -> impl Strategy<Value = u32> {
    prop_oneof![
        Just(0x555),
        Just(0x2AA),
        Just(0xAAA),
        Just(0x5555),
        Just(0x2AAA),
        Just(0x55),
        0_u32..0x200,
        any::<u32>().prop_map(|at| at % 0x8_0000),
    ]
}

fn value() -> impl Strategy<Value = u16> {
    let codes = [
        0xAA, 0x55, 0x80, 0x30, 0x10, 0xA0, 0x90, 0xF0, 0x20, 0x25, 0x29, 0x98, 0xB0, 0xD0, 0xE8,
        0x60, 0x01, 0x40, 0xFF, 0x70, 0x50, 0x00, 0x0F,
    ];
    prop_oneof![6 => prop::sample::select(codes.to_vec()), 1 => any::<u16>()]
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        12 => (address(), value()).prop_map(|(at, value)| Act::Write(at, value)),
        3 => address().prop_map(Act::Read),
        2 => prop_oneof![0_u32..200, 0_u32..2_000_000].prop_map(Act::Wait),
        1 => Just(Act::Cut),
    ]
}

/// Commands that occur in order, so that random cycles come far.
fn history() -> impl Strategy<Value = Vec<Act>> {
    let amd = [(0x555, 0xAA), (0x2AA, 0x55)].map(|(at, value)| Act::Write(at, value));
    let byte = [(0xAAA, 0xAA), (0x555, 0x55)].map(|(at, value)| Act::Write(at, value));
    let jedec = [(0x5555, 0xAA), (0x2AAA, 0x55)].map(|(at, value)| Act::Write(at, value));
    let piece = prop_oneof![
        3 => act().prop_map(|act| vec![act]),
        1 => prop::sample::select(vec![amd.to_vec(), byte.to_vec(), jedec.to_vec()]),
    ];
    prop::collection::vec(piece, 1..60).prop_map(|pieces| pieces.concat())
}

fn run(rig: &mut Rig, history: &[Act]) {
    for act in history {
        match act {
            Act::Write(at, value) => rig.write(*at, *value),
            Act::Read(at) => {
                let ones = if rig.width == 8 { 0xFF } else { 0xFFFF };
                assert_eq!(rig.read(*at) & !ones, 0);
            }
            Act::Wait(us) => rig.wait_us(u64::from(*us)),
            Act::Cut => rig.cut(),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn any_history_is_survived(history in history(), part in 0_usize..9, narrow: bool) {
        let name = ChipType::builtin_names().nth(part).unwrap();
        let widths = ChipType::builtin(&name).unwrap().widths;
        let width = if narrow { widths[widths.len() - 1] } else { widths[0] };
        let mut rig = Rig::with(&name, width, ChipFaults::default());
        run(&mut rig, &history);
        let writes = history.iter().filter(|act| matches!(act, Act::Write(..))).count() as u64;
        prop_assert_eq!(rig.chip.books().writes, writes);
        prop_assert!(rig.chip.books().violation_count <= 2 * history.len() as u64);
    }

    /// Without AA no sequence of the AMD type begins; without A0, 25 and 80 none changes a cell.
    #[test]
    fn nothing_but_a_program_or_erase_changes_the_contents(
        history in history(),
        without in prop::sample::select(vec![&[0xAA][..], &[0xA0, 0x25, 0x80][..]]),
    ) {
        let mut rig = Rig::new("S29GL064N");
        rig.fill(9);
        let before = rig.words();
        let history: Vec<Act> = history
            .into_iter()
            .filter(|act| !matches!(act, Act::Write(_, v) if without.contains(&(v & 0xFF))))
            .collect();
        run(&mut rig, &history);
        prop_assert_eq!(rig.chip.books().programs, 0);
        prop_assert!(rig.words() == before);
        rig.cut();
        prop_assert_eq!(rig.read(0x1234), before[0x1234]);
    }
}
