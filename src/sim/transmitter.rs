//! The adapter's transmitter: one frame on the line, at most one finished reply behind it.

use super::costs::line_time;
use crate::bus::{Baud, Nanos};
use crate::wire::{encode_frame, encode_frame_after_idle};
use std::collections::VecDeque;

/// Small replies that may wait: HELLO, PING, STOP, BUSY and faults of the moment.
const URGENT_MAX: usize = 16;

/// A frame that starts on the line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sent {
    /// When its first bit starts; the bytes follow each other without a gap.
    pub start: Nanos,
    /// The rate it is sent at.
    pub rate: Baud,
    /// The frame with its delimiters.
    pub bytes: Vec<u8>,
}

#[derive(Debug)]
struct Outgoing {
    body: Vec<u8>,
    then_rate: Option<Baud>,
}

/// Two buffers: while one is on the line, the next reply is made in the other.
#[derive(Debug)]
pub(super) struct Transmitter {
    rate: Baud,
    charged: bool,
    urgent: VecDeque<Vec<u8>>,
    waiting: Option<Outgoing>,
    free_at: Nanos,
    started: bool,
    next_rate: Option<Baud>,
    sent: VecDeque<Sent>,
}

impl Transmitter {
    pub(super) fn new(rate: Baud, charged: bool) -> Self {
        Self {
            rate,
            charged,
            urgent: VecDeque::new(),
            waiting: None,
            free_at: Nanos::ZERO,
            started: false,
            next_rate: None,
            sent: VecDeque::new(),
        }
    }

    pub(super) fn rate(&self) -> Baud {
        self.rate
    }

    /// The rate once everything decided has happened.
    pub(super) fn coming_rate(&self) -> Baud {
        self.next_rate.unwrap_or(self.rate)
    }

    /// True if the next reply may be begun.
    pub(super) fn has_room(&self) -> bool {
        self.waiting.is_none()
    }

    /// Takes a finished reply.
    pub(super) fn finish(&mut self, body: Vec<u8>, then_rate: Option<Baud>) {
        self.waiting = Some(Outgoing { body, then_rate });
    }

    /// Takes a small reply that goes before a waiting one; false if there is no room.
    pub(super) fn at_once(&mut self, body: Vec<u8>) -> bool {
        let room = self.urgent.len() < URGENT_MAX;
        if room {
            self.urgent.push_back(body);
        }
        room
    }

    /// Forgets the finished reply: it belongs to a session that is over.
    pub(super) fn forget_waiting(&mut self) {
        self.waiting = None;
    }

    /// Another rate as soon as the line is free.
    pub(super) fn change_rate(&mut self, rate: Baud) {
        self.next_rate = Some(rate);
    }

    /// When there is something to do.
    pub(super) fn due(&self) -> Option<Nanos> {
        let work = self.next_rate.is_some() || self.waiting.is_some() || !self.urgent.is_empty();
        work.then_some(self.free_at)
    }

    /// Changes the rate if that is due; gives the old one.
    pub(super) fn switch(&mut self, t: Nanos) -> Option<Baud> {
        if t < self.free_at {
            return None;
        }
        let rate = self.next_rate.take()?;
        self.started = false;
        Some(std::mem::replace(&mut self.rate, rate))
    }

    /// Starts the next frame if the line is free; true if it did.
    pub(super) fn start(&mut self, t: Nanos) -> bool {
        if t < self.free_at || self.next_rate.is_some() {
            return false;
        }
        let body = if let Some(body) = self.urgent.pop_front() {
            body
        } else if let Some(out) = self.waiting.take() {
            self.next_rate = out.then_rate;
            out.body
        } else {
            return false;
        };
        let follows = self.started && t == self.free_at;
        let bytes = if follows { encode_frame(&body) } else { encode_frame_after_idle(&body) };
        if self.charged {
            self.free_at = t + line_time(self.rate, bytes.len() as u64);
        } else {
            self.free_at = t;
        }
        self.started = true;
        self.sent.push_back(Sent { start: t, rate: self.rate, bytes });
        true
    }

    /// The next frame that has started by `now`.
    pub(super) fn poll(&mut self, now: Nanos) -> Option<Sent> {
        (self.sent.front()?.start <= now).then(|| self.sent.pop_front())?
    }

    #[cfg(test)]
    pub(super) fn held_bytes(&self) -> usize {
        let urgent: usize = self.urgent.iter().map(Vec::len).sum();
        let sent: usize = self.sent.iter().map(|sent| sent.bytes.len()).sum();
        urgent + sent + self.waiting.as_ref().map_or(0, |out| out.body.len())
    }

    /// Everything is lost; `rate` from now on.
    pub(super) fn reset(&mut self, rate: Baud) {
        *self = Self::new(rate, self.charged);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn transmitter() -> Transmitter {
        Transmitter::new(Baud(1_000_000), true)
    }

    #[test]
    fn frames_that_follow_each_other_share_a_delimiter() {
        let mut tx = transmitter();
        tx.finish(vec![0x82, 1], None);
        assert!(tx.start(Nanos::ZERO) && tx.has_room());
        tx.finish(vec![0x82, 2], None);
        assert!(!tx.has_room() && !tx.start(Nanos(1)));
        let first = tx.poll(Nanos::ZERO).unwrap();
        assert_eq!(first.bytes, encode_frame_after_idle(&[0x82, 1]));
        let free = Nanos::from_micros(10) * first.bytes.len() as u64;
        assert_eq!(tx.due(), Some(free));
        assert!(tx.start(free));
        let second = tx.poll(free).unwrap();
        assert_eq!((second.start, second.bytes), (free, encode_frame(&[0x82, 2])));
        tx.finish(vec![0x82, 3], None);
        let later = free + Nanos::from_secs(1);
        assert!(tx.start(later));
        assert_eq!(tx.poll(later).unwrap().bytes, encode_frame_after_idle(&[0x82, 3]));
    }

    #[test]
    fn small_replies_go_first_and_are_bounded() {
        let mut tx = transmitter();
        tx.finish(vec![0x89, 1], None);
        assert_eq!((0..20).filter(|tag| tx.at_once(vec![0x82, *tag])).count(), URGENT_MAX);
        assert!(tx.start(Nanos::ZERO));
        assert_eq!(tx.poll(Nanos::ZERO).unwrap().bytes, encode_frame_after_idle(&[0x82, 0]));
        assert!(!tx.has_room());
    }

    #[test]
    fn the_rate_changes_when_the_reply_has_left() {
        let mut tx = transmitter();
        tx.finish(vec![0x83, 1], Some(Baud(500_000)));
        assert!(tx.start(Nanos::ZERO));
        let left = tx.due().unwrap();
        assert_eq!((tx.switch(Nanos(left.0 - 1)), tx.rate()), (None, Baud(1_000_000)));
        assert_eq!(tx.switch(left), Some(Baud(1_000_000)));
        assert_eq!((tx.rate(), tx.due()), (Baud(500_000), None));
    }
}
