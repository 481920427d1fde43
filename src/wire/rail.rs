//! RAIL: the module's supply on or off.

use super::field::{Fields, Malformed};
use super::ping::RailState;
use crate::bus::Millivolts;

/// What to do with the rail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RailAction {
    /// Switch off, in the order that keeps the module from being powered through its lines.
    Off,
    /// Switch on with the idle levels of every shape applied as it rises.
    On,
}

/// RAIL, as the host sends it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RailRequest {
    /// On or off.
    pub action: RailAction,
    /// The voltage expected; 0 with off.
    pub expected: Millivolts,
    /// Milliseconds until it must be above the floor.
    pub settle_ms: u16,
    /// Below this, then or later, the adapter switches off at once.
    pub floor: Millivolts,
    /// Shapes that the host has given; on is refused if the adapter has another number.
    pub shapes: u8,
}

impl RailRequest {
    /// Rail off.
    pub const OFF: Self = Self {
        action: RailAction::Off,
        expected: Millivolts(0),
        settle_ms: 0,
        floor: Millivolts(0),
        shapes: 0,
    };

    pub(super) fn put(self, out: &mut Vec<u8>) {
        out.push(self.action as u8);
        out.extend(self.expected.0.to_le_bytes());
        out.extend(self.settle_ms.to_le_bytes());
        out.extend(self.floor.0.to_le_bytes());
        out.push(self.shapes);
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self {
            action: f.code("action", |value| match value {
                0 => Some(RailAction::Off),
                1 => Some(RailAction::On),
                _ => None,
            })?,
            expected: Millivolts(f.u16("expected")?),
            settle_ms: f.u16("settle")?,
            floor: Millivolts(f.u16("floor")?),
            shapes: f.u8("shapes")?,
        })
    }
}

/// RAIL's reply, sent when the rail has settled or fallen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RailReply {
    /// The rail now.
    pub state: RailState,
    /// Its voltage.
    pub mv: Millivolts,
    /// The voltage is measured; otherwise it is what the board declares.
    pub measured: bool,
    /// The rail counter now.
    pub rail_counter: u32,
    /// Milliseconds it took.
    pub took_ms: u16,
}

impl RailReply {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        out.push(self.state as u8);
        out.extend(self.mv.0.to_le_bytes());
        out.push(u8::from(self.measured));
        out.extend(self.rail_counter.to_le_bytes());
        out.extend(self.took_ms.to_le_bytes());
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self {
            state: f.code("rail state", RailState::from_code)?,
            mv: Millivolts(f.u16("rail now")?),
            measured: f.flag("measured")?,
            rail_counter: f.u32("rail counter")?,
            took_ms: f.u16("took")?,
        })
    }
}
