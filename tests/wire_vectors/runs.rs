//! The examples of permits, lines, held and repeated cycles, scripts and runs.

use super::Message::{Answer, Ask};
use super::{Example, WORDS};
use crate::plain::crc32;
use buswright::bus::script::Builder;
use buswright::bus::{ShapeId, Width, WordAddress};
use buswright::wire::{
    BoardLine, HoldReply, HoldRequest, LineAction, LineLevels, LinesReply, LinesRequest, Mark,
    PermitReply, PermitRequest, RepeatReply, RepeatRequest, Reply, Request, RunId, RunReply,
    RunRequest, ScriptReply, ScriptRequest, WalkReply, WalkRequest, WalkRow,
};

const SESSION: u32 = 0x1A2B_3C4D;

/// Programs N words from A on, word by word, and leaves the read mode in the end.
pub fn script() -> Vec<u8> {
    let builder = Builder::new(ShapeId(1))
        .repeat_n(|b| b.write(WordAddress(0x555), 0xA0).write_payload().step(1))
        .read_b()
        .emit()
        .finally(|b| b.write(WordAddress(0), 0xF0));
    builder.script().unwrap().0
}

pub fn permits() -> Vec<Example> {
    let ask = PermitRequest {
        shape: ShapeId(1),
        lines: false,
        seconds: 120,
        start: WordAddress(0x1_2340),
        words: 0x80,
        lanes: 0xFFFF,
        address_mask: 0x7FF,
        addresses: vec![WordAddress(0x555), WordAddress(0x2AA)],
    };
    let reply = PermitReply { shape: ShapeId(1), seconds: 120 };
    vec![
        ("permit", 0x19, Ask(Request::Permit(ask))),
        ("permit-reply", 0x19, Answer(Reply::Permit(reply))),
    ]
}

pub fn lines() -> Vec<Example> {
    let levels = |data, address, control| LineLevels { data, address, control };
    let set = LinesReply { levels: levels(0x6_0000, 0x1_2308, 0x0007), contended: levels(0, 8, 0) };
    let walked = vec![BoardLine::Data(16), BoardLine::Address(2)];
    let rows = vec![
        WalkRow { levels: levels(0x1_0000, 0, 0x0007), let_go: false },
        WalkRow { levels: levels(0, 0x0C, 0x0007), let_go: true },
    ];
    let asked = LinesRequest {
        hold_ms: 1_500,
        set: vec![
            (BoardLine::Data(17), LineAction::High),
            (BoardLine::Address(3), LineAction::Low),
            (BoardLine::Data(18), LineAction::PullUp),
        ],
    };
    let walk = WalkRequest { nonce: 0x3456, high: true, turns: 2, lines: walked };
    vec![
        ("lines", 0x40, Ask(Request::Lines(asked))),
        ("lines-reply", 0x40, Answer(Reply::Lines(set))),
        ("walk", 0x41, Ask(Request::Walk(walk))),
        ("walk-reply", 0x41, Answer(Reply::Walk(WalkReply { nonce: 0x3456, rows }))),
    ]
}

pub fn cycles() -> Vec<Example> {
    let read = HoldRequest {
        id: RunId { session: 0, chain: 0, run: 0 },
        after: 0,
        shape: ShapeId(1),
        write: false,
        address: WordAddress(0x1_2340),
        value: 0,
    };
    let write = HoldRequest {
        id: RunId { session: SESSION, chain: 2, run: 80 },
        after: 79,
        write: true,
        value: 0x00F0,
        ..read
    };
    let repeat = RepeatRequest {
        id: RunId { session: SESSION, chain: 2, run: 81 },
        after: 80,
        shape: ShapeId(1),
        write: false,
        address: (WordAddress(0x1_2340), 0x0F),
        value: (0, 0),
        gap_us: 250,
        count: 1_000,
        mark: Mark::Strobe,
    };
    let repeated = RepeatReply { id: repeat.id, status: 0, done: 1_000, last: 0x7344 };
    let hold = |echo, data| Answer(Reply::Hold(HoldReply { echo, data }));
    vec![
        ("hold", 0x42, Ask(Request::Hold(read))),
        ("hold-reply", 0x42, hold(read, 0x5122_0000)),
        ("hold-write", 0x43, Ask(Request::Hold(write))),
        ("hold-write-reply", 0x43, hold(write, 0x00F0_0000)),
        ("repeat", 0x44, Ask(Request::Repeat(repeat))),
        ("repeat-reply", 0x44, Answer(Reply::Repeat(repeated))),
    ]
}

/// The run of the examples: the words of `read-raw-reply` from B on.
pub fn run() -> RunRequest {
    RunRequest {
        id: RunId { session: SESSION, chain: 2, run: 79 },
        after: 77,
        slot: 3,
        script_crc: crc32(&script()),
        a: WordAddress(0x1_2340),
        b: WordAddress(0x1_2343),
        n: 4,
        lanes: 0xFFFF,
        width: Width::W16,
        payload: Width::W16.words(&WORDS).collect(),
    }
}

pub fn runs() -> Vec<Example> {
    let bytes = script();
    let stored = ScriptReply { slot: 3, crc: crc32(&bytes) };
    let run = run();
    let reply = RunReply {
        id: run.id,
        request_crc: run.crc(),
        status: 0,
        at: 21,
        lanes: [0, 0, 0, 0],
        a: WordAddress(0x1_2344),
        d: 0x5F88,
        elapsed_us: 37,
        mismatches: 0,
        listed: Vec::new(),
        emitted: vec![0x5F88],
    };
    let swept = RunReply {
        id: RunId { session: SESSION, chain: 2, run: 82 },
        request_crc: 0xA1A2_A3A4,
        status: 5,
        at: 12,
        lanes: [1, 3, 0, 5],
        a: WordAddress(0x1_2345),
        d: 0x00B0,
        elapsed_us: 70_000,
        mismatches: 300,
        listed: vec![
            (WordAddress(0x1_2341), 0x5555, 0x5545),
            (WordAddress(0x1_2342), 0x5555, 0x5557),
        ],
        emitted: vec![0x89, 0x18],
    };
    vec![
        ("script", 0x45, Ask(Request::Script(ScriptRequest { slot: 3, bytes }))),
        ("script-reply", 0x45, Answer(Reply::Script(stored))),
        ("run", 0x46, Ask(Request::Run(run))),
        ("run-reply", 0x46, Answer(Reply::Run(reply))),
        ("run-failed-reply", 0x47, Answer(Reply::Run(swept))),
    ]
}
