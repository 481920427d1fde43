//! What a module sheet means on a given board: the shapes of its spaces.

use super::idle::{Rest, rest_levels};
use super::wiring::{ControlMap, control_map};
use super::{AdapterSheet, Board, FitError, Kind, Level, LineLevel, LineName, Sheet, Space};
use crate::bus::{Levels, Phases, Shape, ShapeId, ShapeTimes};
use thiserror::Error;

/// How one space of a module is reached on one board.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SpaceAccess {
    /// Index of the space in the sheet.
    pub space: usize,
    /// The slot for `shape`.
    pub id: ShapeId,
    /// The slot for `slow`.
    pub slow_id: ShapeId,
    /// A cycle at the sheet's times, or the board's where those are longer.
    pub shape: Shape,
    /// The same with twice the strobe, for finding words that are only just in time.
    pub slow: Shape,
    /// Why the shapes have no write phases; `None` if they have.
    pub no_write: Option<NoWrite>,
}

/// Why a space is reached for reading only.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum NoWrite {
    /// It is a rom.
    #[error("space `{space}` is a rom and is never written")]
    Rom {
        /// The space.
        space: String,
    },
    /// The sheet has pins of which nobody knows the line.
    #[error(
        "writing is refused while pins of module `{module}` are not traced ({pins}); trace them and name their lines in [pins]"
    )]
    NotTraced {
        /// The module.
        module: String,
        /// The pins.
        pins: String,
    },
    /// A switch on the board keeps every write strobe from the module.
    #[error("the board's write switch is set to locked")]
    Switch,
}

/// Builds the shapes of every space of `sheet` on `board`, in sheet order.
///
/// Without an adapter sheet the module's lines are matched with the board's by name. All shapes
/// share their idle levels: every select and every strobe of every space inactive.
pub fn plan_access(
    sheet: &Sheet,
    adapter: Option<&AdapterSheet>,
    board: &Board,
) -> Result<Vec<SpaceAccess>, FitError> {
    let map = control_map(sheet, adapter, board)?;
    let needs = sheet.spaces.len() * 2;
    if needs > usize::from(board.shape_slots) {
        let (module, spaces) = (sheet.name.clone(), sheet.spaces.len());
        return Err(FitError::Slots { module, spaces, needs, has: board.shape_slots });
    }
    let plan = Plan::new(sheet, adapter, board, map)?;
    plan.check_pulls()?;
    let mut access = plan.spaces()?;
    // Before the write phases are left out: what they would do to a read does not depend on leave
    // to write.
    check_across(sheet, &access)?;
    for space in access.iter_mut().filter(|space| space.no_write.is_some()) {
        space.shape.write = None;
        space.slow.write = None;
    }
    Ok(access)
}

struct Plan<'a> {
    sheet: &'a Sheet,
    board: &'a Board,
    map: ControlMap<'a>,
    /// The levels that the board's resistors give its control lines.
    pulled: Levels,
    idle: Levels,
    /// Selects that rest at either level.
    either: u16,
}

impl<'a> Plan<'a> {
    fn new(
        sheet: &'a Sheet,
        adapter: Option<&AdapterSheet>,
        board: &'a Board,
        map: ControlMap<'a>,
    ) -> Result<Self, FitError> {
        let named_down = |name| adapter.is_some_and(|sheet| sheet.pulled_down.contains(name));
        let mut pulled = Levels::default();
        for (index, line) in board.control.iter().enumerate() {
            let high = !line.pulled_down && !named_down(&line.name);
            pulled = pulled.then(one_line(index, high));
        }
        // A parsed sheet was checked for this; one put together by hand may not be.
        let rest = rest_levels(&sheet.spaces).map_err(|clash| {
            let space = sheet.spaces.get(clash.second).map_or_else(String::new, |s| s.name.clone());
            FitError::NoIdle { line: clash.line, space }
        })?;
        let (mut idle, mut either) = (Levels::default(), 0);
        for (line, index) in &map {
            let bit = 1 << index;
            let high = if let Some(Rest::At(level)) = rest.get(line) {
                *level == Level::High
            } else {
                either |= bit;
                pulled.level & bit != 0
            };
            idle = idle.then(one_line(*index, high));
        }
        Ok(Self { sheet, board, map, pulled, idle, either })
    }

    /// Refuses a board whose resistors select a space or make a write while nothing drives them,
    /// as happens with the rail off.
    fn check_pulls(&self) -> Result<(), FitError> {
        for space in &self.sheet.spaces {
            for select in &space.select {
                let levels = self.levels(std::slice::from_ref(select));
                if self.pulled.shows(levels) && levels.mask & self.either == 0 {
                    return Err(FitError::SelectPulledActive {
                        line: select.line.clone(),
                        board_line: self.board_line(&select.line).to_owned(),
                        level: select.level,
                        space: space.name.clone(),
                    });
                }
            }
            if let Some(write) = &space.write
                && self.pulled.shows(self.levels(write))
            {
                let lines: Vec<_> = write.iter().map(|one| one.line.as_str()).collect();
                let (space, lines) = (space.name.clone(), lines.join(", "));
                return Err(FitError::WritePulledActive { space, lines });
            }
        }
        Ok(())
    }

    fn spaces(&self) -> Result<Vec<SpaceAccess>, FitError> {
        let untraced: Vec<_> = self.sheet.pins_of(&LineName::NotTraced).collect();
        let no_write = |space: &Space| match space.kind {
            Kind::Rom => Some(NoWrite::Rom { space: space.name.clone() }),
            _ if untraced.is_empty() => None,
            _ => {
                let (module, pins) = (self.sheet.name.clone(), untraced.join(", "));
                Some(NoWrite::NotTraced { module, pins })
            }
        };
        let access = |(index, space): (usize, &Space)| {
            let no_write = no_write(space);
            let shape = self.shape(space)?;
            let needs = u32::from(shape.times.pulse) * 2;
            let pulse = u16::try_from(needs)
                .map_err(|_| FitError::TooSlow { space: space.name.clone(), needs })?;
            let slow = Shape { times: ShapeTimes { pulse, ..shape.times }, ..shape };
            let number = index as u8 * 2;
            let (id, slow_id) = (ShapeId(number), ShapeId(number + 1));
            Ok(SpaceAccess { space: index, id, slow_id, shape, slow, no_write })
        };
        self.sheet.spaces.iter().enumerate().map(access).collect()
    }

    fn shape(&self, space: &Space) -> Result<Shape, FitError> {
        let setup = self.levels(&space.select);
        let phases = |strobe: &Vec<LineLevel>| Phases { setup, strobe: self.levels(strobe) };
        let whole = Shape {
            width: space.width,
            first_line: 0,
            idle: self.idle,
            read: phases(&space.read),
            write: space.write.as_ref().map(phases),
            times: times(space, self.board.shortest),
        };
        let control = self.board.control.iter().enumerate();
        let strobes = control.filter(|(_, line)| line.write_strobe).fold(0, |m, (n, _)| m | 1 << n);
        whole
            .check(self.board.control.len() as u8, self.board.data_lines, strobes)
            .map_err(|refusal| FitError::Shape { space: space.name.clone(), refusal })?;
        Ok(whole)
    }

    fn levels(&self, lines: &[LineLevel]) -> Levels {
        lines.iter().fold(Levels::default(), |levels, one| {
            let index = self.map.get(one.line.as_str());
            index.map_or(levels, |n| levels.then(one_line(*n, one.level == Level::High)))
        })
    }

    fn board_line(&self, line: &str) -> &str {
        let index = self.map.get(line).copied().unwrap_or(usize::MAX);
        self.board.control.get(index).map_or("?", |line| line.name.as_str())
    }
}

fn one_line(index: usize, high: bool) -> Levels {
    let mask = 1 << index;
    Levels { mask, level: if high { mask } else { 0 } }
}

/// The sheet's times, none shorter than the board's.
fn times(space: &Space, shortest: ShapeTimes) -> ShapeTimes {
    ShapeTimes {
        setup: space.timing.set_up.max(shortest.setup),
        pulse: space.timing.access.max(shortest.pulse),
        hold: space.timing.hold.max(shortest.hold),
        recover: space.timing.recover.max(shortest.recover),
        release: space.timing.release.max(shortest.release),
    }
}

/// Refuses a read of one space that shows the write levels of another.
fn check_across(sheet: &Sheet, access: &[SpaceAccess]) -> Result<(), FitError> {
    let name = |one: &SpaceAccess| {
        sheet.spaces.get(one.space).map_or_else(String::new, |space| space.name.clone())
    };
    for written in access {
        for read in access {
            // All shapes share their idle levels.
            if read.shape.reads_as_write_of(&written.shape, written.shape.idle).is_some() {
                let (read, written) = (name(read), name(written));
                return Err(FitError::ReadWritesOther { read, written });
            }
        }
    }
    Ok(())
}
