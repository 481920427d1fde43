//! Writes by hand: leave first, then a run of one word, then a look at it.

use super::{Answer, Hand};
use crate::bus::script::Builder;
use crate::bus::{Nanos, ShapeId, Word, WordAddress};
use crate::jobs::JobError;
use crate::jobs::runs::{Runs, Start, Window, nonsense};
use crate::module::Kind;
use crate::wire::Kind as Wire;

/// The longest leave that is asked for.
const LONGEST: u16 = 600;

/// What writes need to be made once and in order.
pub(super) struct Pen<'a, 'd> {
    runs: Runs<'a, 'd>,
    /// Leave: the space, its shape, and until when.
    leave: Option<(usize, ShapeId, Nanos)>,
}

impl<'a, 'd> Pen<'a, 'd> {
    pub(super) fn new(runs: Runs<'a, 'd>) -> Self {
        Self { runs, leave: None }
    }

    /// True if there is leave for this space now.
    pub(super) fn covers(&self, space: usize, now: Nanos) -> bool {
        self.leave.is_some_and(|(of, _, until)| of == space && now < until)
    }

    /// Gives leave back.
    pub(super) async fn lock(&mut self) -> Result<(), JobError> {
        match self.leave.take() {
            Some((_, shape, _)) => self.runs.no_permit(shape).await,
            None => Ok(()),
        }
    }
}

impl Hand<'_, '_> {
    /// Asks the adapter for leave to write in the whole of a RAM space.
    pub(super) async fn allow(&mut self, index: usize, seconds: u16) -> Result<Answer, JobError> {
        let Some(space) = self.sheet.spaces.get(index) else {
            return Ok(Answer::Refused("the sheet has no such space".into()));
        };
        let access = &self.powered.access[index];
        if let Some(why) = &access.no_write {
            return Ok(Answer::Refused(why.to_string()));
        }
        if space.kind != Kind::Ram {
            return Ok(Answer::Refused(format!("{} is no RAM: it stays locked", space.name)));
        }
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
        self.pen.leave = Some((index, access.id, until));
        Ok(Answer::Allowed { space: index, seconds })
    }

    /// Writes one word and reads it back.
    pub(super) async fn write(
        &mut self,
        space: usize,
        address: WordAddress,
        value: Word,
    ) -> Result<Answer, JobError> {
        if let Some(refused) = self.may_write(space, address, value) {
            return Ok(refused);
        }
        let shape = self.powered.access[space].id;
        let width = self.sheet.spaces[space].width;
        let script = Builder::new(shape).write_payload().script();
        let script = script.map_err(|error| nonsense(Wire::SCRIPT, error.to_string()))?;
        let start = Start { at: address, n: 1, payload: vec![value] };
        self.pen.runs.run(&script, width, start).await?;
        self.report.writes += 1;
        let words = self.read(space, address).await?;
        Ok(Answer::Written { space, address, value, words })
    }
}
