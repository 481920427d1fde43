//! SCRIPT and RUN: the loops that programming consists of, sweeps, and scripts that are interpreted.

use crate::bench::{Both, Pair, RAM, RAM_16, run};
use buswright::bus::script::{Builder, Expect, Sweep, SweepOp, Wait, WaitKind};
use buswright::bus::{Width, WordAddress};
use buswright::wire::{Request, ScriptRequest};

/// Runs scripts on both sides.
struct Runs {
    both: Both,
    run: u32,
    good: bool,
}

impl Runs {
    fn start() -> Option<Self> {
        Some(Self { both: Both::start()?, run: 0, good: true })
    }

    fn again(&mut self, script: &[u8], n: u32, payload: &[u32], count: u32) -> Pair {
        let of = |more| run(script, self.run + more, n, payload.to_vec());
        let requests: Vec<_> = (1..=count).map(of).collect();
        self.run += count;
        self.both.cycles(&requests)
    }

    /// Of one such run of several, with `payload` and each N.
    fn case(&mut self, name: &str, script: Builder, payload: impl Fn(u32) -> Vec<u32>, ns: &[u32]) {
        let bytes = script.script().unwrap().0;
        let store = Request::Script(ScriptRequest { slot: 0, bytes: bytes.clone() });
        self.good &= self.both.cycles(&[store]).tell(&format!("SCRIPT: {name}"));
        for &n in ns {
            let payload = payload(n);
            // The first run with an N costs more: the script is checked for it.
            self.again(&bytes, n, &payload, 1);
            let one = self.again(&bytes, n, &payload, 1);
            let each = self.again(&bytes, n, &payload, 3).slope(one, 2.0);
            self.good &= each.tell(&format!("RUN with N {n}: {name}"));
        }
    }

    #[track_caller]
    fn end(self) {
        self.both.end();
        assert!(self.good);
    }
}

fn noise(words: u32) -> Vec<u32> {
    (1..=words).map(|n| n.wrapping_mul(0x9E37_79B1)).collect()
}

fn none(_: u32) -> Vec<u32> {
    Vec::new()
}

fn new() -> Builder {
    Builder::new(RAM)
}

/// As `chips::write` makes it: N words from B on, with these writes before each.
fn programming(before: impl Fn(Builder) -> Builder) -> Builder {
    new().set_a_to_b().repeat_n(|b| {
        let word = |b| before(b).write_payload().previous().wait(wait());
        b.unless_payload(u32::MAX, |b| b.critical(2, word)).next().step(1)
    })
}

fn wait() -> Wait {
    Wait {
        lane: Width::W16,
        kind: WaitKind::Data,
        expect: Expect::Payload,
        at_b: false,
        fail: 0x0020_0020,
        timeout_ms: 1,
    }
}

#[test]
fn programming_is_charged_what_it_costs() {
    let Some(mut runs) = Runs::start() else { return };
    let at = |b: Builder, value, address| b.write(WordAddress(address), value);
    let bypass = || programming(|b| b.write_a(0x00A0_00A0));
    runs.case("words with unlock bypass", bypass(), noise, &[50, 200]);
    let unlock = |b| at(at(at(b, 0x00AA_00AA, 0x8555), 0x0055_0055, 0x82AA), 0x00A0_00A0, 0x8555);
    runs.case("words without", programming(unlock), noise, &[50, 200]);
    let blank = |n| vec![u32::MAX; n as usize];
    runs.case("words that are blank", bypass(), blank, &[50, 200]);
    let load = |b: Builder| {
        let b = b.write_a(0x0025_0025).write_a(0x000F_000F);
        b.repeat(16, |b| b.write_payload().step(1)).step(-1).write_a(0x0029_0029)
    };
    let buffers = new().set_a_to_b().repeat_n(|b| b.critical(4, load).step(1));
    runs.case("write buffers of 16 words", buffers, |n| noise(16 * n), &[3, 12]);
    let single = new().set_a_to_b().repeat_n(|b| {
        let word = |b: Builder| b.write_payload().previous().wait(wait()).next();
        b.critical(200, word).step(1)
    });
    runs.case("words of RAM, each waited for", single, noise, &[50, 200]);
    runs.end();
}

#[test]
fn scripts_are_charged_what_they_cost() {
    let Some(mut runs) = Runs::start() else { return };
    runs.case("nothing", new(), none, &[1]);
    let many = |times: u32, one: fn(Builder) -> Builder| {
        (0..times).fold(new().set_a_to_b(), |b, _| one(b))
    };
    runs.case("20 reads", many(20, Builder::read_a), none, &[1]);
    runs.case("20 writes", many(20, |b| b.write_a(0x1234_5678)), none, &[1]);
    let held = |times: u32, one: fn(Builder) -> Builder| {
        new().set_a_to_b().atomic(|b| (0..times).fold(b, |b, _| one(b)))
    };
    runs.case("an atomic stretch of a step", held(1, |b| b.step(1)), none, &[1]);
    runs.case("60 reads in atomic", held(60, Builder::read_a), none, &[1]);
    runs.case("40 writes in atomic", held(40, |b| b.write_a(0x1234_5678)), none, &[1]);
    let looked_after = held(6, |b| {
        let b = b.write(WordAddress(0x5555), 0x00AA_00AA).read(WordAddress(0x5555)).emit();
        (0..4).fold(b, |b, _| b.unless_d(1, 2, |b| b.step(1)))
    });
    runs.case("writes that are looked after in atomic", looked_after, none, &[1]);
    let page = new().set_a_to_b().atomic(|b| {
        b.write_b(0x00A0_00A0).repeat(8, |b| (0..8).fold(b, |b, _| b.write_payload().step(1)))
    });
    runs.case("a page of 64 words in atomic", page, |_| noise(64), &[1]);
    runs.case("20 words emitted", many(20, Builder::emit), none, &[1]);
    runs.case("20 steps", many(20, |b| b.step(1)), none, &[1]);
    let emit = new().set_a_to_b().repeat(30, |b| b.read_a().emit().step(1));
    runs.case("30 words read and emitted in a loop", emit, none, &[1]);
    let copied = new().set_a_to_b().repeat_n(|b| b.write_payload().step(1));
    runs.case("words written one by one", copied, noise, &[50]);
    let waited =
        new().set_a_to_b().repeat_n(|b| b.write_payload().previous().wait(wait()).next().step(1));
    runs.case("words written and waited for one by one", waited, noise, &[50]);
    let sweep = |shape, operation| Builder::new(shape).sweep(Sweep::new(&[operation]).unwrap());
    for (shape, bits) in [(RAM, 32), (RAM_16, 16)] {
        let name = |what: &str| format!("a sweep that {what} words of {bits} bits");
        runs.case(&name("writes"), sweep(shape, SweepOp::Write(false)), none, &[2_000]);
        runs.case(&name("reads"), sweep(shape, SweepOp::Read(false)), none, &[2_000]);
    }
    runs.end();
}
