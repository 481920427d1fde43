//! One way of asking tried on one space, with every word that it touches saved before and
//! compared afterwards.

use crate::bus::script::{BuildError, Script};
use crate::bus::{Precharge, ShapeId, Width, Word, WordAddress};
use crate::chips::ask::{Answer, QUERY_WORDS};
use crate::chips::{Asking, BusMode, Catalogue, Family, Finding, QUERY_FIRST, Unlock, Way, Wiring};
use crate::jobs::runs::{Runs, nonsense};
use crate::jobs::word::{read_word, word_of};
use crate::jobs::{Desk, JobError};
use crate::wire::Kind;
use std::collections::BTreeMap;
use std::ops::RangeInclusive;

/// Leave to write lasts so long; a sequence takes milliseconds, a slow link seconds.
const PERMIT_S: u16 = 20;

/// Words by their bus address.
pub(super) type Words = BTreeMap<WordAddress, Word>;

/// What a way of asking has brought.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Answered {
    /// This is memory that takes writes; nothing more was written but the words as they were.
    TakesWrites {
        /// Words that are not again what they were.
        changed: Vec<WordAddress>,
        /// Words that were written.
        touched: Vec<WordAddress>,
    },
    /// What each chip gave, in the order of the chips asked.
    Chips {
        /// One a chip.
        findings: Vec<Finding>,
        /// Words that are not what they were before.
        changed: Vec<WordAddress>,
        /// The family whose reset brought the chips back, where it is another than was asked.
        left_by: Option<Family>,
    },
}

/// How a space is asked.
pub(super) struct Asker<'a, 'd, 'r> {
    pub(super) desk: &'a Desk<'d>,
    pub(super) runs: &'r mut Runs<'a, 'd>,
    /// The shape for reading words: the slow one, so that what is compared is sure.
    pub(super) slow: ShapeId,
    pub(super) width: Width,
    pub(super) catalogue: &'a Catalogue,
    /// Commands may be meant for what is no flash: no reset unless something has answered.
    pub(super) careful: bool,
    /// Words that may read other than a moment ago.
    pub(super) in_doubt: &'r [RangeInclusive<WordAddress>],
}

impl Asker<'_, '_, '_> {
    /// Tries the way of `asking`.
    pub(super) async fn ask(&mut self, asking: &Asking) -> Result<Answered, JobError> {
        self.desk.check()?;
        let written = asking.written();
        let mut touched = asking.id_addresses();
        touched.extend(&written);
        let before = self.words(&touched).await?;
        self.runs.permit(asking.shape, &written, asking.lanes(), PERMIT_S).await?;
        let answered = self.with_permit(asking, &before).await;
        // Also after a failure; where the link is gone, the adapter's own time-out does it.
        let withdrawn = self.runs.no_permit(asking.shape).await;
        let answered = answered?;
        withdrawn?;
        let mut changed = self.changed(&before, &self.words(&touched).await?);
        let mut left_by = None;
        if let (Answered::Chips { findings, .. }, false) = (&answered, changed.is_empty())
            && findings.iter().any(Finding::answered)
        {
            // 5555 and 2AAA are answered by chips of other families, too, which need their own
            // way back. Whatever is not named and stays in id mode knows no F0: it takes FF.
            let settled = self.settled(asking, findings);
            let family = settled.map_or(Family::Intel, |way| way.family);
            let unlock = Unlock::usual(Some(family));
            let way = settled.unwrap_or(Way { family, unlock, ..asking.way });
            self.reset(&Asking { way, ..asking.clone() }).await?;
            changed = self.changed(&before, &self.words(&touched).await?);
            left_by = changed.is_empty().then_some(family);
        }
        Ok(match answered {
            Answered::TakesWrites { touched, .. } => Answered::TakesWrites { changed, touched },
            Answered::Chips { findings, .. } => Answered::Chips { findings, changed, left_by },
        })
    }

    fn changed(&self, before: &Words, after: &Words) -> Vec<WordAddress> {
        let mut changed = differences(before, after);
        changed.retain(|at| !self.in_doubt.iter().any(|words| words.contains(at)));
        changed
    }

    async fn with_permit(&mut self, asking: &Asking, before: &Words) -> Result<Answered, JobError> {
        let was = |at: WordAddress| before.get(&at).copied().unwrap_or_default();
        let reply = self.runs.finished(&built(asking.ids(was))?, self.width).await?;
        let emitted = &reply.emitted;
        let answer = asking.answer(emitted, reply.a, was).ok_or_else(|| {
            nonsense(Kind::RUN, format!("{} words from the id script", emitted.len()))
        })?;
        let (ids, moved) = match answer {
            Answer::TakesWrites { .. } => {
                let touched = asking.written();
                let words: Vec<_> = touched.iter().map(|&at| (at, was(at))).collect();
                self.run(&built(asking.restore(&words))?).await?;
                return Ok(Answered::TakesWrites { changed: Vec::new(), touched });
            }
            Answer::Words { ids, moved } => (ids, moved),
        };
        let array: Vec<_> = asking.id_addresses().into_iter().map(was).collect();
        let finding = |chip| Finding::new(asking.way, chip, &ids, moved, &array);
        let mut findings: Vec<_> = asking.chips.iter().map(finding).collect();
        let answered = findings.iter().any(Finding::answered);
        if answered || !self.careful {
            self.query(asking, &mut findings).await?;
        }
        let answered = findings.iter().any(Finding::answered);
        if answered || !self.careful {
            self.run(&built(asking.reset())?).await?;
        }
        Ok(Answered::Chips { findings, changed: Vec::new(), left_by: None })
    }

    /// The way that what was found names for all chips, where it is another.
    pub(super) fn settled(&self, asking: &Asking, findings: &[Finding]) -> Option<Way> {
        let way = |(finding, chip): (&Finding, &Wiring)| {
            let identity = finding.identity(self.catalogue, lane_width(chip));
            finding.settled_way(identity.as_ref())
        };
        let mut ways = findings.iter().zip(&asking.chips).map(way);
        let first = ways.next()??;
        (first != asking.way && ways.all(|way| way == Some(first))).then_some(first)
    }

    /// Back to reading.
    async fn reset(&mut self, asking: &Asking) -> Result<(), JobError> {
        let addresses = asking.written();
        self.runs.permit(asking.shape, &addresses, asking.lanes(), PERMIT_S).await?;
        self.run(&built(asking.reset())?).await?;
        self.runs.no_permit(asking.shape).await
    }

    async fn query(&mut self, asking: &Asking, findings: &mut [Finding]) -> Result<(), JobError> {
        let mut end = QUERY_WORDS;
        let mut words = Vec::new();
        let mut from = QUERY_FIRST;
        while from < end {
            let Some(more) = self.query_words(asking, from..end).await? else { return Ok(()) };
            words.extend(more);
            for (finding, chip) in findings.iter_mut().zip(&asking.chips) {
                finding.take_query(chip, &words);
            }
            from = end;
            let goes_on = findings.iter().filter_map(|finding| finding.query_goes_on_to(end));
            end = goes_on.max().unwrap_or(end);
        }
        Ok(())
    }

    /// Words of the query table; `None` if the family has no such command.
    async fn query_words(
        &mut self,
        asking: &Asking,
        offsets: std::ops::Range<u32>,
    ) -> Result<Option<Vec<Word>>, JobError> {
        let (addresses, reads) = (asking.query_addresses(offsets), self.runs.reads_a_script());
        let Some(scripts) = asking.query(&addresses, reads) else { return Ok(None) };
        let mut words = Vec::new();
        for script in built(scripts)? {
            words.extend(self.run(&script).await?);
        }
        Ok(Some(words))
    }

    /// The words of `addresses` in id mode, of chips that are known to be flash.
    pub(super) async fn codes(
        &mut self,
        asking: &Asking,
        addresses: &[WordAddress],
    ) -> Result<Option<Vec<Word>>, JobError> {
        let reads = self.runs.reads_a_script();
        let Some(scripts) = asking.codes(addresses, reads) else { return Ok(None) };
        self.runs.permit(asking.shape, &asking.written(), asking.lanes(), PERMIT_S).await?;
        let mut words = Vec::new();
        for script in built(scripts)? {
            words.extend(self.run(&script).await?);
        }
        self.runs.no_permit(asking.shape).await?;
        Ok(Some(words))
    }

    async fn run(&mut self, script: &Script) -> Result<Vec<Word>, JobError> {
        self.runs.emitted(script, self.width).await
    }

    /// Reads single words, all of them asked for at once.
    async fn words(&self, addresses: &[WordAddress]) -> Result<Words, JobError> {
        let client = &self.desk.client;
        let nonce = fastrand::u16(..);
        let read = |&address| {
            let request = read_word(nonce, self.slow, address, Precharge::None);
            (address, client.submit(request))
        };
        let asked: Vec<_> = addresses.iter().map(read).collect();
        let mut words = Words::new();
        for (address, ticket) in asked {
            words.insert(address, word_of(&client.finish(ticket).await?, self.width)?);
        }
        Ok(words)
    }
}

/// The width of one chip's own bus.
pub(super) fn lane_width(chip: &Wiring) -> Width {
    if chip.lane().bits == 8 { Width::W8 } else { Width::W16 }
}

/// The same question for chips in byte mode, if their table shows that they are.
pub(super) fn in_byte_mode(way: Way, findings: &[Finding]) -> Option<Way> {
    let doubled =
        |finding: &Finding| finding.spacing.is_some_and(|spacing| spacing.address(1) == 2);
    let not_asked_so = way.mode == BusMode::ByteOnly;
    (not_asked_so && findings.iter().any(doubled)).then_some(Way { mode: BusMode::Byte, ..way })
}

fn differences(before: &Words, after: &Words) -> Vec<WordAddress> {
    let differs = |(at, word): &(&WordAddress, &Word)| after.get(at) != Some(*word);
    before.iter().filter(differs).map(|(at, _)| *at).collect()
}

/// Scripts of ours that cannot be built are a defect, not the user's doing.
fn built<T>(script: Result<T, BuildError>) -> Result<T, JobError> {
    script.map_err(|error| nonsense(Kind::SCRIPT, error.to_string()))
}
