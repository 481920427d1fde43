//! The AMD family on 16 lines: a stopped write, resumed; the way back; erase.

use crate::images::{Change, Image};
use crate::modules::Kind;
use crate::rig::{Rig, assert_good};
use crate::support::{long, qemu};

#[test]
fn a_stopped_write_is_resumed_and_undone() {
    if !qemu::ready() {
        return;
    }
    let changes = [
        (0, Change::Few),
        (1, Change::Fill(64)),
        (3, Change::New(64)),
        (14, Change::Blank),
        (127, Change::New(32)),
    ];
    let kind = Kind::amd();
    let image = Image::new(&kind, &changes);
    let mut rig = Rig::new(kind, image, "");
    let code = rig.plan();
    let run = rig.write_stopped(&code, 2);
    assert_eq!(run.outcome.code, 130, "{}", run.words());
    assert!(run.outcome.text.contains("2 of 5 sectors"), "{}", run.words());
    assert_eq!(rig.erases(), [(0, 1)]);
    assert_good(&rig.resume());
    rig.assert_holds(&rig.image.after);
    // What was written before the stop is not written again.
    assert_eq!(rig.erases(), [(3, 1), (14, 1), (127, 1)]);

    let code = rig.plan_back();
    assert_good(&rig.write(&code));
    rig.assert_holds(&rig.image.before);
    // What was made blank is only programmed, and what was programmed only is erased.
    assert_eq!(rig.erases(), [(0, 1), (1, 1), (3, 1), (127, 1)]);

    assert_good(&rig.erase(&[60, 61]));
    let mut blank = rig.image.before.clone();
    blank[60 << 16..62 << 16].fill(0xFF);
    rig.assert_holds(&blank);
    assert_eq!(rig.erases(), [(60, 1), (61, 1)]);
    assert_eq!(rig.judge.cut, 0);
}

/// Every sector of a chip, where the long tests are wanted.
#[test]
fn a_whole_chip() {
    if !long() || !qemu::ready() {
        return;
    }
    let changes: Vec<_> = (0..128).map(|number| (number, Change::New(64))).collect();
    let kind = Kind::amd();
    let image = Image::new(&kind, &changes);
    let mut rig = Rig::new(kind, image, "");
    let code = rig.plan();
    assert_good(&rig.write(&code));
    rig.assert_holds(&rig.image.after);
    assert_eq!(rig.erases().len(), 128);
}
