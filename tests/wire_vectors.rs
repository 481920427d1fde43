//! The crate, `tests/vectors/frames.txt` and `docs/wire.md` say the same.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

#[path = "wire_vectors/examples.rs"]
mod examples;
#[path = "wire_vectors/plain.rs"]
mod plain;
#[path = "wire_vectors/text.rs"]
mod text;

use buswright::bus::script::{LaneRule, Limits, Script, SlotRule, check};
use buswright::bus::{Width, WordAddress};
use buswright::wire::{
    FaultCode, FrameCounters, FrameReader, Kind, Malformed, Reply, Request, Why, decode_runs,
    encode_frame, encode_frame_after_idle,
};
use examples::{Message, examples};
use plain::{Vector, vectors};
use std::collections::{BTreeMap, BTreeSet};

/// Decodes a body; a kind that this version does not know fails the test.
fn decode(reply: bool, body: &[u8]) -> Result<(u8, Message), Malformed> {
    let known = if reply {
        Reply::decode(body)?.map(|(tag, reply)| (tag, Message::Answer(reply)))
    } else {
        Request::decode(body)?.map(|(tag, request)| (tag, Message::Ask(request)))
    };
    Ok(known.unwrap_or_else(|| panic!("kind {:02X} is not known", body[0])))
}

/// The heading in the text of the message with this body.
fn heading(vector: &Vector) -> String {
    let kind = Kind(vector.body[0]);
    let name = kind.to_string();
    let name = name.trim_end_matches(" reply");
    let direction = if vector.reply { "reply" } else { "request" };
    format!("### {name} {direction}, kind {:02X}", kind.0)
}

#[test]
fn values_and_vectors_are_equal_both_ways() {
    let examples = examples();
    let vectors = vectors();
    let names: Vec<_> = vectors.iter().map(|vector| vector.name.as_str()).collect();
    assert_eq!(names, examples.iter().map(|example| example.0).collect::<Vec<_>>());
    for ((name, tag, message), vector) in examples.into_iter().zip(vectors) {
        let (body, reply) = match &message {
            Message::Ask(request) => (request.encode(tag), false),
            Message::Answer(reply) => (reply.encode(tag), true),
        };
        assert_eq!(body, vector.body, "{name}");
        assert_eq!(reply, vector.reply, "{name}");
        assert_eq!(decode(reply, &vector.body), Ok((tag, message)), "{name}");
    }
}

#[test]
fn frames_are_the_crates_and_come_back() {
    let vectors = vectors();
    let mut reader = FrameReader::new(1056);
    let mut bodies = Vec::new();
    for Vector { name, body, frame, .. } in &vectors {
        assert_eq!(encode_frame_after_idle(body), *frame, "{name}");
        assert_eq!(encode_frame(body), frame[1..], "{name}");
        reader.push(frame, |body| bodies.push(body.to_vec()));
    }
    assert!(bodies.iter().eq(vectors.iter().map(|vector| &vector.body)));
    let good = vectors.len() as u64;
    assert_eq!(reader.counters(), FrameCounters { good, damaged: 0, overlong: 0 });
}

#[test]
fn frames_hold_against_checksum_and_cobs_written_anew() {
    // CRC catalogue: check value of CRC-32/ISO-HDLC.
    assert_eq!(plain::crc32(b"123456789"), 0xCBF4_3926);
    for Vector { name, body, frame, .. } in vectors() {
        let [0, coded @ .., 0] = &frame[..] else { panic!("{name}: no delimiters") };
        assert!(!coded.contains(&0), "{name}: a delimiter inside");
        let mut checked = body.clone();
        checked.extend(plain::crc32(&body).to_le_bytes());
        assert_eq!(plain::cobs(coded), Some(checked), "{name}");
    }
}

#[test]
fn every_request_and_every_reply_has_an_example() {
    let vectors = vectors();
    let kinds: BTreeSet<_> = vectors.iter().map(|vector| Kind(vector.body[0])).collect();
    let mut wanted = BTreeSet::from([Kind::BUSY, Kind::FAULT]);
    for number in 0..0x80 {
        // Known kinds without fields decode, those with fields lack them; the others are `None`.
        if !matches!(Request::decode(&[number, 0]), Ok(None)) {
            wanted.extend([Kind(number), Kind(number).reply()]);
        }
    }
    assert_eq!(kinds, wanted);
    assert!((0x01..=0x0F).all(|number| wanted.contains(&Kind(number))));
    assert!(!wanted.contains(&Kind(0x10)), "the vector of an unknown kind");
}

#[test]
fn the_text_shows_or_lists_every_vector_and_no_other_frame() {
    let vectors: BTreeMap<_, _> = vectors().into_iter().map(|v| (v.name, v.frame)).collect();
    let shown = text::frames();
    for (name, frame) in &shown {
        assert_eq!(vectors.get(name), Some(frame), "docs/wire.md: frame {name}");
    }
    let names: BTreeSet<_> = shown.iter().map(|(name, _)| name).collect();
    assert_eq!(names.len(), shown.len(), "docs/wire.md: a frame is shown twice");
    for name in vectors.keys().filter(|name| !names.contains(name)) {
        assert!(text::TEXT.contains(&format!("vectors: `{name}`")), "docs/wire.md lacks {name}");
    }
}

#[test]
fn the_fault_table_is_the_codes() {
    let code: Vec<_> = FaultCode::table().map(|(c, n, m, r)| (c.0, n, m, r)).collect();
    assert_eq!(text::faults(), code);
}

/// What a body cut after each byte says is missing: field and offset, in order, with the number
/// of cuts that say so, which is the size of the number there.
fn missing(vector: &Vector) -> Vec<(&'static str, usize, usize)> {
    let mut found: Vec<(&'static str, usize, usize)> = Vec::new();
    let is_run = vector.body[0] == Kind::RUN.0;
    for n in 2..vector.body.len() {
        let (field, at) = match decode(vector.reply, &vector.body[..n]) {
            // The payload of RUN ends four bytes before the body does.
            _ if is_run && n >= vector.body.len() - 4 => {
                ("request checksum", vector.body.len() - 4)
            }
            Err(Malformed { field: "request checksum", .. }) if is_run => ("payload", 38),
            Err(Malformed { field, at, why: Why::Short }) => (field, at),
            // As an adapter of an earlier minor number says it.
            Ok((_, Message::Answer(Reply::Hello(_)))) => ("operation in atomic", n),
            // These end where the body does.
            Ok((_, Message::Answer(Reply::Read(_)))) => ("payload", 15),
            Ok((_, Message::Ask(Request::Script(_)))) => ("script", 3),
            Ok((_, Message::Answer(Reply::Run(run)))) => ("emitted", 40 + run.listed.len() * 12),
            other => panic!("{}: {n} bytes give {other:?}", vector.name),
        };
        match found.last_mut() {
            Some(last) if (last.0, last.1) == (field, at) => last.2 += 1,
            _ => found.push((field, at, 1)),
        }
    }
    found
}

#[test]
fn field_tables_name_the_fields_where_they_are() {
    let mut shown: BTreeMap<String, BTreeSet<&str>> = BTreeMap::new();
    for vector in vectors() {
        let heading = heading(&vector);
        let fields = text::fields(&heading);
        let mut order = Vec::new();
        for (name, at, size) in missing(&vector) {
            let row = fields.iter().find(|row| row.name == name);
            let row = row.unwrap_or_else(|| panic!("{heading}: no field '{name}'"));
            if let Some((number, times)) = row.numbers() {
                assert_eq!(number, size, "{heading}: type of '{name}'");
                let inside = |start| (start..start + number * times).contains(&at);
                assert!(row.at.is_none_or(inside), "{heading}: offset of '{name}'");
            }
            if !order.contains(&name) {
                order.push(name);
            }
        }
        // A list may be empty in one example, not in all.
        let names = fields.iter().map(|row| row.name).filter(|name| order.contains(name));
        assert!(order.iter().copied().eq(names), "{heading}: {order:?}");
        shown.entry(heading).or_default().extend(order);
    }
    for (heading, names) in shown {
        let fields = text::fields(&heading);
        assert!(fields.iter().all(|row| names.contains(row.name)), "{heading}: only {names:?}");
    }
}

#[test]
fn offsets_follow_from_the_sizes() {
    for heading in vectors().iter().map(heading).collect::<BTreeSet<_>>() {
        let mut next = Some(2);
        for row in text::fields(&heading) {
            assert_eq!(row.at, next, "{heading}: offset of '{}'", row.name);
            next = next.zip(row.size()).map(|(at, size)| at + size);
        }
    }
}

#[test]
fn only_hello_and_ping_replies_may_grow() {
    for Vector { name, reply, mut body, .. } in vectors() {
        let short = decode(reply, &body);
        let at = body.len();
        body.push(0xA5);
        let long = decode(reply, &body);
        match name.as_str() {
            "hello-reply" | "ping-reply" => assert_eq!(long, short, "{name}"),
            name if name.starts_with("read-") && reply => assert!(long.is_ok(), "{name}"),
            // They end in bytes, words and a checksum over both.
            "script" => assert!(long.is_ok(), "{name}"),
            "run" | "run-reply" | "run-failed-reply" => assert!(long.is_err(), "{name}"),
            _ => {
                let refused = Malformed { field: "end", at, why: Why::Trailing(1) };
                assert_eq!(long, Err(refused), "{name}");
            }
        }
    }
}

#[test]
fn the_examples_keep_to_the_text() {
    let board = examples::hello();
    let strobes = board.control.iter().enumerate().filter(|(_, line)| line.write_strobe);
    let strobes = strobes.fold(0, |mask, (n, _)| mask | 1 << n);
    for (name, _, message) in examples() {
        match message {
            Message::Ask(Request::Shape(ask)) => {
                let control = board.control.len() as u8;
                assert_eq!(ask.shape.check(control, board.data_lines, strobes), Ok(()), "{name}");
            }
            Message::Answer(Reply::Read(read)) => {
                let count = usize::from(read.echo.count);
                let width = if read.echo.shape.0 == 1 { Width::W16 } else { Width::W8 };
                let words = match read.echo.encoding {
                    0 => read.payload.len(),
                    _ => decode_runs(width, count, &read.payload).unwrap().len(),
                };
                assert_eq!(words, count * width.bytes(), "{name}");
            }
            Message::Ask(Request::Script(ask)) => assert_eq!(checked(&ask.bytes), 4, "{name}"),
            Message::Ask(Request::Run(run)) => {
                assert_eq!(run.script_crc, plain::crc32(&examples::runs::script()), "{name}");
                assert_eq!(run.payload.len() as u64, 4, "{name}");
            }
            Message::Ask(Request::Permit(permit)) => {
                let run = examples::runs::run();
                let words = (0..4).map(|n| WordAddress(run.a.0 + n));
                for address in words.chain([WordAddress(0x555)]) {
                    assert!(permit.covers(address, run.lanes), "{name}");
                }
            }
            _ => {}
        }
    }
}

/// Payload words that a script takes for N = 4.
fn checked(bytes: &[u8]) -> u64 {
    let slot = SlotRule { width: Width::W16, lanes: LaneRule::Rest };
    let limits = Limits::with_shapes([slot, slot, slot, slot]);
    check(&Script(bytes.to_vec()), &limits).unwrap().need(4).unwrap().payload
}

/// The cost of a READ reply that the text states: 26 bytes beyond 1,024 of payload, 30 allowed.
#[test]
fn a_read_reply_costs_what_the_text_says() {
    let found = vectors().into_iter().find(|vector| vector.name == "read-raw-reply");
    let mut body = found.unwrap().body[..15].to_vec();
    body.resize(15 + 1024, 0xA5);
    assert_eq!(encode_frame_after_idle(&body).len(), 1024 + 26);
    let request = vectors().into_iter().find(|vector| vector.name == "read-raw");
    assert_eq!(request.unwrap().frame.len(), 22);
}
