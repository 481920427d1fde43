//! RUN, REPEAT and HOLD at their beginning: chain, rail, script, permit, in this order.

use super::Adapter;
use super::chain::{Place, Verdict};
use super::repeat::Repeating;
use super::runs::{Program, RunWork};
use super::scripts::written_shapes;
use super::serve::Begun;
use super::work::Task;
use crate::bus::script::{Run, Start, StartError};
use crate::bus::{Cycles, Nanos, Precharge, Shape, ShapeId, Span, WordAddress, crc32};
use crate::sim::costs::{Costs, Prices};
use crate::wire::{
    FaultCode, HoldReply, HoldRequest, Mark, RepeatRequest, Reply, Request, RunId, RunRequest,
};

/// Where N and the lane mask stand in RUN.
const N_AT: u32 = 29;
const LANES_AT: u32 = 33;
/// Where HOLD's place in the chain stands.
const HOLD_ID_AT: u32 = 2;
/// The mark line in the detail of *line refused*: group 3 is the lines beside the bus.
const MARK: u32 = 3 | 2 << 8;

impl Adapter {
    /// The place in the run chain that a request asks for.
    pub(super) fn place_of(request: &Request) -> Option<Place> {
        let whole = || crc32(&request.encode(0));
        let (id, after, crc) = match request {
            // Over its own checksum a sum would be the same for every run.
            Request::Run(run) => (run.id, run.after, run.crc()),
            Request::Repeat(repeat) => (repeat.id, repeat.after, whole()),
            Request::Hold(hold) if hold.write => (hold.id, hold.after, whole()),
            _ => return None,
        };
        Some(Place { id, after, crc })
    }

    /// A remembered reply, a refusal, or `None` for the run that is next.
    pub(super) fn judge(&self, place: &Place, short: Nanos) -> Option<Begun> {
        match self.chain.judge(self.session.current, place) {
            Verdict::Execute => None,
            Verdict::Again(reply) => Some(Ok((Task::Answer(reply, None), short))),
            Verdict::Refuse => Some(Err((FaultCode::NOT_NEXT_RUN, self.chain.last().0))),
        }
    }

    pub(super) fn begin_run(
        &mut self,
        t: Nanos,
        request: &RunRequest,
        place: Place,
        short: Nanos,
    ) -> Begun {
        if !self.rail.is_on() {
            return Err(self.rail.why_off());
        }
        let script = self.scripts.get(request.slot).ok_or((FaultCode::NO_SCRIPT, 0))?;
        let crc = crc32(&script.0);
        if crc != request.script_crc {
            return Err((FaultCode::OTHER_SCRIPT, crc));
        }
        let script = self.checked(script)?;
        let RunRequest { a, b, n, lanes, .. } = *request;
        let run = Run::new(&script, Start { a, b, n, lanes }, request.payload.clone());
        let run = run.map_err(|error| match error {
            StartError::Payload { takes, .. } => {
                (FaultCode::PAYLOAD_MISFIT, u32::try_from(takes).unwrap_or(u32::MAX))
            }
            StartError::NoCount => (FaultCode::MALFORMED, N_AT),
            StartError::NoLanes => (FaultCode::MALFORMED, LANES_AT),
            StartError::Refused { error, .. } => (FaultCode::SCRIPT_REFUSED, error.at),
        })?;
        let permits = self.permits.valid(t);
        if written_shapes(&script).any(|shape| !permits.any(shape)) {
            return Err((FaultCode::NOT_PERMITTED, 0));
        }
        let need = script.need(n).map_err(|error| (FaultCode::SCRIPT_REFUSED, error.at))?;
        let swept = |slot| self.shapes.get(slot).map(|shape| self.costs.swept(shape));
        let prices = Prices::of(script.ops(), swept);
        let program = Program::Script(Box::new(run), request.crc());
        let mut work = self.start_run(t, place, Some(request.slot), program, need.stop);
        work.prices = prices;
        Ok((Task::Run(Box::new(work)), short))
    }

    pub(super) fn begin_repeat(
        &mut self,
        t: Nanos,
        ask: &RepeatRequest,
        place: Place,
        short: Nanos,
    ) -> Begun {
        let (address, change) = ask.address;
        let shape = self.cycle_shape(ask.shape, &[address.0, address.0 ^ change])?;
        self.check_write(t, ask.shape, &shape, ask.write, address)?;
        if ask.mark != Mark::None && !self.config.mark {
            return Err((FaultCode::LINE_REFUSED, MARK));
        }
        let program = Program::Repeat(Repeating::new(*ask, shape));
        let stop = shape.times.cycle() + self.costs.longest().1;
        Ok((Task::Run(Box::new(self.start_run(t, place, None, program, stop))), short))
    }

    fn start_run(
        &mut self,
        t: Nanos,
        place: Place,
        slot: Option<u8>,
        program: Program,
        stop: Nanos,
    ) -> RunWork {
        self.release();
        self.chain.begin(place.id);
        self.books.run_began(t, place.id);
        RunWork {
            place,
            slot,
            program,
            shapes: self.shapes.clone(),
            permits: self.permits.valid(t),
            stop,
            ahead: self.ahead(t),
            waiting: false,
            made: 0,
            prices: Prices::default(),
            price: Costs::repeated(),
        }
    }

    /// HOLD stands until STOP or until something else moves the bus.
    pub(super) fn begin_hold(
        &mut self,
        t: Nanos,
        ask: &HoldRequest,
        place: Option<Place>,
        short: Nanos,
    ) -> Begun {
        let nothing = RunId { session: 0, chain: 0, run: 0 };
        if !ask.write && (ask.id, ask.after, ask.value) != (nothing, 0, 0) {
            return Err((FaultCode::MALFORMED, HOLD_ID_AT));
        }
        let shape = self.cycle_shape(ask.shape, &[ask.address.0])?;
        self.check_write(t, ask.shape, &shape, ask.write, ask.address)?;
        self.release();
        let ones = shape.width.ones();
        let word = if ask.write {
            self.books.words_written += 1;
            if !self.config.write_locked {
                self.socket.write(&shape, ask.address, ask.value & ones);
            }
            ask.value & ones
        } else {
            self.books.words_read += 1;
            self.socket.read(&shape, ask.address, Precharge::None) & ones
        };
        self.holding = Some(*ask);
        let reply = Reply::Hold(HoldReply { echo: *ask, data: word << shape.first_line });
        if let Some(place) = place {
            self.chain.begin(place.id);
            self.books.run_began(t, place.id);
            self.books.run_ended(place.id, 0);
            self.chain.end(&place, 0, reply.clone());
        }
        Ok((Task::Answer(reply, None), short))
    }

    /// The shape, if the rail is on and the board has lines for these addresses.
    fn cycle_shape(&self, id: ShapeId, addresses: &[u32]) -> Result<Shape, (FaultCode, u32)> {
        let span = |at: &u32| Span::up(WordAddress(*at), 1);
        let checked = addresses.iter().map(|at| self.ready_for_cycles(id, span(at)));
        checked.reduce(Result::and).unwrap_or(Err((FaultCode::NO_SHAPE, 0)))
    }

    fn check_write(
        &self,
        t: Nanos,
        id: ShapeId,
        shape: &Shape,
        write: bool,
        address: WordAddress,
    ) -> Result<(), (FaultCode, u32)> {
        let covered = || self.permits.valid(t).covers(id, address, shape.width.ones());
        if write && (shape.write.is_none() || !covered()) {
            return Err((FaultCode::NOT_PERMITTED, address.0));
        }
        Ok(())
    }
}
