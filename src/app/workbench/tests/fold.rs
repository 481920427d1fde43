//! What the fold makes of events, without a core.

use super::super::fold::Fold;
use super::super::handle::Shared;
use super::*;
use crate::app::{Event, Outcome};
use crate::jobs::BlockState;
use crate::module::Sheet;
use std::sync::Arc;

/// Everything was read and agreed.
fn agreed() -> Shared {
    let facts = sheet_facts(&Sheet::parse("small.toml", SHEET).unwrap());
    let mut shared = Shared::default();
    shared.snapshot.map = facts.spaces.iter().map(SpaceMap::new).collect();
    shared.snapshot.sheet = Some(Arc::new(facts));
    for cell in shared.snapshot.map.iter_mut().flat_map(|map| &mut map.cells) {
        cell.mark = Mark::Agreed;
    }
    shared
}

fn marks(shared: &Shared) -> Vec<Mark> {
    shared.snapshot.map.iter().flat_map(|map| &map.cells).map(|cell| cell.mark).collect()
}

fn pass() -> Event {
    Event::Pass { space: "store".into(), number: 1, what: "words".into(), bytes: 0x1_0000 }
}

#[test]
fn a_new_capture_begins_with_an_empty_map_once_it_reads() {
    let mut shared = agreed();
    let mut fold = Fold::default();
    fold.begin(&mut shared, Doing::Job("capture"));
    assert_eq!(marks(&shared), [Mark::Agreed; 2], "nothing was read yet");
    fold.event(&mut shared, &pass());
    assert_eq!(marks(&shared), [Mark::NotRead; 2]);
    let state = BlockState::ReadOnce;
    let block = Event::Block { space: "store".into(), address: 0, bytes: 0x1_0000, state };
    fold.event(&mut shared, &block);
    fold.event(&mut shared, &pass());
    assert_eq!(marks(&shared), [Mark::ReadOnce, Mark::NotRead], "once a capture");
    // A plan compares first, and captures where it must.
    let mut shared = agreed();
    fold.begin(&mut shared, Doing::Job("plan"));
    let (space, what) = ("store".into(), "checksums".into());
    fold.event(&mut shared, &Event::Pass { space, number: 1, what, bytes: 0x1_0000 });
    assert_eq!(marks(&shared), [Mark::Agreed; 2]);
    fold.event(&mut shared, &pass());
    assert_eq!(marks(&shared), [Mark::NotRead; 2]);
}

#[test]
fn a_block_that_differs_from_the_last_copy_is_agreed_no_more() {
    for (compares, mark) in [(true, Mark::NotRead), (false, Mark::Agreed)] {
        let mut shared = agreed();
        let mut fold = Fold::default();
        fold.compares = compares;
        fold.begin(&mut shared, Doing::Job("verify"));
        let state = BlockState::Differs;
        let block = Event::Block { space: "records".into(), address: 0, bytes: 0x1_0000, state };
        fold.event(&mut shared, &block);
        assert_eq!(marks(&shared), [Mark::Agreed, mark]);
    }
}

#[test]
fn the_answer_to_a_comparison_is_the_last_line_of_the_log() {
    let mut shared = agreed();
    let mut fold = Fold::default();
    fold.begin(&mut shared, Doing::Job("verify"));
    let text = "the module differs from 0001-001 in 3 words of 80 KiB\n  store word 0x1: image \
                0x0, module 0x1\n  and 2 more";
    let outcome = Outcome { code: 1, text: text.into(), report: None };
    fold.event(&mut shared, &Event::Finished(outcome));
    fold.end(&mut shared);
    let Some(Item::Line(line)) = shared.items.back() else { panic!("{:?}", shared.items) };
    let last = line.text.lines().last().unwrap();
    assert!(last.starts_with("the module differs"), "{}", line.text);
    assert!(line.text.starts_with("  store word 0x1"), "{}", line.text);
}
