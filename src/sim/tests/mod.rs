//! Tests of adapter and bench on literal requests.

mod chain;
mod chain_properties;
mod chip_faults;
mod chips;
mod cycles;
mod description;
mod fuzz;
mod fuzz_requests;
mod hold;
mod line;
mod lines;
mod module;
mod pace;
mod rail;
mod run_ends;
mod run_host;
mod runs;
mod sessions;
mod shapes;
mod work;

use super::{Bench, BenchDescription};
use crate::bus::{
    Baud, Levels, Millivolts, Nanos, Phases, Precharge, Shape, ShapeId, ShapeTimes, Width,
    WordAddress,
};
use crate::wire::{
    DigestRequest, Fault, FaultCode, FrameReader, HelloRequest, RailAction, RailReply, RailRequest,
    RailState, ReadEcho, ReadRequest, Reply, Request, ShapeRequest, encode_frame_after_idle,
};

/// Control lines of the built-in benches.
const OE: u16 = 1;
const WE: u16 = 2;
const CS0: u16 = 4;
const CS1: u16 = 8;

/// A host so simple that it shares nothing with the real one.
struct Host {
    bench: Bench,
    now: Nanos,
    reader: FrameReader,
    tag: u8,
    /// When it came, its tag, what it says.
    replies: Vec<(Nanos, u8, Reply)>,
}

impl Host {
    fn on(bench: Bench) -> Self {
        let reader = FrameReader::new(2_000);
        Self { bench, now: Nanos::ZERO, reader, tag: 0, replies: Vec::new() }
    }

    /// A host on the built-in bench `name`, its text changed by `edit`.
    fn edited(name: &str, edit: impl FnOnce(&mut BenchDescription)) -> Self {
        let mut description = BenchDescription::builtin(name).unwrap();
        edit(&mut description);
        Self::on(Bench::new(&description, 1))
    }

    fn new() -> Self {
        Self::edited("TG-7", |_| ())
    }

    /// Session begun, both shapes given, rail on.
    fn ready() -> Self {
        let mut host = Self::new();
        host.make_ready();
        host
    }

    fn make_ready(&mut self) {
        self.hello(7);
        self.shape(0, store_shape());
        self.shape(1, records_shape());
        assert_eq!(self.rail_on(2).state, RailState::On);
    }

    fn send(&mut self, request: &Request) -> u8 {
        self.tag = self.tag.wrapping_add(1);
        self.send_body(&request.encode(self.tag));
        self.tag
    }

    fn send_body(&mut self, body: &[u8]) {
        self.bench.host_send(self.now, &encode_frame_after_idle(body));
        self.take();
    }

    fn take(&mut self) {
        while let Some(bytes) = self.bench.poll_receive(self.now) {
            let (now, replies) = (self.now, &mut self.replies);
            self.reader.push(&bytes, |body| {
                let (tag, reply) = Reply::decode(body).unwrap().unwrap();
                replies.push((now, tag, reply));
            });
        }
    }

    /// Lets time pass, packet by packet.
    fn run_until(&mut self, end: Nanos) {
        self.take();
        while let Some(at) = self.bench.poll_timeout().filter(|at| *at <= end) {
            self.now = self.now.max(at);
            self.take();
        }
        self.now = end;
        self.take();
    }

    fn run(&mut self, time: Nanos) {
        self.run_until(self.now + time);
    }

    fn run_ms(&mut self, ms: u64) {
        self.run(Nanos::from_millis(ms));
    }

    /// The reply with this tag, waiting up to a minute; BUSY is passed over.
    fn wait(&mut self, tag: u8) -> Reply {
        let end = self.now + Nanos::from_secs(60);
        loop {
            let found = self
                .replies
                .iter()
                .position(|(_, t, reply)| *t == tag && !matches!(reply, Reply::Busy(_)));
            if let Some(index) = found {
                return self.replies.remove(index).2;
            }
            let at = self.bench.poll_timeout().filter(|at| *at <= end);
            self.now = self.now.max(at.expect("no reply within a minute"));
            self.take();
        }
    }

    fn ask(&mut self, request: &Request) -> Reply {
        let tag = self.send(request);
        self.wait(tag)
    }

    fn fault(&mut self, request: &Request) -> (FaultCode, u32) {
        let tag = self.send(request);
        self.fault_of(tag)
    }

    fn fault_of(&mut self, tag: u8) -> (FaultCode, u32) {
        match self.wait(tag) {
            Reply::Fault(Fault { code, detail, .. }) => (code, detail),
            other => panic!("{other:?}"),
        }
    }

    fn hello(&mut self, session: u32) -> crate::wire::HelloReply {
        match self.ask(&hello(session)) {
            Reply::Hello(reply) => *reply,
            other => panic!("{other:?}"),
        }
    }

    fn ping(&mut self) -> crate::wire::PingReply {
        match self.ask(&Request::Ping) {
            Reply::Ping(reply) => reply,
            other => panic!("{other:?}"),
        }
    }

    fn shape(&mut self, id: u8, shape: Shape) -> ShapeTimes {
        match self.ask(&Request::Shape(ShapeRequest { id: ShapeId(id), shape })) {
            Reply::Shape(reply) => reply.used,
            other => panic!("{other:?}"),
        }
    }

    fn rail_on(&mut self, shapes: u8) -> RailReply {
        self.rail(rail_on(shapes))
    }

    fn rail(&mut self, request: RailRequest) -> RailReply {
        match self.ask(&Request::Rail(request)) {
            Reply::Rail(reply) => reply,
            other => panic!("{other:?}"),
        }
    }

    fn read(&mut self, echo: ReadEcho) -> Vec<u8> {
        match self.ask(&Request::Read(ReadRequest { echo })) {
            Reply::Read(reply) => {
                assert_eq!(reply.echo, echo);
                reply.payload
            }
            other => panic!("{other:?}"),
        }
    }

    fn set_rate(&mut self, rate: u32) {
        let reply = self.ask(&rate_request(rate));
        assert!(matches!(reply, Reply::Rate(r) if r.rate == Baud(rate)), "{reply:?}");
        self.bench.set_host_rate(self.now, Baud(rate));
    }

    fn contents(&self, space: &str) -> Vec<u8> {
        self.bench.adapter().socket().contents(space).unwrap()
    }
}

fn hello(session: u32) -> Request {
    Request::Hello(HelloRequest { major: crate::wire::PROTOCOL_MAJOR, session })
}

fn rate_request(rate: u32) -> Request {
    Request::Rate(crate::wire::RateRequest { rate: Baud(rate) })
}

fn rail_on(shapes: u8) -> RailRequest {
    RailRequest {
        action: RailAction::On,
        expected: Millivolts(3300),
        settle_ms: 50,
        floor: Millivolts(3000),
        shapes,
    }
}

fn low(mask: u16) -> Levels {
    Levels { mask, level: 0 }
}

fn high(mask: u16) -> Levels {
    Levels { mask, level: mask }
}

fn shape_of(width: Width, select: u16, writes: bool) -> Shape {
    Shape {
        width,
        first_line: 0,
        idle: high(OE | WE | select),
        read: Phases { setup: low(select), strobe: low(OE) },
        write: writes.then_some(Phases { setup: low(select), strobe: low(WE) }),
        times: ShapeTimes { setup: 0, pulse: 150, hold: 0, recover: 0, release: 50 },
    }
}

fn store_shape() -> Shape {
    shape_of(Width::W32, CS0, false)
}

fn records_shape() -> Shape {
    shape_of(Width::W32, CS1, true)
}

fn echo(shape: u8, address: u32, count: u16) -> ReadEcho {
    ReadEcho {
        nonce: 1,
        shape: ShapeId(shape),
        address: WordAddress(address),
        step: 1,
        count,
        precharge: Precharge::None,
        encoding: 0,
    }
}

fn read(shape: u8, address: u32, count: u16) -> Request {
    Request::Read(ReadRequest { echo: echo(shape, address, count) })
}

fn digest(shape: u8, address: u32, count: u32) -> Request {
    Request::Digest(DigestRequest {
        nonce: 9,
        shape: ShapeId(shape),
        address: WordAddress(address),
        step: 1,
        count,
        precharge: Precharge::None,
    })
}
