//! Verify: is the module what an image says? Checksums first, words where they differ.

use super::blocks::{Conditions, Reach};
use super::reading::{digest_blocks, read_blocks};
use super::{BlockState, Desk, Ending, Event, JobError, Powered};
use crate::bus::{Digest, Width};
use crate::image::{compare, counted, one_line, word_text};
use crate::shelf::{Block, Part, cut_blocks};
use crate::wire::HelloReply;
use serde::Serialize;
use std::fmt;

/// One range of the module and what it should hold.
#[derive(Clone, Debug)]
pub struct VerifyPart {
    /// The index of the space in the sheet.
    pub space: usize,
    /// The range.
    pub part: Part,
    /// Little-endian words, as long as the range.
    pub expected: Vec<u8>,
}

/// The name of the image in which every word is ones.
pub const BLANK: &str = "@blank";

/// A word that differs.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct WordDiffers {
    /// The space.
    pub space: String,
    /// The word address on the bus.
    pub address: u32,
    /// What the image says.
    pub expected: u32,
    /// What the module holds.
    pub got: u32,
    /// How wide the word is.
    #[serde(skip)]
    pub width: Width,
}

/// A zone that the last write kept, where words differ.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct KeptDiffers {
    /// The plan of that write.
    pub plan: String,
    /// The space.
    pub space: String,
    /// The zone.
    pub zone: String,
    /// Its first word on the bus.
    pub address: u32,
    /// Its words.
    pub words: u32,
    /// Words that differ from the image and are as that plan left them.
    pub differing: u64,
}

/// A zone that the last write kept.
pub struct KeptZone {
    /// What is told of it; nothing differs yet.
    pub told: KeptDiffers,
    /// What it holds by that plan: little-endian words.
    pub holds: Vec<u8>,
}

/// What verifying has come to.
#[derive(Clone, Debug, Serialize)]
pub struct VerifyReport {
    /// What it was compared with.
    pub image: String,
    /// The specimen that the image is of, where that is another one than the module.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub copy_of: Option<String>,
    /// Bytes compared.
    pub bytes: u64,
    /// Words that differ.
    pub differing: u64,
    /// Blocks whose checksum differed though their words did not, when read for that.
    pub unsteady_blocks: u32,
    /// The first words that differ.
    pub first: Vec<WordDiffers>,
    /// Zones that the last write kept, as far as words differ there and are as it left them.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub kept: Vec<KeptDiffers>,
}

/// Differences that are named one by one.
const NAMED: usize = 16;

impl fmt::Display for VerifyReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let size = humansize::format_size(self.bytes, humansize::BINARY);
        let image = one_line(&self.image);
        let image = match &self.copy_of {
            Some(other) => format!("{image}, a copy of another specimen, {other}"),
            None => image,
        };
        let blank = self.image == BLANK;
        if self.differing == 0 && self.unsteady_blocks == 0 {
            if blank {
                return write!(f, "every word is blank ({size} compared by checksums)");
            }
            return write!(f, "the module equals {image} ({size} compared by checksums)");
        }
        let differing = counted(self.differing, "word");
        if blank {
            write!(f, "{differing} of {size} hold something")?;
        } else {
            write!(f, "the module differs from {image} in {differing} of {size}")?;
        }
        if let [first, ..] = self.kept.as_slice() {
            let kept: u64 = self.kept.iter().map(|zone| zone.differing).sum();
            let zones: Vec<_> = self.kept.iter().map(KeptDiffers::place).collect();
            let (zones, plan) = (zones.join(" and "), &first.plan);
            if kept == self.differing {
                write!(f, ", all in {zones}, which plan {plan} kept as it was")?;
            } else {
                write!(f, ", {kept} of them in {zones}, which plan {plan} kept as it was")?;
            }
        }
        for word in &self.first {
            if blank {
                let got = word_text(word.width, word.got);
                write!(f, "\n  {} word 0x{:X}: {got}", word.space, word.address)?;
                continue;
            }
            write!(
                f,
                "\n  {} word 0x{:X}: image {}, module {}",
                word.space,
                word.address,
                word_text(word.width, word.expected),
                word_text(word.width, word.got)
            )?;
        }
        if self.differing > self.first.len() as u64 {
            write!(f, "\n  and {} more", self.differing - self.first.len() as u64)?;
        }
        if self.unsteady_blocks > 0 {
            write!(
                f,
                "\n  {} gave another checksum but equal words: the module does not hold still, \
                 capture again to see where",
                counted(u64::from(self.unsteady_blocks), "block")
            )?;
        }
        Ok(())
    }
}

impl KeptDiffers {
    fn place(&self) -> String {
        let Self { space, zone, address, words, .. } = self;
        format!("zone {zone} of {space} (0x{address:X}+0x{words:X})")
    }
}

impl KeptZone {
    /// Counts a word of `space` that differs from the image.
    fn count(&mut self, space: &str, width: Width, at: u32, got: u32) {
        let Self { told, holds } = self;
        if told.space != space || at < told.address {
            return;
        }
        let from = (at - told.address) as usize * width.bytes();
        let by_plan = holds.get(from..from + width.bytes());
        if by_plan.is_some_and(|word| width.words(word).eq([got])) {
            told.differing += 1;
        }
    }
}

/// Compares every part with the module; `kept` are the zones that its last write kept.
pub async fn verify(
    desk: &Desk<'_>,
    hello: &HelloReply,
    powered: &Powered,
    image: &str,
    parts: &[VerifyPart],
    mut kept: Vec<KeptZone>,
) -> Result<(VerifyReport, Ending), JobError> {
    let mut report = VerifyReport {
        image: image.to_string(),
        copy_of: None,
        bytes: parts.iter().map(|part| part.part.bytes()).sum(),
        differing: 0,
        unsteady_blocks: 0,
        first: Vec::new(),
        kept: Vec::new(),
    };
    let mut nonce = fastrand::u16(..);
    for part in parts {
        nonce = nonce.wrapping_add(2);
        let reach = |pass: u32| {
            let how = Conditions::of_pass(pass);
            Reach::new(powered, hello, part.space, &part.part, how, nonce.wrapping_add(pass as u16))
        };
        let differing = checksums(desk, &reach(2), part).await?;
        words(desk, &reach(1), part, &differing, (&mut report, &mut kept)).await?;
    }
    let told = kept.into_iter().map(|zone| zone.told);
    report.kept = told.filter(|zone| zone.differing > 0).collect();
    let good = report.differing == 0 && report.unsteady_blocks == 0;
    Ok((report, if good { Ending::Good } else { Ending::No }))
}

/// The blocks whose checksum, made on the adapter, is not that of the image.
async fn checksums(
    desk: &Desk<'_>,
    reach: &Reach,
    part: &VerifyPart,
) -> Result<Vec<Block>, JobError> {
    let blocks = cut_blocks(std::slice::from_ref(&part.part));
    let space = &part.part.space;
    desk.tell(&Event::Pass {
        space: space.clone(),
        number: 1,
        what: "checksums".into(),
        bytes: part.part.bytes(),
    });
    let mut differing = Vec::new();
    let pass = digest_blocks(desk, reach, &blocks, |block, digest| {
        let expected = &part.expected[block.offset as usize..][..block.bytes as usize];
        let same = digest == Digest::of(part.part.width, expected, true);
        tell(desk, part, block, if same { BlockState::Same } else { BlockState::Differs });
        if !same {
            differing.push(*block);
        }
    });
    pass.await
        .map_err(|error| error.at(|| format!("while comparing checksums of space {space}")))?;
    Ok(differing)
}

async fn words(
    desk: &Desk<'_>,
    reach: &Reach,
    part: &VerifyPart,
    blocks: &[Block],
    (report, kept): (&mut VerifyReport, &mut Vec<KeptZone>),
) -> Result<(), JobError> {
    let Part { width, base, ref space, .. } = part.part;
    read_blocks(desk, reach, blocks, |block, bytes| {
        let expected = &part.expected[block.offset as usize..][..block.bytes as usize];
        let found = compare(width, expected, &bytes);
        report.differing += found.differing;
        report.unsteady_blocks += u32::from(found.equal());
        if !kept.is_empty() {
            let first = base.plus(block.first.0).0;
            let pairs = (first..).zip(width.words(expected).zip(width.words(&bytes)));
            for (at, (_, got)) in pairs.filter(|(_, (image, got))| image != got) {
                for zone in kept.iter_mut() {
                    zone.count(space, width, at, got);
                }
            }
        }
        let room = NAMED.saturating_sub(report.first.len());
        report.first.extend(found.first.iter().take(room).map(|difference| {
            let at = base.plus(block.first.0).plus(difference.address.0);
            WordDiffers {
                space: space.clone(),
                address: at.0,
                expected: difference.a,
                got: difference.b,
                width,
            }
        }));
        Ok(())
    })
    .await
}

fn tell(desk: &Desk<'_>, part: &VerifyPart, block: &Block, state: BlockState) {
    let address = part.part.base.plus(block.first.0);
    desk.tell(&Event::Block {
        space: part.part.space.clone(),
        address: address.0,
        bytes: block.bytes,
        state,
    });
}
