//! What a sheet may leave open, and its writer should know.

use super::line::listed;
use super::{LineName, Sheet};

impl Sheet {
    /// Sentences about what is allowed and should be known.
    pub(super) fn warnings(&self) -> Vec<String> {
        let mut said = Vec::new();
        if !self.pins.is_empty() {
            said.extend(self.without_pin());
            said.extend(self.beyond_width());
        }
        let untraced: Vec<_> = self.pins_of(&LineName::NotTraced).collect();
        if !untraced.is_empty() {
            said.push(format!(
                "pins {} are not traced: reading goes, writing is refused until their lines are \
                 known",
                untraced.join(", ")
            ));
        }
        for space in self.spaces.iter().filter(|space| !space.words_known) {
            said.push(format!(
                "space {} has no `words`: it must be identified before it can be read whole",
                space.name
            ));
        }
        said.extend(self.not_yet());
        said.extend(self.spaces.iter().filter_map(super::Space::not_yet));
        said
    }

    /// The lines that the module uses and no pin carries.
    fn without_pin(&self) -> Option<String> {
        let none = |line: &LineName| self.pins_of(line).next().is_none();
        let data = (0..self.width().bits() as u8).filter(|n| none(&LineName::Data(*n)));
        let address = (0..self.address_lines).filter(|n| none(&LineName::Address(*n)));
        let mut missing = vec![listed('D', data), listed('A', address)];
        let checks = self.checks.iter().map(|check| check.line.as_str());
        let control = self.control_lines().into_iter().chain(checks);
        let control = control.filter(|name| none(&LineName::Control((*name).to_owned())));
        missing.extend(control.map(str::to_owned));
        let supplies = [LineName::Rail, LineName::Ground];
        missing.extend(supplies.iter().filter(|line| none(line)).map(ToString::to_string));
        missing.retain(|lines| !lines.is_empty());
        (!missing.is_empty()).then(|| {
            format!(
                "[pins] has no pin for {}: no message can name one there, and no adapter sheet \
                 reaches these lines",
                missing.join(", ")
            )
        })
    }

    /// Data lines on pins that no space has.
    fn beyond_width(&self) -> Option<String> {
        let width = self.width().bits() as u8;
        let there = |n: &u8| self.pins_of(&LineName::Data(*n)).next().is_some();
        let beyond = listed('D', (width..32).filter(there));
        (!beyond.is_empty())
            .then(|| format!("[pins] names {beyond}, but the widest space has {width} data lines"))
    }
}
