//! Requests of every kind, mostly such that they do something, some of them damaged.

use buswright::bus::script::{Builder, Sweep, SweepOp};
use buswright::bus::{
    Levels, Millivolts, Phases, Precharge, Shape, ShapeId, ShapeTimes, Width, WordAddress,
};
use buswright::wire::{
    BoardLine, DigestRequest, HelloRequest, HoldRequest, LineAction, LinesRequest, Mark,
    PermitRequest, RailAction, RailRequest, ReadEcho, ReadRequest, RepeatRequest, Request, RunId,
    RunRequest, ScriptRequest, ShapeRequest, WalkRequest,
};

/// Made-up requests, and what the host would know of the run chain.
pub struct Random {
    rng: fastrand::Rng,
    session: u32,
    chain: u16,
    last: u32,
    old: Option<Request>,
    /// What is left of a beginning: session, shapes, permit.
    begins: u8,
    /// Only shapes that fit the module: with others precharge may fight, and the text says so.
    tame: bool,
}

fn low(mask: u16) -> Levels {
    Levels { mask, level: 0 }
}

fn shape(select: u16, width: Width) -> Shape {
    Shape {
        width,
        first_line: 0,
        idle: Levels { mask: 15, level: 15 },
        read: Phases { setup: low(select), strobe: low(1) },
        write: Some(Phases { setup: low(select), strobe: low(2) }),
        times: ShapeTimes { setup: 70, pulse: 150, hold: 10, recover: 20, release: 60 },
    }
}

pub fn checksum(bytes: &[u8]) -> u32 {
    crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(bytes)
}

/// Scripts that are stored and run.
fn scripts() -> Vec<Vec<u8>> {
    let new = || Builder::new(ShapeId(1));
    let march = Sweep::new(&[SweepOp::Read(false), SweepOp::Write(true), SweepOp::Read(true)]);
    [
        new().repeat_n(|b| b.write_payload().step(1)),
        new().repeat(5, |b| b.read_a().step(1).emit()).finally(|b| b.write_b(9)),
        new().set_a_to_b().repeat_n(|b| {
            b.unless_payload(0, |b| b.write_payload().wait_written(Width::W16, 0, 2).previous())
                .next()
                .step(1)
        }),
        new()
            .delay(2_000)
            .write_a(0x1234_5678)
            .read_a()
            .emit()
            .write_b(5)
            .finally(|b| b.write_b(2)),
        march.map_or(new(), |march| new().sweep(march)),
        new().lanes(0xFFFF, 0).write_a(0x55AA).read_a().emit(),
    ]
    .map(|builder| builder.script().unwrap().0)
    .to_vec()
}

impl Random {
    pub fn new(seed: u64) -> Self {
        let rng = fastrand::Rng::with_seed(seed);
        Self { rng, session: 7, chain: 0, last: 0, old: None, begins: 0, tame: false }
    }

    /// The same with no shapes but those that fit the module.
    pub fn tame(seed: u64) -> Self {
        Self { tame: true, ..Self::new(seed) }
    }

    fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.rng.usize(..of.len())]
    }

    /// A body with this tag. The first few begin a session with the rail on.
    pub fn body(&mut self, tag: u8) -> Vec<u8> {
        let request = match tag {
            _ if self.rng.u8(..) < 5 => return self.noise(tag),
            0 => self.hello(false),
            1 => Self::shape_of(0, 4, Width::W32),
            2 => Self::shape_of(1, 8, Width::W32),
            3 => self.rail(true, 2),
            4 => self.permit(1),
            _ => self.next(),
        };
        let mut body = request.encode(tag);
        if self.rng.u8(..) < 12 {
            self.damage(&mut body);
        }
        body
    }

    fn noise(&mut self, tag: u8) -> Vec<u8> {
        let kind = self.rng.u8(..0x80);
        let mut body = vec![kind, tag];
        body.extend((0..self.rng.usize(..30)).map(|_| self.rng.u8(..)).collect::<Vec<_>>());
        body
    }

    /// Cut off, made longer, or one byte changed; the tag stays.
    fn damage(&mut self, body: &mut Vec<u8>) {
        match self.rng.u8(..3) {
            0 => body.truncate(2 + self.rng.usize(..body.len() - 1)),
            1 => body.push(self.rng.u8(..)),
            // Not where it would be work for minutes.
            _ if body.len() > 2 && ![4, 8, 10, 12].contains(&body[0]) => {
                let at = self.rng.usize(2..body.len());
                body[at] = self.pick(&[0, 1, 2, 3, 4, 255]);
            }
            _ => {}
        }
    }

    fn hello(&mut self, other: bool) -> Request {
        if other {
            self.session += 1;
            (self.chain, self.last) = (0, 0);
        }
        Request::Hello(HelloRequest { major: 1, session: self.session })
    }

    fn shape_of(id: u8, select: u16, width: Width) -> Request {
        Request::Shape(ShapeRequest { id: ShapeId(id), shape: shape(select, width) })
    }

    fn any_shape(&mut self) -> Request {
        let mut levels = || {
            let mask = self.rng.u16(..16);
            Levels { mask, level: self.rng.u16(..16) & mask }
        };
        let idle = if levels().mask < 5 { levels() } else { Levels { mask: 15, level: 15 } };
        let mut phases = || Phases { setup: levels(), strobe: levels() };
        let (read, write) = (phases(), Some(phases()));
        let mut shape = shape(4, self.pick(&[Width::W8, Width::W16, Width::W32]));
        (shape.idle, shape.read, shape.write) = (idle, read, write);
        if self.rng.bool() {
            shape.read.setup.mask &= !2;
            shape.read.strobe.mask &= !2;
            shape.read.setup.level &= !2;
            shape.read.strobe.level &= !2;
        }
        if self.rng.bool() {
            shape.write = None;
        }
        shape.first_line = self.pick(&[0, 0, 8, 16, 24, 30]);
        Request::Shape(ShapeRequest { id: ShapeId(self.rng.u8(2..10)), shape })
    }

    fn rail(&mut self, on: bool, shapes: u8) -> Request {
        if !on {
            return Request::Rail(RailRequest::OFF);
        }
        Request::Rail(RailRequest {
            action: RailAction::On,
            expected: Millivolts(self.pick(&[3300, 3300, 3300, 3400, 5000])),
            settle_ms: 50,
            floor: Millivolts(3000),
            shapes,
        })
    }

    fn permit(&mut self, shape: u8) -> Request {
        Request::Permit(PermitRequest {
            shape: ShapeId(shape),
            lines: self.rng.u8(..4) == 0,
            seconds: self.pick(&[60, 60, 60, 2, 0]),
            start: WordAddress(self.pick(&[0, 0, 0, 0x40, 0xFF_FFFF])),
            words: self.pick(&[0x100, 0x100, 0x20, 0]),
            lanes: self.pick(&[u32::MAX, u32::MAX, u32::MAX, 0xFFFF]),
            address_mask: self.pick(&[0xFF, 0]),
            addresses: vec![WordAddress(0x55); self.rng.usize(..2)],
        })
    }

    /// The next place in the chain, or now and then another.
    fn place(&mut self) -> (RunId, u32) {
        let after = self.last;
        let (chain, run) = match self.rng.u8(..10) {
            0 => (self.chain, self.last + 2),
            1 => (self.chain + 2, self.last + 1),
            2..6 if self.chain > 0 => (self.chain, self.last + 1),
            _ => (self.chain + 1, self.last + 1),
        };
        (RunId { session: self.session, chain, run }, after)
    }

    /// It is not known whether a run was begun; the next PING of a real host would tell.
    fn used(&mut self, id: RunId) {
        if self.rng.u8(..8) > 0 {
            (self.chain, self.last) = (id.chain, id.run);
        }
    }

    fn run(&mut self) -> Request {
        let ((id, after), all) = (self.place(), scripts());
        let which = self.rng.usize(..all.len());
        let n = self.pick(&[1, 2, 3, 3, 0]);
        let words = if which == 0 || which == 2 { n } else { 0 };
        let words = if self.rng.u8(..9) == 0 { words + 1 } else { words };
        let payload = (0..words).map(|_| self.pick(&[0, 1, 0xFFFF_FFFF, 0x1234_5678])).collect();
        self.used(id);
        Request::Run(RunRequest {
            id,
            after,
            slot: which as u8 + u8::from(self.rng.u8(..20) == 0),
            script_crc: checksum(&all[which]),
            a: WordAddress(self.rng.u32(..0x20)),
            b: WordAddress(self.pick(&[0, 0x20, 0x55, 0xFE])),
            n,
            lanes: self.pick(&[u32::MAX, u32::MAX, u32::MAX, 0xFFFF, 0]),
            width: self.pick(&[Width::W32, Width::W32, Width::W32, Width::W8]),
            payload,
        })
    }

    fn repeat(&mut self) -> Request {
        let (id, after) = self.place();
        self.used(id);
        Request::Repeat(RepeatRequest {
            id,
            after,
            shape: ShapeId(self.pick(&[0, 1, 1, 2])),
            write: self.rng.bool(),
            address: (WordAddress(self.rng.u32(..0x100)), self.pick(&[0, 1, 0xF, 0x100_0000])),
            value: (self.rng.u32(..), self.pick(&[0, u32::MAX])),
            gap_us: self.rng.u32(..2_000),
            count: self.rng.u32(1..9),
            mark: self.pick(&[Mark::None, Mark::None, Mark::None, Mark::Strobe]),
        })
    }

    fn hold(&mut self) -> Request {
        let nothing = RunId { session: 0, chain: 0, run: 0 };
        let (write, (id, after)) = (self.rng.bool(), self.place());
        if write {
            self.used(id);
        }
        Request::Hold(HoldRequest {
            id: if write { id } else { nothing },
            after: if write { after } else { 0 },
            shape: ShapeId(self.pick(&[0, 1, 1, 2])),
            write,
            address: WordAddress(self.rng.u32(..0x100)),
            value: if write { self.rng.u32(..) } else { 0 },
        })
    }

    fn line(&mut self) -> BoardLine {
        match self.rng.u8(..3) {
            0 => BoardLine::Data(self.rng.u8(..32)),
            1 => BoardLine::Address(self.rng.u8(..26)),
            _ => BoardLine::Control(self.rng.u8(..5)),
        }
    }

    fn lines(&mut self) -> Request {
        let actions = [LineAction::Input, LineAction::PullUp, LineAction::Low, LineAction::High];
        let set = (0..self.rng.usize(..4)).map(|_| (self.line(), self.pick(&actions))).collect();
        Request::Lines(LinesRequest { hold_ms: self.pick(&[0, 10, 3_000]), set })
    }

    fn walk(&mut self) -> Request {
        let lines = (0..self.rng.usize(..8)).map(|_| self.line()).collect();
        Request::Walk(WalkRequest {
            nonce: 4,
            high: self.rng.bool(),
            turns: self.rng.u16(..4),
            lines,
        })
    }

    fn read(&mut self) -> Request {
        let count = self.pick(&[0, 1, 7, 64, 255, 256, 300, 1000]);
        let echo = ReadEcho {
            nonce: self.rng.u16(..),
            shape: ShapeId(self.pick(&[0, 0, 0, 1, 1, 2, 9])),
            address: WordAddress(self.pick(&[0, 0, 0x10, 0x700, 0xFF_FFF0, u32::MAX])),
            step: self.pick(&[1, 1, 1, -1, 0, 3, -700]),
            count,
            precharge: self.pick(&[Precharge::None, Precharge::Zeros, Precharge::Ones]),
            encoding: self.pick(&[0, 0, 2]),
        };
        Request::Read(ReadRequest { echo })
    }

    fn digest(&mut self) -> Request {
        Request::Digest(DigestRequest {
            nonce: self.rng.u16(..),
            shape: ShapeId(self.pick(&[0, 0, 1, 2])),
            address: WordAddress(self.pick(&[0, 0x10, 0x900, 0xFF_FFF0])),
            step: self.pick(&[1, 1, -1, 0, 5]),
            count: self.pick(&[0, 1, 16, 300]),
            precharge: self.pick(&[Precharge::None, Precharge::Zeros, Precharge::Ones]),
        })
    }

    fn script(&mut self) -> Request {
        let all = scripts();
        let which = self.rng.usize(..all.len());
        let bytes = match self.rng.u8(..6) {
            0 => (0..self.rng.usize(..20))
                .map(|_| self.pick(&[0x10, 1, 0x42, 0x80, 0x82, 0]))
                .collect(),
            1 => {
                let new = Builder::new(ShapeId(self.rng.u8(..3)));
                new.wait_written(Width::W8, 0, 1).script().unwrap().0
            }
            _ => all[which].clone(),
        };
        Request::Script(ScriptRequest { slot: which as u8, bytes })
    }

    /// Now and then all begins anew, for a refused run leaves the host without its place.
    fn next(&mut self) -> Request {
        if self.begins == 0 && self.rng.u8(..30) == 0 {
            self.begins = 6;
        }
        self.begins = self.begins.saturating_sub(1);
        match self.begins {
            5 => self.hello(true),
            4 => Self::shape_of(0, 4, Width::W32),
            3 => Self::shape_of(1, 8, Width::W32),
            2 => self.rail(true, 2),
            1 => self.permit(1),
            _ => self.request(),
        }
    }

    fn request(&mut self) -> Request {
        if self.rng.u8(..20) == 0
            && let Some(old) = self.old.clone()
        {
            return old;
        }
        let request = match self.rng.u8(..100) {
            0..2 => self.hello(true),
            2..4 => self.hello(false),
            4..9 => Request::Ping,
            9..11 => Request::Stop,
            11..14 => Self::shape_of(0, 4, Width::W32),
            17..20 if !self.tame => self.any_shape(),
            14..20 => Self::shape_of(1, 8, Width::W32),
            20..22 => self.rail(false, 0),
            22..28 => {
                let shapes = self.pick(&[2, 2, 2, 1, 3]);
                self.rail(true, shapes)
            }
            28..36 => {
                let shape = self.pick(&[1, 1, 1, 0, 2]);
                self.permit(shape)
            }
            36..46 => self.read(),
            46..52 => self.digest(),
            52..62 => self.script(),
            62..84 => self.run(),
            84..88 => self.repeat(),
            88..92 => self.hold(),
            92..96 => self.lines(),
            _ => self.walk(),
        };
        if matches!(request, Request::Run(_) | Request::Repeat(_)) {
            self.old = Some(request.clone());
        }
        request
    }
}
