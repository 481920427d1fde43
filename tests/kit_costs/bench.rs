//! What is plugged in on both sides, and how the time of a request is taken.

use crate::machine::Machine;
use crate::simulated::Simulated;
use buswright::bus::{
    Levels, Millivolts, Phases, Precharge, Shape, ShapeId, ShapeTimes, Width, WordAddress,
};
use buswright::wire::{
    DigestRequest, HelloRequest, PermitRequest, RailAction, RailRequest, ReadEcho, ReadRequest,
    Request, RunId, RunRequest, ShapeRequest,
};

/// The clock of both.
pub const CLOCK: u32 = 16_000_000;
/// Words of the ROM: a quarter each of noise, of one word again and again, of others that stand twice,
/// and of others that stand eight times.
pub const ROM_WORDS: u32 = 0x10000;
/// Where they are all equal.
pub const EQUAL: u32 = ROM_WORDS / 4;
/// Where each stands twice.
pub const TWICE: u32 = ROM_WORDS / 2;
/// Where each stands eight times.
pub const EIGHT: u32 = ROM_WORDS / 4 * 3;
/// Words of the RAM.
pub const RAM_WORDS: u32 = 0x10000;

/// The ROM in words of 32, 16 and 8 bits.
pub const ROM: ShapeId = ShapeId(0);
/// See [`ROM`].
pub const ROM_16: ShapeId = ShapeId(1);
/// See [`ROM`].
pub const ROM_8: ShapeId = ShapeId(2);
/// The same with a strobe of one microsecond, and of three.
pub const ROM_SLOW: ShapeId = ShapeId(3);
/// See [`ROM_SLOW`].
pub const ROM_SLOWER: ShapeId = ShapeId(4);
/// The RAM in words of 32 and of 16 bits.
pub const RAM: ShapeId = ShapeId(5);
/// See [`RAM`].
pub const RAM_16: ShapeId = ShapeId(6);

/// What takes requests.
pub trait Adapter {
    /// Cycles of the clock from the first byte of these to the last bit of the last answer.
    fn cycles(&mut self, requests: &[Request]) -> u64;
}

/// What the ROM holds.
pub fn contents() -> Vec<u8> {
    let word = |n: u32| match n {
        TWICE.. => (if n < EIGHT { n / 2 } else { n / 8 }).wrapping_mul(0x9E37_79B1),
        EQUAL.. => u32::MAX,
        _ => (n + 1).wrapping_mul(0x9E37_79B1),
    };
    (0..ROM_WORDS).flat_map(|n| word(n).to_le_bytes()).collect()
}

fn shape(select: u16, width: Width, pulse: u16) -> Shape {
    let low = |mask| Levels { mask, level: 0 };
    Shape {
        width,
        first_line: 0,
        idle: Levels { mask: 15, level: 15 },
        read: Phases { setup: low(select), strobe: low(1) },
        write: Some(Phases { setup: low(select), strobe: low(2) }),
        times: ShapeTimes { setup: 70, pulse, hold: 10, recover: 20, release: 60 },
    }
}

/// From HELLO to a module under power whose RAM may be written.
pub fn ready(adapter: &mut impl Adapter) {
    let mut ask = |request| adapter.cycles(&[request]);
    ask(Request::Hello(HelloRequest { major: 1, session: 7 }));
    let shapes = [
        shape(4, Width::W32, 150),
        shape(4, Width::W16, 150),
        shape(4, Width::W8, 150),
        shape(4, Width::W32, 1_000),
        shape(4, Width::W32, 3_000),
        shape(8, Width::W32, 150),
        shape(8, Width::W16, 150),
    ];
    for (id, shape) in (0..).zip(shapes) {
        ask(Request::Shape(ShapeRequest { id: ShapeId(id), shape }));
    }
    ask(Request::Rail(RailRequest {
        action: RailAction::On,
        expected: Millivolts(3300),
        settle_ms: 50,
        floor: Millivolts(3000),
        shapes: 7,
    }));
    for (shape, lanes) in [(RAM, u32::MAX), (RAM_16, 0xFFFF)] {
        ask(Request::Permit(PermitRequest {
            shape,
            lines: false,
            seconds: 600,
            start: WordAddress(0),
            words: RAM_WORDS,
            lanes,
            address_mask: 0,
            addresses: Vec::new(),
        }));
    }
}

/// A READ.
pub fn read(shape: ShapeId, at: u32, count: u16, precharge: Precharge, encoding: u8) -> Request {
    let address = WordAddress(at);
    Request::Read(ReadRequest {
        echo: ReadEcho { nonce: 5, shape, address, step: 1, count, precharge, encoding },
    })
}

/// A DIGEST.
pub fn digest(shape: ShapeId, count: u32, precharge: Precharge) -> Request {
    let address = WordAddress(0);
    Request::Digest(DigestRequest { nonce: 6, shape, address, step: 1, count, precharge })
}

/// RUN of the script in slot 0, which has these bytes, as number `run` of chain 1.
pub fn run(script: &[u8], run: u32, n: u32, payload: Vec<u32>) -> Request {
    Request::Run(RunRequest {
        id: RunId { session: 7, chain: 1, run },
        after: run - 1,
        slot: 0,
        script_crc: crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(script),
        a: WordAddress(0),
        b: WordAddress(0x40),
        n,
        lanes: u32::MAX,
        width: Width::W32,
        payload,
    })
}

/// Cycles on both sides that should be the same.
#[derive(Clone, Copy, Debug)]
pub struct Pair {
    /// Of the machine code.
    pub kit: f64,
    /// That the simulated adapter charges.
    pub simulated: f64,
}

impl Pair {
    /// What each of `parts` adds to `less`.
    pub fn slope(self, less: Self, parts: f64) -> Self {
        let of = |all: f64, less: f64| (all - less) / parts;
        Self { kit: of(self.kit, less.kit), simulated: of(self.simulated, less.simulated) }
    }

    /// Prints a row; false if they are further apart than a tenth.
    #[must_use]
    pub fn tell(self, what: &str) -> bool {
        let Self { kit, simulated } = self;
        let apart = (simulated / kit - 1.0) * 100.0;
        let good = apart.abs() <= 10.0;
        println!(
            "| {what} | {kit:.0} | {simulated:.0} | {apart:+.1} % |{}",
            if good { "" } else { " !" }
        );
        good
    }
}

/// Both sides.
pub struct Both {
    machine: Machine,
    simulated: Simulated,
}

impl Both {
    /// `None` where a tool is missing.
    pub fn start() -> Option<Self> {
        println!("| cycles of | kit | simulated | apart |\n|---|---|---|---|");
        Some(Self { machine: Machine::start()?, simulated: Simulated::start() })
    }

    /// Of these requests.
    pub fn cycles(&mut self, requests: &[Request]) -> Pair {
        let kit = self.machine.cycles(requests) as f64;
        Pair { kit, simulated: self.simulated.cycles(requests) as f64 }
    }

    /// Of one such request where others wait already.
    pub fn each(&mut self, request: &Request, more: usize) -> Pair {
        let [few, many] = [3, 3 + more].map(|count| vec![request.clone(); count]);
        let few = self.cycles(&few);
        self.cycles(&many).slope(few, more as f64)
    }

    /// Ends the firmware; nothing was lost.
    pub fn end(self) {
        self.machine.end();
    }
}
