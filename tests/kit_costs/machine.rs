//! The firmware as machine code, with a line that is a third faster than the fastest of its rates: it
//! does not wait for its sender, and still hands most bytes over as it does on a real line, where a
//! faster one would take an interrupt for each. Requests come at 80 cycles a byte.

use crate::bench::{Adapter, CLOCK, RAM_WORDS, contents, ready};
use crate::support::stepped::Stepped;
use buswright::wire::{Reply, Request};

/// The firmware in the rig.
pub struct Machine(Stepped);

impl Machine {
    /// With the module under power; `None` where a tool is missing.
    pub fn start() -> Option<Self> {
        let mut rig = Stepped::start_at(CLOCK, 2_000_000, &contents(), RAM_WORDS)?;
        rig.order("leaves 60");
        let mut machine = Self(rig);
        ready(&mut machine);
        Some(machine)
    }

    /// Ends it: no time of the module was broken.
    pub fn end(mut self) {
        let Reply::Ping(ping) = self.0.ask(&Request::Ping) else { panic!("no PING") };
        assert_eq!((ping.overruns, ping.frames_damaged), (0, 0), "{ping:?}");
        self.0.end();
    }
}

impl Adapter for Machine {
    fn cycles(&mut self, requests: &[Request]) -> u64 {
        let start = self.0.now;
        let last = requests.iter().map(|request| self.0.send(request)).last().unwrap();
        let heard = self.0.answer(last);
        for heard in self.0.aside.drain(..).chain([heard.clone()]) {
            assert!(!matches!(heard.reply, Reply::Fault(_)), "{:?}", heard.reply);
        }
        heard.at - start
    }
}
