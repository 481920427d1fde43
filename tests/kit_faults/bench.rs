//! A module under power, and the requests that these tests share.

use crate::support::stepped::Stepped;
use buswright::bus::script::Builder;
use buswright::bus::{
    Levels, Millivolts, Phases, Precharge, Shape, ShapeId, ShapeTimes, Width, WordAddress,
};
use buswright::wire::{
    DigestRequest, HelloReply, HelloRequest, PermitRequest, PingReply, RailAction, RailRequest,
    RailState, ReadEcho, ReadRequest, Reply, Request, RunId, RunRequest, ScriptRequest,
    ShapeRequest,
};

/// The host's session.
pub const SESSION: u32 = 7;
/// The shape of the ROM and that of the RAM.
pub const ROM: ShapeId = ShapeId(0);
/// See [`ROM`].
pub const RAM: ShapeId = ShapeId(1);
/// Words of the RAM.
pub const RAM_WORDS: u32 = 0x10000;
/// Below this the rail has sagged.
pub const FLOOR: u16 = 3000;

/// Output enable, write strobe and both selects are low when active.
pub fn shape(id: ShapeId) -> Shape {
    let low = |mask| Levels { mask, level: 0 };
    let select = if id == ROM { 4 } else { 8 };
    Shape {
        width: Width::W32,
        first_line: 0,
        idle: Levels { mask: 15, level: 15 },
        read: Phases { setup: low(select), strobe: low(1) },
        write: Some(Phases { setup: low(select), strobe: low(2) }),
        times: ShapeTimes { setup: 70, pulse: 150, hold: 10, recover: 20, release: 60 },
    }
}

/// Word n of the ROM.
pub fn rom_word(n: u32) -> u32 {
    n.wrapping_mul(0x9E37_79B1) ^ 0x5A5A_1234
}

/// Rail on.
pub const ON: RailRequest = RailRequest {
    action: RailAction::On,
    expected: Millivolts(3300),
    settle_ms: 50,
    floor: Millivolts(FLOOR),
    shapes: 2,
};

/// Leave to write the whole RAM for so many seconds.
pub fn permit(seconds: u16) -> Request {
    Request::Permit(PermitRequest {
        shape: RAM,
        lines: false,
        seconds,
        start: WordAddress(0),
        words: RAM_WORDS,
        lanes: u32::MAX,
        address_mask: 0,
        addresses: Vec::new(),
    })
}

/// So many words of the ROM from this one on.
pub fn read(nonce: u16, start: u32, count: u16) -> Request {
    let address = WordAddress(start);
    let (step, precharge, encoding) = (1, Precharge::Zeros, 0);
    let echo = ReadEcho { nonce, shape: ROM, address, step, count, precharge, encoding };
    Request::Read(ReadRequest { echo })
}

/// The same for a checksum; step 0, so that `count` is not bounded by the ROM.
pub fn digest(nonce: u16, start: u32, count: u32) -> Request {
    let address = WordAddress(start);
    let digest =
        DigestRequest { nonce, shape: ROM, address, step: 0, count, precharge: Precharge::Ones };
    Request::Digest(digest)
}

/// What READ must answer with.
#[track_caller]
pub fn assert_words(reply: &Reply, nonce: u16, start: u32, count: u16) {
    let Reply::Read(read) = reply else { panic!("{reply:?}") };
    let words: Vec<u8> =
        (start..start + u32::from(count)).flat_map(|n| rom_word(n).to_le_bytes()).collect();
    assert_eq!((read.echo.nonce, read.echo.address.0), (nonce, start));
    assert!(read.payload == words, "{read:?}");
}

/// The reply to HELLO.
#[track_caller]
pub fn hello(host: &mut Stepped, session: u32) -> HelloReply {
    let reply = host.ask(&Request::Hello(HelloRequest { major: 1, session }));
    let Reply::Hello(hello) = reply else { panic!("{reply:?}") };
    assert_eq!(hello.session, session);
    *hello
}

/// The reply to PING.
#[track_caller]
pub fn ping(host: &mut Stepped) -> PingReply {
    let reply = host.ask(&Request::Ping);
    let Reply::Ping(ping) = reply else { panic!("{reply:?}") };
    ping
}

/// A script in a slot, and its checksum.
#[track_caller]
pub fn store(host: &mut Stepped, slot: u8, script: Builder) -> u32 {
    let bytes = script.script().unwrap().0;
    let reply = host.ask(&Request::Script(ScriptRequest { slot, bytes }));
    let Reply::Script(stored) = reply else { panic!("{reply:?}") };
    stored.crc
}

/// The request to run a script of slot 0, as the next of chain 1.
pub fn run(script_crc: u32, run: u32) -> RunRequest {
    RunRequest {
        id: RunId { session: SESSION, chain: 1, run },
        after: run - 1,
        slot: 0,
        script_crc,
        a: WordAddress(0),
        b: WordAddress(0x40),
        n: 1,
        lanes: u32::MAX,
        width: Width::W32,
        payload: Vec::new(),
    }
}

/// The controller has started and knows its host, whose shapes are defined; the rail is off.
pub fn greeted(clock: u32) -> Option<Stepped> {
    let contents: Vec<u8> = (0..0x1000).flat_map(|n| rom_word(n).to_le_bytes()).collect();
    let mut host = Stepped::start(clock, &contents, RAM_WORDS)?;
    hello(&mut host, SESSION);
    shapes(&mut host);
    Some(host)
}

/// Defines both shapes.
#[track_caller]
pub fn shapes(host: &mut Stepped) {
    for id in [ROM, RAM] {
        let reply = host.ask(&Request::Shape(ShapeRequest { id, shape: shape(id) }));
        assert!(matches!(reply, Reply::Shape(_)), "{reply:?}");
    }
}

/// Rail on.
#[track_caller]
pub fn rail_on(host: &mut Stepped) {
    let reply = host.ask(&Request::Rail(ON));
    assert!(matches!(&reply, Reply::Rail(rail) if rail.state == RailState::On), "{reply:?}");
}

/// The same with the rail on, and leave to write the RAM.
pub fn powered(clock: u32) -> Option<Stepped> {
    let mut host = greeted(clock)?;
    rail_on(&mut host);
    let reply = host.ask(&permit(600));
    assert!(matches!(reply, Reply::Permit(_)), "{reply:?}");
    Some(host)
}

/// The ROM's shape as slow as it can be, but for its strobe.
#[track_caller]
pub fn slow_rom(host: &mut Stepped, pulse: u16) {
    let mut slow = shape(ROM);
    let most = u16::MAX;
    slow.times = ShapeTimes { setup: most, pulse, hold: most, recover: most, release: most };
    let reply = host.ask(&Request::Shape(ShapeRequest { id: ROM, shape: slow }));
    assert!(matches!(reply, Reply::Shape(_)), "{reply:?}");
}
