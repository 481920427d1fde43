//! Hosts that lose, double and reorder runs and their replies: every word is written once, in
//! order, and nothing that was given up.

use super::run_host::*;
use super::*;
use crate::wire::{RunId, RunRequest};
use proptest::prelude::*;

#[derive(Clone, Copy, Debug)]
enum Step {
    /// Another run is sent, if the window has room; `bad` ones are refused by the permit.
    Send { bad: bool },
    /// A frame on its way, or one that has arrived before, arrives.
    Arrive(u8),
    /// A frame on its way is lost.
    Lose(u8),
    /// Time passes.
    Pass(u16),
    /// The host takes the replies that have come, or has lost them.
    Take { lost: bool },
    /// STOP, and a new chain after what PING says.
    Halt,
    /// A host that knows nothing of the old one.
    Restart,
}

fn any_step() -> impl Strategy<Value = Step> {
    prop_oneof![
        8 => proptest::bool::weighted(0.07).prop_map(|bad| Step::Send { bad }),
        10 => any::<u8>().prop_map(Step::Arrive),
        2 => any::<u8>().prop_map(Step::Lose),
        3 => (0_u16..30).prop_map(Step::Pass),
        3 => proptest::bool::weighted(0.3).prop_map(|lost| Step::Take { lost }),
        1 => Just(Step::Halt),
        1 => Just(Step::Restart),
    ]
}

/// A run that has been sent.
struct Frame {
    run: RunRequest,
    first_of_chain: bool,
    arrived: bool,
}

/// A host that writes the numbers from 1 on, one a run, at addresses of the same number.
struct Writer {
    h: RunHost,
    net: Vec<Frame>,
    next_number: u32,
    chain: u16,
    first: u32,
    highest: u32,
    after: u32,
    /// The last id known to have ended.
    known: u32,
}

impl Writer {
    fn new() -> Self {
        let mut h = RunHost::permitted();
        h.store(0, &copy());
        Self {
            h,
            net: Vec::new(),
            next_number: 1,
            chain: 1,
            first: 1,
            highest: 0,
            after: 0,
            known: 0,
        }
    }

    fn send(&mut self, bad: bool) {
        if self.highest >= self.known + 4 {
            return;
        }
        let number = (!bad).then_some(self.next_number);
        self.next_number += u32::from(!bad);
        let after = self.after;
        self.highest += 1;
        self.after = self.highest;
        let mut run = self.h.next(&copy(), &[number.unwrap_or(0)]);
        run.id = RunId { session: self.h.session, chain: self.chain, run: self.highest };
        run.after = after;
        run.a = WordAddress(number.unwrap_or(0x5000));
        let first_of_chain = self.highest == self.first;
        self.net.push(Frame { run, first_of_chain, arrived: false });
    }

    /// Begins anew after `last`, the last run that the adapter has begun.
    fn renew(&mut self, last: u32) {
        if last >= self.first {
            self.chain += 1;
        }
        // Numbers after the last one written are still to be written; what is given up never was, and
        // a run that was stopped may have ended before its write.
        self.next_number = self.h.written().iter().map(|w| w.1).max().unwrap_or(0) + 1;
        (self.after, self.known) = (last, self.highest);
        self.first = self.highest + 1;
        // The line keeps its order: what opens a chain cannot arrive after the STOP that ended it.
        self.net.retain(|frame| frame.arrived || !frame.first_of_chain);
    }

    fn take(&mut self, lost: bool) {
        for (_, _, reply) in std::mem::take(&mut self.h.host.replies) {
            let Reply::Run(reply) = reply else { continue };
            let ours = reply.id.session == self.h.session && reply.id.chain == self.chain;
            if lost || !ours {
                continue;
            }
            self.known = self.known.max(reply.id.run);
            if reply.status != 0 && reply.id.run >= self.first {
                self.renew(reply.id.run);
            }
        }
    }

    fn step(&mut self, step: Step) {
        match step {
            Step::Send { bad } => self.send(bad),
            Step::Arrive(n) => {
                if !self.net.is_empty() {
                    let index = usize::from(n) % self.net.len();
                    let frame = &mut self.net[index];
                    frame.arrived = true;
                    let run = Request::Run(frame.run.clone());
                    self.h.host.send(&run);
                }
            }
            Step::Lose(n) => {
                if !self.net.is_empty() {
                    let index = usize::from(n) % self.net.len();
                    // The host asks again for what it has had no answer to.
                    let frame = &self.net[index];
                    if frame.arrived && frame.run.id.run <= self.known {
                        self.net.remove(index);
                    }
                }
            }
            Step::Pass(ms) => self.h.host.run_ms(u64::from(ms)),
            Step::Take { lost } => self.take(lost),
            Step::Halt => {
                let reply = self.h.host.ask(&Request::Stop);
                assert!(matches!(reply, Reply::Stop(_)), "{reply:?}");
                while self.h.host.ping().running {}
                let last = self.h.host.ping().last_run;
                self.h.host.replies.clear();
                self.renew(last);
            }
            Step::Restart => {
                let session = self.h.session + 1;
                while self.h.host.hello(session).still_running_ms > 0 {}
                self.h.begin(session);
                self.h.permit(&permit(60));
                self.h.store(0, &copy());
                self.h.host.replies.clear();
                let written = self.h.written().iter().map(|w| w.1).max().unwrap_or(0);
                self.next_number = written + 1;
                (self.chain, self.first) = (1, 1);
                (self.highest, self.after, self.known) = (0, 0, 0);
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, ..ProptestConfig::default() })]

    #[test]
    fn every_word_is_written_once_and_in_order(
        steps in proptest::collection::vec(any_step(), 1..120),
    ) {
        let mut writer = Writer::new();
        for step in &steps {
            writer.step(*step);
        }
        writer.h.host.run_ms(200);
        let written: Vec<u32> = writer.h.written().iter().map(|w| w.1).collect();
        let wanted: Vec<u32> = (1..=written.len() as u32).collect();
        prop_assert_eq!(&written, &wanted, "repeated, skipped or stale");
        prop_assert!(writer.h.written().iter().all(|(at, value)| at == value));
        let books = writer.h.host.bench.adapter().books();
        prop_assert_eq!(books.runs_twice, 0);
        prop_assert_eq!(books.words_written as usize, written.len());
        prop_assert!(books.runs >= books.words_written);
    }

    /// Whatever the line does, a host that only asks again and again gets everything written.
    #[test]
    fn a_host_that_asks_again_comes_through(
        order in proptest::collection::vec(any::<u8>(), 40..80),
    ) {
        let mut writer = Writer::new();
        for n in order {
            writer.step(Step::Send { bad: false });
            writer.step(Step::Arrive(n));
            writer.step(Step::Pass(u16::from(n % 16)));
            writer.step(Step::Take { lost: n % 3 == 0 });
        }
        let sent: Vec<_> = writer.net.iter().map(|frame| frame.run.clone()).collect();
        for run in &sent {
            let tag = writer.h.host.send(&Request::Run(run.clone()));
            writer.h.host.wait(tag);
        }
        let written: Vec<u32> = writer.h.written().iter().map(|w| w.1).collect();
        prop_assert_eq!(written, (1..=sent.len() as u32).collect::<Vec<_>>());
    }
}
