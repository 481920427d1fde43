//! Erasing: one sector, several at once, the whole chip.

use super::Writing;
use super::cycles::{Target, Until, held};
use crate::bus::script::{BuildError, Builder, Expect, Script};
use crate::bus::{Word, WordAddress};
use crate::chips::Family;
use crate::chips::family::{Action, Status};

/// Between the command and the first look. AMD parts begin 50 us after the last command and are
/// busy for about 100 us where every sector is protected (Am29LV160D datasheet, from memory); a
/// page begins 150 us after its last byte (from memory).
const LOOK_US: u32 = 200;
/// Looks at the chips that tell whether they have begun.
const LOOKS: u32 = 3;
/// Sectors of one command whose addresses fit one script.
const MOST_SECTORS: usize = 32;
/// The commands of the start, at most.
const START_MS: u32 = 20;
/// No run waits longer: what would take longer is several runs.
pub(super) const LONGEST_WAIT_MS: u32 = 590_000;

impl Writing {
    /// Erases the sector that begins at B; N = 1, no payload. The first script starts it and emits
    /// what [`started`](Self::started) needs; the second waits for the end. Given fewer lanes, the
    /// second looks at those only.
    pub fn erase(&self) -> Result<Vec<Script>, BuildError> {
        let command = |script: Builder| match self.way.family {
            Family::Page => {
                let ones = self.width.ones();
                self.load_page(script.set_a_to_b(), |script| script.write_a(ones).step(1))
            }
            _ => self.send(script, Action::EraseSector, Target::B),
        };
        self.started_and_awaited(command, self.abilities.erase_ms.1)
    }

    /// Erases the whole chip; B is its first word. `None` if the family has no such command.
    pub fn erase_chip(&self) -> Option<Result<Vec<Script>, BuildError>> {
        let command = |script| self.send(script, Action::EraseChip, Target::B);
        let erase = || self.started_and_awaited(command, self.abilities.chip_ms);
        self.has(Action::EraseChip).then(erase)
    }

    /// Erases the sectors that begin at `firsts`, 1 to 32 of them, by one command; B is the first
    /// of them. `None` for any other number, for more than one wait can await, or if the family has
    /// no such command.
    pub fn erase_sectors(&self, firsts: &[WordAddress]) -> Option<Result<Vec<Script>, BuildError>> {
        if self.way.family != Family::Amd || firsts.is_empty() || firsts.len() > MOST_SECTORS {
            return None;
        }
        let more = self.every(0x30);
        let command = |script: Builder| {
            // Each further sector must come within 50 us of the one before.
            script.atomic(|script| {
                let script = self.send(script, Action::EraseSector, Target::B);
                firsts[1..].iter().fold(script, |script, first| script.write(*first, more))
            })
        };
        let ms = self.abilities.erase_ms.1.saturating_mul(firsts.len() as u32);
        (ms <= LONGEST_WAIT_MS).then(|| self.started_and_awaited(command, ms))
    }

    fn started_and_awaited(
        &self,
        command: impl FnOnce(Builder) -> Builder,
        ms: u32,
    ) -> Result<Vec<Script>, BuildError> {
        let start = held(self.clear_status(self.open()), START_MS, command).delay(LOOK_US);
        let start = start.repeat(LOOKS, |script| script.read_b().emit());
        let until = Until { expect: Expect::Ones, at_b: true, ms, buffered: false };
        let wait = held(self.open(), ms, |script| self.wait(script, until));
        Ok(vec![start.script()?, wait.finally(|script| self.back(script)).script()?])
    }

    /// For each chip: true if it is erasing or done, false if it took no notice, as a protected
    /// sector does. `emitted` is what the first script of an erase has emitted.
    pub fn started(&self, emitted: &[Word]) -> Vec<bool> {
        let chips = self.chips.iter();
        chips
            .map(|chip| {
                let looks: Vec<u16> = emitted.iter().map(|&word| chip.get(word)).collect();
                let ones = chip.get(Word::MAX);
                !looks.is_empty() && has_begun(self.way.family.status(), &looks, ones)
            })
            .collect()
    }
}

fn has_begun(status: Status, looks: &[u16], ones: u16) -> bool {
    match status {
        Status::Polling { toggle, .. } => {
            let toggles = |pair: &[u16]| (pair[0] ^ pair[1]) & u16::from(toggle) != 0;
            // Status never reads as ones: the sector is blank, or was made so between two looks.
            looks.contains(&ones) || looks.len() > 1 && looks.windows(2).all(toggles)
        }
        // Busy, or ready without a complaint.
        Status::Register => {
            let complains = |look: &u16| look & 0x80 != 0 && look & 0x3A != 0;
            !looks.iter().any(complains)
        }
    }
}
