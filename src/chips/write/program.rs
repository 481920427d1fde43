//! Programming words and write buffers.

use super::Writing;
use super::cycles::{Target, Until, held, timeout_ms};
use crate::bus::script::{Builder, Expect};
use crate::chips::Family;
use crate::chips::family::Action;

impl Writing {
    /// N words from B on; blank ones are passed over.
    pub(super) fn words(&self) -> Builder {
        let bypass = self.abilities.bypass && self.has(Action::BypassStart);
        let program = if bypass { Action::BypassProgram } else { Action::Program };
        let mut script = self.clear_status(self.open()).set_a_to_b();
        if bypass {
            script = script.atomic(|script| self.send(script, Action::BypassStart, Target::B));
        }
        let ms = timeout_ms(self.abilities.program_us.1);
        let until = Until { expect: Expect::Payload, at_b: false, ms, buffered: false };
        script
            .repeat_n(|script| {
                let word = |script| {
                    let script = self.send(script, program, Target::A);
                    self.wait(script.previous(), until)
                };
                let one = |script| held(script, ms, word);
                script.unless_payload(self.width.ones(), one).next().step(1)
            })
            .finally(|script| {
                let script =
                    if bypass { self.send(script, Action::BypassEnd, Target::B) } else { script };
                self.back(script)
            })
    }

    /// N full write buffers from B on.
    pub(super) fn buffers(&self) -> Builder {
        let words = self.abilities.buffer_words.unwrap_or(1);
        // A mask of eight bits: the count less one of 256 words is FF.
        let count = self.every(words.wrapping_sub(1) as u16);
        let full = |script: Builder| {
            let script = script.write_a(count);
            let load = |script: Builder| script.write_payload().step(1);
            self.confirmed(script.repeat(words, load))
        };
        self.buffered_open()
            .repeat_n(|script| self.one_buffer(script, full).step(1))
            .finally(|script| self.back_from_buffer(script))
    }

    /// N words from B on as one write buffer; the payload has the count before them.
    pub(super) fn part_buffer(&self) -> Builder {
        let part = |script: Builder| {
            let script = script.write_payload();
            self.confirmed(script.repeat_n(|script| script.write_payload().step(1)))
        };
        self.one_buffer(self.buffered_open(), part).finally(|script| self.back_from_buffer(script))
    }

    fn buffered_open(&self) -> Builder {
        self.clear_status(self.open()).set_a_to_b()
    }

    fn buffer_ms(&self) -> u32 {
        timeout_ms(self.abilities.buffer_us.1)
    }

    /// The way into a buffer at A, its load, and the wait for its end.
    fn one_buffer(&self, script: Builder, load: impl FnOnce(Builder) -> Builder) -> Builder {
        let ms = self.buffer_ms();
        held(script, ms.saturating_mul(2), |script| {
            let script = self.begin_buffer(script);
            let until = Until { expect: Expect::Payload, at_b: false, ms, buffered: true };
            self.wait(load(script), until).next()
        })
    }

    /// The cycles of a buffer before its count.
    fn begin_buffer(&self, script: Builder) -> Builder {
        let script = self.send_codes(script, Action::BufferStart, Target::A);
        match self.way.family {
            // All lanes must have a buffer free before the first gets its count.
            Family::Intel => self.wait_ready(script, self.buffer_ms()),
            _ => script,
        }
    }

    /// The end of a buffer; A is behind its last word, which is the one that is polled.
    fn confirmed(&self, script: Builder) -> Builder {
        self.send(script.step(-1), Action::BufferConfirm, Target::A).previous()
    }
}
