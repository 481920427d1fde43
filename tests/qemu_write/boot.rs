//! Boot sectors at the bottom and at the top: what is erased is the sector that is meant.
//!
//! The query tables of these parts cannot tell which end their lists start from, so nothing is
//! written before a chip file says so; afterwards the plan knows.

use crate::images::{Change, Image};
use crate::judge::Layout;
use crate::modules::Kind;
use crate::rig::{Rig, assert_good};
use crate::support::qemu;

const K: u32 = 1 << 10;

/// A module with this layout and a plan for it; `more` is of the chip file, `bench` of the bench.
fn planned(
    layout: Layout,
    (more, bench): (&str, &str),
    changes: &[(usize, Change)],
) -> Option<(Rig, String)> {
    if !qemu::ready() {
        return None;
    }
    let kind = Kind::boot(layout, more);
    let image = Image::new(&kind, changes);
    let mut rig = Rig::new(kind, image, bench);
    let run = rig.plan_with(Vec::new());
    assert_eq!(run.outcome.code, 4, "{}", run.words());
    assert!(run.outcome.text.contains("listed or in the reverse order"), "{}", run.words());
    let code = rig.plan();
    rig.assert_holds(&rig.image.before);
    Some((rig, code))
}

#[test]
fn eight_at_the_bottom() {
    let changes = [
        (0, Change::Few),
        (2, Change::Fill(128)),
        (7, Change::New(200)),
        (8, Change::New(20)),
        (134, Change::Blank),
    ];
    let layout = vec![(8, 8 * K), (127, 64 * K)];
    let Some((mut rig, code)) = planned(layout, ("", ""), &changes) else { return };
    assert_good(&rig.write(&code));
    rig.assert_holds(&rig.image.after);
    assert_eq!(rig.erases(), [(0, 1), (7, 1), (8, 1), (134, 1)]);
    assert_eq!(rig.judge.cut, 0);
}

/// Programmed in the unlock bypass, which the emulated part knows; some of it is erased again.
#[test]
fn eight_at_the_top() {
    let changes = [
        (0, Change::Blank),
        (126, Change::New(20)),
        (127, Change::New(200)),
        (130, Change::Fill(128)),
        (134, Change::Few),
    ];
    let layout = vec![(127, 64 * K), (8, 8 * K)];
    let bypass = ("bypass = true", "");
    let Some((mut rig, code)) = planned(layout, bypass, &changes) else { return };
    assert_good(&rig.write(&code));
    rig.assert_holds(&rig.image.after);
    assert_eq!(rig.erases(), [(0, 1), (126, 1), (127, 1), (134, 1)]);

    assert_good(&rig.erase(&[130, 131, 132]));
    let mut blank = rig.image.after.clone();
    let first = (127 * 64 + 3 * 8) << 10;
    blank[first..first + ((3 * 8) << 10)].fill(0xFF);
    rig.assert_holds(&blank);
    assert_eq!(rig.erases(), [(130, 1), (131, 1), (132, 1)]);
    assert_eq!(rig.judge.cut, 0);
}

#[test]
fn four_sizes_at_the_bottom_and_a_lost_supply() {
    let changes =
        [(0, Change::New(200)), (2, Change::Few), (3, Change::Fill(40)), (4, Change::Blank)];
    let layout = vec![(1, 16 * K), (2, 8 * K), (1, 32 * K), (127, 64 * K)];
    // At this cycle of all scripts sector 0 is being programmed in the unlock bypass.
    let more = ("bypass = true", "[rail]\nsags_at_cycle = 8000\nsag_mv = 0\n");
    let Some((mut rig, code)) = planned(layout, more, &changes) else { return };
    let run = rig.write(&code);
    assert_eq!(run.outcome.code, 3, "{}", run.words());
    assert!(run.outcome.text.contains("0 of 4 sectors"), "{}", run.words());
    assert_eq!(rig.erases(), [(0, 1)]);
    assert_eq!(rig.judge.cut, 1, "the supply did not go in the middle of a command");
    assert_good(&rig.resume());
    rig.assert_holds(&rig.image.after);
    assert_eq!(rig.erases(), [(0, 1), (2, 1), (4, 1)]);
    assert_eq!(rig.judge.cut, 1);
}
