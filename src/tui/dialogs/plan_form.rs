//! What of an image is planned: a space, a range of words, kept zones.

use crate::app::PlanOptions;
use crate::app::workbench::{BACK, BLANK, SheetFacts, range_error};
use crate::bus::WordAddress;
use crate::module::Kind;
use crate::tui::line_edit::LineEdit;

/// A row of the form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Field {
    /// Which space.
    Space,
    /// Which words of it.
    Range,
    /// A zone that is kept, by its place in the list.
    Zone(usize),
}

/// The form.
#[derive(Clone, Debug)]
pub struct PlanForm {
    /// The image.
    pub image: String,
    /// Flash spaces of the sheet.
    pub spaces: Vec<String>,
    /// The chosen one; none for all.
    pub space: Option<usize>,
    /// The range as it is typed.
    pub range: LineEdit,
    /// Kept zones, and whether they are taken from the image all the same.
    pub zones: Vec<(String, bool)>,
    /// The row that has the keys.
    pub at: usize,
    /// Why it cannot be planned so.
    pub wrong: Option<String>,
    /// Rows scrolled, where there is no room for all of that.
    pub down: usize,
}

impl PlanForm {
    /// A form for `image`; of blank words those that are under the cursor, if any are: a space and
    /// its words on the bus.
    pub fn new(
        image: &str,
        sheet: Option<&SheetFacts>,
        cursor: Option<(usize, WordAddress, u32)>,
    ) -> Self {
        let spaces = sheet.map_or(&[][..], |sheet| &sheet.spaces);
        let flash = |space: usize| spaces.get(space).is_some_and(|one| one.kind == Kind::Flash);
        let zones = sheet.map_or(&[][..], |sheet| &sheet.zones).iter();
        let zones = zones.filter(|zone| zone.keep && flash(zone.space));
        let all = (0..spaces.len()).filter(|space| flash(*space));
        let cursor = cursor.filter(|(space, _, _)| image == BLANK && flash(*space));
        let range = cursor.map_or_else(String::new, |(_, at, words)| format!("{at}+0x{words:X}"));
        Self {
            image: image.to_string(),
            spaces: all.clone().map(|space| spaces[space].name.clone()).collect(),
            space: cursor.and_then(|(of, _, _)| all.clone().position(|space| space == of)),
            range: LineEdit::new(&range),
            zones: zones.map(|zone| (zone.name.clone(), false)).collect(),
            at: 0,
            wrong: None,
            down: 0,
        }
    }

    /// Its rows.
    pub fn fields(&self) -> Vec<Field> {
        let zones = (0..self.zones.len()).map(Field::Zone);
        [Field::Space, Field::Range].into_iter().chain(zones).collect()
    }

    /// The row that has the keys.
    pub fn field(&self) -> Field {
        self.fields().get(self.at).copied().unwrap_or(Field::Space)
    }

    /// Another row, or the same.
    pub fn go(&mut self, down: bool) {
        let last = self.fields().len() - 1;
        self.at = if down { (self.at + 1).min(last) } else { self.at.saturating_sub(1) };
    }

    /// The next value of the row.
    pub fn turn(&mut self, on: bool) {
        match self.field() {
            Field::Space => {
                let count = self.spaces.len() + 1;
                let present = self.space.map_or(0, |space| space + 1);
                let next = (present + if on { 1 } else { count - 1 }) % count;
                self.space = next.checked_sub(1);
            }
            Field::Zone(zone) => {
                if let Some((_, taken)) = self.zones.get_mut(zone) {
                    *taken = !*taken;
                }
            }
            Field::Range => {}
        }
    }

    /// Why the range cannot be.
    pub fn range_error(&self, sheet: Option<&SheetFacts>) -> Option<String> {
        let (range, all) = (self.range.text().trim(), &sheet?.spaces);
        let chosen = self.space.and_then(|space| self.spaces.get(space));
        let space = match (chosen, &all[..]) {
            (Some(name), all) => all.iter().find(|one| one.name == *name),
            (None, [only]) => Some(only),
            (None, _) => None,
        };
        (!range.is_empty()).then(|| range_error(range, space)).flatten()
    }

    /// What is asked for.
    pub fn options(&self) -> PlanOptions {
        let range = self.range.text().trim();
        let taken = self.zones.iter().filter(|(_, taken)| *taken);
        PlanOptions {
            image: Some(self.image.clone()).filter(|image| image != BACK),
            space: self.space.and_then(|space| self.spaces.get(space).cloned()),
            range: Some(range.to_string()).filter(|range| !range.is_empty()),
            take: taken.map(|(zone, _)| zone.clone()).collect(),
            ..PlanOptions::default()
        }
    }
}
