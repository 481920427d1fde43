//! More than the adapter has room for: counted, dropped whole, and never half of anything done.

use crate::bench::{SESSION, assert_words, digest, hello, ping, powered, read, run, store};
use crate::support::stepped::{Heard, Stepped};
use buswright::bus::script::Builder;
use buswright::wire::{FaultCode, Reply, Request, ScriptRequest, encode_frame};
use std::collections::BTreeMap;

/// Bytes on the line of one request.
fn length(request: &Request) -> usize {
    encode_frame(&request.encode(1)).len() + 1
}

/// Every reply that comes until nothing comes any more.
fn all(host: &mut Stepped) -> Vec<Heard> {
    std::iter::from_fn(|| host.hear(600_000)).filter(|heard| !is_busy(heard)).collect()
}

fn is_busy(heard: &Heard) -> bool {
    matches!(heard.reply, Reply::Busy(_))
}

/// What the host may send is taken, to the last byte, and a PING beyond it is answered.
#[test]
fn a_full_queue_is_served_and_a_ping_finds_room() {
    let Some(mut host) = powered(16_000_000) else { return };
    let queue = usize::from(hello(&mut host, SESSION).sizes.rx_queue_bytes);
    let before = ping(&mut host);
    let work = digest(1, 0, 200_000);
    let working = host.send(&work);
    let mut left = queue - length(&work);
    let mut waiting = Vec::new();
    while left > 0 {
        // The longest scripts that there are, then whatever fits to the byte: SCRIPT takes any bytes.
        let overhead = length(&script(vec![0x42; 20])) - 20;
        let bytes = match left {
            ..400 => left - overhead,
            400..450 => 300,
            _ => 384,
        };
        let request = script(vec![0x42; bytes]);
        left -= length(&request);
        waiting.push(host.send(&request));
    }
    host.pass(queue as u64 * 40 + 500);
    let said = ping(&mut host);
    assert!(said.running, "the answer came at once");
    assert!(matches!(host.answer(working).reply, Reply::Digest(_)));
    for tag in waiting {
        let answer = host.answer(tag);
        let Reply::Fault(fault) = &answer.reply else { panic!("{answer:?}") };
        // The first operation of these is no `shape`.
        assert_eq!((fault.code, fault.detail), (FaultCode::SCRIPT_REFUSED, 0));
    }
    let after = ping(&mut host);
    assert_eq!((after.overruns, after.frames_damaged), (before.overruns, before.frames_damaged));
    host.end();
}

fn script(bytes: Vec<u8>) -> Request {
    Request::Script(ScriptRequest { slot: 1, bytes })
}

#[test]
fn requests_beyond_the_queue_are_dropped_whole_and_counted() {
    let Some(mut host) = powered(16_000_000) else { return };
    let queue = usize::from(hello(&mut host, SESSION).sizes.rx_queue_bytes);
    let before = ping(&mut host);
    // At work for longer than the flood needs on the line.
    let work = digest(1, 0, 400_000);
    let working = host.send(&work);
    let mut asked = BTreeMap::new();
    let mut flood = Vec::new();
    for nonce in 1_000..1_170_u16 {
        let tag = u8::try_from(nonce - 1_000 + 60).unwrap();
        let (start, count) = (u32::from(nonce) % 512, nonce % 7 + 1);
        asked.insert(tag, (nonce, start, count));
        flood.extend([&[0][..], &encode_frame(&read(nonce, start, count).encode(tag))].concat());
    }
    host.say(&flood);
    while host.state().coming > 0 {
        host.pass(1_000);
    }
    // What stands in the ring behind the last request is dropped in a few of the pauses of the work. Then
    // there is room for a PING again; it is answered while the checksum is at work.
    host.pass(5_000);
    let said = ping(&mut host);
    assert!(said.running && said.overruns > before.overruns, "{said:?}");

    assert!(matches!(host.answer(working).reply, Reply::Digest(_)));
    let mut answers = std::mem::take(&mut host.aside);
    answers.extend(all(&mut host));
    answers.retain(|heard| !is_busy(heard));
    for heard in &answers {
        let (nonce, start, count) = asked[&heard.tag];
        assert_words(&heard.reply, nonce, start, count);
    }
    let tags: Vec<u8> = answers.iter().map(|heard| heard.tag).collect();
    assert!(tags.is_sorted_by(|one, next| one < next), "in order, and none twice");
    let fit = (queue - length(&work)) / length(&read(1_000, 0, 1));
    let first: Vec<u8> = asked.keys().copied().take(fit).collect();
    assert!(tags.starts_with(&first), "{fit} of {queue} bytes must fit; {} did", tags.len());
    let now = ping(&mut host);
    let dropped = u32::try_from(asked.len() - tags.len()).unwrap();
    let damaged = now.frames_damaged - before.frames_damaged;
    assert!(dropped > 20 && now.overruns - before.overruns >= dropped - damaged, "{now:?}");
    assert_words(&host.ask(&read(9, 3, 60)), 9, 3, 60);
    host.end();
}

/// While an atomic stretch lasts nobody looks at the line: at the fastest rate more comes than the
/// ring holds, in the midst of frames.
#[test]
fn bytes_beyond_the_ring_cut_frames_and_half_a_frame_does_nothing() {
    use buswright::bus::Baud;
    use buswright::wire::RateRequest;
    let Some(mut host) = powered(16_000_000) else { return };
    let script = Builder::new(crate::bench::RAM).atomic(|b| b.delay(19_000));
    let crc = store(&mut host, 0, script);
    host.ask(&Request::Rate(RateRequest { rate: Baud(2_000_000) }));
    let before = ping(&mut host);
    let still = host.state();
    let running = host.send(&Request::Run(run(crc, 1)));
    host.pass(1_000);
    // 15 ms of the line. Requests of many lengths, all but the reads of a kind that moves nothing.
    let mut asked = BTreeMap::new();
    let mut flood = vec![0];
    for tag in 60..230_u8 {
        let nonce = 2_000 + u16::from(tag);
        let count = u16::from(tag % 3);
        asked.insert(tag, (nonce, u32::from(tag), count));
        flood.extend(encode_frame(&read(nonce, u32::from(tag), count).encode(tag)));
    }
    assert!(flood.len() > 3_000, "{}", flood.len());
    host.say(&flood);
    let answer = host.answer(running);
    let Reply::Run(reply) = answer.reply else { panic!("{answer:?}") };
    assert_eq!(reply.status, 0);
    let mut answers = std::mem::take(&mut host.aside);
    answers.extend(all(&mut host));
    let mut words = 0;
    for heard in answers.iter().filter(|heard| !is_busy(heard)) {
        let (nonce, start, count) = asked[&heard.tag];
        assert_words(&heard.reply, nonce, start, count);
        words += u64::from(count);
    }
    assert!(answers.len() > 40 && answers.len() < asked.len() - 20, "{}", answers.len());
    let now = host.state();
    assert_eq!(now.reads - still.reads, words, "no word but those that were asked for");
    assert_eq!((now.writes, now.rail), (still.writes, still.rail));
    let said = ping(&mut host);
    assert!(said.overruns > before.overruns, "{said:?}");
    assert!(said.frames_damaged - before.frames_damaged <= 2, "where it was cut: {said:?}");
    assert_words(&host.ask(&read(9, 3, 60)), 9, 3, 60);
    host.end();
}

/// A byte that the receiver itself has lost.
#[test]
fn a_byte_lost_in_the_receiver_is_counted() {
    let Some(mut host) = powered(16_000_000) else { return };
    let before = ping(&mut host);
    let frame = encode_frame(&read(4, 0, 4).encode(66));
    for at in 0..frame.len() {
        host.say(&[0, 0]);
        host.say(&frame[..at]);
        host.pass(20_000);
        host.order("jam");
        host.say(&frame[at..]);
        host.say(&[0]);
        // The last byte is a delimiter, and there is another one behind it.
        let whole = at == frame.len() - 1;
        let heard = host.hear(20_000);
        assert_eq!(heard.is_some(), whole, "byte {at}: {heard:?}");
    }
    let after = ping(&mut host);
    let lost = u32::try_from(frame.len()).unwrap();
    assert_eq!(after.overruns - before.overruns, lost);
    assert_eq!(after.frames_damaged - before.frames_damaged, lost - 1);
    host.end();
}
