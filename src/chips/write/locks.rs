//! Lock bits of sectors that a plain command sets and clears.

use super::cycles::{Target, Until, held};
use super::{LockKind, Writing};
use crate::bus::script::{BuildError, Expect, Script};
use crate::chips::family::Action;

/// Longest times, from memory: a lock bit is set in 75 us, all are cleared in 0.7 s on J3 parts;
/// older ones take a few times as long.
const SET_MS: u32 = 10;
const CLEAR_ALL_MS: u32 = 5_000;

impl Writing {
    /// Clears the lock of the sector at B, or of all sectors ([`LockKind::ClearsAll`]); `None`
    /// where no command does. N = 1, no payload.
    pub fn unlock(&self) -> Option<Result<Script, BuildError>> {
        let ms = match self.abilities.locks {
            LockKind::Fixed => return None,
            LockKind::Each { .. } => SET_MS,
            LockKind::ClearsAll => CLEAR_ALL_MS,
        };
        self.change_lock(Action::UnlockSector, ms)
    }

    /// Sets the lock of the sector at B; `None` where no command does. N = 1, no payload.
    pub fn lock(&self) -> Option<Result<Script, BuildError>> {
        match self.abilities.locks {
            LockKind::Fixed => None,
            LockKind::Each { .. } | LockKind::ClearsAll => {
                self.change_lock(Action::LockSector, SET_MS)
            }
        }
    }

    fn change_lock(&self, action: Action, ms: u32) -> Option<Result<Script, BuildError>> {
        if !self.has(action) {
            return None;
        }
        // The second cycle is no data: there is nothing to expect but a status.
        let until = Until { expect: Expect::Ones, at_b: true, ms, buffered: false };
        let script = held(self.clear_status(self.open()), ms, |script| {
            self.wait(self.send(script, action, Target::B), until)
        });
        Some(script.finally(|script| self.back(script)).script())
    }
}
