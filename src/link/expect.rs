//! Which reply answers which request, and how long it may take.

use super::LinkError;
use crate::bus::{Baud, Millivolts, Nanos, crc32};
use crate::wire::{Fault, FaultCode, RailAction, RailState, Reply, Request};

/// Cycles a word that the host allows for on-adapter work before it asks again. An 8-bit AVR needs 75 to
/// 290, and up to 1,050 where a word is not made of whole ports or its shape is slow
/// (`tests/kit_costs.rs`). Who asks again too early gives it the same work twice.
const CYCLES_PER_WORD: u64 = 1_200;
/// A reply frame without its payload: kind, tag, echo, checksum, COBS, delimiters.
const REPLY_OVERHEAD: u64 = 30;
/// The longest reply that brings words.
const REPLY_MAX: u64 = 1_056 + REPLY_OVERHEAD;
/// HELLO's reply with every name at its longest.
const HELLO_REPLY: u64 = 700;

/// True if the adapter answers it at once, out of the order of the queue.
pub(super) fn is_immediate(request: &Request) -> bool {
    matches!(request, Request::Hello(_) | Request::Ping | Request::Stop)
}

/// True if `reply` is an answer to `request`: its echo is equal, not only its tag.
pub(super) fn answers(request: &Request, reply: &Reply) -> bool {
    match (request, reply) {
        (Request::Hello(ask), Reply::Hello(got)) => ask.session == got.session,
        (Request::Ping, Reply::Ping(_))
        | (Request::Stop, Reply::Stop(_))
        | (Request::Lines(_), Reply::Lines(_)) => true,
        (Request::Rate(ask), Reply::Rate(got)) => ask.rate == got.rate,
        (Request::Rail(ask), Reply::Rail(got)) => match ask.action {
            RailAction::On => got.state == RailState::On,
            RailAction::Off => got.state == RailState::Off,
        },
        (Request::Shape(ask), Reply::Shape(got)) => ask.id == got.id,
        (Request::Read(ask), Reply::Read(got)) => ask.echo == got.echo,
        (Request::Digest(ask), Reply::Digest(got)) => *ask == got.echo,
        (Request::Permit(ask), Reply::Permit(got)) => ask.shape == got.shape,
        (Request::Walk(ask), Reply::Walk(got)) => {
            ask.nonce == got.nonce && ask.lines.len() == got.rows.len()
        }
        (Request::Hold(ask), Reply::Hold(got)) => *ask == got.echo,
        (Request::Repeat(ask), Reply::Repeat(got)) => ask.id == got.id,
        (Request::Script(ask), Reply::Script(got)) => {
            ask.slot == got.slot && crc32(&ask.bytes) == got.crc
        }
        (Request::Run(ask), Reply::Run(got)) => ask.id == got.id && ask.crc() == got.request_crc,
        (_, Reply::Fault(got)) => got.of == request.kind() && got.id == request.echo_id(),
        (_, Reply::Busy(got)) => got.of == request.kind() && got.id == request.echo_id(),
        _ => false,
    }
}

/// The time that the adapter and the line need for it, at the least guess that is safe.
pub(super) fn allowance(request: &Request, baud: Option<Baud>, clock_hz: u32) -> Nanos {
    let line = |bytes| baud.map_or(Nanos::ZERO, |baud| baud.time_of(bytes));
    let words = |count: u64| Nanos::from_cycles(count * CYCLES_PER_WORD, clock_hz.max(1_000_000));
    match request {
        Request::Hello(_) => line(HELLO_REPLY),
        Request::Read(read) => {
            let count = u64::from(read.echo.count);
            let line = line(count * 4 + count.div_ceil(128) + REPLY_OVERHEAD);
            line.max(words(count))
        }
        Request::Digest(digest) => words(u64::from(digest.count)) + line(REPLY_OVERHEAD * 2),
        Request::Rail(rail) => match rail.action {
            RailAction::On => Nanos::from_millis(u64::from(rail.settle_ms)),
            // Two seconds until "powered through its lines", as `docs/wire.md` has it.
            RailAction::Off => Nanos::from_millis(2_200),
        },
        // What lasts longer says BUSY about once a second.
        Request::Run(run) => {
            line(run.payload.len() as u64 * 4 + REPLY_MAX) + Nanos::from_millis(1_500)
        }
        Request::Repeat(_) | Request::Walk(_) => line(REPLY_MAX) + Nanos::from_millis(1_500),
        Request::Script(script) => line(script.bytes.len() as u64 + REPLY_OVERHEAD),
        _ => line(REPLY_OVERHEAD * 2),
    }
}

/// The error that a FAULT means for the caller.
pub(super) fn fault_error(request: &Request, fault: &Fault) -> LinkError {
    let mv = Millivolts(fault.detail.min(u32::from(u16::MAX)) as u16);
    match (fault.code, request) {
        (FaultCode::NO_SESSION, _) => LinkError::Restarted,
        (FaultCode::RAIL_OFF, Request::Read(_) | Request::Digest(_)) => {
            LinkError::RailGone { why: "the adapter says it is off", mv }
        }
        (FaultCode::RAIL_SAGGED, _) => LinkError::RailGone { why: "it sagged", mv },
        (FaultCode::OVER_CURRENT, _) => LinkError::RailGone { why: "over-current", mv },
        (code, _) => LinkError::Fault { request: request.kind(), code, detail: fault.detail },
    }
}
