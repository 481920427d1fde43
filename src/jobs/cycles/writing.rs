//! Writes by hand: leave first, then a run of one word, then a look at it.

use super::{Answer, Hand};
use crate::bus::script::Builder;
use crate::bus::{Nanos, ShapeId, Word, WordAddress};
use crate::chips::Act;
use crate::jobs::runs::{Runs, Start, Window, nonsense};
use crate::jobs::{JobError, refuse_locked};
use crate::module::{Kind, Space};
use crate::wire::Kind as Wire;

/// The longest leave that is asked for.
const LONGEST: u16 = 600;

/// What writes need to be made once and in order.
pub(super) struct Pen<'a, 'd> {
    runs: Runs<'a, 'd>,
    leave: Option<Given>,
}

/// Leave that was given.
struct Given {
    space: usize,
    shape: ShapeId,
    until: Nanos,
    /// Where flash chips may be changed.
    changes: Option<(WordAddress, WordAddress)>,
}

impl<'a, 'd> Pen<'a, 'd> {
    pub(super) fn new(runs: Runs<'a, 'd>) -> Self {
        Self { runs, leave: None }
    }

    /// True if there is leave for this space now.
    pub(super) fn covers(&self, space: usize, now: Nanos) -> bool {
        self.leave.as_ref().is_some_and(|given| given.space == space && now < given.until)
    }

    /// True if there is leave to change a flash chip here now. What reaches the whole chip needs
    /// leave for all of its space.
    pub(super) fn may_change(
        &self,
        space: &Space,
        index: usize,
        address: WordAddress,
        act: Act,
        now: Nanos,
    ) -> bool {
        let window = self.leave.as_ref().and_then(|given| given.changes);
        let Some((first, last)) = window.filter(|_| self.covers(index, now)) else { return false };
        match act {
            Act::EraseChip => first <= space.base && last >= space.last(),
            _ => (first..=last).contains(&address),
        }
    }

    /// Gives leave back.
    pub(super) async fn lock(&mut self) -> Result<(), JobError> {
        match self.leave.take() {
            Some(given) => self.runs.no_permit(given.shape).await,
            None => Ok(()),
        }
    }
}

impl Hand<'_, '_> {
    /// Asks the adapter for leave to write in the whole of a space. Where flash chips may be changed
    /// is looked after here: their commands are written at addresses all over the space.
    pub(super) async fn allow(
        &mut self,
        index: usize,
        seconds: u16,
        changes: Option<(WordAddress, WordAddress)>,
    ) -> Result<Answer, JobError> {
        let Some(space) = self.sheet.spaces.get(index) else {
            return Ok(Answer::Refused("the sheet has no such space".into()));
        };
        let access = &self.powered.access[index];
        if let Some(why) = &access.no_write {
            return Ok(Answer::Refused(why.to_string()));
        }
        if space.kind == Kind::Rom {
            return Ok(Answer::Refused(format!("{} is ROM: it stays locked", space.name)));
        }
        let changes = changes.filter(|_| space.kind == Kind::Flash);
        if let Some((first, last)) = changes
            && (first > last || first < space.base || last > space.last())
        {
            let (from, to) = (space.base, space.last());
            return Ok(Answer::Refused(format!(
                "{} has words {from} to {to}, and no stretch {first} to {last}",
                space.name
            )));
        }
        refuse_locked(self.desk).await?;
        self.pen.lock().await?;
        let window = Window {
            shape: access.id,
            start: space.base,
            words: space.words,
            addresses: Vec::new(),
            lanes: space.width.ones(),
        };
        let asked = self.desk.client.now();
        let seconds = self.pen.runs.permit_window(window, seconds.min(LONGEST)).await?;
        let until = asked + Nanos::from_secs(u64::from(seconds));
        self.pen.leave = Some(Given { space: index, shape: access.id, until, changes });
        Ok(Answer::Allowed { space: index, seconds, changes })
    }

    /// Writes one word and reads it back.
    pub(super) async fn write(
        &mut self,
        space: usize,
        address: WordAddress,
        value: Word,
    ) -> Result<Answer, JobError> {
        let does = match self.may_write(space, address, value) {
            Ok(does) => does,
            Err(refused) => return Ok(refused),
        };
        let shape = self.powered.access[space].id;
        let width = self.sheet.spaces[space].width;
        let script = Builder::new(shape).write_payload().script();
        let script = script.map_err(|error| nonsense(Wire::SCRIPT, error.to_string()))?;
        let start = Start { at: address, n: 1, payload: vec![value] };
        self.pen.runs.run(&script, width, start).await?;
        self.wrote(space, address, value);
        let words = self.read(space, address).await?;
        Ok(Answer::Written { space, address, value, words, does })
    }
}
