//! HELLO: who the adapter is, what it can do, and which session this is.

use super::PROTOCOL_MAJOR;
use super::field::{Fields, Malformed, put_text};
use crate::bus::{Baud, Millivolts, Nanos, ShapeTimes};

/// Longest name that HELLO carries, in bytes.
const NAME_MAX: usize = 32;

/// HELLO, as the host sends it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HelloRequest {
    /// The host's protocol major number.
    pub major: u8,
    /// The host's session number: random, the same for as long as the host runs.
    pub session: u32,
}

impl HelloRequest {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        out.push(self.major);
        out.extend(self.session.to_le_bytes());
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self { major: f.u8("major")?, session: f.u32("session")? })
    }
}

/// What stands between the adapter's data pins and the module.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DataPath {
    /// The pins themselves.
    Direct,
    /// Buffers whose direction the adapter sets.
    Directed,
    /// Shifters that find their direction by themselves: no verdict on single lines.
    AutoDirection,
}

/// Where the module's supply comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Supply {
    /// The USB connector.
    Usb,
    /// A supply of its own.
    Own,
}

/// One control line as the board names it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ControlLine {
    /// Its name on the board.
    pub name: String,
    /// The board says that this line is a write strobe.
    pub write_strobe: bool,
    /// The board pulls it down, not up, while nobody drives it.
    pub pulled_down: bool,
}

/// Sizes that the host must keep to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sizes {
    /// The longest body the adapter takes.
    pub rx_body_max: u16,
    /// Bytes of requests, as they are on the line, that may wait at the adapter.
    pub rx_queue_bytes: u16,
    /// The longest body the adapter sends.
    pub tx_body_max: u16,
    /// Shapes it keeps.
    pub shape_slots: u8,
    /// Scripts it keeps.
    pub script_slots: u8,
    /// Bytes of each script.
    pub script_bytes: u16,
    /// Finished runs whose reply it remembers.
    pub runs_remembered: u8,
    /// Emitted words it remembers with each.
    pub emit_remembered: u16,
}

/// How long operations that an adapter makes quickly last at most inside `atomic`; see `docs/script.md`,
/// "Worst time". Zero: the adapter promises nothing of the kind.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct AtomicTimes {
    /// One of them.
    pub operation: Nanos,
    /// On top of it a read or write, beside the times of its shape.
    pub cycle: Nanos,
}

/// HELLO's reply.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HelloReply {
    /// The adapter's protocol major number.
    pub major: u8,
    /// Its minor number.
    pub minor: u8,
    /// The session this answers.
    pub session: u32,
    /// New at each reset.
    pub boot_id: u32,
    /// Raised at every rail-off or sag.
    pub rail_counter: u32,
    /// Not 0: a run of an earlier session goes on for at most so many milliseconds.
    pub still_running_ms: u32,
    /// Name and version of the firmware.
    pub firmware: String,
    /// Name of the board.
    pub board: String,
    /// Data lines.
    pub data_lines: u8,
    /// Address lines.
    pub address_lines: u8,
    /// Control lines, line 0 first.
    pub control: Vec<ControlLine>,
    /// What stands between pins and module.
    pub data_path: DataPath,
    /// Nominal rails the board can be set to; the first is the one it is set to now.
    pub rails: Vec<Millivolts>,
    /// High level of the I/O pins.
    pub io_high: Millivolts,
    /// The I/O level is measured, not declared.
    pub io_measured: bool,
    /// The highest level that inputs take.
    pub input_max: Millivolts,
    /// Current limit of the rail in mA; 0 if there is none.
    pub rail_limit_ma: u16,
    /// Where the supply comes from.
    pub supply: Supply,
    /// The rail's voltage is measured by the board.
    pub rail_sensed: bool,
    /// Sizes to keep to.
    pub sizes: Sizes,
    /// Clock of the controller.
    pub clock_hz: u32,
    /// The line rate after a reset; 0 where the line has no rate.
    pub reset_rate: Baud,
    /// Every rate it can be asked for; empty where the line has no rate.
    pub rates: Vec<Baud>,
    /// The shortest times of a cycle.
    pub shortest: ShapeTimes,
    /// Encodings of READ that it has.
    pub encodings: Vec<u8>,
    /// The session before this one; 0 if there was none since the reset.
    pub previous_session: u32,
    /// Its last run id.
    pub previous_run: u32,
    /// That run's status.
    pub previous_status: u8,
    /// How long operations last inside `atomic`; zero from an adapter of an earlier minor number.
    pub atomic: AtomicTimes,
}

impl HelloReply {
    pub(super) fn put(&self, out: &mut Vec<u8>) {
        out.extend([self.major, self.minor]);
        out.extend(self.session.to_le_bytes());
        out.extend(self.boot_id.to_le_bytes());
        out.extend(self.rail_counter.to_le_bytes());
        out.extend(self.still_running_ms.to_le_bytes());
        put_text(out, &self.firmware, NAME_MAX);
        put_text(out, &self.board, NAME_MAX);
        out.extend([self.data_lines, self.address_lines]);
        out.push(self.control.len() as u8);
        for line in &self.control {
            out.push(u8::from(line.write_strobe) | u8::from(line.pulled_down) << 1);
            put_text(out, &line.name, NAME_MAX);
        }
        out.push(self.data_path as u8);
        out.push(self.rails.len() as u8);
        self.rails.iter().for_each(|mv| out.extend(mv.0.to_le_bytes()));
        out.extend(self.io_high.0.to_le_bytes());
        out.push(u8::from(self.io_measured));
        out.extend(self.input_max.0.to_le_bytes());
        out.extend(self.rail_limit_ma.to_le_bytes());
        out.push(self.supply as u8);
        out.push(u8::from(self.rail_sensed));
        let s = &self.sizes;
        for size in [s.rx_body_max, s.rx_queue_bytes, s.tx_body_max] {
            out.extend(size.to_le_bytes());
        }
        out.extend([s.shape_slots, s.script_slots]);
        out.extend(s.script_bytes.to_le_bytes());
        out.push(s.runs_remembered);
        out.extend(s.emit_remembered.to_le_bytes());
        out.extend(self.clock_hz.to_le_bytes());
        out.extend(self.reset_rate.0.to_le_bytes());
        out.push(self.rates.len() as u8);
        self.rates.iter().for_each(|rate| out.extend(rate.0.to_le_bytes()));
        put_times(&self.shortest, out);
        out.push(self.encodings.len() as u8);
        out.extend(&self.encodings);
        out.extend(self.previous_session.to_le_bytes());
        out.extend(self.previous_run.to_le_bytes());
        out.push(self.previous_status);
        for time in [self.atomic.operation, self.atomic.cycle] {
            out.extend(u32::try_from(time.0).unwrap_or(u32::MAX).to_le_bytes());
        }
    }

    /// Decodes the whole reply; of another protocol only major, minor and session, which every
    /// version has in the same place.
    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        let major = f.u8("major")?;
        let minor = f.u8("minor")?;
        let session = f.u32("session")?;
        if major != PROTOCOL_MAJOR {
            return Ok(Self { major, minor, session, ..Self::nameless() });
        }
        Ok(Self {
            major,
            minor,
            session,
            boot_id: f.u32("boot id")?,
            rail_counter: f.u32("rail counter")?,
            still_running_ms: f.u32("still running")?,
            firmware: f.text("firmware")?,
            board: f.text("board")?,
            data_lines: f.u8("data lines")?,
            address_lines: f.u8("address lines")?,
            control: f.list("control lines", |f| {
                let flags = f.u8("control flags")?;
                let name = f.text("control name")?;
                Ok(ControlLine { name, write_strobe: flags & 1 != 0, pulled_down: flags & 2 != 0 })
            })?,
            data_path: f.code("data path", |value| match value {
                0 => Some(DataPath::Direct),
                1 => Some(DataPath::Directed),
                2 => Some(DataPath::AutoDirection),
                _ => None,
            })?,
            rails: f.list("rails", |f| f.u16("rail").map(Millivolts))?,
            io_high: Millivolts(f.u16("I/O high")?),
            io_measured: f.flag("I/O measured")?,
            input_max: Millivolts(f.u16("highest input")?),
            rail_limit_ma: f.u16("rail limit")?,
            supply: f.code("supply", |value| match value {
                0 => Some(Supply::Usb),
                1 => Some(Supply::Own),
                _ => None,
            })?,
            rail_sensed: f.flag("rail sensed")?,
            sizes: Sizes {
                rx_body_max: f.u16("rx_body_max")?,
                rx_queue_bytes: f.u16("rx_queue_bytes")?,
                tx_body_max: f.u16("tx_body_max")?,
                shape_slots: f.u8("shape slots")?,
                script_slots: f.u8("script slots")?,
                script_bytes: f.u16("script bytes")?,
                runs_remembered: f.u8("runs remembered")?,
                emit_remembered: f.u16("emit remembered")?,
            },
            clock_hz: f.u32("clock")?,
            reset_rate: Baud(f.u32("reset rate")?),
            rates: f.list("rates", |f| f.u32("rate").map(Baud))?,
            shortest: take_times(f)?,
            encodings: f.list("encodings", |f| f.u8("encoding"))?,
            previous_session: f.u32("previous session")?,
            previous_run: f.u32("previous run")?,
            previous_status: f.u8("previous status")?,
            atomic: if f.ended() { AtomicTimes::default() } else { take_atomic(f)? },
        })
    }
}

impl HelloReply {
    /// A reply that says nothing, for what cannot be decoded.
    fn nameless() -> Self {
        Self {
            major: 0,
            minor: 0,
            session: 0,
            boot_id: 0,
            rail_counter: 0,
            still_running_ms: 0,
            firmware: String::new(),
            board: String::new(),
            data_lines: 0,
            address_lines: 0,
            control: Vec::new(),
            data_path: DataPath::Direct,
            rails: Vec::new(),
            io_high: Millivolts(0),
            io_measured: false,
            input_max: Millivolts(0),
            rail_limit_ma: 0,
            supply: Supply::Usb,
            rail_sensed: false,
            sizes: Sizes::default(),
            clock_hz: 0,
            reset_rate: Baud(0),
            rates: Vec::new(),
            shortest: ShapeTimes::default(),
            encodings: Vec::new(),
            previous_session: 0,
            previous_run: 0,
            previous_status: 0,
            atomic: AtomicTimes::default(),
        }
    }
}

fn take_atomic(f: &mut Fields) -> Result<AtomicTimes, Malformed> {
    Ok(AtomicTimes {
        operation: Nanos(f.u32("operation in atomic")?.into()),
        cycle: Nanos(f.u32("cycle in atomic")?.into()),
    })
}

/// Set-up, pulse, hold, recover, release: five u16 in nanoseconds.
pub(super) fn put_times(times: &ShapeTimes, out: &mut Vec<u8>) {
    for ns in [times.setup, times.pulse, times.hold, times.recover, times.release] {
        out.extend(ns.to_le_bytes());
    }
}

/// The reverse of [`put_times`].
pub(super) fn take_times(f: &mut Fields) -> Result<ShapeTimes, Malformed> {
    Ok(ShapeTimes {
        setup: f.u16("set-up time")?,
        pulse: f.u16("pulse time")?,
        hold: f.u16("hold time")?,
        recover: f.u16("recover time")?,
        release: f.u16("release time")?,
    })
}
