//! Which chip failed, in words.

use super::Writing;
use crate::bus::Word;
use crate::bus::script::LaneResult;
use crate::chips::family::{Status, StatusRegister};

impl Writing {
    /// Which chips failed and how: from the lanes of the last wait and the word read last. Chips
    /// count from 0 as in [`Writing::chips`]; those that are done are left out.
    pub fn explain(&self, lanes: [LaneResult; 4], d: Word) -> Vec<(usize, String)> {
        let chips = self.chips.iter().enumerate();
        chips
            .filter_map(|(index, chip)| {
                let lane = chip.lane();
                let result = lanes.get(usize::from(lane.first / lane.bits.max(1)))?;
                Some((index, self.said(*result, chip.get(d))?))
            })
            .collect()
    }

    /// The same for chips that took no notice of an erase, from what its first script emitted.
    pub fn explain_unstarted(&self, emitted: &[Word]) -> Vec<(usize, String)> {
        let last = emitted.last().copied().unwrap_or_default();
        let started = self.started(emitted);
        let unstarted = self.chips.iter().zip(started).enumerate().filter(|(_, (_, on))| !on);
        unstarted
            .map(|(index, (chip, _))| {
                let said = match self.way.family.status() {
                    Status::Register => register(chip.get(last)),
                    Status::Polling { .. } => {
                        "the sector is protected: the chip took no notice of the erase".to_owned()
                    }
                };
                (index, said)
            })
            .collect()
    }

    fn said(&self, result: LaneResult, read: u16) -> Option<String> {
        let status = self.way.family.status();
        Some(match (result, status) {
            (LaneResult::Unasked | LaneResult::Done, _) => return None,
            (LaneResult::Aborted, _) => "the run ended before the chip was done".to_owned(),
            (LaneResult::TimedOut, _) => {
                format!("still busy when its longest time was over (reads {read:02X})")
            }
            (_, Status::Register) => register(read),
            (LaneResult::Failed, Status::Polling { aborted, exceeded, .. }) => {
                let bits = |mask: u8| read & u16::from(mask) != 0;
                if bits(aborted) && !bits(exceeded) {
                    format!("it aborted the load of its write buffer (reads {read:02X})")
                } else {
                    format!(
                        "it gave up: a cell does not change, or the sector is protected (reads {read:02X})"
                    )
                }
            }
            (LaneResult::Different, _) => format!(
                "it stands still at {read:02X}: a cell does not change, or the sector is protected"
            ),
        })
    }
}

fn register(read: u16) -> String {
    let register = StatusRegister(read as u8);
    match register.failure() {
        Some(failure) => {
            format!("{failure} ({register})", register = format_args!("status {read:02X}"))
        }
        None => register.to_string(),
    }
}
