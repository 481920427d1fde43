//! What the tests of runs share: a RAM that notes every write, and requests.

use super::*;
use crate::bus::script::{Builder, Script};
use crate::bus::{Cycles, Word, crc32};
use crate::sim::{Event, Socket};
use crate::wire::{PermitRequest, RunId, RunReply, RunRequest, ScriptRequest};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

/// What a [`LogRam`] has seen.
#[derive(Debug, Default)]
pub(super) struct Log {
    /// When, where, what, and the rail then.
    pub(super) writes: Vec<(Nanos, u32, Word, Millivolts)>,
    pub(super) words: BTreeMap<u32, Word>,
    /// What these addresses read, whatever was written.
    pub(super) fixed: BTreeMap<u32, Word>,
    pub(super) levels: Vec<Levels>,
    pub(super) rail: Millivolts,
    pub(super) not_ready: bool,
}

/// A RAM that notes every write.
pub(super) struct LogRam {
    now: Nanos,
    log: Arc<Mutex<Log>>,
}

impl Cycles for LogRam {
    fn read(&mut self, shape: &Shape, address: WordAddress, _: Precharge) -> Word {
        self.now += shape.times.cycle();
        let log = self.log.lock().unwrap();
        let word = log.fixed.get(&address.0).or_else(|| log.words.get(&address.0));
        word.copied().unwrap_or(u32::MAX)
    }

    fn write(&mut self, shape: &Shape, address: WordAddress, value: Word) {
        self.now += shape.times.cycle();
        let mut log = self.log.lock().unwrap();
        let rail = log.rail;
        log.writes.push((self.now, address.0, value, rail));
        log.words.insert(address.0, value);
    }

    fn delay(&mut self, time: Nanos) {
        self.now += time;
    }

    fn now(&self) -> Nanos {
        self.now
    }
}

impl Socket for LogRam {
    fn power(&mut self, _: Nanos, mv: Millivolts) {
        self.log.lock().unwrap().rail = mv;
    }

    fn control(&mut self, levels: Levels) {
        self.log.lock().unwrap().levels.push(levels);
    }

    fn ready(&mut self) -> bool {
        !self.log.lock().unwrap().not_ready
    }
}

/// A host with the RAM plugged in, and its own idea of the run chain.
pub(super) struct RunHost {
    pub(super) host: Host,
    pub(super) log: Arc<Mutex<Log>>,
    pub(super) session: u32,
    pub(super) chain: u16,
    pub(super) last: u32,
}

impl RunHost {
    /// Session 7, shape 0 writable, rail on, no permit.
    pub(super) fn new(edit: impl FnOnce(&mut BenchDescription)) -> Self {
        let mut description = BenchDescription::builtin("TG-7").unwrap();
        edit(&mut description);
        let log = Arc::new(Mutex::new(Log::default()));
        let ram = LogRam { now: Nanos::ZERO, log: Arc::clone(&log) };
        let host = Host::on(Bench::with_socket(&description, Box::new(ram), 1));
        let mut this = Self { host, log, session: 7, chain: 0, last: 0 };
        this.begin(7);
        this
    }

    /// With a permit for every word below 0x1000.
    pub(super) fn permitted() -> Self {
        let mut this = Self::new(|_| ());
        this.permit(&permit(60));
        this
    }

    pub(super) fn begin(&mut self, session: u32) {
        self.host.hello(session);
        (self.session, self.chain, self.last) = (session, 0, 0);
        if self.host.bench.adapter().rail_is_on() {
            self.host.rail(RailRequest::OFF);
        }
        self.host.shape(0, records_shape());
        self.host.rail_on(1);
    }

    pub(super) fn permit(&mut self, permit: &PermitRequest) {
        let reply = self.host.ask(&Request::Permit(permit.clone()));
        assert!(matches!(reply, Reply::Permit(_)), "{reply:?}");
    }

    pub(super) fn store(&mut self, slot: u8, script: &Script) {
        let bytes = script.0.clone();
        let crc = crc32(&bytes);
        let reply = self.host.ask(&Request::Script(ScriptRequest { slot, bytes }));
        assert!(matches!(reply, Reply::Script(got) if (got.slot, got.crc) == (slot, crc)));
    }

    /// The first run of a new chain.
    pub(super) fn first(&mut self, script: &Script, payload: &[Word]) -> RunRequest {
        self.chain += 1;
        self.next(script, payload)
    }

    /// The run after the last.
    pub(super) fn next(&mut self, script: &Script, payload: &[Word]) -> RunRequest {
        let after = self.last;
        self.last += 1;
        RunRequest {
            id: RunId { session: self.session, chain: self.chain, run: self.last },
            after,
            slot: 0,
            script_crc: crc32(&script.0),
            a: WordAddress(0x100),
            b: WordAddress(0x200),
            n: payload.len().max(1) as u32,
            lanes: u32::MAX,
            width: Width::W32,
            payload: payload.to_vec(),
        }
    }

    pub(super) fn run(&mut self, run: &RunRequest) -> RunReply {
        match self.host.ask(&Request::Run(run.clone())) {
            Reply::Run(reply) => reply,
            other => panic!("{other:?}"),
        }
    }

    pub(super) fn refused(&mut self, run: &RunRequest) -> (FaultCode, u32) {
        self.host.fault(&Request::Run(run.clone()))
    }

    /// Addresses and values written so far.
    pub(super) fn written(&self) -> Vec<(u32, Word)> {
        self.log.lock().unwrap().writes.iter().map(|(_, at, value, _)| (*at, *value)).collect()
    }

    pub(super) fn event(&mut self, after: Nanos, event: Event) {
        self.host.bench.at(self.host.now + after, event);
    }
}

/// Leave to write every word below 0x1000, for so many seconds.
pub(super) fn permit(seconds: u16) -> PermitRequest {
    PermitRequest {
        shape: ShapeId(0),
        lines: false,
        seconds,
        start: WordAddress(0),
        words: 0x1000,
        lanes: u32::MAX,
        address_mask: u32::MAX,
        addresses: Vec::new(),
    }
}

pub(super) fn built(builder: Builder) -> Script {
    builder.script().unwrap()
}

/// Writes the payload from A on.
pub(super) fn copy() -> Script {
    built(Builder::new(ShapeId(0)).repeat_n(|b| b.write_payload().step(1)))
}

/// Writes 1 at 0x10, waits for `ms`, writes 2 at 0x11; in the end 9 at 0x1F.
pub(super) fn slow(ms: u32) -> Script {
    built(
        Builder::new(ShapeId(0))
            .write(WordAddress(0x10), 1)
            .delay(ms * 1000)
            .write(WordAddress(0x11), 2)
            .finally(|b| b.write(WordAddress(0x1F), 9)),
    )
}
