//! Every script of tests/vectors/scripts.txt that must be refused, refused over the line with the
//! byte that the text names; the others are taken.

use crate::bench::{RAM, ROM, SESSION, hello, rail_on, shape};
use crate::support::stepped::Stepped;
use buswright::bus::{ShapeId, Width, WordAddress};
use buswright::wire::{
    FaultCode, RailRequest, Reply, Request, RunId, RunRequest, ScriptRequest, ShapeRequest,
};
use std::collections::BTreeSet;

const VECTORS: &str = include_str!("../vectors/scripts.txt");

/// Slot 1 is defined, too, and of the same kind.
const SHAPES: [ShapeId; 2] = [ShapeId(0), ShapeId(1)];

#[derive(Clone, Debug, Default)]
struct Vector {
    name: &'static str,
    code: Vec<u8>,
    width: u32,
    rule: &'static str,
    start: [u32; 4],
    payload: Vec<u32>,
    invalid: Option<(u32, u8)>,
    refused: Vec<&'static str>,
}

fn vectors() -> Vec<Vector> {
    let mut all: Vec<Vector> = Vec::new();
    for line in VECTORS.lines().filter(|line| !line.starts_with('#') && !line.is_empty()) {
        let (key, words) = line.split_once(' ').unwrap_or((line, ""));
        if key == "script" {
            all.push(Vector { name: words, width: 16, rule: "rest", ..Vector::default() });
            continue;
        }
        let vector = all.last_mut().unwrap();
        let hex = || words.split(' ').map(|word| u32::from_str_radix(word, 16).unwrap());
        match key {
            "code" if words.is_empty() => {}
            "code" => vector.code.extend(hex().map(|byte| byte as u8)),
            "width" => vector.width = words.parse().unwrap(),
            "rule" => vector.rule = words,
            "start" => vector.start = hex().collect::<Vec<_>>().try_into().unwrap(),
            "payload" => vector.payload.extend(hex()),
            "invalid" => {
                let (at, number) = words.split_once(' ').unwrap();
                vector.invalid = Some((at.parse().unwrap(), number.parse().unwrap()));
            }
            "refused" => vector.refused = words.split(' ').collect(),
            _ => {}
        }
    }
    all
}

/// A new session with shapes of this width, and the rail on.
fn fresh(host: &mut Stepped, session: u32, width: Width) {
    host.ask(&Request::Rail(RailRequest::OFF));
    hello(host, session);
    for id in SHAPES {
        let mut like = shape(if id == ROM { ROM } else { RAM });
        like.width = width;
        let reply = host.ask(&Request::Shape(ShapeRequest { id, shape: like }));
        assert!(matches!(reply, Reply::Shape(_)), "{reply:?}");
    }
    rail_on(host);
}

fn checksum(bytes: &[u8]) -> u32 {
    crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(bytes)
}

#[test]
fn what_the_text_refuses_is_refused_at_the_byte_it_names() {
    let Some(mut host) = crate::bench::greeted(16_000_000) else { return };
    let sizes = hello(&mut host, SESSION).sizes;
    let mut numbers = BTreeSet::new();
    let (mut taken, mut session) = (0, 100);
    for width in [8, 16, 32] {
        let as_width = Width::from_bits(width).unwrap();
        session += 1;
        fresh(&mut host, session, as_width);
        for vector in vectors().iter().filter(|vector| vector.width == width) {
            let name = vector.name;
            // This board has no shape with a strobe for each lane, and what a space is it does not
            // know; its slots are longer.
            if vector.rule != "rest" || name == "too-long" {
                continue;
            }
            let script = ScriptRequest { slot: 0, bytes: vector.code.clone() };
            let reply = host.ask(&Request::Script(script));
            if let Some((at, number)) = vector.invalid {
                let Reply::Fault(fault) = reply else { panic!("{name}: {reply:?}") };
                assert_eq!((fault.code, fault.detail), (FaultCode::SCRIPT_REFUSED, at), "{name}");
                numbers.insert(number);
                continue;
            }
            assert!(matches!(reply, Reply::Script(_)), "{name}: {reply:?}");
            taken += 1;
            if vector.refused.is_empty() {
                continue;
            }
            let [a, b, n, lanes] = vector.start;
            let fault = host.refused(&Request::Run(RunRequest {
                id: RunId { session, chain: 1, run: 1 },
                after: 0,
                slot: 0,
                script_crc: checksum(&vector.code),
                a: WordAddress(a),
                b: WordAddress(b),
                n,
                lanes,
                width: as_width,
                payload: vector.payload.clone(),
            }));
            let wanted = match vector.refused[..] {
                ["count"] => (FaultCode::MALFORMED, 29),
                ["lanes"] => (FaultCode::MALFORMED, 33),
                ["payload", words] => (FaultCode::PAYLOAD_MISFIT, words.parse().unwrap()),
                ["check", at, number] => {
                    numbers.insert(number.parse().unwrap());
                    (FaultCode::SCRIPT_REFUSED, at.parse().unwrap())
                }
                _ => panic!("{vector:?}"),
            };
            assert_eq!((fault.code, fault.detail), wanted, "{name}");
        }
    }
    assert!(taken > 40, "{taken} were taken");

    // Number 2, at this board's own length.
    let bytes = usize::from(sizes.script_bytes);
    let script = |bytes: usize| {
        let code = [&[0x10, 0][..], &vec![0x42; bytes - 2]].concat();
        Request::Script(ScriptRequest { slot: 1, bytes: code })
    };
    assert!(matches!(host.ask(&script(bytes)), Reply::Script(_)));
    let fault = host.refused(&script(bytes + 1));
    assert_eq!((fault.code, fault.detail as usize), (FaultCode::SCRIPT_REFUSED, bytes));
    numbers.insert(2);
    assert_eq!(numbers, (1..=28).collect(), "every number of docs/script.md");
    assert_eq!(host.state().writes, 0);
    host.end();
}
