//! Frame faults on a byte stream, with a seed.

use std::collections::BTreeMap;

const DELIMITER: u8 = 0;
/// A piece longer than this is no frame and passes as it is.
const LONGEST: usize = 1 << 16;

/// What can happen to a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FrameFault {
    /// It is lost with its delimiter.
    Drop,
    /// One bit is wrong.
    Flip,
    /// It comes twice.
    Double,
    /// Its delimiter is lost.
    LostDelimiter,
}

/// How often each fault happens, as a share of the frames from 0 to 1.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FrameFaults {
    /// Lost.
    pub drop: f64,
    /// A wrong bit.
    pub flip: f64,
    /// Twice.
    pub double: f64,
    /// Without delimiter.
    pub lost_delimiter: f64,
}

impl FrameFaults {
    fn is_none(&self) -> bool {
        [self.drop, self.flip, self.double, self.lost_delimiter].into_iter().all(|odds| odds <= 0.0)
    }
}

/// Damages frames on any byte stream; the same seed damages the same frames.
///
/// While faults are possible, a frame is held until its delimiter has come.
#[derive(Debug)]
pub struct Mangler {
    odds: FrameFaults,
    rng: fastrand::Rng,
    held: Vec<u8>,
    planned: BTreeMap<u64, FrameFault>,
    seen: u64,
    damaged: u64,
}

impl Mangler {
    /// A mangler that damages frames with these odds.
    pub fn new(odds: FrameFaults, seed: u64) -> Self {
        Self {
            odds,
            rng: fastrand::Rng::with_seed(seed),
            held: Vec::new(),
            planned: BTreeMap::new(),
            seen: 0,
            damaged: 0,
        }
    }

    /// Damages the `n`th frame from now; 1 is the next.
    pub fn plan(&mut self, n: u64, fault: FrameFault) {
        self.planned.insert(self.seen + n, fault);
    }

    /// Frames damaged so far.
    pub fn damaged(&self) -> u64 {
        self.damaged
    }

    /// Takes the next bytes of the stream and gives what comes out at the other end.
    pub fn process(&mut self, bytes: &[u8]) -> Vec<u8> {
        if self.odds.is_none() && self.planned.is_empty() {
            let mut out = std::mem::take(&mut self.held);
            out.extend_from_slice(bytes);
            return out;
        }
        let mut out = Vec::with_capacity(bytes.len());
        let mut rest = bytes;
        while let Some(end) = rest.iter().position(|&byte| byte == DELIMITER) {
            self.held.extend_from_slice(&rest[..end]);
            rest = &rest[end + 1..];
            if self.held.is_empty() {
                out.push(DELIMITER);
            } else {
                self.frame(&mut out);
            }
        }
        self.held.extend_from_slice(rest);
        if self.held.len() > LONGEST {
            out.append(&mut self.held);
        }
        out
    }

    fn frame(&mut self, out: &mut Vec<u8>) {
        self.seen += 1;
        let mut frame = std::mem::take(&mut self.held);
        let fault = self.fate();
        self.damaged += u64::from(fault.is_some());
        match fault {
            Some(FrameFault::Drop) => {}
            Some(FrameFault::Flip) => {
                let at = self.rng.usize(..frame.len());
                frame[at] ^= 1 << self.rng.u8(..8);
                out.extend_from_slice(&frame);
                out.push(DELIMITER);
            }
            Some(FrameFault::Double) => {
                for _ in 0..2 {
                    out.extend_from_slice(&frame);
                    out.push(DELIMITER);
                }
            }
            Some(FrameFault::LostDelimiter) => out.extend_from_slice(&frame),
            None => {
                out.extend_from_slice(&frame);
                out.push(DELIMITER);
            }
        }
    }

    fn fate(&mut self) -> Option<FrameFault> {
        let drawn = self.rng.f64();
        if let Some(fault) = self.planned.remove(&self.seen) {
            return Some(fault);
        }
        let mut below = 0.0;
        [
            (self.odds.drop, FrameFault::Drop),
            (self.odds.flip, FrameFault::Flip),
            (self.odds.double, FrameFault::Double),
            (self.odds.lost_delimiter, FrameFault::LostDelimiter),
        ]
        .into_iter()
        .find_map(|(odds, fault)| {
            below += odds;
            (drawn < below).then_some(fault)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAMES: [u8; 7] = [0, 1, 2, 0, 3, 4, 0];

    fn planned(fault: FrameFault) -> Vec<u8> {
        let mut mangler = Mangler::new(FrameFaults::default(), 7);
        mangler.plan(1, fault);
        mangler.process(&FRAMES)
    }

    #[test]
    fn each_fault_hits_the_frame_it_was_planned_for() {
        assert_eq!(planned(FrameFault::Drop), [0, 3, 4, 0]);
        assert_eq!(planned(FrameFault::Double), [0, 1, 2, 0, 1, 2, 0, 3, 4, 0]);
        assert_eq!(planned(FrameFault::LostDelimiter), [0, 1, 2, 3, 4, 0]);
        let flipped = planned(FrameFault::Flip);
        let bits: u32 = flipped.iter().zip(FRAMES).map(|(a, b)| (a ^ b).count_ones()).sum();
        assert_eq!((flipped.len(), bits), (FRAMES.len(), 1));
    }

    #[test]
    fn pieces_and_whole_give_the_same_stream() {
        let odds = FrameFaults { drop: 0.2, flip: 0.2, double: 0.2, lost_delimiter: 0.2 };
        let stream: Vec<u8> = (0..5_000_u32).map(|n| (n * n % 11) as u8).collect();
        let whole = Mangler::new(odds, 3).process(&stream);
        let mut mangler = Mangler::new(odds, 3);
        let pieces: Vec<u8> = stream.chunks(13).flat_map(|c| mangler.process(c)).collect();
        assert_eq!(pieces, whole);
        assert!(mangler.damaged() > 300);
    }

    #[test]
    fn without_odds_everything_passes() {
        let mut mangler = Mangler::new(FrameFaults::default(), 1);
        assert_eq!(mangler.process(&[5, 6]), [5, 6]);
        assert_eq!(mangler.process(&FRAMES), FRAMES);
    }
}
