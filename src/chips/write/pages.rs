//! Parts that take whole pages.

use super::Writing;
use super::cycles::{Target, Until, held, timeout_ms};
use crate::bus::script::{BuildError, Builder, Expect, Script};
use crate::chips::Family;
use crate::chips::family::Action;

/// More than the time in which a further byte may come (150 us, from memory).
const WINDOW_US: u32 = 200;
/// Loads of one turn of the loop: the fewer turns, the shorter the pauses between bytes.
const A_TURN: u32 = 4;

impl Writing {
    /// N pages from B on.
    pub(super) fn pages(&self) -> Builder {
        let load = |script: Builder| script.write_payload().step(1);
        self.each_page(load, Builder::previous, Expect::Payload, Builder::next)
    }

    /// N pages of ones from B on.
    pub(super) fn blank_pages(&self) -> Builder {
        let ones = self.width.ones();
        let load = |script: Builder| script.write_a(ones).step(1);
        self.each_page(load, |script| script, Expect::Ones, |script| script)
    }

    fn each_page(
        &self,
        load: impl Fn(Builder) -> Builder + Copy,
        before: impl FnOnce(Builder) -> Builder,
        expect: Expect,
        after: impl FnOnce(Builder) -> Builder,
    ) -> Builder {
        let ms = timeout_ms(self.abilities.program_us.1);
        let until = Until { expect, at_b: false, ms, buffered: false };
        self.open().set_a_to_b().repeat_n(|script| {
            held(script, ms, |script| {
                let script = self.load_page(script, load);
                after(self.wait(before(script.step(-1)), until)).step(1)
            })
        })
    }

    /// A page from A on, without any pause.
    pub(super) fn load_page(
        &self,
        script: Builder,
        load: impl Fn(Builder) -> Builder + Copy,
    ) -> Builder {
        let words = self.abilities.page_words.unwrap_or(1);
        let turn = if words.is_multiple_of(A_TURN) { A_TURN } else { 1 };
        script.atomic(|script| {
            let script = self.send(script, Action::PageStart, Target::A);
            script.repeat((words / turn).max(1), |script| (0..turn).fold(script, |s, _| load(s)))
        })
    }

    /// Switches the software protection of page-write parts on or off; `None` for other families.
    /// N = 1, no payload.
    pub fn protection(&self, on: bool) -> Option<Result<Script, BuildError>> {
        if self.way.family != Family::Page {
            return None;
        }
        let action = if on { Action::PageStart } else { Action::Unprotect };
        let longest = self.abilities.program_us.1.saturating_add(WINDOW_US);
        let script = self.open().atomic(|script| self.send(script, action, Target::B));
        // No byte follows: the window ends, and so does the cycle that some parts make of it.
        Some(script.delay(longest).script())
    }
}
