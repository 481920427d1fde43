//! The USB bridge on the way to the host: bytes in, packets out.

use super::costs::line_time;
use super::transmitter::Sent;
use crate::bus::Nanos;
use std::collections::VecDeque;

/// Collects bytes: a full packet leaves when its last byte is in, a short one when its first byte
/// is `latency` old (FTDI application note AN232B-04: 62 bytes, 16 ms).
#[derive(Debug)]
pub(super) struct Bridge {
    size: usize,
    latency: Nanos,
    delay: Nanos,
    /// False: bytes take no time on the line.
    charged: bool,
    held: Vec<u8>,
    first_at: Nanos,
    free: Nanos,
    packets: VecDeque<(Nanos, Vec<u8>)>,
}

impl Bridge {
    pub(super) fn new(size: usize, latency: Nanos, delay: Nanos, charged: bool) -> Self {
        let latency = if charged { latency } else { Nanos::ZERO };
        Self {
            size: size.max(1),
            latency,
            delay,
            charged,
            held: Vec::new(),
            first_at: Nanos::ZERO,
            free: Nanos::ZERO,
            packets: VecDeque::new(),
        }
    }

    /// Takes what the adapter sends.
    pub(super) fn feed(&mut self, sent: &Sent) {
        let start = sent.start.max(self.free);
        let rate = sent.rate;
        let charged = self.charged && rate.0 > 0;
        let after = |bytes: usize| {
            if charged { start + line_time(rate, bytes as u64) } else { start }
        };
        let bytes = &sent.bytes;
        let mut done = 0;
        while done < bytes.len() {
            if self.held.is_empty() {
                self.first_at = after(done + 1);
            }
            let deadline = self.first_at + self.latency;
            if after(done + 1) > deadline {
                self.leave(deadline);
                continue;
            }
            let room = (self.size - self.held.len()).min(bytes.len() - done);
            let n = if after(done + room) <= deadline {
                room
            } else {
                let bits = u128::from(deadline.since(start).0) * u128::from(rate.0);
                ((bits / 10_000_000_000) as usize).saturating_sub(done).clamp(1, room)
            };
            self.held.extend_from_slice(&bytes[done..done + n]);
            done += n;
            if self.held.len() == self.size {
                self.leave(after(done));
            } else if done < bytes.len() {
                self.leave(deadline);
            }
        }
        self.free = after(bytes.len());
    }

    fn leave(&mut self, at: Nanos) {
        let bytes = std::mem::replace(&mut self.held, Vec::with_capacity(self.size));
        self.packets.push_back((at + self.delay, bytes));
    }

    /// The next packet that has reached the host by `now`; everything that started by then has
    /// been fed before.
    pub(super) fn poll(&mut self, now: Nanos) -> Option<Vec<u8>> {
        let deadline = self.first_at + self.latency;
        if !self.held.is_empty() && deadline <= now && self.free <= now {
            self.leave(deadline);
        }
        if self.packets.front()?.0 > now {
            return None;
        }
        self.packets.pop_front().map(|(_, bytes)| bytes)
    }

    /// When the next packet reaches the host.
    pub(super) fn due(&self) -> Option<Nanos> {
        let packet = self.packets.front().map(|(at, _)| *at);
        let short = (self.first_at + self.latency).max(self.free) + self.delay;
        packet.or((!self.held.is_empty()).then_some(short))
    }

    /// The bridge's rate changed at `now`: what comes in later is noise.
    pub(super) fn garble(&mut self, now: Nanos) {
        let late = self.packets.iter_mut().filter(|(at, _)| *at > now + self.delay);
        late.for_each(|(_, bytes)| *bytes = garbled(bytes));
        if self.free > now {
            self.held = garbled(&self.held);
        }
    }

    /// What had not left the adapter's side by `now` is lost.
    pub(super) fn cut(&mut self, now: Nanos) {
        self.packets.retain(|(at, _)| *at <= now + self.delay);
        self.held.clear();
        self.free = now;
    }

    /// What had not reached the host by `now` is lost.
    pub(super) fn unplug(&mut self, now: Nanos) {
        self.packets.retain(|(at, _)| *at <= now);
        self.held.clear();
        self.free = now;
    }

    /// Everything is lost: a host has opened the port anew.
    pub(super) fn clear(&mut self) {
        self.packets.clear();
        self.held.clear();
    }
}

/// What a receiver at another rate makes of bytes: no delimiters, so never a frame.
pub(super) fn garbled(bytes: &[u8]) -> Vec<u8> {
    bytes.iter().map(|byte| (byte.rotate_left(3) ^ 0xA5) | 1).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bus::Baud;

    fn packets(bridge: &mut Bridge) -> Vec<(u64, usize)> {
        let mut out = Vec::new();
        while let Some(at) = bridge.due() {
            assert_eq!(bridge.poll(Nanos(at.0 - 1)), None);
            out.push((at.0 / 1_000, bridge.poll(at).unwrap().len()));
        }
        out
    }

    fn sent(start_us: u64, rate: u32, n: usize) -> Sent {
        Sent { start: Nanos::from_micros(start_us), rate: Baud(rate), bytes: vec![1; n] }
    }

    fn ftdi() -> Bridge {
        Bridge::new(62, Nanos::from_millis(16), Nanos::ZERO, true)
    }

    #[test]
    fn full_packets_leave_at_once_and_short_ones_after_the_latency() {
        let mut bridge = ftdi();
        bridge.feed(&sent(0, 1_000_000, 130));
        // 62 bytes of 10 us; the last six start with byte 125, which is in at 1,250 us.
        assert_eq!(packets(&mut bridge), [(620, 62), (1_240, 62), (17_250, 6)]);
    }

    #[test]
    fn a_later_frame_fills_the_packet_or_misses_it() {
        let mut bridge = ftdi();
        bridge.feed(&sent(0, 1_000_000, 10));
        bridge.feed(&sent(5_000, 1_000_000, 60));
        assert_eq!(packets(&mut bridge), [(5_520, 62), (21_530, 8)]);
        let mut bridge = ftdi();
        bridge.feed(&sent(0, 1_000_000, 10));
        bridge.feed(&sent(50_000, 1_000_000, 10));
        assert_eq!(packets(&mut bridge), [(16_010, 10), (66_010, 10)]);
    }

    #[test]
    fn a_slow_line_is_cut_by_the_latency_inside_a_frame() {
        let mut bridge = ftdi();
        // 1,000 us a byte: the first is in at 1 ms, so the packet leaves at 17 ms with 17 bytes.
        bridge.feed(&sent(0, 10_000, 40));
        assert_eq!(packets(&mut bridge), [(17_000, 17), (34_000, 17), (51_000, 6)]);
    }
}
