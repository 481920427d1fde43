//! Words of 16 and 8 bits: the firmware reads, sums and sweeps those that are whole ports by loops of
//! their own, others one by one.

use crate::{Host, WORDS, noise, shape, support};
use SweepOp::{Read, Write};
use buswright::bus::script::{Builder, Sweep, SweepOp};
use buswright::bus::{Digest, Precharge, Shape, ShapeId, Width, WordAddress};
use buswright::wire::{
    DigestRequest, ReadEcho, ReadRequest, Reply, Request, ShapeRequest, decode_runs,
};
use support::avr::Machine;

/// Widths and first data lines; the last two are not whole ports.
const PLACES: [(Width, u8); 8] = [
    (Width::W16, 0),
    (Width::W16, 8),
    (Width::W16, 16),
    (Width::W8, 0),
    (Width::W8, 16),
    (Width::W8, 24),
    (Width::W16, 7),
    (Width::W8, 3),
];

fn narrow(width: Width, first_line: u8, select: u16) -> Shape {
    Shape { width, first_line, ..shape(select) }
}

/// This shape is in slot 2 from now on.
fn define(host: &mut Host, shape: Shape) {
    let reply = host.ask(&Request::Shape(ShapeRequest { id: ShapeId(2), shape }));
    assert!(matches!(reply, Reply::Shape(_)), "{reply:?}");
}

/// What a word of the shape is of these 32 lines.
fn of(word: u32, (width, first): (Width, u8)) -> Vec<u8> {
    (word >> first).to_le_bytes()[..width.bytes()].to_vec()
}

/// Noise, and stretches of equal words, also of words that are equal in one byte or two only.
fn mixed() -> Vec<u32> {
    let random = &mut fastrand::Rng::with_seed(23);
    let mut words = Vec::new();
    while words.len() < WORDS {
        words.extend((0..random.usize(..40)).map(|_| random.u32(..)));
        let (word, mask) = (random.u32(..), [0xFF, 0xFF00, 0xFFFF_0000, 0][random.usize(..4)]);
        words.extend((0..random.usize(..300)).map(|_| word ^ (random.u32(..) & mask)));
    }
    words.truncate(WORDS);
    words
}

fn bytes(words: &[u32]) -> Vec<u8> {
    words.iter().flat_map(|word| word.to_le_bytes()).collect()
}

const CHARGES: [Precharge; 3] = [Precharge::None, Precharge::Zeros, Precharge::Ones];

#[test]
fn narrow_words_are_read_right() {
    let words = mixed();
    let rate = 1_000_000;
    let Some(machine) = Machine::start_at(16_000_000, rate, &bytes(&words), 0, None) else {
        return;
    };
    let mut host = Host::start(&machine, &[(0, 4)]);
    let random = &mut fastrand::Rng::with_seed(29);
    for place in PLACES {
        define(&mut host, narrow(place.0, place.1, 4));
        let asked: Vec<_> = (0..40)
            .map(|_| {
                let count = random.u16(..=512 / place.0.bytes() as u16);
                let step: i16 = [1, 1, 1, -1, 2, 0, 127, -128][random.usize(..8)];
                let reach = u32::from(step.unsigned_abs()) * u32::from(count.saturating_sub(1));
                let address = random.u32(reach..WORDS as u32);
                let address = WordAddress(if step < 0 { address } else { address - reach });
                let (precharge, encoding) = (CHARGES[random.usize(..3)], random.u8(..2));
                ReadEcho { nonce: 5, shape: ShapeId(2), address, step, count, precharge, encoding }
            })
            .collect();
        let requests: Vec<_> =
            asked.iter().map(|echo| Request::Read(ReadRequest { echo: *echo })).collect();
        for (asked, reply) in asked.iter().zip(host.ask_all(&requests)) {
            let Reply::Read(reply) = reply else { panic!("{place:?} {asked:?}: {reply:?}") };
            let step = i32::from(asked.step);
            let at = |n: u16| asked.address.0.wrapping_add_signed(step * i32::from(n)) as usize;
            let expected: Vec<u8> =
                (0..asked.count).flat_map(|n| of(words[at(n)], place)).collect();
            let got = match asked.encoding {
                0 => reply.payload,
                _ => decode_runs(place.0, asked.count.into(), &reply.payload).unwrap(),
            };
            assert!(got == expected, "{place:?} {asked:?}");
        }
    }
    host.end();
    machine.end();
}

#[test]
fn narrow_words_are_summed_right() {
    let words = mixed();
    let Some(machine) = Machine::start(16_000_000, &bytes(&words), 0, None) else { return };
    let mut host = Host::start(&machine, &[(0, 4)]);
    for place in PLACES {
        define(&mut host, narrow(place.0, place.1, 4));
        for precharge in CHARGES {
            for (address, step, count) in [(7, 1, 1), (300, -1, 129), (0, 1, 1_000), (5, 0, 2)] {
                let asked = DigestRequest {
                    nonce: 6,
                    shape: ShapeId(2),
                    address: WordAddress(address),
                    step,
                    count,
                    precharge,
                };
                let at = |n| address.wrapping_add_signed(i32::from(step) * n) as usize;
                let summed: Vec<u8> =
                    (0..count.cast_signed()).flat_map(|n| of(words[at(n)], place)).collect();
                let Reply::Digest(reply) = host.ask(&Request::Digest(asked)) else {
                    panic!("{place:?} {asked:?}")
                };
                let expected = Digest::of(place.0, &summed, false);
                assert_eq!(reply.digest, expected, "{place:?} {asked:?}");
            }
        }
    }
    host.end();
    machine.end();
}

/// Marches find what is wrong in narrow RAM, and say what stood there and what should have.
#[test]
fn narrow_words_are_swept_right() {
    const COUNT: u32 = 600;
    let Some(machine) = Machine::start(16_000_000, &[0; 4096], 0x10000, None) else { return };
    let mut host = Host::ready(&machine, 250_000);
    let mut run = 0;
    for place in PLACES {
        define(&mut host, narrow(place.0, place.1, 8));
        host.permit(ShapeId(2), place.0.ones());
        let mut sweep = |operations: &[SweepOp], n| {
            run += 1;
            let mut sweep = Sweep::new(operations).unwrap();
            sweep.background = 0x1122_3344;
            let b = Builder::new(ShapeId(2)).sweep(sweep);
            let reply = host.run_on(place.0, b, run, Vec::new(), n);
            (reply.mismatches, reply.listed, reply.elapsed_us)
        };
        let ones = place.0.ones();
        let background = 0x1122_3344 & ones;
        let (mismatches, ..) = sweep(&[Write(false)], COUNT);
        assert_eq!(mismatches, 0, "{place:?}");
        let (mismatches, _, took) = sweep(&[Read(false), Write(true), Read(true)], COUNT);
        assert_eq!(mismatches, 0, "{place:?}");
        println!("{place:?}: {} cycles an operation", took * 16 / (3 * COUNT));
        let (mismatches, listed, _) = sweep(&[Read(false), Write(false), Read(false)], COUNT);
        assert_eq!((mismatches, listed.len()), (COUNT, 8), "{place:?}");
        for (n, wrong) in (0..).zip(listed) {
            let expected = (WordAddress(0x40 + n), background, !background & ones);
            assert_eq!(wrong, expected, "{place:?}");
        }
    }
    host.end();
    let books = machine.end();
    let writes = 8 * 3 * COUNT;
    assert_eq!(books.number("RAM writes"), u64::from(writes), "{}", books.text);
}

/// What they cost: the figures of docs/performance.md.
#[test]
fn narrow_words_keep_the_line_at_work() {
    const COUNT: u32 = 0x8000;
    let contents = noise();
    for (place, line) in [((Width::W16, 0), 320.0), ((Width::W8, 0), 160.0)] {
        let rate = 1_000_000;
        let Some(machine) = Machine::start_at(16_000_000, rate, &contents, 0, None) else {
            return;
        };
        let mut host = Host::start(&machine, &[(0, 4)]);
        define(&mut host, narrow(place.0, place.1, 4));
        let count = 512 / place.0.bytes() as u16;
        let mut requests: Vec<_> = (0..64)
            .map(|n| {
                let echo = ReadEcho {
                    nonce: 5,
                    shape: ShapeId(2),
                    address: WordAddress(n * u32::from(count)),
                    step: 1,
                    count,
                    precharge: Precharge::Zeros,
                    encoding: 0,
                };
                Request::Read(ReadRequest { echo })
            })
            .collect();
        // Its reply is where the figure begins.
        for count in [1, COUNT] {
            requests.push(Request::Digest(DigestRequest {
                nonce: 6,
                shape: ShapeId(2),
                address: WordAddress(0),
                step: 1,
                count,
                precharge: Precharge::Zeros,
            }));
        }
        host.ask_all(&requests);
        host.end();
        let books = machine.end();
        let [read, digest] = [0x89, 0x8A].map(|kind| {
            let (cycles, reads) = books.of_kind(kind);
            cycles as f64 / reads as f64
        });
        println!("{place:?}: READ {read:.1}, DIGEST {digest:.1} cycles a word");
        assert!(read <= line / 0.93 && digest <= 150.0, "{place:?}: READ {read}, DIGEST {digest}");
    }
}
