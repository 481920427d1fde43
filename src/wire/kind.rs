//! The kind byte of a body.

use std::fmt;

/// What a request asks for; its reply has the same number with bit 7 set.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Kind(pub u8);

impl Kind {
    /// Who are you, and a new or the same session.
    pub const HELLO: Self = Self(0x01);
    /// Still there, and how the rail is.
    pub const PING: Self = Self(0x02);
    /// Another line rate.
    pub const RATE: Self = Self(0x03);
    /// Rail on or off.
    pub const RAIL: Self = Self(0x04);
    /// Leave to do write cycles.
    pub const PERMIT: Self = Self(0x05);
    /// How a bus cycle looks.
    pub const SHAPE: Self = Self(0x06);
    /// Set and sample single lines.
    pub const LINES: Self = Self(0x07);
    /// Walk single lines and sample all.
    pub const WALK: Self = Self(0x08);
    /// Read words.
    pub const READ: Self = Self(0x09);
    /// Checksum of words.
    pub const DIGEST: Self = Self(0x0A);
    /// One cycle kept still.
    pub const HOLD: Self = Self(0x0B);
    /// One cycle again and again.
    pub const REPEAT: Self = Self(0x0C);
    /// Stop what runs.
    pub const STOP: Self = Self(0x0D);
    /// Store a cycle script.
    pub const SCRIPT: Self = Self(0x0E);
    /// Run a cycle script.
    pub const RUN: Self = Self(0x0F);
    /// A reply: the request goes on.
    pub const BUSY: Self = Self(0xFE);
    /// A reply: the request was refused or failed.
    pub const FAULT: Self = Self(0xFF);

    /// True for replies, FAULT and BUSY.
    pub const fn is_reply(self) -> bool {
        self.0 & 0x80 != 0
    }

    /// The kind of the reply to a request of this kind.
    pub const fn reply(self) -> Self {
        Self(self.0 | 0x80)
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const NAMES: [&str; 16] = [
            "", "HELLO", "PING", "RATE", "RAIL", "PERMIT", "SHAPE", "LINES", "WALK", "READ",
            "DIGEST", "HOLD", "REPEAT", "STOP", "SCRIPT", "RUN",
        ];
        match *self {
            Self::BUSY => f.write_str("BUSY"),
            Self::FAULT => f.write_str("FAULT"),
            Self(n) => match NAMES.get(usize::from(n & 0x7F)) {
                Some(name) if n & 0x7F != 0 && n & 0x80 == 0 => f.write_str(name),
                Some(name) if n & 0x7F != 0 => write!(f, "{name} reply"),
                _ => write!(f, "kind 0x{n:02X}"),
            },
        }
    }
}
