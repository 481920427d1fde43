//! What writes by hand would do to flash chips, followed as long as the rail is on.

use crate::bus::{Nanos, Word, WordAddress};
use crate::chips::{Family, Recogniser, Verdict, Wiring};
use crate::module::{Chip, Kind, Sheet};

/// A page that loads is closed by the chip after a pause (AT28C040 0542F: 150 us; others are slower,
/// none as slow as this).
const PAUSE: Nanos = Nanos::from_millis(1);

/// A recogniser for each flash space.
pub(super) struct Watch(Vec<Option<Watched>>);

struct Watched {
    base: WordAddress,
    recogniser: Recogniser,
    /// When the last write was over.
    last: Option<Nanos>,
}

impl Watch {
    /// The rail has just come on. `families` has those that the chips of each space may follow.
    pub(super) fn new(sheet: &Sheet, families: &[&'static [Family]]) -> Self {
        let spaces = sheet.spaces.iter().enumerate().map(|(index, space)| {
            let chips: Vec<Wiring> = space.chips.iter().map(Chip::wiring).collect();
            let families = families.get(index).copied().unwrap_or(&Family::ALL);
            let recogniser = Recogniser::new(chips, space.width).of_families(families);
            let watched = Watched { base: space.base, recogniser, last: None };
            (space.kind == Kind::Flash).then_some(watched)
        });
        Self(spaces.collect())
    }

    /// What is followed there, and the address from the base of the space; `None` without flash.
    fn at(&mut self, space: usize, address: WordAddress) -> Option<(&mut Watched, u32)> {
        let watched = self.0.get_mut(space)?.as_mut()?;
        let offset = address.0.wrapping_sub(watched.base.0);
        Some((watched, offset))
    }

    /// What this write would do; `None` where there is no flash.
    pub(super) fn would(
        &mut self,
        space: usize,
        address: WordAddress,
        value: Word,
        now: Nanos,
    ) -> Option<Verdict> {
        let (watched, offset) = self.at(space, address)?;
        if watched.last.is_some_and(|last| now >= last + PAUSE) {
            watched.recogniser.paused();
        }
        Some(watched.recogniser.would(offset, value))
    }

    /// The write was made, and was over at `now`; what it did.
    pub(super) fn saw(
        &mut self,
        space: usize,
        address: WordAddress,
        value: Word,
        now: Nanos,
    ) -> Option<Verdict> {
        let (watched, offset) = self.at(space, address)?;
        watched.last = Some(now);
        Some(watched.recogniser.saw(offset, value))
    }
}
