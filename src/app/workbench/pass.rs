//! The pass under way: how far it is, how fast, and how long it still takes.

use super::snapshot::Progress;
use std::collections::VecDeque;
use std::time::{Duration, Instant};

/// The rate now is that of the last stretch so long.
const STRETCH: Duration = Duration::from_secs(3);

/// The pass under way, with the times of its progress.
pub(super) struct Pass {
    /// The space, and what is done with it.
    pub(super) label: String,
    done: u64,
    all: u64,
    begun: Instant,
    marks: VecDeque<(Instant, u64)>,
}

impl Pass {
    /// A pass over so many bytes begins.
    pub(super) fn new(label: String, all: u64, now: Instant) -> Self {
        let marks = VecDeque::from([(now, 0)]);
        Self { label, done: 0, all, begun: now, marks }
    }

    /// So many bytes more.
    pub(super) fn moved(&mut self, count: u64, now: Instant) -> Progress {
        self.at(self.done + count, now)
    }

    /// So many bytes in all.
    pub(super) fn at(&mut self, done: u64, now: Instant) -> Progress {
        self.done = done.min(self.all);
        if self.marks.back().is_none_or(|(at, _)| now.duration_since(*at).as_millis() >= 200) {
            self.marks.push_back((now, self.done));
        }
        while self.marks.len() > 2 && now.duration_since(self.marks[1].0) >= STRETCH {
            self.marks.pop_front();
        }
        let rate = |since: Instant, bytes: u64| {
            let ms = now.duration_since(since).as_millis() as u64;
            if ms < 100 { 0 } else { bytes * 1_000 / ms }
        };
        let (at, done) = self.marks.front().copied().unwrap_or((self.begun, 0));
        let rate_mean = rate(self.begun, self.done);
        let enough = now.duration_since(self.begun).as_millis() >= 1_000 && rate_mean > 0;
        Progress {
            label: self.label.clone(),
            done: self.done,
            all: self.all,
            rate_now: rate(at, self.done.saturating_sub(done)),
            rate_mean,
            left_s: enough.then(|| (self.all - self.done).div_ceil(rate_mean.max(1))),
        }
    }

    /// What is to be said of it afterwards.
    pub(super) fn summary(&self, now: Instant) -> String {
        let took = now.duration_since(self.begun);
        let size = humansize::format_size(self.done, humansize::BINARY);
        let ms = took.as_millis().max(1) as u64;
        let rate = humansize::format_size(self.done * 1_000 / ms, humansize::BINARY);
        format!("{}: {size} in {}, {rate}/s", self.label, seconds(took))
    }
}

fn seconds(took: Duration) -> String {
    let tenths = took.as_millis() / 100;
    match tenths {
        0..600 => format!("{}.{} s", tenths / 10, tenths % 10),
        _ => format!("{} min {} s", tenths / 600, tenths / 10 % 60),
    }
}
