//! Requests that wait for their turn.

use crate::wire::{Fault, Request};
use std::collections::VecDeque;

/// What to do when the turn comes.
#[derive(Clone, Debug)]
pub(super) enum Ask {
    Do(Request),
    Refuse(Fault),
}

#[derive(Clone, Debug)]
pub(super) struct Queued {
    pub(super) tag: u8,
    pub(super) ask: Ask,
    on_line: usize,
}

/// Requests in order, as many as their bytes on the line fit the size that HELLO declares.
#[derive(Debug)]
pub(super) struct Queue {
    list: VecDeque<Queued>,
    bytes: usize,
    room: usize,
}

impl Queue {
    pub(super) fn new(room: u16) -> Self {
        Self { list: VecDeque::new(), bytes: 0, room: usize::from(room) }
    }

    /// Takes a request whose body is `body` bytes; false if there is no room.
    ///
    /// `idle` says that nothing is in work, so that the request is begun at once and never waits.
    pub(super) fn push(&mut self, tag: u8, ask: Ask, body: usize, idle: bool) -> bool {
        let on_line = on_line(body);
        let room = self.bytes + on_line <= self.room || (idle && self.list.is_empty());
        if room {
            self.bytes += on_line;
            self.list.push_back(Queued { tag, ask, on_line });
        }
        room
    }

    pub(super) fn pop(&mut self) -> Option<Queued> {
        let first = self.list.pop_front()?;
        self.bytes -= first.on_line;
        Some(first)
    }

    /// What waits, to be refused in its turn instead.
    pub(super) fn waiting_mut(&mut self) -> impl Iterator<Item = &mut Queued> {
        self.list.iter_mut()
    }

    pub(super) fn clear(&mut self) {
        self.list.clear();
        self.bytes = 0;
    }

    /// Bytes that wait.
    #[cfg(test)]
    pub(super) fn bytes(&self) -> usize {
        self.bytes
    }
}

/// A body on the line: checksum, COBS, both delimiters.
const fn on_line(body: usize) -> usize {
    let checked = body + 4;
    checked + 1 + checked / 254 + 2
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::{Kind, encode_frame_after_idle};

    #[test]
    fn sizes_are_those_of_the_frame() {
        for n in [2, 15, 100, 249, 250, 251, 600] {
            let body = vec![7; n];
            assert!(on_line(n).abs_diff(encode_frame_after_idle(&body).len()) <= 1, "{n}");
        }
    }

    #[test]
    fn what_does_not_fit_is_refused() {
        let ask = Ask::Do(Request::Ping);
        let mut queue = Queue::new(20);
        assert!(queue.push(1, ask.clone(), 2, true));
        assert!(queue.push(2, ask.clone(), 2, false));
        assert!(!queue.push(3, ask.clone(), 2, false));
        assert_eq!(queue.pop().unwrap().tag, 1);
        assert!(queue.push(3, ask, 2, false));
        assert_eq!((queue.bytes(), Kind::PING), (18, Request::Ping.kind()));
    }
}
