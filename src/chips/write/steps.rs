//! Which runs program a range of words.

use super::{ScriptKind, Step, Writing};
use crate::bus::{Word, WordAddress};
use crate::chips::{Family, Wiring};
use std::ops::Range;

/// What a run costs on the line besides its payload: request and reply are longer than that, but
/// replies travel beside requests (counted from RUN's fields and a frame).
const RUN_BYTES: usize = 48;
/// Words that go one by one rather than through a buffer.
const FEW: usize = 3;

impl Writing {
    /// The runs that program `words` from word `first` on, which counts from the base. Blank words
    /// cost nothing or nearly nothing. `most` is the longest payload of a run, in words. All words
    /// lie in one sector. A page-write part takes whole pages, however long they are: what is
    /// missing of the first and the last page is written as ones.
    pub fn program(&self, first: u32, words: &[Word], most: usize) -> Vec<Step> {
        if self.way.family == Family::Page {
            return self.page_steps(first, words, most);
        }
        match self.abilities.buffer_words.map(|line| line as usize) {
            Some(line) if most > FEW + 1 => self.buffer_steps(first, words, line, most),
            _ => self.word_steps(first, words, most),
        }
    }

    /// Blank words that cost more in a payload than another run.
    fn gap(&self) -> usize {
        RUN_BYTES / self.width.bytes()
    }

    fn word_steps(&self, first: u32, words: &[Word], most: usize) -> Vec<Step> {
        let stretches = stretches(words, self.gap(), |word| self.is_blank(word));
        let chunks = stretches.into_iter().flat_map(|range| pieces(range, most));
        chunks
            .map(|range| self.step(ScriptKind::Words, first, &range, words[range.clone()].to_vec()))
            .collect()
    }

    fn step(&self, kind: ScriptKind, first: u32, range: &Range<usize>, payload: Vec<Word>) -> Step {
        Step { kind, b: self.place(first, range.start), n: range.len() as u32, payload }
    }

    fn place(&self, first: u32, index: usize) -> WordAddress {
        self.base.plus(first.wrapping_add(index as u32))
    }

    fn buffer_steps(&self, first: u32, words: &[Word], line: usize, most: usize) -> Vec<Step> {
        let mut steps: Vec<Step> = Vec::new();
        let blank = |word: &Word| self.is_blank(*word);
        let lines: Vec<_> = lines(first, words.len(), line).collect();
        let busy = |range: &Range<usize>| !words[range.clone()].iter().all(blank);
        let whole = |range: &Range<usize>| range.len() == line && line <= most && busy(range);
        for (index, range) in lines.iter().enumerate() {
            let Some(used) = used(words, range, blank) else { continue };
            let joined =
                index > 0 && whole(&lines[index - 1]) || lines.get(index + 1).is_some_and(whole);
            let saved = (line - used.len()) * self.width.bytes();
            if whole(range) && (used.len() == line || joined && saved <= RUN_BYTES) {
                self.join(&mut steps, first, range, words, most);
            } else if used.len() > FEW && self.takes_parts() {
                for part in pieces(used, most - 1) {
                    let count = self.every((part.len() - 1) as u16);
                    let payload = [&[count], &words[part.clone()]].concat();
                    steps.push(self.step(ScriptKind::PartBuffer, first, &part, payload));
                }
            } else if whole(range) && used.len() > FEW {
                self.join(&mut steps, first, range, words, most);
            } else {
                let few = &words[used.clone()];
                let place = self.place(first, used.start);
                let inner = self.word_steps(0, few, most);
                steps.extend(inner.into_iter().map(|step| Step {
                    b: place.plus(step.b.0.wrapping_sub(self.base.0)),
                    ..step
                }));
            }
        }
        steps
    }

    /// Parts of a buffer need words in the chips' own order.
    fn takes_parts(&self) -> bool {
        self.chips.iter().all(|chip| chip.same_address_lines(&Wiring::straight(chip.lane())))
    }

    /// A whole buffer, in the run of the one before if it follows it and there is room.
    fn join(
        &self,
        steps: &mut Vec<Step>,
        first: u32,
        range: &Range<usize>,
        words: &[Word],
        most: usize,
    ) {
        let place = self.place(first, range.start);
        if let Some(last) = steps.last_mut()
            && last.kind == ScriptKind::Buffers
            && last.b.plus(last.payload.len() as u32) == place
            && last.payload.len() + range.len() <= most
        {
            last.n += 1;
            last.payload.extend(&words[range.clone()]);
            return;
        }
        let payload = words[range.clone()].to_vec();
        steps.push(Step { kind: ScriptKind::Buffers, b: place, n: 1, payload });
    }

    fn page_steps(&self, first: u32, words: &[Word], most: usize) -> Vec<Step> {
        let page = self.abilities.page_words.unwrap_or(1) as usize;
        let ones = self.width.ones();
        let mut steps: Vec<Step> = Vec::new();
        for range in lines(first, words.len(), page) {
            let start = first.wrapping_add(range.start as u32) / page as u32 * page as u32;
            let place = self.base.plus(start);
            let before = first.wrapping_add(range.start as u32).wrapping_sub(start) as usize;
            let mut load = vec![ones; before];
            load.extend(&words[range]);
            load.resize(page, ones);
            let blank = load.iter().all(|word| *word == ones);
            let kind = if blank { ScriptKind::BlankPages } else { ScriptKind::Pages };
            if let Some(last) = steps.last_mut()
                && last.kind == kind
                && last.b.plus(last.n.wrapping_mul(page as u32)) == place
                && (blank || last.payload.len() + page <= most)
            {
                last.n += 1;
                last.payload.extend(if blank { &[] } else { &load[..] });
                continue;
            }
            let payload = if blank { Vec::new() } else { load };
            steps.push(Step { kind, b: place, n: 1, payload });
        }
        steps
    }
}

/// `range` in pieces of at most `most`, which counts as 1 if it is 0.
fn pieces(range: Range<usize>, most: usize) -> impl Iterator<Item = Range<usize>> {
    let most = most.max(1);
    let end = range.end;
    range.step_by(most).map(move |start| start..(start + most).min(end))
}

/// The parts of `count` words from address `first` on that lie in one aligned line each.
fn lines(first: u32, count: usize, line: usize) -> impl Iterator<Item = Range<usize>> {
    let line = line.max(1);
    let before = first as usize % line;
    let all = (before + count).div_ceil(line);
    (0..all).map(move |n| (n * line).saturating_sub(before)..((n + 1) * line - before).min(count))
}

/// What is left of `range` without the blank words at its ends; `None` if it is blank.
fn used(
    words: &[Word],
    range: &Range<usize>,
    blank: impl Fn(&Word) -> bool,
) -> Option<Range<usize>> {
    let part = &words[range.clone()];
    let start = part.iter().position(|word| !blank(word))?;
    let end = part.iter().rposition(|word| !blank(word))?;
    Some(range.start + start..range.start + end + 1)
}

/// The stretches of words that are not blank; shorter gaps than `gap` stay inside.
fn stretches(words: &[Word], gap: usize, blank: impl Fn(Word) -> bool) -> Vec<Range<usize>> {
    let mut all: Vec<Range<usize>> = Vec::new();
    for (index, _) in words.iter().enumerate().filter(|(_, word)| !blank(**word)) {
        match all.last_mut() {
            Some(last) if index - last.end < gap.max(1) => last.end = index + 1,
            _ => all.push(index..index + 1),
        }
    }
    all
}
