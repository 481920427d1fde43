//! LINES and WALK: single lines set, sampled and walked, outside cycles.

use super::Adapter;
use super::serve::Begun;
use super::shapes::{enables_output, named_lines, strobes_write};
use super::work::Task;
use crate::bus::{Levels, Nanos, Shape, ShapeId};
use crate::sim::socket::Drive;
use crate::wire::{
    BoardLine, FaultCode, LineAction, LineLevels, LinesReply, LinesRequest, Reply, WalkReply,
    WalkRequest, WalkRow,
};

/// How long WALK drives a line at most, sampling included (`docs/wire.md`, "WALK").
const WALK_STEP: Nanos = Nanos::from_micros(20);
/// Kind, tag, nonce and count of a WALK reply, and a row.
const WALK_HEAD: usize = 5;
const WALK_ROW: usize = 11;
/// Where WALK's turns stand.
const TURNS_AT: u32 = 5;

/// The lines that LINES has set, until when.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct LineState {
    pub(super) drive: Drive,
    pub(super) until: Option<Nanos>,
}

/// A WALK at work.
pub(super) struct WalkWork {
    ask: WalkRequest,
    rows: Vec<WalkRow>,
    turns: u16,
}

impl WalkWork {
    pub(super) fn is_done(&self) -> bool {
        self.turns >= self.ask.turns
    }

    /// Turns made, turns in all.
    pub(super) fn progress(&self) -> (u32, u32) {
        (u32::from(self.turns), u32::from(self.ask.turns))
    }

    pub(super) fn reply(self) -> Reply {
        Reply::Walk(WalkReply { nonce: self.ask.nonce, rows: self.rows })
    }
}

/// Group and number of a line, as *line refused* says it.
fn detail(line: BoardLine) -> u32 {
    match line {
        BoardLine::Data(n) => u32::from(n) << 8,
        BoardLine::Address(n) => 1 | u32::from(n) << 8,
        BoardLine::Control(n) => 2 | u32::from(n) << 8,
    }
}

fn lowest(mask: u32) -> u8 {
    (mask.trailing_zeros() & 31) as u8
}

/// Sets one bit in or clears it from one group of lines.
fn put(levels: &mut LineLevels, line: BoardLine, on: bool) {
    match line {
        BoardLine::Data(n) => levels.data = levels.data & !(1 << n) | u32::from(on) << n,
        BoardLine::Address(n) => levels.address = levels.address & !(1 << n) | u32::from(on) << n,
        // The board has at most 16.
        BoardLine::Control(n) => {
            levels.control = levels.control & !(1 << (n & 15)) | u16::from(on) << (n & 15);
        }
    }
}

/// The bits in which both differ, of those in `mask`.
fn differ(mask: LineLevels, a: LineLevels, b: LineLevels) -> LineLevels {
    LineLevels {
        data: mask.data & (a.data ^ b.data),
        address: mask.address & (a.address ^ b.address),
        control: mask.control & (a.control ^ b.control),
    }
}

fn set(drive: &mut Drive, line: BoardLine, action: LineAction) {
    put(&mut drive.driven, line, matches!(action, LineAction::Low | LineAction::High));
    put(&mut drive.level, line, action == LineAction::High);
    put(&mut drive.pulled_up, line, action == LineAction::PullUp);
}

impl Adapter {
    pub(super) fn begin_lines(&mut self, t: Nanos, ask: &LinesRequest, short: Nanos) -> Begun {
        let mut drive = self.lines.drive;
        for (line, action) in &ask.set {
            self.line_exists(*line)?;
            set(&mut drive, *line, *action);
        }
        self.check_drive(t, &drive)?;
        self.holding = None;
        let levels = self.socket.lines(&self.with_held(drive));
        let contended = differ(drive.driven, levels, drive.level);
        let keep = |mask: LineLevels| LineLevels {
            data: mask.data & !contended.data,
            address: mask.address & !contended.address,
            control: mask.control & !contended.control,
        };
        (drive.driven, drive.level) = (keep(drive.driven), keep(drive.level));
        let hold = Nanos::from_millis(u64::from(ask.hold_ms));
        self.lines = if ask.hold_ms == 0 {
            LineState::default()
        } else {
            LineState { drive, until: Some(short + hold) }
        };
        Ok((Task::Answer(Reply::Lines(LinesReply { levels, contended }), None), short))
    }

    pub(super) fn begin_walk(&mut self, t: Nanos, ask: &WalkRequest, short: Nanos) -> Begun {
        if ask.turns == 0 {
            return Err((FaultCode::MALFORMED, TURNS_AT));
        }
        let room = usize::from(self.config.sizes.tx_body_max);
        if WALK_HEAD + ask.lines.len() * WALK_ROW > room {
            return Err((FaultCode::TOO_LONG, 0));
        }
        // Between two lines the data lines are charged to the opposite, with all control lines
        // idle: nothing may drive them then.
        if let Some(charging) = self.charge_for_walk(ask.high) {
            self.check_drive(t, &charging)?;
        }
        for line in &ask.lines {
            self.line_exists(*line)?;
            self.check_drive(t, &self.walk_drive(*line, ask.high))?;
        }
        self.release();
        let resting = if ask.high { 0 } else { u32::MAX };
        let levels = LineLevels { data: resting, address: resting, control: resting as u16 };
        let rows = vec![WalkRow { levels, let_go: false }; ask.lines.len()];
        let work = WalkWork { ask: ask.clone(), rows, turns: 0 };
        let turn = WALK_STEP * ask.lines.len() as u64;
        let ends = short + turn * u64::from(ask.turns);
        Ok((Task::Walk(Box::new(work)), ends))
    }

    /// One turn over all lines of a WALK, and its time.
    pub(super) fn turn(&mut self, walk: &mut WalkWork) -> Nanos {
        let high = walk.ask.high;
        // A level that equals the walked one in any turn stays.
        let stick = |old: u32, new: u32| if high { old | new } else { old & new };
        for (line, row) in walk.ask.lines.iter().zip(&mut walk.rows) {
            let drive = self.walk_drive(*line, high);
            let seen = self.socket.lines(&self.with_held(drive));
            let wrong = differ(drive.driven, seen, drive.level);
            row.let_go |= wrong != LineLevels::default();
            row.levels = LineLevels {
                data: stick(row.levels.data, seen.data),
                address: stick(row.levels.address, seen.address),
                control: stick(u32::from(row.levels.control), u32::from(seen.control)) as u16,
            };
        }
        walk.turns += 1;
        WALK_STEP * walk.ask.lines.len() as u64
    }

    /// One line driven, the others resting at the opposite: pulled up for a low one, discharged
    /// for a high one. Without the rail nothing is pulled or charged.
    fn walk_drive(&self, line: BoardLine, high: bool) -> Drive {
        let mut drive = Drive::default();
        let powered = self.rail.is_closed();
        if powered && !high {
            drive.pulled_up = self.buses();
        }
        drive.charged = powered.then_some(!high);
        set(&mut drive, line, if high { LineAction::High } else { LineAction::Low });
        drive
    }

    fn charge_for_walk(&self, high: bool) -> Option<Drive> {
        let driven = LineLevels { address: 0, ..self.buses() };
        let level = if high { LineLevels::default() } else { driven };
        self.rail.is_closed().then(|| Drive { driven, level, ..Drive::default() })
    }

    /// Every data and address line of the board.
    fn buses(&self) -> LineLevels {
        let all = |lines: u8| u32::MAX.checked_shr(32 - u32::from(lines.min(32))).unwrap_or(0);
        LineLevels {
            data: all(self.config.data_lines),
            address: all(self.config.address_lines),
            control: 0,
        }
    }

    /// What it does to its lines together with the idle levels that are held anyway.
    fn with_held(&self, mut drive: Drive) -> Drive {
        let Levels { mask, level } = self.shapes.held().then(self.set);
        let free = mask & !drive.driven.control;
        drive.driven.control |= free;
        drive.level.control |= level & free;
        drive.pulled_up.control &= !mask;
        drive
    }

    fn line_exists(&self, line: BoardLine) -> Result<(), (FaultCode, u32)> {
        let there = match line {
            BoardLine::Data(n) => n < self.config.data_lines,
            BoardLine::Address(n) => n < self.config.address_lines,
            BoardLine::Control(n) => usize::from(n) < self.config.control.len().min(16),
        };
        if there { Ok(()) } else { Err((FaultCode::LINE_REFUSED, detail(line))) }
    }

    /// Refuses what would feed the module, fight an output, or could write.
    fn check_drive(&self, t: Nanos, drive: &Drive) -> Result<(), (FaultCode, u32)> {
        let refuse = |line| Err((FaultCode::LINE_REFUSED, detail(line)));
        if !self.rail.is_closed() {
            return match feeds(drive) {
                Some(line) => refuse(line),
                None => Ok(()),
            };
        }
        let control = Levels { mask: drive.driven.control, level: drive.level.control };
        let idle = self.shapes.held();
        let levels = idle.then(self.set).then(control);
        for (_, shape) in self.shapes.all().filter(|(_, s)| enables_output(s, idle, levels)) {
            let fights = drive.driven.data & (shape.width.ones() << shape.first_line);
            if fights != 0 {
                return refuse(BoardLine::Data(lowest(fights)));
            }
        }
        let permits = self.permits.valid(t);
        let named = self.shapes.all().fold(0, |named, (_, shape)| named | named_lines(shape));
        let moved = (levels.level ^ idle.level) | (levels.mask & !idle.mask);
        let unknown = control.mask & !named | control.mask & moved & self.config.write_strobes();
        if unknown != 0 && !permits.lines(None) {
            return refuse(BoardLine::Control(lowest(u32::from(unknown))));
        }
        let writes = |(id, shape): (ShapeId, &Shape)| {
            strobes_write(shape, idle, levels) && !permits.lines(Some(id))
        };
        if control.mask != 0 && self.shapes.all().any(writes) {
            return refuse(BoardLine::Control(lowest(u32::from(control.mask))));
        }
        Ok(())
    }
}

/// A line that would feed a module without supply, or select it: pulled up or driven high, or a
/// control line driven at all.
fn feeds(drive: &Drive) -> Option<BoardLine> {
    let LineLevels { data, address, .. } = drive.alone();
    let control = drive.driven.control | drive.pulled_up.control;
    if data != 0 {
        Some(BoardLine::Data(lowest(data)))
    } else if address != 0 {
        Some(BoardLine::Address(lowest(address)))
    } else {
        (control != 0).then(|| BoardLine::Control(lowest(u32::from(control))))
    }
}
