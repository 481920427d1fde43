//! What the host itself costs, on this computer and in real time: `cargo bench --bench host`.
//!
//! Times are of this machine; the whole takes about a minute, since one row moves 4 MiB at
//! 1 Mbaud.

#![allow(clippy::expect_used, reason = "a benchmark ends where its set-up fails")]

#[path = "host/process.rs"]
mod process;
#[path = "host/relay.rs"]
mod relay;
#[path = "../support/virtual_time.rs"]
mod virtual_time;

use buswright::bus::{Baud, Digest, Nanos, Precharge, ShapeId, Width, WordAddress};
use buswright::link::{Session, Ticket, Transmit};
use buswright::wire::{
    FrameReader, ReadEcho, ReadReply, ReadRequest, Reply, Request, decode_runs, encode_frame,
    encode_runs,
};
use rustix::time::{ClockId, clock_gettime};
use sha2::{Digest as _, Sha256};

const MIB: usize = 1 << 20;
const BLOCK: usize = 64 * 1024;
const FRAME: usize = 1024;

/// Processor time of this thread, in nanoseconds.
fn cpu() -> u64 {
    let now = clock_gettime(ClockId::ThreadCPUTime);
    now.tv_sec.cast_unsigned() * 1_000_000_000 + now.tv_nsec.cast_unsigned()
}

fn read(nonce: u16, at: usize) -> Request {
    let address = WordAddress((at / 4) as u32);
    Request::Read(ReadRequest {
        echo: ReadEcho {
            nonce,
            shape: ShapeId(0),
            address,
            step: 1,
            count: (FRAME / 4) as u16,
            precharge: Precharge::Zeros,
            encoding: 1,
        },
    })
}

/// The requests that the session wants to send now.
fn sent(session: &mut Session, now: Nanos) -> Vec<(u8, ReadEcho)> {
    let mut reader = FrameReader::new(256);
    let mut out = Vec::new();
    while let Some(Transmit::Bytes(bytes)) = session.poll_transmit(now) {
        reader.push(&bytes, |body| {
            if let Ok(Some((tag, Request::Read(read)))) = Request::decode(body) {
                out.push((tag, read.echo));
            }
        });
    }
    out
}

/// Nanoseconds of processor time a payload byte, from received packets of 62 bytes to a verified
/// image: frames, session, run coding, block checksums, SHA-256.
fn received_to_verified(content: &[u8]) -> f64 {
    let mut session = Session::new(1, Some(Baud(1_000_000)));
    let mut image = vec![0; content.len()];
    let mut spent = 0;
    let mut now = Nanos::ZERO;
    let mut hash = Sha256::new();
    for block in 0..content.len() / BLOCK {
        let starts: Vec<_> = (0..BLOCK / FRAME).map(|n| block * BLOCK + n * FRAME).collect();
        let tickets: Vec<(Ticket, usize)> =
            starts.iter().map(|&at| (session.submit(read(7, at)), at)).collect();
        let mut taken = 0;
        while taken < tickets.len() {
            // The other side: replies as the line would bring them. Not counted.
            let mut line = vec![0];
            for (tag, echo) in sent(&mut session, now) {
                let at = echo.address.0 as usize * 4;
                let payload = encode_runs(Width::W32, &content[at..at + FRAME]);
                line.extend(encode_frame(&Reply::Read(ReadReply { echo, payload }).encode(tag)));
            }
            let start = cpu();
            for packet in line.chunks(62) {
                now += Nanos::from_micros(620);
                session.handle_bytes(now, packet);
            }
            for (ticket, at) in &tickets[taken..] {
                let Some(Ok(Reply::Read(reply))) = session.take_result(*ticket) else { break };
                let words = decode_runs(Width::W32, FRAME / 4, &reply.payload).expect("good runs");
                image[*at..*at + FRAME].copy_from_slice(&words);
                taken += 1;
            }
            spent += cpu() - start;
        }
        let start = cpu();
        let bytes = &image[block * BLOCK..][..BLOCK];
        let down = Digest::of(Width::W32, bytes, true);
        hash.update(bytes);
        spent += cpu() - start;
        assert_eq!(down.and & !down.or, 0);
    }
    assert!(image == content, "every byte is right");
    assert_eq!(hash.finalize(), Sha256::digest(content));
    spent as f64 / content.len() as f64
}

fn main() {
    let mut noise = vec![0; 4 * MIB];
    fastrand::Rng::with_seed(7).fill(&mut noise);
    let mut runs: Vec<_> = (0..7).map(|_| received_to_verified(&noise)).collect();
    runs.sort_by(f64::total_cmp);
    println!("Received buffer to verified image, 4 MiB of noise in packets of 62 bytes:");
    println!("  {:.1} ns a byte (median of 7; {:.1} to {:.1})", runs[3], runs[0], runs[6]);
    println!();
    let seen = process::capture_over_relay(4 * MIB, &noise);
    println!("The whole process, 4 MiB over a pty at 1 Mbaud through a rate-limited relay:");
    println!("  pass one {:.2} s", seen.pass_one_s);
    println!(
        "  in simulated time {:.2} s, ratio {:.4}",
        seen.simulated_s,
        seen.pass_one_s / seen.simulated_s
    );
    println!("  processor {:.2} % of one core over {:.1} s", seen.cpu_percent, seen.wall_s);
    println!("  peak memory {:.1} MiB (limit 24 MiB + 1.25 x 4 MiB = 29 MiB)", seen.peak_mib);
}
