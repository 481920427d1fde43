//! Single cycles by hand: the rail stays on while somebody orders them one by one.

mod order;
mod watch;
mod writing;

pub use order::{Answer, Next, Order};

use super::runs::{Runs, renew};
use super::word::{read_word, word_of};
use super::{Desk, JobError, Powered};
use crate::bus::{Nanos, Precharge, Word, WordAddress};
use crate::chips::{Family, Verdict};
use crate::image::counted;
use crate::link::LinkError;
use crate::module::{Sheet, Space};
use crate::wire::{HoldRequest, LineLevels, LinesRequest, RailState, Reply, Request, RunId, Sizes};
use serde::Serialize;
use std::fmt;
use std::future::{Future, poll_fn};
use std::pin::pin;
use std::task::Poll;
use watch::Watch;
use writing::Pen;

/// While nothing is ordered, rail and link are looked at so often.
const LOOK: Nanos = Nanos::from_secs(1);

/// What was done by hand while the rail was on.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct CycleReport {
    /// Reads, each made twice.
    pub reads: u64,
    /// Writes.
    pub writes: u64,
    /// Cycles held.
    pub holds: u64,
    /// Writes that began to change a flash chip.
    pub changes: u64,
}

impl fmt::Display for CycleReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { reads, writes, holds, changes } = self;
        let (reads, holds) = (counted(*reads, "word"), counted(*holds, "cycle"));
        write!(f, "by hand: {reads} read, {writes} written, {holds} held")?;
        match changes {
            0 => Ok(()),
            n => write!(f, "; {n} of the writes changed flash chips"),
        }
    }
}

struct Hand<'a, 'd> {
    desk: &'a Desk<'d>,
    sheet: &'a Sheet,
    powered: &'a Powered,
    pen: Pen<'a, 'd>,
    watch: Watch,
    nonce: u16,
    report: CycleReport,
}

/// Does what `next` orders until it says that this is the end; `tell` gets every answer. `families`
/// has those that the chips of each space may follow.
pub async fn cycles(
    desk: &Desk<'_>,
    sheet: &Sheet,
    families: &[&'static [Family]],
    powered: &Powered,
    sizes: Sizes,
    next: &mut dyn FnMut() -> Next,
    tell: &mut dyn FnMut(&Answer),
) -> Result<CycleReport, JobError> {
    let pen = Pen::new(Runs::new(desk, sizes));
    let (nonce, report) = (fastrand::u16(..), CycleReport::default());
    let watch = Watch::new(sheet, families);
    let mut hand = Hand { desk, sheet, powered, pen, watch, nonce, report };
    loop {
        match ordered(desk, next).await? {
            None => return Ok(hand.report),
            Some(order) => {
                let answer = match hand.follow(&order).await {
                    Ok(answer) => answer,
                    Err(
                        error @ (JobError::Safety(_)
                        | JobError::Link { error: LinkError::Fault { .. }, .. }),
                    ) => Answer::Refused(error.to_string()),
                    Err(error) => return Err(error),
                };
                tell(&answer);
            }
        }
    }
}

/// The level of every line, rail on or off; nothing is driven.
pub async fn sample_lines(desk: &Desk<'_>) -> Result<LineLevels, LinkError> {
    let request = Request::Lines(LinesRequest { hold_ms: 0, set: Vec::new() });
    match desk.client.call(request.clone()).await? {
        Reply::Lines(reply) => Ok(reply.levels),
        other => Err(LinkError::unexpected(request.kind(), &other)),
    }
}

/// The next order; `None` at the end. Meanwhile the rail is looked at.
async fn ordered(
    desk: &Desk<'_>,
    next: &mut dyn FnMut() -> Next,
) -> Result<Option<Order>, JobError> {
    loop {
        let mut nap = pin!(desk.client.sleep(LOOK));
        let found = poll_fn(|context| {
            if let Err(error) = desk.check() {
                return Poll::Ready(Err(error));
            }
            if let Some(lost) = desk.client.lost() {
                return Poll::Ready(Err(lost.into()));
            }
            match next() {
                Next::Order(order) => Poll::Ready(Ok(Some(Some(order)))),
                Next::End => Poll::Ready(Ok(Some(None))),
                Next::Nothing => nap.as_mut().poll(context).map(|()| Ok(None)),
            }
        });
        if let Some(found) = found.await? {
            return Ok(found);
        }
        if let Reply::Ping(ping) = desk.client.call(Request::Ping).await?
            && ping.rail != RailState::On
        {
            return Err(LinkError::RailGone { why: "a PING tells", mv: ping.rail_min }.into());
        }
    }
}

impl<'a> Hand<'a, '_> {
    fn space(&self, index: usize, address: WordAddress) -> Result<&'a Space, Answer> {
        let Some(space) = self.sheet.spaces.get(index) else {
            return Err(Answer::Refused("the sheet has no such space".into()));
        };
        if address < space.base || address > space.last() {
            return Err(Answer::Refused(format!(
                "{} has words {} to {}, and no word {address}",
                space.name,
                space.base,
                space.last()
            )));
        }
        Ok(space)
    }

    async fn follow(&mut self, order: &Order) -> Result<Answer, JobError> {
        match *order {
            Order::Read { space, address } => {
                if let Err(refused) = self.space(space, address) {
                    return Ok(refused);
                }
                self.report.reads += 1;
                let words = self.read(space, address).await?;
                Ok(Answer::Read { space, address, words })
            }
            Order::Write { space, address, value } => self.write(space, address, value).await,
            Order::Hold { space, address, value } => self.hold(space, address, value).await,
            Order::LetGo => {
                self.desk.client.call(Request::Stop).await?;
                // STOP has halted the run chain.
                renew(self.desk).await?;
                Ok(Answer::LetGo)
            }
            Order::Lines => Ok(Answer::Lines(sample_lines(self.desk).await?)),
            Order::Allow { space, seconds, changes } => self.allow(space, seconds, changes).await,
            Order::Lock => {
                self.pen.lock().await?;
                Ok(Answer::Locked)
            }
        }
    }

    /// A word after zeros and after ones: a line that nobody drives shows itself.
    async fn read(&mut self, space: usize, address: WordAddress) -> Result<[Word; 2], JobError> {
        let mut words = [0; 2];
        for (word, precharge) in words.iter_mut().zip([Precharge::Zeros, Precharge::Ones]) {
            self.nonce = self.nonce.wrapping_add(1);
            let access = &self.powered.access[space];
            let request = read_word(self.nonce, access.id, address, precharge);
            let reply = self.desk.client.call(request).await?;
            *word = word_of(&reply, access.shape.width)?;
        }
        Ok(words)
    }

    async fn hold(
        &mut self,
        space: usize,
        address: WordAddress,
        value: Option<Word>,
    ) -> Result<Answer, JobError> {
        if let Err(refused) = self.space(space, address) {
            return Ok(refused);
        }
        if let Some(value) = value
            && let Err(refused) = self.may_write(space, address, value)
        {
            return Ok(refused);
        }
        let nothing = RunId { session: 0, chain: 0, run: 0 };
        let (id, after) = value.map_or((nothing, 0), |_| self.desk.chain.borrow_mut().next());
        let hold = HoldRequest {
            id,
            after,
            shape: self.powered.access[space].id,
            write: value.is_some(),
            address,
            value: value.unwrap_or(0),
        };
        let request = Request::Hold(hold);
        let reply = self.desk.client.call(request.clone()).await;
        if value.is_some() && reply.is_err() {
            renew(self.desk).await?;
        }
        let reply = reply?;
        let Reply::Hold(standing) = reply else {
            return Err(LinkError::unexpected(request.kind(), &reply).into());
        };
        self.report.holds += 1;
        if let Some(value) = value {
            self.wrote(space, address, value);
        }
        Ok(Answer::Held { space, address, value, data: standing.data })
    }

    /// What this write would do to the chips of a flash space; the error is why it is not made.
    fn may_write(
        &mut self,
        index: usize,
        address: WordAddress,
        value: Word,
    ) -> Result<Option<Verdict>, Answer> {
        let space = self.space(index, address)?;
        if let Some(why) = &self.powered.access[index].no_write {
            return Err(Answer::Refused(why.to_string()));
        }
        if value & !space.width.ones() != 0 {
            return Err(Answer::Refused(format!(
                "{value:X} is wider than the {} bits of {}",
                space.width.bits(),
                space.name
            )));
        }
        let now = self.desk.client.now();
        let verdict = self.watch.would(index, address, value, now);
        if let Some(verdict) = verdict {
            if verdict.is_refused() {
                let chip = space.chips.get(verdict.chip).map(|chip| chip.reference.as_str());
                let told = verdict.told(chip);
                return Err(Answer::Refused(format!("{told}. Nothing was sent")));
            }
            if verdict.changes() && !self.pen.may_change(space, index, address, verdict.act, now) {
                return Err(Answer::Asks { space: index, address, value, verdict });
            }
        }
        if !self.pen.covers(index, now) {
            let why = format!("writes in {} are locked; nothing was sent", space.name);
            return Err(Answer::Refused(why));
        }
        Ok(verdict)
    }

    /// A write was made.
    fn wrote(&mut self, index: usize, address: WordAddress, value: Word) {
        self.report.writes += 1;
        let now = self.desk.client.now();
        if let Some(verdict) = self.watch.saw(index, address, value, now)
            && verdict.changes()
        {
            self.report.changes += 1;
        }
    }
}
