//! Single cycles by hand: the rail stays on while somebody orders them one by one.

mod writing;

use super::runs::{Runs, renew};
use super::word::{read_word, word_of};
use super::{Desk, JobError, Powered};
use crate::bus::{Nanos, Precharge, Word, WordAddress};
use crate::link::LinkError;
use crate::module::{Kind, Sheet, Space};
use crate::wire::{HoldRequest, LineLevels, LinesRequest, RailState, Reply, Request, RunId, Sizes};
use serde::Serialize;
use std::fmt;
use std::future::{Future, poll_fn};
use std::pin::pin;
use std::task::Poll;
use writing::Pen;

/// While nothing is ordered, rail and link are looked at so often.
const LOOK: Nanos = Nanos::from_secs(1);

/// Something to do on the bus. Addresses are word addresses as the module's address lines count.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Order {
    /// Read a word, once after zeros and once after ones.
    Read {
        /// Index of the space in the sheet.
        space: usize,
        /// Where.
        address: WordAddress,
    },
    /// Write a word and read it back.
    Write {
        /// Index of the space in the sheet.
        space: usize,
        /// Where.
        address: WordAddress,
        /// What.
        value: Word,
    },
    /// Keep one cycle still; a write where there is a value.
    Hold {
        /// Index of the space in the sheet.
        space: usize,
        /// Where.
        address: WordAddress,
        /// What is written.
        value: Option<Word>,
    },
    /// Let a held cycle go.
    LetGo,
    /// Sample every line; a held cycle ends with it.
    Lines,
    /// Leave to write in a space, for a time.
    Allow {
        /// Index of the space in the sheet.
        space: usize,
        /// How long.
        seconds: u16,
    },
    /// Leave to write is given back.
    Lock,
}

/// What came of an order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// The word as it was after zeros and after ones.
    Read {
        /// The space.
        space: usize,
        /// Where.
        address: WordAddress,
        /// After the data lines were charged to zeros, and to ones.
        words: [Word; 2],
    },
    /// The write was made, and this is what reads back.
    Written {
        /// The space.
        space: usize,
        /// Where.
        address: WordAddress,
        /// What was written.
        value: Word,
        /// After zeros and after ones.
        words: [Word; 2],
    },
    /// The cycle stands.
    Held {
        /// The space.
        space: usize,
        /// Where.
        address: WordAddress,
        /// What is written, if it is a write.
        value: Option<Word>,
        /// The levels of the space's data lines.
        data: Word,
    },
    /// Nothing is held any more.
    LetGo,
    /// The level of every line.
    Lines(LineLevels),
    /// Writes are allowed.
    Allowed {
        /// The space.
        space: usize,
        /// How long from now.
        seconds: u16,
    },
    /// Writes are locked.
    Locked,
    /// It was not done, and why.
    Refused(String),
}

/// What there is to do next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Next {
    /// This.
    Order(Order),
    /// Nothing yet.
    Nothing,
    /// The rail is to be switched off.
    End,
}

/// What was done by hand while the rail was on.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct CycleReport {
    /// Reads, each made twice.
    pub reads: u64,
    /// Writes.
    pub writes: u64,
    /// Cycles held.
    pub holds: u64,
}

impl fmt::Display for CycleReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { reads, writes, holds } = self;
        write!(f, "by hand: {reads} words read, {writes} written, {holds} cycles held")
    }
}

struct Hand<'a, 'd> {
    desk: &'a Desk<'d>,
    sheet: &'a Sheet,
    powered: &'a Powered,
    pen: Pen<'a, 'd>,
    nonce: u16,
    report: CycleReport,
}

/// Does what `next` orders until it says that this is the end; `tell` gets every answer.
pub async fn cycles(
    desk: &Desk<'_>,
    sheet: &Sheet,
    powered: &Powered,
    sizes: Sizes,
    next: &mut dyn FnMut() -> Next,
    tell: &mut dyn FnMut(&Answer),
) -> Result<CycleReport, JobError> {
    let pen = Pen::new(Runs::new(desk, sizes));
    let (nonce, report) = (fastrand::u16(..), CycleReport::default());
    let mut hand = Hand { desk, sheet, powered, pen, nonce, report };
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

impl Hand<'_, '_> {
    fn space(&self, index: usize, address: WordAddress) -> Result<&Space, Answer> {
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
            Order::Allow { space, seconds } => self.allow(space, seconds).await,
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
            && let Some(refused) = self.may_write(space, address, value)
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
        self.report.writes += u64::from(value.is_some());
        Ok(Answer::Held { space, address, value, data: standing.data })
    }

    /// Why this must not be written, if it must not.
    fn may_write(&self, index: usize, address: WordAddress, value: Word) -> Option<Answer> {
        let space = match self.space(index, address) {
            Ok(space) => space,
            Err(refused) => return Some(refused),
        };
        let refused = |text: String| Some(Answer::Refused(text));
        if let Some(why) = &self.powered.access[index].no_write {
            return refused(why.to_string());
        }
        if space.kind == Kind::Flash {
            return refused(format!(
                "{} is flash: single writes could begin an erase or a program sequence, and this \
                 version cannot tell. Nothing was sent",
                space.name
            ));
        }
        if value & !space.width.ones() != 0 {
            return refused(format!(
                "{value:X} is wider than the {} bits of {}",
                space.width.bits(),
                space.name
            ));
        }
        if !self.pen.covers(index, self.desk.client.now()) {
            return refused(format!("writes in {} are locked; nothing was sent", space.name));
        }
        None
    }
}
