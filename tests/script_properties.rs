//! What holds for every cycle script: it ends in time, stops where it may, and tidies up.

#![allow(clippy::unwrap_used, reason = "a test ends where its data is wrong")]

#[path = "script_properties/random.rs"]
mod random;
#[path = "support/script_bench.rs"]
mod script_bench;

use buswright::bus::script::{
    Abort, Checked, LaneResult, LaneRule, Limits, Op, Run, Script, SlotRule, Start, Status, Why,
    check, list, parse,
};
use buswright::bus::{Cycles, Nanos, Width, WordAddress};
use proptest::prelude::*;
use random::{any_op, likely};
use script_bench::{CYCLE, Event, Model, ScriptBench};

fn limits() -> Limits {
    let slot = SlotRule { width: Width::W32, lanes: LaneRule::Rest };
    // So short that no accepted script is long to run.
    let time = Nanos::from_millis(40);
    Limits { time, cycle: CYCLE, op: Nanos(1_000), emitted: 64, ..Limits::with_shapes([slot]) }
}

/// A script that was accepted, its run at the beginning, and a bus for it.
#[derive(Clone, Debug)]
struct Case {
    checked: Checked,
    n: u32,
    run: Run,
    bench: ScriptBench,
}

fn case(ops: &[Op], n: u32, answers: Vec<u32>, permit: u32) -> Option<Case> {
    let checked = check(&Script::encode(ops), &limits()).ok()?;
    let need = checked.need(n).ok()?;
    let payload = (0..need.payload).map(|word| [0xFFFF, 0xFFFF_FFFF, 7][word as usize % 3]);
    let start = Start { a: WordAddress(2), b: WordAddress(5), n, lanes: u32::MAX };
    let run = Run::new(&checked, start, payload.collect()).unwrap();
    let mut bench = ScriptBench::new(Width::W32);
    bench.permit = Some((0, permit));
    if !answers.is_empty() {
        bench.model = Model::Answers(answers.into());
    }
    Some(Case { checked, n, run, bench })
}

impl Case {
    /// Steps to the end in units of work and tells `meanwhile` about each.
    fn drive(&mut self, mut meanwhile: impl FnMut(usize, &mut Run, &mut ScriptBench)) {
        for unit in 0.. {
            meanwhile(unit, &mut self.run, &mut self.bench);
            match self.run.step(&mut self.bench, Nanos::ZERO) {
                Status::Running => {}
                Status::Waiting(time) => self.bench.now = time,
                Status::Done => return,
            }
        }
    }

    /// The permitted writes and the lines of `finally` that depend on no register.
    fn tidied(&self) -> Vec<Event> {
        let Some(first) = self.checked.finally() else { return Vec::new() };
        let mut ops = vec![Op::Finally];
        ops.extend(self.checked.ops()[first..].iter().map(|placed| placed.op));
        ops.into_iter()
            .filter_map(|op| match op {
                Op::Line { line, active } => Some(Event::Line(line, active)),
                Op::Write { value, at: buswright::bus::script::Place::At(address) } => self
                    .bench
                    .permit
                    .is_some_and(|(_, last)| address.0 <= last)
                    .then_some(Event::Write(address.0, value)),
                _ => None,
            })
            .collect()
    }

    /// True if those were made, in order, up to the end.
    fn has_tidied(&self) -> bool {
        let mut events = self.bench.events.iter().rev();
        self.tidied().iter().rev().all(|wanted| {
            events.any(|event| match (event, wanted) {
                // The value may depend on the mask of the moment.
                (Event::Write(at, _), Event::Write(wanted, _)) => at == wanted,
                _ => event == wanted,
            })
        })
    }
}

fn answers() -> impl Strategy<Value = Vec<u32>> {
    let word = prop_oneof![Just(0_u32), Just(u32::MAX), Just(0xFFFF), Just(7), any::<u32>()];
    prop::collection::vec(word, 0..12)
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 256, failure_persistence: None, ..ProptestConfig::default()
    })]

    #[test]
    fn operations_come_back_from_their_bytes(ops in prop::collection::vec(any_op(), 0..40)) {
        let script = Script::encode(&ops);
        let back = script.decode().unwrap();
        prop_assert_eq!(back.iter().map(|placed| placed.op).collect::<Vec<_>>(), ops.clone());
        prop_assert_eq!(list(&script).lines().count(), ops.len());
    }

    #[test]
    fn no_bytes_make_anything_panic(bytes in prop::collection::vec(any::<u8>(), 0..80)) {
        let script = Script(bytes);
        let _ = check(&script, &limits());
        let _ = list(&script);
    }

    #[test]
    fn no_operations_make_anything_panic(
        ops in prop::collection::vec(any_op(), 0..24), n in any::<u32>(),
    ) {
        let mut all = vec![Op::Shape(buswright::bus::ShapeId(0))];
        all.extend(ops);
        if let Ok(checked) = check(&Script::encode(&all), &limits()) {
            let _ = checked.need(n);
        }
    }

    #[test]
    fn what_is_accepted_ends_within_its_worst_time(
        ops in likely(), n in 1..5_u32, answers in answers(), permit in prop_oneof![
            Just(u32::MAX), Just(0), Just(0x80)
        ], stride in 0..5_000_u64,
    ) {
        let Some(mut case) = case(&ops, n, answers, permit) else { return Ok(()) };
        let need = case.checked.need(n).unwrap();
        loop {
            let until = case.bench.now + Nanos(stride);
            match case.run.step(&mut case.bench, until) {
                Status::Running => {}
                Status::Waiting(time) => {
                    prop_assert!(time > until);
                    case.bench.now = time;
                }
                Status::Done => break,
            }
        }
        let ended = *case.run.ended().unwrap();
        prop_assert!(ended.elapsed <= need.worst, "{ended:?} {need:?}");
        prop_assert!(u64::from(ended.emitted) <= need.emitted);
        prop_assert!(!matches!(ended.why, Why::Stopped(_) | Why::PowerLost | Why::NoShape));
        let all_done = ended.lanes.iter()
            .all(|lane| matches!(lane, LaneResult::Done | LaneResult::Unasked));
        prop_assert!(ended.why != Why::Good || all_done);
        prop_assert!(all_done || matches!(ended.why, Why::WaitFailed | Why::TimedOut));
        // Nothing is written that the permit does not cover.
        for event in &case.bench.events {
            if let Event::Write(address, _) = event {
                prop_assert!(*address <= permit);
            }
        }
        prop_assert!(case.has_tidied());
        // Done is done.
        let events = case.bench.events.len();
        case.run.stop();
        case.run.lose_power();
        prop_assert_eq!(case.run.step(&mut case.bench, Nanos(u64::MAX)), Status::Done);
        prop_assert_eq!(case.run.ended(), Some(&ended));
        prop_assert_eq!(case.bench.events.len(), events);
    }

    #[test]
    fn a_stop_at_any_step_is_honoured_in_time_and_tidies_up(
        ops in likely(), n in 1..5_u32, answers in answers(), at in 0..60_usize,
    ) {
        let Some(mut case) = case(&ops, n, answers, u32::MAX) else { return Ok(()) };
        let stop_within = case.checked.need(case.n).unwrap().stop;
        let (mut asked, mut was_safe) = (None, false);
        case.drive(|unit, run, bench| {
            if unit == at {
                was_safe = run.safe();
                asked = Some((bench.now(), bench.events.len()));
                run.abort(Abort::DeadMan);
            }
        });
        let ended = case.run.ended().unwrap();
        if let Some((when, events)) = asked {
            prop_assert!(case.bench.now.since(when) <= stop_within, "{stop_within:?}");
            if ended.why == Why::Stopped(Abort::DeadMan) && was_safe {
                // Only finally follows: no read, and no wait is left open.
                let after = &case.bench.events[events..];
                prop_assert!(after.iter().all(|e| matches!(e, Event::Write(..) | Event::Line(..))));
            }
        }
        prop_assert!(case.has_tidied());
    }

    #[test]
    fn a_power_cut_at_any_step_ends_at_once(
        ops in likely(), n in 1..5_u32, answers in answers(), at in 0..60_usize,
        from_bus in any::<bool>(),
    ) {
        let Some(mut case) = case(&ops, n, answers, u32::MAX) else { return Ok(()) };
        let mut seen = None;
        case.drive(|unit, run, bench| {
            if unit == at {
                seen = Some(bench.events.len());
                if from_bus { bench.cut_after = Some(0); } else { run.lose_power(); }
            }
        });
        if let Some(events) = seen {
            prop_assert_eq!(case.bench.events.len(), events);
            prop_assert_eq!(case.run.ended().unwrap().why, Why::PowerLost);
        }
    }

    /// At any cycle, in the middle of an operation too.
    #[test]
    fn no_cycle_follows_a_power_cut(
        ops in likely(), n in 1..5_u32, answers in answers(), cut in 0..60_usize,
    ) {
        let Some(mut case) = case(&ops, n, answers, u32::MAX) else { return Ok(()) };
        let mut whole = case.clone();
        whole.drive(|_, _, _| {});
        case.bench.cut_after = Some(cut);
        case.run.step(&mut case.bench, Nanos::from_secs(9));
        case.drive(|_, _, _| {});
        let made = case.bench.events.iter().filter(|e| !matches!(e, Event::Line(..))).count();
        prop_assert_eq!(made, whole.bench.cycles.min(cut));
        let why = case.run.ended().unwrap().why;
        if whole.bench.cycles > cut {
            prop_assert_eq!(why, Why::PowerLost);
        } else if whole.bench.cycles < cut {
            prop_assert_eq!(why, whole.run.ended().unwrap().why);
        }
    }

    #[test]
    fn critical_stretches_hold_a_stop(
        before in 0..4_u32, inside in 1..20_u32, max_ms in 0..3_u32, at in 0..40_usize,
    ) {
        use buswright::bus::script::Builder;
        let script = Builder::new(buswright::bus::ShapeId(0))
            .repeat(before + 1, |b| b.read(WordAddress(1)))
            .critical(max_ms, |b| b.repeat(inside, |b| b.read(WordAddress(2)).delay(150)))
            .read(WordAddress(3))
            .finally(|b| b.write(WordAddress(4), 0xF0));
        let checked = script.check(&limits()).unwrap();
        let start = Start { a: WordAddress(0), b: WordAddress(0), n: 0, lanes: 1 };
        let start = Start { lanes: u32::MAX, ..start };
        let run = Run::new(&checked, start, Vec::new()).unwrap();
        let mut bench = ScriptBench::new(Width::W32);
        bench.permit = Some((4, 4));
        let mut case = Case { checked, n: 1, run, bench };
        let mut began = None;
        let mut stopped_at = None;
        case.drive(|_, run, bench| {
            if bench.cycles > at && stopped_at.is_none() {
                stopped_at = Some(bench.now);
                run.stop();
            }
            if bench.events.contains(&Event::Read(2, u32::MAX)) && began.is_none() {
                began = Some(bench.now - CYCLE);
            }
        });
        let reads = |address| {
            case.bench.events.iter().filter(|e| **e == Event::Read(address, u32::MAX)).count()
        };
        let ended = case.run.ended().unwrap();
        if let Some(began) = began && ended.why != Why::Good && reads(2) < inside as usize {
            // Cut short: only because its time was over.
            let last = case.bench.now - CYCLE;
            prop_assert!(last.since(began) >= Nanos::from_millis(max_ms.into()));
        }
        prop_assert_eq!(case.bench.events.last(), Some(&Event::Write(4, 0xF0)));
    }
}

/// A delay that outlasts the slice is left to the caller, and a stop within it is honoured.
#[test]
fn a_long_delay_is_waited_for_outside() {
    use buswright::bus::script::Builder;
    let script = Builder::new(buswright::bus::ShapeId(0)).delay(1_000).read_a();
    let checked = script.finally(|b| b.write(WordAddress(4), 1)).check(&limits()).unwrap();
    let start = Start { a: WordAddress(9), b: WordAddress(0), n: 0, lanes: u32::MAX };
    let mut run = Run::new(&checked, start, Vec::new()).unwrap();
    let mut bench = ScriptBench::new(Width::W32);
    bench.permit = Some((4, 4));
    let mut stopped = run.clone();
    let wake = Nanos::from_millis(1);
    for _ in 0..2 {
        assert_eq!(run.step(&mut bench, Nanos(500)), Status::Waiting(wake));
    }
    assert_eq!(bench.now, Nanos::ZERO);
    bench.now = wake;
    assert_eq!(run.step(&mut bench, Nanos::from_secs(1)), Status::Done);
    assert_eq!(bench.events, [Event::Read(9, u32::MAX), Event::Write(4, 1)]);

    (bench.now, bench.events) = (Nanos::ZERO, Vec::new());
    assert_eq!(stopped.step(&mut bench, Nanos(500)), Status::Waiting(wake));
    stopped.stop();
    stopped.abort(Abort::Session);
    bench.now = Nanos(600);
    assert_eq!(stopped.step(&mut bench, Nanos::from_secs(1)), Status::Done);
    assert_eq!(bench.events, [Event::Write(4, 1)]);
    let ended = stopped.ended().unwrap();
    assert_eq!((ended.why, ended.at), (Why::Stopped(Abort::Stop), 2));
    assert_eq!(ended.elapsed, Nanos(600) + CYCLE);
}

/// The random scripts are not all refused: the properties above would say nothing.
#[test]
fn most_of_the_likely_scripts_are_accepted() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    let mut runner = TestRunner::deterministic();
    let (mut good, mut with_finally) = (0, 0);
    for _ in 0..256 {
        let ops = likely().new_tree(&mut runner).unwrap().current();
        if let Some(case) = case(&ops, 2, Vec::new(), u32::MAX) {
            good += 1;
            with_finally += usize::from(case.checked.finally().is_some());
        }
    }
    assert!(good > 64 && with_finally > 16, "{good} of 256 are good, {with_finally} with finally");
}

proptest! {
    /// What a script is listed as is that script; blocks must balance, since every block's end is
    /// the same word.
    #[test]
    fn a_listing_is_read_back(ops in likely(), others in prop::collection::vec(any_op(), 0..20)) {
        let ended = [Op::EndLoop, Op::EndCritical, Op::EndAtomic];
        let others = others.into_iter().filter(|op| !ended.contains(op));
        let script = Script::encode(&ops.into_iter().chain(others).collect::<Vec<_>>());
        prop_assert_eq!(parse(&list(&script)), Ok(script));
    }

    #[test]
    fn no_text_is_too_strange(text in "\\PC{0,80}|((write|A|sweep|wait|skip|[0-9A-F]{1,9}|[(),+-]) ?){0,9}") {
        if let Err(error) = parse(&text) {
            let said = error.to_string();
            prop_assert!(!said.chars().any(char::is_control), "{}", said);
        }
    }
}
