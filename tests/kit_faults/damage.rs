//! Frames that are no good: counted, never answered, and nothing moves.

use crate::bench::{assert_words, digest, ping, powered, read};
use crate::support::stepped::{State, Stepped};
use buswright::wire::{Request, encode_frame};
use fastrand::Rng;

/// The longest body that this board takes.
const RX_BODY_MAX: usize = 860;

/// A piece between two delimiters, by the text: its bytes if it is a frame, with body and checksum.
fn decoded(piece: &[u8]) -> Option<Vec<u8>> {
    let (mut out, mut at) = (Vec::new(), 0);
    while let Some(&code) = piece.get(at) {
        let end = at + usize::from(code);
        out.extend(piece.get(at + 1..end)?);
        at = end;
        if code != 0xFF && at < piece.len() {
            out.push(0);
        }
    }
    Some(out)
}

fn checksum(bytes: &[u8]) -> u32 {
    bytes.iter().fold(u32::MAX, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |sum, _| (sum >> 1) ^ (0xEDB8_8320 * (sum & 1)))
    })
}

/// Frames in a stream that are dropped as damaged, and those that are good.
fn judged(stream: &[u8]) -> (u32, u32) {
    let (mut damaged, mut good) = (0, 0);
    // What is behind the last delimiter is not over yet.
    let whole = stream.iter().rposition(|byte| *byte == 0).map_or(0, |at| at + 1);
    for piece in stream[..whole].split(|byte| *byte == 0).filter(|piece| !piece.is_empty()) {
        let takes = |bytes: &Vec<u8>| {
            (6..=RX_BODY_MAX + 4).contains(&bytes.len()) && checksum(bytes) == 0xDEBB_20E3
        };
        match decoded(piece).filter(takes) {
            Some(bytes) if bytes[0] < 0x80 => good += 1,
            _ => damaged += 1,
        }
    }
    (damaged, good)
}

/// The stream goes to the controller in pieces; nothing moves, nothing is answered, and everything is
/// counted. Then the line is as good as before.
#[track_caller]
fn takes(host: &mut Stepped, stream: &[u8]) {
    let before = ping(host);
    let still = host.state();
    let (damaged, good) = judged(stream);
    assert_eq!(good, 0, "the test's own frames are all damaged");
    for piece in stream.chunks(1_000) {
        host.say(piece);
        // The slowest rate, and a little more.
        host.pass(piece.len() as u64 * 40 + 500);
        assert!(host.hear(0).is_none(), "a damaged frame is never answered");
    }
    let same = |state: &State| (state.strobes, state.reads, state.writes, state.rail, state.driven);
    let moved = host.state();
    assert_eq!(same(&moved), same(&still), "nothing moves");
    let after = ping(host);
    assert_eq!(after.frames_damaged - before.frames_damaged, damaged, "each is counted");
    assert_eq!(after.frames_good - before.frames_good, 1, "only the PING is good");
    assert_eq!(after.overruns, before.overruns);
    let nonce = u16::try_from(after.frames_good & 0xFFF).unwrap();
    let reply = host.ask(&read(nonce, 5, 40));
    assert_words(&reply, nonce, 5, 40);
}

fn noise(rng: &mut Rng, bytes: usize, zeros: u8) -> Vec<u8> {
    let mut all: Vec<u8> =
        (0..bytes).map(|_| if rng.u8(..) < zeros { 0 } else { rng.u8(..) }).collect();
    all.push(0);
    all
}

/// Requests that would make cycles, move lines or switch the rail.
fn requests() -> Vec<Vec<u8>> {
    use crate::bench::{ON, RAM, permit, run, shape};
    use buswright::bus::{ShapeId, WordAddress};
    use buswright::wire::{
        BoardLine, HoldRequest, LineAction, LinesRequest, RailRequest, RunId, ScriptRequest,
        ShapeRequest, WalkRequest,
    };
    let id = RunId { session: 0, chain: 0, run: 0 };
    let hold =
        HoldRequest { id, after: 0, shape: RAM, write: false, address: WordAddress(3), value: 0 };
    let lines = LinesRequest { hold_ms: 500, set: vec![(BoardLine::Address(3), LineAction::High)] };
    let walk = WalkRequest { nonce: 3, high: true, turns: 2, lines: vec![BoardLine::Address(1)] };
    [
        read(1, 0, 100),
        digest(2, 7, 100),
        Request::Hold(hold),
        Request::Lines(lines),
        Request::Walk(walk),
        Request::Rail(RailRequest::OFF),
        Request::Rail(ON),
        permit(0),
        Request::Run(run(0x1234_5678, 1)),
        Request::Shape(ShapeRequest { id: ShapeId(5), shape: shape(RAM) }),
        Request::Script(ScriptRequest { slot: 0, bytes: vec![0x10, 0, 0x42, 0x44] }),
        Request::Stop,
    ]
    .iter()
    .map(|request| request.encode(9))
    .collect()
}

#[test]
fn noise_is_counted_and_moves_nothing() {
    let Some(mut host) = powered(16_000_000) else { return };
    let mut rng = Rng::with_seed(61);
    // Few delimiters, some, many: long pieces, frames that are too short, and empty ones.
    for (bytes, zeros) in [(6_000, 0), (6_000, 4), (4_000, 32), (2_000, 160)] {
        let stream = noise(&mut rng, bytes, zeros);
        takes(&mut host, &stream);
    }
    host.end();
}

/// Every frame in which one byte is another, and every frame that ends too early, or begins too late.
#[test]
fn changed_and_cut_frames_are_counted_and_move_nothing() {
    let Some(mut host) = powered(16_000_000) else { return };
    let mut rng = Rng::with_seed(62);
    for body in requests() {
        let frame = encode_frame(&body);
        let mut stream = Vec::new();
        for at in 0..frame.len() - 1 {
            let mut changed = frame.clone();
            changed[at] ^= 1 << rng.u8(..8);
            stream.extend([vec![0], changed].concat());
        }
        for at in 1..frame.len() - 1 {
            stream.extend([&frame[..at], &[0], &frame[at..]].concat());
        }
        takes(&mut host, &stream);
    }
    host.end();
}

/// The adapter's own words, come back on a line that loops.
#[test]
fn its_own_echo_is_counted_as_damaged() {
    let Some(mut host) = powered(16_000_000) else { return };
    let mut stream = vec![0];
    for kind in 0x80..=0xFF {
        stream.extend(encode_frame(&[kind, 9, 0, 0, 0, 0, 0, 0]));
    }
    takes(&mut host, &stream);
    host.end();
}
