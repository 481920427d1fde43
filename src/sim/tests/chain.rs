//! The run chain: nothing runs twice, out of order, or after a halt.

use super::run_host::*;
use super::*;
use crate::sim::Event;
use crate::wire::{Kind, RunId, RunRequest};

#[test]
fn a_run_again_is_answered_again_and_not_run_again() {
    let mut h = RunHost::permitted();
    h.store(0, &copy());
    let first = h.first(&copy(), &[5]);
    let reply = h.run(&first);
    assert_eq!(h.run(&first), reply);
    // Four are remembered, also with the rail off.
    let runs: Vec<_> = (0..4).map(|n| h.next(&copy(), &[n])).collect();
    for run in &runs {
        assert_eq!(h.run(run).status, 0);
    }
    h.host.rail(RailRequest::OFF);
    for run in &runs {
        assert_eq!(h.run(run).request_crc, run.crc());
    }
    assert_eq!(h.refused(&first), (FaultCode::NOT_NEXT_RUN, 5), "forgotten");
    assert_eq!(h.written().len(), 5);
    let books = h.host.bench.adapter().books();
    assert_eq!((books.runs, books.runs_twice), (5, 0));
}

#[test]
fn out_of_order_another_request_or_another_session_is_never_run() {
    let mut h = RunHost::permitted();
    h.store(0, &copy());
    let first = h.first(&copy(), &[5]);
    let with = |edit: fn(&mut RunRequest)| {
        let mut run = first.clone();
        edit(&mut run);
        run
    };
    let wrong: [fn(&mut RunRequest); 4] = [
        |run| run.id.session = 8,
        |run| run.id.chain = 0,
        |run| run.id.chain = 2,
        |run| run.after = 1,
    ];
    for edit in wrong {
        assert_eq!(h.refused(&with(edit)), (FaultCode::NOT_NEXT_RUN, 0));
    }
    assert_eq!(h.run(&first).status, 0);
    let second = h.next(&copy(), &[6]);
    let third = h.next(&copy(), &[7]);
    assert_eq!(h.refused(&third), (FaultCode::NOT_NEXT_RUN, 1));
    assert_eq!(h.refused(&with(|run| run.payload = vec![9])), (FaultCode::NOT_NEXT_RUN, 1));
    assert_eq!(h.run(&second).status, 0);
    assert_eq!(h.run(&third).status, 0);
    // A new chain names the last run and uses an id above it.
    let low = RunRequest { id: RunId { chain: 2, ..third.id }, after: 3, ..third.clone() };
    assert_eq!(h.refused(&low), (FaultCode::NOT_NEXT_RUN, 3));
    h.last = 3;
    let mut new = h.first(&copy(), &[8]);
    new.id.run = 40;
    assert_eq!(h.run(&new).status, 0);
    assert_eq!(h.written().len(), 4);
}

#[test]
fn after_a_run_that_did_not_end_good_only_a_new_chain_goes_on() {
    let mut h = RunHost::permitted();
    h.store(0, &copy());
    let mut bad = h.first(&copy(), &[5]);
    bad.a = WordAddress(0x2000);
    let waiting = h.next(&copy(), &[6]);
    let tags = [Request::Run(bad), Request::Run(waiting)].map(|run| h.host.send(&run));
    assert!(matches!(h.host.wait(tags[0]), Reply::Run(reply) if reply.status == 7));
    assert_eq!(h.host.fault_of(tags[1]), (FaultCode::NOT_NEXT_RUN, 1));
    h.last = 1;
    let new = h.first(&copy(), &[6]);
    assert_eq!(h.run(&new).status, 0);
    assert_eq!(h.written(), [(0x100, 6)]);
}

/// What halts a chain.
const HALTS: [fn(&mut RunHost); 4] = [
    |h| {
        assert_eq!(
            h.host.ask(&Request::Stop),
            Reply::Stop(crate::wire::StopReply { within_ms: 0 })
        );
    },
    |h| {
        h.host.rail(RailRequest::OFF);
    },
    |h| h.host.run_ms(5_100),
    |h| {
        h.event(Nanos(1), Event::Sag(Millivolts(1_000)));
        h.host.run_ms(1);
    },
];

#[test]
fn a_chain_is_halted_also_between_runs() {
    for halt in HALTS {
        let mut h = RunHost::permitted();
        h.store(0, &copy());
        let first = h.first(&copy(), &[5]);
        h.run(&first);
        halt(&mut h);
        h.host.rail_on(1);
        h.permit(&permit(60));
        let late = h.next(&copy(), &[6]);
        assert_eq!(h.refused(&late), (FaultCode::NOT_NEXT_RUN, 1));
        assert_eq!(h.run(&first).status, 0, "still remembered");
        h.last = 1;
        let new = h.first(&copy(), &[7]);
        assert_eq!(h.run(&new).status, 0);
        assert_eq!(h.written(), [(0x100, 5), (0x100, 7)]);
    }
}

#[test]
fn runs_that_wait_are_halted_by_stop_and_by_rail_off() {
    let mut h = RunHost::permitted();
    h.store(0, &slow(500));
    let runs = [h.first(&slow(500), &[]), h.next(&slow(500), &[]), h.next(&slow(500), &[])];
    let tags = runs.map(|run| h.host.send(&Request::Run(run)));
    h.host.run_ms(100);
    let reply = h.host.ask(&Request::Stop);
    assert!(matches!(reply, Reply::Stop(stop) if (1..=2).contains(&stop.within_ms)), "{reply:?}");
    assert!(matches!(h.host.wait(tags[0]), Reply::Run(reply) if reply.status == 1));
    assert_eq!(h.host.fault_of(tags[1]), (FaultCode::HALTED, 0));
    assert_eq!(h.host.fault_of(tags[2]), (FaultCode::HALTED, 0));
    assert_eq!(h.written(), [(0x10, 1), (0x1F, 9)]);
    // RAIL off waits its turn; what came after it is halted.
    h.last = 1;
    let runs = [h.first(&slow(500), &[]), h.next(&slow(500), &[])];
    let before = h.host.send(&Request::Run(runs[0].clone()));
    let off = h.host.send(&Request::Rail(RailRequest::OFF));
    let after = h.host.send(&Request::Run(runs[1].clone()));
    assert!(matches!(h.host.wait(before), Reply::Run(reply) if reply.status == 0));
    assert!(matches!(h.host.wait(off), Reply::Rail(_)));
    assert_eq!(h.host.fault_of(after), (FaultCode::HALTED, 0));
    assert_eq!(h.written().len(), 5);
}

#[test]
fn the_run_in_progress_says_busy_and_answers_who_asked_last() {
    let mut h = RunHost::permitted();
    h.store(0, &slow(500));
    let run = Request::Run(h.first(&slow(500), &[]));
    let first = h.host.send(&run);
    h.host.run_ms(50);
    let again = h.host.send(&run);
    h.host.run_ms(50);
    let busy = h.host.replies.iter().find(|(_, tag, _)| *tag == again);
    let id_of = |reply: &Reply| match reply {
        Reply::Busy(busy) => Some((busy.of, busy.id, busy.done)),
        _ => None,
    };
    assert_eq!(busy.and_then(|(.., reply)| id_of(reply)), Some((Kind::RUN, 1, 1)));
    assert!(matches!(h.host.wait(again), Reply::Run(reply) if reply.status == 0));
    h.host.run_ms(500);
    assert!(h.host.replies.iter().all(|(_, tag, _)| *tag != first));
    assert_eq!(h.written().len(), 3);
}

#[test]
fn a_new_session_begins_a_new_count_and_reports_the_old_one() {
    let mut h = RunHost::permitted();
    h.store(0, &copy());
    let old = h.first(&copy(), &[5]);
    h.run(&old);
    let about = h.host.hello(8);
    assert_eq!((about.previous_session, about.previous_run, about.previous_status), (7, 1, 0));
    assert_eq!(h.refused(&old), (FaultCode::NOT_NEXT_RUN, 0));
    h.begin(9);
    h.permit(&permit(60));
    let run = h.first(&copy(), &[6]);
    assert_eq!(h.refused(&run), (FaultCode::NO_SCRIPT, 0), "scripts are gone");
    h.store(0, &copy());
    assert_eq!(h.run(&run).status, 0);
}
