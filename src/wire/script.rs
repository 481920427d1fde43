//! SCRIPT: keep a cycle script in a slot.

use super::field::{Fields, Malformed};

/// SCRIPT: checked and stored, or a FAULT that names the byte.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScriptRequest {
    /// The slot.
    pub slot: u8,
    /// The script as `docs/script.md` encodes it.
    pub bytes: Vec<u8>,
}

impl ScriptRequest {
    pub(super) fn put(&self, out: &mut Vec<u8>) {
        out.push(self.slot);
        out.extend_from_slice(&self.bytes);
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self { slot: f.u8("slot")?, bytes: f.rest().to_vec() })
    }
}

/// SCRIPT's reply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ScriptReply {
    /// The slot.
    pub slot: u8,
    /// CRC-32/ISO-HDLC of the bytes that are stored now.
    pub crc: u32,
}

impl ScriptReply {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        out.push(self.slot);
        out.extend(self.crc.to_le_bytes());
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self { slot: f.u8("slot")?, crc: f.u32("checksum")? })
    }
}
