//! Two parts of the AMD family, each in a QEMU of its own: one can be done while the other is busy.

use crate::images::{Change, Image};
use crate::modules::Kind;
use crate::rig::{Rig, assert_good};
use crate::support::qemu;

/// The clock of the second part stands still, so that its erase never ends: the write stops there
/// and names that part alone. With its clock running it is resumed.
#[test]
fn one_of_two_never_ends_its_erase() {
    if !qemu::ready() {
        return;
    }
    let changes = [(5, Change::Fill(32)), (6, Change::New(32)), (7, Change::Blank)];
    let kind = Kind::pair();
    let image = Image::new(&kind, &changes);
    let mut rig = Rig::new(kind, image, "");
    let code = rig.plan();
    rig.log.freeze(0b10);
    let run = rig.write(&code);
    let words = run.words();
    assert_eq!(run.outcome.code, 1, "{words}");
    assert!(words.contains("sector 6 of store") && words.contains("nothing after it"), "{words}");
    assert!(words.contains("U2 D16-D31: still busy"), "{words}");
    assert!(!words.contains("U1"), "{words}");
    assert_eq!(rig.erases(), [(6, 1)]);
    rig.log.freeze(0);
    assert_good(&rig.resume());
    rig.assert_holds(&rig.image.after);
    assert_eq!(rig.erases(), [(6, 1), (7, 1)]);

    let code = rig.plan_back();
    assert_good(&rig.write(&code));
    rig.assert_holds(&rig.image.before);
    assert_eq!(rig.judge.cut, 0);
}
