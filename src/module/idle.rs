//! The levels at which nothing happens, the same for every space of a module.

use super::{Level, LineLevel, Space};
use std::collections::BTreeMap;

/// What a control line does between cycles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Rest {
    /// It rests at its inactive level.
    At(Level),
    /// It chooses between spaces that other lines select, so either level will do.
    Either,
}

/// A line that cannot rest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct NoRest {
    pub line: String,
    /// Index of a space.
    pub first: usize,
    /// Index of the space that wants something else.
    pub second: usize,
    /// True if the line is a strobe for one of them.
    pub strobe: bool,
}

struct Use {
    space: usize,
    strobe: bool,
    rest: Rest,
    /// The first space that uses it at the other level.
    other: Option<usize>,
}

/// How every control line of the module rests.
///
/// A select rests opposite to its active level, a strobe opposite to its level in a write, or in
/// a read where no write moves it. A select that is low for one space and high for another rests
/// at either level, as long as each of those spaces has another select that does rest.
pub(super) fn rest_levels(spaces: &[Space]) -> Result<BTreeMap<&str, Rest>, NoRest> {
    let mut uses: BTreeMap<&str, Use> = BTreeMap::new();
    for (space, said) in spaces.iter().enumerate() {
        let write: &[LineLevel] = said.write.as_deref().unwrap_or_default();
        let read_only = said.read.iter().filter(|one| write.iter().all(|w| w.line != one.line));
        let strobes = write.iter().chain(read_only).map(|one| (one, true));
        for (one, strobe) in said.select.iter().map(|one| (one, false)).chain(strobes) {
            let rest = Rest::At(one.level.opposite());
            let known = uses.entry(&one.line).or_insert(Use { space, strobe, rest, other: None });
            if known.rest == rest {
                known.strobe |= strobe;
                continue;
            }
            if known.strobe || strobe {
                return Err(NoRest {
                    line: one.line.clone(),
                    first: known.space,
                    second: space,
                    strobe: true,
                });
            }
            known.rest = Rest::Either;
            known.other.get_or_insert(space);
        }
    }
    for (space, said) in spaces.iter().enumerate() {
        let rests = |one: &LineLevel| {
            uses.get(one.line.as_str()).is_some_and(|known| known.rest != Rest::Either)
        };
        if let Some(line) = said.select.first()
            && !said.select.iter().any(rests)
        {
            let known = uses.get(line.line.as_str());
            let first = known.map_or(space, |known| known.space);
            let second = known.and_then(|known| known.other).unwrap_or(space);
            return Err(NoRest { line: line.line.clone(), first, second, strobe: false });
        }
    }
    Ok(uses.into_iter().map(|(line, one)| (line, one.rest)).collect())
}

/// True if `other` may be selected while a cycle selects `active`.
pub(super) fn selected_by(
    active: &[LineLevel],
    other: &[LineLevel],
    rest: &BTreeMap<&str, Rest>,
) -> bool {
    other.iter().all(|one| match active.iter().find(|moved| moved.line == one.line) {
        Some(moved) => moved.level == one.level,
        None => rest.get(one.line.as_str()).is_none_or(|rest| match rest {
            Rest::At(level) => *level == one.level,
            Rest::Either => true,
        }),
    })
}
