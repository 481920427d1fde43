//! Cycles a second of the interpreter on a bus that does nothing: `cargo bench --bench script`.

#![allow(clippy::expect_used, reason = "a benchmark ends where its set-up fails")]

use buswright::bus::script::{
    Builder, Checked, Env, LaneRule, Limits, Line, LineRefusal, Run, SlotRule, Start, Status,
    Sweep, SweepOp,
};
use buswright::bus::{
    Cycles, Levels, Nanos, Phases, Precharge, Shape, ShapeId, ShapeTimes, Width, Word, WordAddress,
};
use std::hint::black_box;
use std::time::Instant;

const WORDS: u32 = 1 << 20;

/// A bus that counts its cycles and answers what was written last.
struct Null {
    shape: Shape,
    last: Word,
    cycles: u64,
    now: Nanos,
}

impl Cycles for Null {
    fn read(&mut self, _: &Shape, _: WordAddress, _: Precharge) -> Word {
        self.cycles += 1;
        self.now += Nanos(100);
        self.last
    }

    fn write(&mut self, _: &Shape, _: WordAddress, value: Word) {
        self.cycles += 1;
        self.now += Nanos(100);
        self.last = value;
    }

    fn delay(&mut self, time: Nanos) {
        self.now += time;
    }

    fn now(&self) -> Nanos {
        self.now
    }
}

impl Env for Null {
    fn shape(&self, _: ShapeId) -> Option<Shape> {
        Some(self.shape)
    }

    fn lane_rule(&self, _: ShapeId) -> LaneRule {
        LaneRule::Whole
    }

    fn may_write(&self, _: ShapeId, address: WordAddress, _: Word) -> bool {
        black_box(address.0) < WORDS
    }

    fn read_charged(&mut self, shape: &Shape, address: WordAddress, _: Word) -> Word {
        self.read(shape, address, Precharge::None)
    }

    fn write_lanes(&mut self, shape: &Shape, address: WordAddress, value: Word, _: Word) {
        self.write(shape, address, value);
    }

    fn line(&mut self, _: Line, _: bool) -> Result<(), LineRefusal> {
        Ok(())
    }

    fn ready(&mut self) -> bool {
        true
    }
}

/// Runs `script` in slices of a millisecond of bus time and prints how fast it was.
fn measure(name: &str, script: Builder, payload: Vec<Word>) {
    let slot = SlotRule { width: Width::W16, lanes: LaneRule::Whole };
    // A million waits of a millisecond each would be over the usual limit.
    let time = Nanos::from_secs(3600);
    let limits = Limits { op: Nanos(1_000), time, ..Limits::with_shapes([slot]) };
    let script: Checked = script.check(&limits).expect("a good script");
    let start = Start { a: WordAddress(0), b: WordAddress(0), n: WORDS, lanes: u32::MAX };
    let mut run = Run::new(&script, start, payload).expect("a good start");
    let phases = Phases::default();
    let shape = Shape {
        width: Width::W16,
        first_line: 0,
        idle: Levels::default(),
        read: phases,
        write: Some(phases),
        times: ShapeTimes::default(),
    };
    let mut bus = Null { shape, last: 0, cycles: 0, now: Nanos::ZERO };
    let begin = Instant::now();
    loop {
        let until = bus.now + Nanos::from_millis(1);
        match run.step(&mut bus, until) {
            Status::Running => {}
            Status::Waiting(time) => bus.now = time,
            Status::Done => break,
        }
    }
    let rate = bus.cycles as f64 / begin.elapsed().as_secs_f64() / 1e6;
    let why = run.ended().expect("an end").why.name();
    println!("{name:<28} {:>9} cycles  {rate:>7.1} M cycles/s  {why}", bus.cycles);
}

fn main() {
    let shape = ShapeId(0);
    let march = [SweepOp::Read(false), SweepOp::Write(true), SweepOp::Read(true)];
    let march = Sweep::new(&march).expect("three operations");
    measure("sweep (r0 w1 r1)", Builder::new(shape).sweep(march), Vec::new());
    let payload: Vec<Word> = (0..WORDS).map(|word| word & 0x7FFF).collect();
    let write = Builder::new(shape).repeat_n(|b| b.write_payload().step(1));
    measure("loop: write payload", write, payload.clone());
    let program = Builder::new(shape).repeat_n(|b| {
        b.write(WordAddress(0x555), 0xAA)
            .write(WordAddress(0x2AA), 0x55)
            .write(WordAddress(0x555), 0xA0)
            .write_payload()
            .wait_written(Width::W16, 0x20, 1)
            .step(1)
    });
    let program = program.finally(|b| b.write(WordAddress(0), 0xF0));
    measure("loop: program and poll", program, payload);
}
