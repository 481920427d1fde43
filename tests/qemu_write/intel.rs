//! The Intel family on 32 lines, two parts side by side: chips that fail, and a supply that goes in
//! the middle of a write buffer; resumed each time.

use crate::images::{Change, Image};
use crate::modules::Kind;
use crate::rig::{Rig, assert_good};
use crate::support::qemu;
use std::sync::atomic::Ordering::Relaxed;

#[test]
fn a_write_that_failed_and_lost_its_supply_is_resumed() {
    if !qemu::ready() {
        return;
    }
    // 256 KiB each.
    let changes = [
        (1, Change::New(64)),
        (2, Change::Few),
        (3, Change::Fill(64)),
        (4, Change::Blank),
        (255, Change::New(8)),
    ];
    let kind = Kind::intel();
    let image = Image::new(&kind, &changes);
    // At this cycle of all scripts a buffer of sector 2 is being loaded.
    let sag = "[rail]\nsags_at_cycle = 25000\nsag_mv = 0\n[line]\npace = \"instant\"\n";
    let mut rig = Rig::new(kind, image, sag);
    let code = rig.plan();
    rig.assert_holds(&rig.image.before);

    rig.kind.read_only.store(true, Relaxed);
    let run = rig.write(&code);
    let words = run.words();
    assert_eq!(run.outcome.code, 1, "{words}");
    assert!(words.contains("sector 1 of store") && words.contains("nothing after it"), "{words}");
    for chip in ["U1 D0-D15", "U2 D16-D31"] {
        let said = format!("{chip}: ");
        assert!(words.contains(&said) && words.contains("status A0"), "{words}");
    }
    rig.assert_files_hold(&rig.image.before);
    assert_eq!(rig.erases(), [(1, 1)]);
    assert_eq!(rig.judge.cut, 0);

    rig.kind.read_only.store(false, Relaxed);
    let run = rig.resume();
    assert_eq!(run.outcome.code, 3, "{}", run.words());
    assert!(run.outcome.text.contains("1 of 5 sectors"), "{}", run.words());
    assert!(run.outcome.text.contains("buswright resume"), "{}", run.words());
    assert_eq!(rig.erases(), [(1, 1), (2, 1)]);
    assert_eq!(rig.judge.cut, 1, "the supply did not go in the middle of a command");

    assert_good(&rig.resume());
    rig.assert_holds(&rig.image.after);
    assert_eq!(rig.erases(), [(2, 1), (4, 1), (255, 1)]);
    assert_eq!(rig.judge.cut, 1);
}
