//! PING: still there, and how the rail is.

use super::field::{Fields, Malformed};
use crate::bus::Millivolts;

/// The state of the rail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RailState {
    /// Off, and below 300 mV where the board measures it.
    Off,
    /// Switched on, not yet settled.
    Rising,
    /// On.
    On,
    /// Switched off; the voltage has not fallen.
    Falling,
    /// Switched off by the adapter itself: it sagged, did not rise, or drew too much.
    Tripped,
}

impl RailState {
    /// The state that `value` stands for.
    pub(super) const fn from_code(value: u8) -> Option<Self> {
        Some(match value {
            0 => Self::Off,
            1 => Self::Rising,
            2 => Self::On,
            3 => Self::Falling,
            4 => Self::Tripped,
            _ => return None,
        })
    }
}

/// PING's reply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PingReply {
    /// New at each reset.
    pub boot_id: u32,
    /// Raised at every rail-off or sag.
    pub rail_counter: u32,
    /// The rail.
    pub rail: RailState,
    /// Its voltage now; declared, not measured, where the board has no sense.
    pub rail_mv: Millivolts,
    /// The lowest since the last PING.
    pub rail_min: Millivolts,
    /// Level of the module's ready line; true where there is none.
    pub ready: bool,
    /// The board has a write switch, and it is set to locked: no write strobe reaches the module.
    pub write_locked: bool,
    /// A request is at work.
    pub running: bool,
    /// The last run id.
    pub last_run: u32,
    /// Its status.
    pub last_status: u8,
    /// Seconds left of the permit, 0 for none.
    pub permit_s: u16,
    /// Good frames received since the reset.
    pub frames_good: u32,
    /// Frames dropped: COBS, length, checksum, kind.
    pub frames_damaged: u32,
    /// Bytes or requests lost because nothing had room.
    pub overruns: u32,
}

impl PingReply {
    pub(super) fn put(&self, out: &mut Vec<u8>) {
        out.extend(self.boot_id.to_le_bytes());
        out.extend(self.rail_counter.to_le_bytes());
        out.push(self.rail as u8);
        out.extend(self.rail_mv.0.to_le_bytes());
        out.extend(self.rail_min.0.to_le_bytes());
        out.push(u8::from(self.ready) | u8::from(self.write_locked) << 1);
        out.push(u8::from(self.running));
        out.extend(self.last_run.to_le_bytes());
        out.push(self.last_status);
        out.extend(self.permit_s.to_le_bytes());
        for n in [self.frames_good, self.frames_damaged, self.overruns] {
            out.extend(n.to_le_bytes());
        }
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        let (boot_id, rail_counter) = (f.u32("boot id")?, f.u32("rail counter")?);
        let rail = f.code("rail state", RailState::from_code)?;
        let rail_mv = Millivolts(f.u16("rail now")?);
        let rail_min = Millivolts(f.u16("rail minimum")?);
        let inputs = f.code("inputs", |bits| (bits < 4).then_some(bits))?;
        Ok(Self {
            boot_id,
            rail_counter,
            rail,
            rail_mv,
            rail_min,
            ready: inputs & 1 != 0,
            write_locked: inputs & 2 != 0,
            running: f.flag("running")?,
            last_run: f.u32("last run")?,
            last_status: f.u8("last status")?,
            permit_s: f.u16("permit")?,
            frames_good: f.u32("frames good")?,
            frames_damaged: f.u32("frames damaged")?,
            overruns: f.u32("overruns")?,
        })
    }
}
