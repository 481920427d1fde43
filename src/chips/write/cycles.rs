//! The pieces that scripts of every family are made of.

use super::Writing;
use crate::bus::script::{Builder, Expect, Wait, WaitKind};
use crate::bus::{Width, Word, WordAddress};
use crate::chips::family::{Action, At, Cycle, Put, Status};
use crate::chips::{Family, Way};

/// What a critical stretch may last beyond the wait in it: an adapter is slower than the bus.
const CRITICAL_MS: u32 = 50;
/// Bits of the status register that must be as after success: SR.7, 5, 4, 3, 1.
const REGISTER: u16 = 0xBA;
/// Those among them that mean failure.
const REGISTER_FAILS: u16 = 0x3A;
const READY: u16 = 0x80;
/// A status register that says ready holds its verdict already.
const VERDICT_MS: u32 = 1;

/// Where the cycles of a command go that have no address of their own.
#[derive(Clone, Copy)]
pub(super) enum Target {
    A,
    B,
}

/// How a wait ends and how long it may last.
#[derive(Clone, Copy)]
pub(super) struct Until {
    pub expect: Expect,
    pub at_b: bool,
    pub ms: u32,
    /// The chips may show an abort of their write buffer.
    pub buffered: bool,
}

impl Writing {
    /// `value` for every chip; the other lines are 0.
    pub(super) fn every(&self, value: u16) -> Word {
        self.chips.iter().fold(0, |word, chip| word | chip.put(value))
    }

    /// The data lines of the chips.
    pub(super) fn lanes(&self) -> Word {
        self.chips.iter().fold(0, |word, chip| word | chip.lane().mask())
    }

    /// The word address of a chip's address.
    pub(super) fn at(&self, chip: u32) -> WordAddress {
        let offset = self.chips.first().map_or(chip, |first| first.address(chip));
        self.base.plus(offset)
    }

    /// The width of a chip's lane.
    pub(super) fn lane(&self) -> Width {
        let bits = self.chips.first().map_or(8, |chip| chip.lane().bits);
        Width::from_bits(bits.into()).unwrap_or(Width::W8)
    }

    /// True if a word changes nothing in any of the chips.
    pub(super) fn is_blank(&self, word: Word) -> bool {
        word & self.lanes() == self.lanes()
    }

    /// What data lines beyond the lanes of a run carry: "back to reading".
    fn resting(&self) -> Word {
        let reset = if self.way.family == Family::Intel { 0xFF } else { 0xF0 };
        let others = u32::from_le_bytes([reset; 4]) & !self.lanes();
        (self.every(u16::from(reset)) | others) & self.width.ones()
    }

    /// The beginning of every script.
    pub(super) fn open(&self) -> Builder {
        let script = Builder::new(self.shape);
        let ones = self.width.ones();
        match self.way.family {
            Family::Page => script,
            _ if self.lanes() & ones == ones => script.rest(self.resting()),
            _ => script.lanes(self.lanes() & ones, self.resting()),
        }
    }

    /// The cycles of a command, its value taken from the payload. A command whose unlock addresses
    /// are not known is not sent at all.
    pub(super) fn send(&self, script: Builder, action: Action, target: Target) -> Builder {
        self.put(script, self.cycles(action), target)
    }

    /// The same without the cycle that has a value.
    pub(super) fn send_codes(&self, script: Builder, action: Action, target: Target) -> Builder {
        let codes = self.cycles(action).filter(|cycle| cycle.put != Put::Value);
        self.put(script, codes, target)
    }

    fn cycles(&self, action: Action) -> impl Iterator<Item = &'static Cycle> + Clone + use<> {
        let command = self.way.family.command(action);
        command.map(|command| command.cycles).unwrap_or_default().iter()
    }

    fn put(
        &self,
        script: Builder,
        cycles: impl Iterator<Item = &'static Cycle> + Clone,
        target: Target,
    ) -> Builder {
        let Way { unlock, mode, .. } = self.way;
        let unlocks = cycles.clone().any(|cycle| matches!(cycle.at, At::First | At::Second));
        let addresses = unlock.addresses(mode);
        if unlocks && addresses.is_none() {
            return script;
        }
        let [first, second] = addresses.unwrap_or_default();
        cycles.fold(script, |script, cycle| match (cycle.at, cycle.put, target) {
            (At::First, Put::Code(code), _) => script.write(self.at(first), self.code(code)),
            (At::Second, Put::Code(code), _) => script.write(self.at(second), self.code(code)),
            (At::Word(word), Put::Code(code), _) => {
                script.write(self.at(mode.scaled(word)), self.code(code))
            }
            (_, Put::Code(code), Target::A) => script.write_a(self.code(code)),
            (_, Put::Code(code), Target::B) => script.write_b(self.code(code)),
            (_, Put::Value, _) => script.write_payload(),
        })
    }

    fn code(&self, code: u8) -> Word {
        self.every(u16::from(code))
    }

    /// True if the family has this command.
    pub(super) fn has(&self, action: Action) -> bool {
        self.way.family.command(action).is_some()
    }

    /// Waits until every chip is done or has failed.
    pub(super) fn wait(&self, script: Builder, until: Until) -> Builder {
        let Until { expect, at_b, ms, buffered } = until;
        let wait =
            Wait { lane: self.lane(), kind: WaitKind::Data, at_b, expect, fail: 0, timeout_ms: ms };
        match self.way.family.status() {
            Status::Polling { exceeded, aborted, .. } => {
                let aborted = if buffered { aborted } else { 0 };
                script.wait(Wait { fail: self.code(exceeded | aborted), ..wait })
            }
            // While a chip is busy the other bits mean nothing (from memory, J3 datasheet): ready
            // first, then the verdict.
            Status::Register => {
                let ready =
                    Wait { kind: WaitKind::Status, expect: self.bits(READY, READY), ..wait };
                let verdict = Wait {
                    expect: self.bits(READY, REGISTER),
                    fail: self.every(REGISTER_FAILS),
                    timeout_ms: VERDICT_MS,
                    ..ready
                };
                script.wait(ready).wait(verdict)
            }
        }
    }

    /// Waits for the ready bit of a status register alone, at A.
    pub(super) fn wait_ready(&self, script: Builder, ms: u32) -> Builder {
        script.wait(Wait {
            lane: self.lane(),
            kind: WaitKind::Status,
            at_b: false,
            expect: self.bits(READY, READY),
            fail: 0,
            timeout_ms: ms,
        })
    }

    fn bits(&self, value: u16, mask: u16) -> Expect {
        Expect::Value { value: self.every(value), mask: self.every(mask) }
    }

    /// Status of before is cleared, where the family has a register for it.
    pub(super) fn clear_status(&self, script: Builder) -> Builder {
        self.send(script, Action::ClearStatus, Target::B)
    }

    /// Back to reading, after a command of the usual kind.
    pub(super) fn back(&self, script: Builder) -> Builder {
        match self.way.family {
            // Nothing but data goes to a page outside a sequence.
            Family::Page => script,
            _ => self.send(self.clear_status(script), Action::Reset, Target::B),
        }
    }

    /// Back to reading, and out of an aborted write buffer.
    pub(super) fn back_from_buffer(&self, script: Builder) -> Builder {
        self.send(self.back(script), Action::BufferAbort, Target::B)
    }

    /// Back to reading from whatever a failure has left.
    pub(super) fn whole_reset(&self) -> Builder {
        let mut script = self.open();
        if self.way.family == Family::Page {
            // Such a part takes a sequence only without a pause.
            return script.atomic(|script| self.send(script, Action::Reset, Target::B));
        }
        script = self.back(script);
        if self.abilities.bypass {
            script = self.back(self.send(script, Action::BypassEnd, Target::B));
        }
        if self.abilities.buffer_words.is_some() {
            script = self.send(script, Action::BufferAbort, Target::B);
        }
        script
    }
}

/// A time-out in whole milliseconds for what takes so long at most: a quarter more, at least 1.
pub(super) const fn timeout_ms(longest_us: u32) -> u32 {
    let ms = (longest_us as u64 + longest_us as u64 / 4).div_ceil(1_000) as u32;
    if ms == 0 { 1 } else { ms }
}

/// A command and the wait for its end, which takes `ms` at most; a stop comes before or after them.
pub(super) fn held(script: Builder, ms: u32, body: impl FnOnce(Builder) -> Builder) -> Builder {
    script.critical(ms.saturating_add(CRITICAL_MS), body)
}
