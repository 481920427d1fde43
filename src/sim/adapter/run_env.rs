//! What a run makes its cycles on: the socket, with the shapes and permits of its beginning.

use super::counted::Counted;
use super::permits::Permits;
use super::shapes::{ShapeTable, named_lines, strobes_write};
use crate::bus::script::{Env, LaneRule, Line, LineRefusal};
use crate::bus::{Cycles, Levels, Millivolts, Nanos, Precharge, Shape, ShapeId, Word, WordAddress};
use crate::sim::books::Books;
use crate::sim::config::{ActiveLine, AdapterConfig};
use crate::sim::event::Event;
use crate::sim::socket::Socket;

/// The socket as a run sees it.
pub(super) struct RunEnv<'a> {
    pub(super) socket: &'a mut dyn Socket,
    pub(super) shapes: &'a ShapeTable,
    pub(super) permits: &'a Permits,
    pub(super) config: &'a AdapterConfig,
    pub(super) books: &'a mut Books,
    /// Levels of control lines that scripts have set.
    pub(super) set: &'a mut Levels,
    /// The processor's time for each cycle, on top of the bus.
    pub(super) per_cycle: Nanos,
    pub(super) powered: bool,
    /// What counts cycles.
    pub(super) counted: &'a mut Counted,
    /// When this step was begun.
    pub(super) begun: Nanos,
    /// Cycles made.
    pub(super) made: &'a mut u32,
}

impl RunEnv<'_> {
    /// Address bits above the board's lines reach nothing.
    fn on_lines(&self, address: WordAddress) -> WordAddress {
        let lines = u32::from(self.config.address_lines);
        WordAddress(address.0 & u32::MAX.checked_shr(32 - lines.min(32)).unwrap_or(0))
    }

    fn charge_cycle(&mut self) {
        self.socket.delay(self.per_cycle);
        *self.made = self.made.saturating_add(1);
    }

    /// A cycle was made: the supply may go right after it.
    fn count(&mut self) {
        let mv = match self.counted.cycle(self.begun) {
            Some(Event::Sag(mv)) => mv,
            Some(Event::Reset | Event::OverCurrent) => Millivolts(0),
            Some(Event::Unplug | Event::Replug) | None => return,
        };
        self.powered = false;
        let now = self.socket.now();
        self.socket.power(now, mv);
    }

    /// May a script bring this control line to this level?
    fn may_move(&self, moved: Levels) -> bool {
        let named = self.shapes.all().any(|(_, shape)| named_lines(shape) & moved.mask != 0);
        let idle = self.shapes.held();
        let levels = idle.then(*self.set).then(moved);
        let writes = |(id, shape): (ShapeId, &Shape)| {
            strobes_write(shape, idle, levels) && !self.permits.lines(Some(id))
        };
        (named || self.permits.lines(None)) && !self.shapes.all().any(writes)
    }
}

impl Cycles for RunEnv<'_> {
    fn read(&mut self, shape: &Shape, address: WordAddress, precharge: Precharge) -> Word {
        self.charge_cycle();
        self.books.words_read += 1;
        let word = self.socket.read(shape, self.on_lines(address), precharge);
        self.count();
        word
    }

    fn write(&mut self, shape: &Shape, address: WordAddress, value: Word) {
        self.charge_cycle();
        self.books.words_written += 1;
        if !self.config.write_locked {
            self.socket.write(shape, self.on_lines(address), value);
        }
        self.count();
    }

    fn delay(&mut self, time: Nanos) {
        self.socket.delay(time);
    }

    fn now(&self) -> Nanos {
        self.socket.now()
    }
}

impl Env for RunEnv<'_> {
    fn shape(&self, slot: ShapeId) -> Option<Shape> {
        self.shapes.get(slot).copied()
    }

    fn lane_rule(&self, _: ShapeId) -> LaneRule {
        LaneRule::Rest
    }

    fn may_write(&self, slot: ShapeId, address: WordAddress, lanes: Word) -> bool {
        self.permits.covers(slot, self.on_lines(address), lanes)
    }

    fn read_charged(&mut self, shape: &Shape, address: WordAddress, charge: Word) -> Word {
        self.charge_cycle();
        self.books.words_read += 1;
        let word = self.socket.read_charged(shape, self.on_lines(address), charge);
        self.count();
        word
    }

    /// Never asked for: no shape of this version has a strobe for each lane.
    fn write_lanes(&mut self, shape: &Shape, address: WordAddress, value: Word, _: Word) {
        self.write(shape, address, value);
    }

    fn line(&mut self, line: Line, active: bool) -> Result<(), LineRefusal> {
        let control = match line {
            Line::Reset => self.config.reset,
            Line::Protect => self.config.protect,
            // It does not reach the module.
            Line::Mark if self.config.mark => return Ok(()),
            Line::Mark => None,
        };
        let ActiveLine { line, high } = control.ok_or(LineRefusal::Missing)?;
        let mask = 1_u16.checked_shl(u32::from(line)).unwrap_or(0);
        let moved = Levels { mask, level: if active == high { mask } else { 0 } };
        if !self.may_move(moved) {
            return Err(LineRefusal::NotPermitted);
        }
        *self.set = self.set.then(moved);
        self.socket.control(*self.set);
        Ok(())
    }

    fn ready(&mut self) -> bool {
        self.socket.ready()
    }

    fn powered(&self) -> bool {
        self.powered
    }
}
