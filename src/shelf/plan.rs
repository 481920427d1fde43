//! Plans: what a write will do to one individual module, stored before it is done.
//!
//! ```text
//! plans/K7M2QX/   plan.toml, target.bin
//! ```
//!
//! A plan is named by its code, the beginning of the SHA-256 of its text, which holds the SHA-256
//! of the contents it aims at. So the plan that was read is the plan that runs, or none.

use super::captures::{from_toml, to_toml};
use super::record::SheetRecord;
use super::{CaptureId, ChipRecord, Label, Shelf, ShelfError, sha256_hex, text};
use crate::bus::{Width, WordAddress};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::path::PathBuf;
use std::str::FromStr;

/// The folder of plans.
const PLANS: &str = "plans";
/// Letters of a code: no I, L, O or U, which are misread or spell words.
const LETTERS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// Letters that a code has: 30 bits of the sum.
const CODE_LETTERS: usize = 6;

/// The short name of a plan, such as `K7M2QX`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub(crate) struct PlanCode(String);

impl PlanCode {
    /// The code of a plan's text.
    fn of(plan: &str) -> Self {
        let sum = sha256_hex(plan.as_bytes());
        let bits = u64::from_str_radix(&sum[..8], 16).unwrap_or(0) >> 2;
        let letter = |n: usize| char::from(LETTERS[(bits >> (5 * n) & 31) as usize]);
        Self((0..CODE_LETTERS).rev().map(letter).collect())
    }
}

impl FromStr for PlanCode {
    type Err = ShelfError;

    /// Small letters are taken as large ones.
    fn from_str(text: &str) -> Result<Self, ShelfError> {
        let code = text.to_ascii_uppercase();
        let good = code.len() == CODE_LETTERS && code.bytes().all(|byte| LETTERS.contains(&byte));
        if good { Ok(Self(code)) } else { Err(ShelfError::BadCode { asked: text.to_owned() }) }
    }
}

impl TryFrom<String> for PlanCode {
    type Error = ShelfError;

    fn try_from(text: String) -> Result<Self, ShelfError> {
        text.parse()
    }
}

impl From<PlanCode> for String {
    fn from(code: PlanCode) -> Self {
        code.0
    }
}

impl fmt::Display for PlanCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// What is done to a sector.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Action {
    /// Nothing: it holds already what it should.
    Keep,
    /// Programmed without erasing: every unit that changes is blank now.
    Program,
    /// Erased, and programmed with all of its words.
    Erase,
    /// Nothing, though it differs: it is locked and no command that is ever sent unlocks it.
    Locked,
    /// Nothing, and it is not looked at: words in it are never touched, or change by themselves.
    Leave,
}

/// One sector of a plan.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct PlannedSector {
    /// Its number in the space, from 0.
    pub(crate) number: u32,
    /// Its first word, counted from the base of the space.
    #[serde(with = "text::address")]
    pub(crate) first: WordAddress,
    /// Its words.
    pub(crate) words: u32,
    /// What is done.
    pub(crate) action: Action,
    /// It is locked now, and is unlocked for this and locked again afterwards.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub(crate) unlock: bool,
    /// A write that came to no good end left it: whatever it reads, it is erased.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub(crate) in_doubt: bool,
    /// CRC-32 of its words before, lowest address first.
    #[serde(with = "text::hex")]
    pub(crate) before: u32,
    /// CRC-32 of its words afterwards.
    #[serde(with = "text::hex")]
    pub(crate) after: u32,
    /// Words that are not blank and are programmed.
    #[serde(default)]
    pub(crate) programmed: u32,
    /// Why, where that is not plain.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub(crate) why: String,
}

/// One space of a plan: flash whose sectors are known.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct PlannedSpace {
    /// Its name.
    pub(crate) name: String,
    /// The width of its words, in bits.
    #[serde(with = "text::width")]
    pub(crate) width: Width,
    /// The word address where it begins.
    #[serde(with = "text::address")]
    pub(crate) base: WordAddress,
    /// Its words.
    pub(crate) words: u32,
    /// Where its contents begin in the target, in bytes.
    pub(crate) offset: u64,
    /// Its chips as they were identified.
    #[serde(rename = "chip")]
    pub(crate) chips: Vec<ChipRecord>,
    /// All of its sectors, lowest address first.
    #[serde(rename = "sector")]
    pub(crate) sectors: Vec<PlannedSector>,
}

impl PlannedSpace {
    /// Bytes of its contents.
    pub(crate) fn bytes(&self) -> u64 {
        u64::from(self.words) * self.width.bytes() as u64
    }
}

/// The image that a plan aims at.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct ImageRecord {
    /// As it was named.
    pub(crate) name: String,
    /// SHA-256 of it.
    pub(crate) sha256: String,
    /// The capture that it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) capture: Option<CaptureId>,
    /// The module it was taken from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) specimen: Option<Label>,
}

/// A chip file that added parts to the list when a plan was made.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct ChipFile {
    /// As it was named.
    pub(crate) name: String,
    /// What stood in it.
    pub(crate) text: String,
}

/// How long a write is expected to take, in seconds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[expect(clippy::struct_field_names, reason = "the unit stands in files, too")]
pub(crate) struct Estimate {
    /// What the line needs for the words.
    pub(crate) line_s: f64,
    /// Erasing.
    pub(crate) erase_s: f64,
    /// Programming beyond what the line needs meanwhile.
    pub(crate) program_s: f64,
    /// Everything, checksums and power cycle included.
    pub(crate) total_s: f64,
}

/// What a write will do.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Plan {
    /// Of this file: 1.
    pub(crate) format: u32,
    /// When it was made, UTC.
    pub(crate) time: Timestamp,
    /// The module.
    pub(crate) specimen: Label,
    /// The simulated bench's?
    pub(crate) simulated: bool,
    /// What it is for, a sentence.
    pub(crate) what: String,
    /// Kept zones that are taken from the image all the same.
    #[serde(default)]
    pub(crate) take: Vec<String>,
    /// The agreed capture of the whole module that it starts from and that leads back.
    pub(crate) backup: CaptureId,
    /// What leads back where a write came to no good end before: the capture from before that one.
    /// The backup lacks the sectors in doubt then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) way_back: Option<CaptureId>,
    /// SHA-256 of that capture's content.
    pub(crate) backup_sha256: String,
    /// SHA-256 of the contents it aims at.
    pub(crate) target_sha256: String,
    /// Sentences about image and module that do not stand in its way.
    #[serde(default)]
    pub(crate) fit: Vec<String>,
    /// What of the image does not get onto the module, and why.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(crate) left: Vec<String>,
    /// How long it is expected to take.
    #[serde(default)]
    pub(crate) estimate: Estimate,
    /// The image.
    pub(crate) image: ImageRecord,
    /// The sheet as it was.
    pub(crate) sheet: SheetRecord,
    /// The chip files it was made with: a write goes by these, whatever the files hold by then.
    #[serde(rename = "chip_file", default, skip_serializing_if = "Vec::is_empty")]
    pub(crate) chip_files: Vec<ChipFile>,
    /// The spaces that it looks at.
    #[serde(rename = "space")]
    pub(crate) spaces: Vec<PlannedSpace>,
}

impl Plan {
    /// True if nothing is to be done.
    pub(crate) fn is_empty(&self) -> bool {
        self.sectors().all(|(_, sector)| !matches!(sector.action, Action::Program | Action::Erase))
    }

    /// Every sector with its space.
    pub(crate) fn sectors(&self) -> impl Iterator<Item = (&PlannedSpace, &PlannedSector)> {
        self.spaces.iter().flat_map(|space| space.sectors.iter().map(move |sector| (space, sector)))
    }
}

/// A plan with its code and the contents it aims at.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct StoredPlan {
    /// Its code.
    pub(crate) code: PlanCode,
    /// SHA-256 of its text.
    pub(crate) sha256: String,
    /// What it says.
    pub(crate) plan: Plan,
    /// The contents, space after space, little-endian words.
    pub(crate) target: Vec<u8>,
}

impl Shelf {
    /// Stores a plan and the contents it aims at, and gives it its code.
    pub(crate) fn keep_plan(&self, plan: Plan, target: Vec<u8>) -> Result<StoredPlan, ShelfError> {
        let path = self.dir(PLANS).join("plan.toml");
        let text = to_toml(&path, &plan)?;
        let code = PlanCode::of(&text);
        let _lock = self.files().lock(&self.dir("locks").join("shelf"))?;
        let folder = self.plan_folder(&code);
        // Plans with the same text are the same plan: their times differ otherwise.
        if !self.files().exists(&folder.join("plan.toml"))? {
            self.files().make_dir(&folder)?;
            let target_path = folder.join("target.bin");
            if !self.files().exists(&target_path)? {
                self.files().create_whole(&target_path, &target)?;
            }
            self.files().create_whole(&folder.join("plan.toml"), text.as_bytes())?;
        }
        Ok(StoredPlan { code, sha256: sha256_hex(text.as_bytes()), plan, target })
    }

    /// The plan of that code, proven to be what was stored.
    pub(crate) fn plan(&self, code: &PlanCode) -> Result<StoredPlan, ShelfError> {
        let folder = self.plan_folder(code);
        let path = folder.join("plan.toml");
        let Some(bytes) = self.files().read_if_there(&path)? else {
            let (code, root) = (code.to_string(), self.root().to_owned());
            return Err(ShelfError::NoPlan { code, shelf: root });
        };
        let damaged = |why: &str| ShelfError::BadPlan { path: path.clone(), why: why.to_owned() };
        if PlanCode::of(&String::from_utf8_lossy(&bytes)) != *code {
            return Err(damaged("its text is no longer the one that the code stands for"));
        }
        let plan: Plan = from_toml(&path, &bytes)?;
        let target = self.files().read(&folder.join("target.bin"))?;
        if sha256_hex(&target) != plan.target_sha256 {
            return Err(damaged("the contents beside it (target.bin) are not those it aims at"));
        }
        let whole = |space: &PlannedSpace| space.offset + space.bytes() <= target.len() as u64;
        if !plan.spaces.iter().all(whole) {
            return Err(damaged("the contents beside it (target.bin) are shorter than its spaces"));
        }
        Ok(StoredPlan { code: code.clone(), sha256: sha256_hex(&bytes), plan, target })
    }

    fn plan_folder(&self, code: &PlanCode) -> PathBuf {
        self.dir(PLANS).join(&code.0)
    }
}

impl Plan {
    /// The capture that leads back.
    pub(crate) fn leads_back(&self) -> &CaptureId {
        self.way_back.as_ref().unwrap_or(&self.backup)
    }
}

impl StoredPlan {
    /// The contents that a space is to have.
    pub(crate) fn target_of(&self, space: &PlannedSpace) -> &[u8] {
        let from = space.offset as usize;
        self.target.get(from..from + space.bytes() as usize).unwrap_or_default()
    }
}
