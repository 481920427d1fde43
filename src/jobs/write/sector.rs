//! One sector: journal, permit, erase, blank checksum, program, checksum, journal.

use super::bank::Bank;
use super::{Place, block, part};
use crate::bus::script::{BuildError, LaneResult, Script};
use crate::bus::{Digest, Precharge};
use crate::chips::ScriptKind;
use crate::jobs::blocks::{Conditions, Reach};
use crate::jobs::reading::digest_block;
use crate::jobs::runs::{Runs, Start, Streamed, Window, nonsense};
use crate::jobs::{Arrival, BlockState, Event, JobError, Powered};
use crate::shelf::{Journal, PlannedSector, Stage, Step};
use crate::wire::{Kind, RunReply};

/// A permit lasts at least so long beyond what erasing and the line need.
const PERMIT_SLACK_S: u64 = 30;
/// Where the line has no rate, a sector is taken to need no longer than this.
const UNKNOWN_LINE_S: u64 = 600;

/// One sector at work.
pub(super) struct Work<'a, 'd> {
    pub place: &'a Place<'a, 'd>,
    pub powered: &'a Powered,
    pub bank: &'a Bank<'a>,
    pub sector: &'a PlannedSector,
}

impl Work<'_, '_> {
    /// Writes it; what a chip said where it failed.
    pub async fn write(
        &self,
        runs: &mut Runs<'_, '_>,
        journal: &mut Journal,
        erase: bool,
    ) -> Result<Option<String>, JobError> {
        self.journal(journal, Stage::Begun, "")?;
        let space = &self.bank.planned.name;
        self.place.desk.show(&Arrival::InHand { space, address: self.bank.at(self.sector) });
        self.permit(runs).await?;
        let done = self.changed(runs, journal, erase).await?;
        if done.is_some() {
            // A chip that failed in the middle of a command may leave it only by a reset.
            let reset = built(self.bank.writing.reset())?;
            runs.run(&reset, self.bank.planned.width, self.start()).await?;
        }
        let (stage, shown, text) = match &done {
            None => (Stage::Written, BlockState::Written, ""),
            Some(why) => (Stage::Failed, BlockState::Failed, why.as_str()),
        };
        self.journal(journal, stage, text)?;
        self.tell(shown);
        Ok(done)
    }

    async fn changed(
        &self,
        runs: &mut Runs<'_, '_>,
        journal: &mut Journal,
        erase: bool,
    ) -> Result<Option<String>, JobError> {
        if self.sector.unlock
            && let Some(script) = super::locks::open_one(self.bank)
        {
            let reply = runs.run(&built(script)?, self.bank.planned.width, self.start()).await?;
            if reply.status != 0 {
                return Ok(Some(format!("it could not be unlocked: {}", self.said(&reply))));
            }
        }
        // A page-write part erases each page by itself as it takes it.
        if erase && !self.bank.writing.erases_itself() {
            if let Some(why) = self.erase(runs).await? {
                return Ok(Some(why));
            }
            self.journal(journal, Stage::Erased, "")?;
            self.tell(BlockState::Erased);
        }
        if let Some(why) = self.program(runs, erase).await? {
            return Ok(Some(why));
        }
        let digest = self.digest(Precharge::Zeros).await?;
        let width = self.bank.planned.width;
        if digest != Some(Digest::of(width, self.bank.target(self.sector), false)) {
            return Ok(Some(
                "the chips report that it is programmed, and its checksum is not that of the plan"
                    .to_owned(),
            ));
        }
        if self.sector.unlock
            && let Some(script) = super::locks::close_one(self.bank)
        {
            let reply = runs.run(&built(script)?, width, self.start()).await?;
            if reply.status != 0 {
                return Ok(Some(format!("it could not be locked again: {}", self.said(&reply))));
            }
        }
        Ok(None)
    }

    /// Erases it and proves that it is blank.
    async fn erase(&self, runs: &mut Runs<'_, '_>) -> Result<Option<String>, JobError> {
        let width = self.bank.planned.width;
        let writing = &self.bank.writing;
        for (number, script) in built(writing.erase())?.iter().enumerate() {
            let reply = runs.run(script, width, self.start()).await?;
            if reply.status != 0 {
                return Ok(Some(format!("the erase failed: {}", self.said(&reply))));
            }
            if number == 0 && !reply.emitted.is_empty() {
                let idle = writing.explain_unstarted(&reply.emitted);
                let idle: Vec<_> = idle
                    .into_iter()
                    .map(|(chip, what)| format!("{}: {what}", self.chip(chip)))
                    .collect();
                if !idle.is_empty() {
                    return Ok(Some(format!("the erase did not begin: {}", idle.join("; "))));
                }
            }
        }
        let blank = self.digest(Precharge::Zeros).await?;
        let ones = width.ones();
        Ok(match blank {
            Some(digest) if digest.and == ones => None,
            Some(digest) => {
                let missing = digest.and ^ ones;
                let bits = (0..width.bits()).filter(|bit| missing >> bit & 1 == 1);
                let bits: Vec<_> = bits.map(|bit| format!("D{bit}")).collect();
                Some(format!(
                    "the chips report that it is erased, and words read 0 on {}",
                    bits.join(", ")
                ))
            }
            None => Some("no checksum came".to_owned()),
        })
    }

    async fn program(
        &self,
        runs: &mut Runs<'_, '_>,
        erased: bool,
    ) -> Result<Option<String>, JobError> {
        let width = self.bank.planned.width;
        let writing = &self.bank.writing;
        let target = width.words(self.bank.target(self.sector));
        // Without an erase, words that are as they should be are not programmed again.
        let words: Vec<_> = if erased {
            target.collect()
        } else {
            let before = width.words(self.bank.before(self.sector));
            target.zip(before).map(|(to, is)| if to == is { width.ones() } else { to }).collect()
        };
        let steps = writing.program(self.sector.first.0, &words, runs.most_words(width));
        let mut kinds: Vec<ScriptKind> = Vec::new();
        let mut starts = Vec::new();
        for step in steps {
            let which = kinds.iter().position(|kind| *kind == step.kind).unwrap_or_else(|| {
                kinds.push(step.kind);
                kinds.len() - 1
            });
            starts.push((which, Start { at: step.b, n: step.n, payload: step.payload }));
        }
        let scripts: Vec<Script> =
            kinds.iter().map(|kind| built(writing.script(*kind))).collect::<Result<_, _>>()?;
        let desk = self.place.desk;
        let size = width.bytes();
        let done = |words: usize| desk.moved((words * size) as u64);
        Ok(match runs.stream(width, &scripts, starts, done).await? {
            Streamed::Done => None,
            Streamed::Stopped(reply) => {
                Some(format!("programming failed near word {}: {}", reply.a, self.said(&reply)))
            }
        })
    }

    /// A run that works on the sector itself.
    fn start(&self) -> Start {
        Start { at: self.bank.at(self.sector), n: 1, payload: Vec::new() }
    }

    fn chip(&self, number: usize) -> String {
        let chip = self.bank.planned.chips.get(number);
        chip.map_or_else(|| format!("chip {number}"), |chip| format!("{} {}", chip.chip, chip.lane))
    }

    /// Which chips failed, and how.
    fn said(&self, reply: &RunReply) -> String {
        let lanes = reply.lanes.map(|lane| LaneResult::of_number(lane).unwrap_or_default());
        let said = self.bank.writing.explain(lanes, reply.d);
        let said: Vec<_> =
            said.into_iter().map(|(chip, what)| format!("{}: {what}", self.chip(chip))).collect();
        if said.is_empty() { "no chip says why".to_owned() } else { said.join("; ") }
    }

    async fn permit(&self, runs: &mut Runs<'_, '_>) -> Result<(), JobError> {
        let writing = &self.bank.writing;
        let window = Window {
            shape: writing.shape,
            start: self.bank.at(self.sector),
            words: self.sector.words,
            addresses: writing.command_addresses(),
            lanes: writing.width.ones(),
        };
        let bytes = self.bank.bytes(self.sector);
        let line = self.place.desk.client.baud();
        let line = line.map_or(UNKNOWN_LINE_S, |baud| bytes * 10 * 4 / u64::from(baud.0.max(1)));
        let erase = u64::from(writing.abilities.erase_ms.1) / 1_000;
        let words = u64::from(self.sector.words);
        let program = words * u64::from(writing.abilities.program_us.1) / 1_000_000;
        let seconds = line + erase + program + PERMIT_SLACK_S;
        let seconds = u16::try_from(seconds).unwrap_or(u16::MAX);
        runs.permit_window(window, seconds).await.map(|_| ())
    }

    async fn digest(&self, precharge: Precharge) -> Result<Option<Digest>, JobError> {
        let how = Conditions { precharge, ..Conditions::of_pass(1) };
        let bank = self.bank;
        let nonce = fastrand::u16(..);
        let reach = Reach::new(self.powered, self.place.hello, bank.index, &part(bank), how, nonce);
        let block = block(self.sector, bank.planned.width);
        digest_block(self.place.desk, &reach, &block).await
    }

    fn journal(&self, journal: &mut Journal, stage: Stage, text: &str) -> Result<(), JobError> {
        let space = self.bank.planned.name.clone();
        let (number, text) = (self.sector.number, text.to_owned());
        Ok(journal.add(Step::Sector { space, number, stage, text })?)
    }

    fn tell(&self, state: BlockState) {
        self.place.desk.tell(&Event::Block {
            space: self.bank.planned.name.clone(),
            address: self.bank.at(self.sector).0,
            bytes: self.bank.bytes(self.sector) as u32,
            state,
        });
    }
}

/// Scripts of ours that cannot be built are a defect, not the user's doing.
pub(super) fn built<T>(script: Result<T, BuildError>) -> Result<T, JobError> {
    script.map_err(|error| nonsense(Kind::SCRIPT, error.to_string()))
}
