//! Requests that are answered in their turn.

use super::Adapter;
use super::queue::{Ask, Queued};
use super::work::{DigestWork, LONG, Task, Work};
use crate::bus::{Digester, Millivolts, Nanos, Precharge, Shape, Span, Word};
use crate::sim::costs::{Burst, Costs};
use crate::wire::{
    DigestRequest, Encoding, Fault, FaultCode, RailAction, RailRequest, RateReply, ReadEcho,
    ReadReply, Reply, Request, ShapeReply, ShapeRequest, encode_runs,
};

/// Kind, tag and echo before the words of a READ reply.
const READ_HEAD: usize = 15;

/// What a request comes to: how to go on, or code and detail of its fault.
pub(super) type Begun = Result<(Task, Nanos), (FaultCode, u32)>;

impl Adapter {
    /// Begins the next request if nothing is in work and its reply will have room.
    pub(super) fn begin_next(&mut self, t: Nanos) -> bool {
        if self.work.is_some() || !self.tx.has_room() {
            return false;
        }
        let Some(Queued { tag, ask, .. }) = self.queue.pop() else { return false };
        let behind = self.socket.now();
        if behind < t {
            self.socket.delay(t.since(behind));
        }
        let kind = match &ask {
            Ask::Refuse(fault) => fault.of,
            Ask::Do(request) => request.kind(),
        };
        let short = t + self.pay() + self.costs.time(Costs::request(kind));
        let (of, id, begun) = match ask {
            Ask::Refuse(fault) => (fault.of, fault.id, Err((fault.code, fault.detail))),
            Ask::Do(request) => {
                self.books.request(request.kind());
                (request.kind(), request.echo_id(), self.begin(t, short, &request))
            }
        };
        let (task, ends) = begun.unwrap_or_else(|(code, detail)| {
            (Task::Answer(Reply::Fault(Fault { of, id, code, detail }), None), short)
        });
        // How long a run will last is not known.
        let long = ends.since(t) > LONG || matches!(task, Task::Run(_));
        let next_busy = long.then_some(t + LONG);
        let slice_ends = if task.is_sliced() { short } else { ends };
        self.work =
            Some(Work { tag, of, id, started: t, slice_ends, ends, next_busy, halt: None, task });
        true
    }

    fn begin(&mut self, t: Nanos, short: Nanos, request: &Request) -> Begun {
        let place = Self::place_of(request);
        if let Some(judged) = place.and_then(|place| self.judge(&place, short)) {
            return judged;
        }
        match request {
            Request::Rate(request) => {
                let rate = request.rate;
                if !self.config.rates.contains(&rate) {
                    return Err((FaultCode::RATE_NOT_POSSIBLE, 0));
                }
                let then = (rate != self.tx.rate()).then_some(rate);
                Ok((Task::Answer(Reply::Rate(RateReply { rate }), then), short))
            }
            Request::Shape(request) => self.begin_shape(request, short),
            Request::Rail(request) if request.action == RailAction::On => {
                self.begin_rail_on(t, short, *request)
            }
            Request::Rail(_) => Ok((Task::RailOff, self.rail_off(t).max(short))),
            Request::Read(request) => self.begin_read(short, &request.echo),
            Request::Digest(request) => self.begin_digest(short, request),
            Request::Permit(request) => self.begin_permit(t, request, short),
            Request::Script(request) => self.begin_script(request, short),
            Request::Lines(request) => self.begin_lines(t, request, short),
            Request::Walk(request) => self.begin_walk(t, request, short),
            Request::Hold(request) => self.begin_hold(t, request, place, short),
            Request::Run(request) => place.map_or(Err((FaultCode::NOT_NEXT_RUN, 0)), |p| {
                self.begin_run(t, request, p, short)
            }),
            Request::Repeat(request) => place.map_or(Err((FaultCode::NOT_NEXT_RUN, 0)), |p| {
                self.begin_repeat(t, request, p, short)
            }),
            // These never wait; see `frames`.
            Request::Hello(_) | Request::Ping | Request::Stop => {
                Err((FaultCode::UNKNOWN_REQUEST, 0))
            }
        }
    }

    fn begin_shape(&mut self, request: &ShapeRequest, short: Nanos) -> Begun {
        let ShapeRequest { id, shape } = request;
        let reply =
            |used| Ok((Task::Answer(Reply::Shape(ShapeReply { id: *id, used }), None), short));
        let slots = self.config.sizes.shape_slots;
        if id.0 >= slots {
            return Err((FaultCode::NO_SHAPE, 0));
        }
        if let Some(used) = self.shapes.same(*id, shape) {
            return reply(used);
        }
        let control = self.config.control.len().min(16) as u8;
        shape
            .check(control, self.config.data_lines, self.config.write_strobes())
            .and_then(|()| self.shapes.check_beside(*id, shape))
            .map_err(|refusal| (FaultCode::SHAPE_REFUSED, refusal.detail()))?;
        let used = self.costs.round_up(&shape.times);
        self.shapes.put(*id, *shape, used);
        self.permits.forget(*id);
        if self.rail.is_closed() {
            self.shapes.hold();
        }
        reply(used)
    }

    fn begin_rail_on(&mut self, t: Nanos, short: Nanos, request: RailRequest) -> Begun {
        let has = self.shapes.count();
        if has == 0 || has != request.shapes {
            return Err((FaultCode::SHAPES_MISSING, u32::from(has)));
        }
        // The first is the one the board is set to; it cannot switch to another by itself.
        let nominal = self.config.rails.first().copied().unwrap_or_default();
        if !within_5_percent(nominal, request.expected) {
            return Err((FaultCode::VOLTAGE_NOT_POSSIBLE, u32::from(nominal.0)));
        }
        if self.rail.is_on() {
            self.rail.set_floor(request.floor);
            let mv = self.rail.mv(t);
            if self.config.sensed && mv < request.floor {
                self.sag_at(t, mv);
            }
            if !self.rail.is_on() {
                return Err(self.rail.why_off());
            }
            return Ok((Task::Answer(self.rail_reply(t, Nanos::ZERO), None), short));
        }
        self.release();
        self.shapes.hold();
        let settle = Nanos::from_millis(u64::from(request.settle_ms));
        let verdict = self.rail.switch_on(t, nominal, request.floor, settle);
        Ok((Task::RailOn, verdict.max(short)))
    }

    fn begin_read(&mut self, short: Nanos, echo: &ReadEcho) -> Begun {
        let shape = self.ready_for_cycles(echo.shape, echo.span())?;
        let Some(encoding) = echo.known_encoding() else {
            return Err((FaultCode::UNKNOWN_ENCODING, 0));
        };
        let words = usize::from(echo.count);
        let heads = match encoding {
            Encoding::Raw => 0,
            // At worst a head byte for every 128 words.
            Encoding::Runs => words.div_ceil(128),
        };
        let room = usize::from(self.config.sizes.tx_body_max).saturating_sub(READ_HEAD);
        if words * shape.width.bytes() + heads > room {
            return Err((FaultCode::TOO_LONG, 0));
        }
        self.release();
        let raw = self.read_words(&shape, echo.span(), echo.precharge);
        let burst = Burst { shape, precharge: echo.precharge, span: echo.span() };
        let (cycles, payload) = match encoding {
            Encoding::Raw => (self.costs.read(&burst, &raw, false, raw.len()), raw),
            Encoding::Runs => {
                let runs = encode_runs(shape.width, &raw);
                (self.costs.read(&burst, &raw, true, runs.len()), runs)
            }
        };
        let ends = short + self.costs.time(cycles);
        Ok((Task::Answer(Reply::Read(ReadReply { echo: *echo, payload }), None), ends))
    }

    fn read_words(&mut self, shape: &Shape, span: Span, precharge: Precharge) -> Vec<u8> {
        let mut words: Vec<Word> = Vec::with_capacity(span.count as usize);
        self.socket.read_burst(shape, span, precharge, &mut words);
        self.books.words_read += u64::from(span.count);
        let mut raw = Vec::with_capacity(words.len() * shape.width.bytes());
        for word in words {
            shape.width.put(word, &mut raw);
        }
        raw
    }

    fn begin_digest(&mut self, short: Nanos, request: &DigestRequest) -> Begun {
        let shape = self.ready_for_cycles(request.shape, request.span())?;
        let burst = Burst { shape, precharge: request.precharge, span: request.span() };
        let per_word = self.costs.summed(&burst);
        let ends = short + self.costs.times_over(request.count, per_word);
        self.release();
        let digester = Digester::new(shape.width);
        let digest =
            DigestWork { echo: *request, shape, per_word, digester, begun: short, done: 0 };
        Ok((Task::Digest(Box::new(digest)), ends))
    }

    /// The shape to use, if the rail is on and every address is within the board's lines.
    pub(super) fn ready_for_cycles(
        &self,
        id: crate::bus::ShapeId,
        span: Span,
    ) -> Result<Shape, (FaultCode, u32)> {
        if !self.rail.is_on() {
            return Err(self.rail.why_off());
        }
        let shape = self.shapes.get(id).ok_or((FaultCode::NO_SHAPE, 0))?;
        match first_beyond(span, self.config.address_lines) {
            Some(address) => Err((FaultCode::BEYOND_LINES, address)),
            None => Ok(*shape),
        }
    }

    /// Opens the rail in order: bus idle, lines let go, then the switch.
    pub(super) fn rail_off(&mut self, t: Nanos) -> Nanos {
        let was_closed = self.rail.is_closed();
        self.halt_runs();
        self.permits.clear();
        let fallen = self.rail.switch_off(t);
        if was_closed {
            self.let_go();
            self.books.rail(t, false, crate::sim::books::RailWhy::Asked);
            self.socket.power(t, self.rail.rests_at());
        }
        fallen
    }
}

/// The first address of `span` in cycle order that does not fit so many address lines; of one
/// below zero or above 32 bits the low 32 bits.
fn first_beyond(span: Span, address_lines: u8) -> Option<u32> {
    let end = 1_i64 << address_lines.min(32);
    let (low, high) = span.bounds()?;
    if low >= 0 && high < end {
        return None;
    }
    let (start, step) = (i64::from(span.start.0), i64::from(span.step));
    let first = match step {
        _ if start >= end => start,
        1.. => start + (end - start + step - 1) / step * step,
        // Not 0: a span that stands still is inside or begins outside.
        _ => start + (start / -step + 1) * step,
    };
    Some(first.cast_unsigned() as u32)
}

fn within_5_percent(rail: Millivolts, asked: Millivolts) -> bool {
    u32::from(rail.0.abs_diff(asked.0)) * 20 <= u32::from(rail.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bus::WordAddress;

    #[test]
    fn the_first_address_beyond_the_lines_is_named_in_cycle_order() {
        for (start, step, count) in [
            (0, 1, 16),
            (0, 1, 17),
            (14, 3, 2),
            (15, -4, 4),
            (15, -4, 5),
            (2, -1, 9),
            (16, 0, 1),
            (15, 0, 99),
            (40, -30, 2),
            (3, 7, 0),
        ] {
            let span = Span { start: WordAddress(start), step, count };
            let mut all = (0..count).map(|n| i64::from(start) + i64::from(step) * i64::from(n));
            let wanted = all.find(|at| !(0..16).contains(at)).map(|at| at.cast_unsigned() as u32);
            assert_eq!(first_beyond(span, 4), wanted, "{span:?}");
        }
    }
}
