//! Fields of a body: little-endian numbers, short texts, and what can be wrong with them.

use std::fmt;
use thiserror::Error;

/// What is wrong with a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// The body ends before the field does.
    Short,
    /// The value has no meaning here.
    Value(u32),
    /// Bytes are left after the last field.
    Trailing(usize),
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Short => f.write_str("the body ends before it"),
            Self::Value(value) => write!(f, "0x{value:X} has no meaning there"),
            Self::Trailing(n) => write!(f, "{n} bytes are left after the last field"),
        }
    }
}

/// A body whose checksum is good and whose content is not.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
#[error("field '{field}' at byte {at} of the body: {why}")]
pub struct Malformed {
    /// The field, as `docs/wire.md` names it.
    pub field: &'static str,
    /// Its offset in the body; the kind byte is 0.
    pub at: usize,
    /// What is wrong.
    pub why: Why,
}

/// Reads fields from a body in order.
pub(super) struct Fields<'a> {
    body: &'a [u8],
    at: usize,
}

impl<'a> Fields<'a> {
    /// The fields after kind and tag.
    pub(super) fn of(body: &'a [u8]) -> Self {
        Self { body, at: 2.min(body.len()) }
    }

    /// Where the next field begins in the body.
    pub(super) fn at(&self) -> usize {
        self.at
    }

    /// True if no byte is left.
    pub(super) fn ended(&self) -> bool {
        self.at >= self.body.len()
    }

    fn take(&mut self, n: usize, field: &'static str) -> Result<&'a [u8], Malformed> {
        let bytes = self.body.get(self.at..self.at + n).ok_or(Malformed {
            field,
            at: self.at,
            why: Why::Short,
        })?;
        self.at += n;
        Ok(bytes)
    }

    fn array<const N: usize>(&mut self, field: &'static str) -> Result<[u8; N], Malformed> {
        let mut out = [0; N];
        out.copy_from_slice(self.take(N, field)?);
        Ok(out)
    }

    pub(super) fn u8(&mut self, field: &'static str) -> Result<u8, Malformed> {
        Ok(u8::from_le_bytes(self.array(field)?))
    }

    pub(super) fn u16(&mut self, field: &'static str) -> Result<u16, Malformed> {
        Ok(u16::from_le_bytes(self.array(field)?))
    }

    pub(super) fn i16(&mut self, field: &'static str) -> Result<i16, Malformed> {
        Ok(i16::from_le_bytes(self.array(field)?))
    }

    pub(super) fn u32(&mut self, field: &'static str) -> Result<u32, Malformed> {
        Ok(u32::from_le_bytes(self.array(field)?))
    }

    pub(super) fn flag(&mut self, field: &'static str) -> Result<bool, Malformed> {
        self.code(field, |value| match value {
            0 => Some(false),
            1 => Some(true),
            _ => None,
        })
    }

    /// One byte that `meaning` turns into a value.
    pub(super) fn code<T>(
        &mut self,
        field: &'static str,
        meaning: impl FnOnce(u8) -> Option<T>,
    ) -> Result<T, Malformed> {
        let value = self.u8(field)?;
        meaning(value).ok_or(Malformed {
            field,
            at: self.at - 1,
            why: Why::Value(u32::from(value)),
        })
    }

    /// A length byte and that many bytes of text; what is not UTF-8 is replaced, control
    /// characters are dropped, so that a foreign name cannot move a terminal's cursor.
    pub(super) fn text(&mut self, field: &'static str) -> Result<String, Malformed> {
        let n = usize::from(self.u8(field)?);
        let text = String::from_utf8_lossy(self.take(n, field)?);
        Ok(text.chars().filter(|c| !c.is_control()).collect())
    }

    /// A count byte and that many entries.
    pub(super) fn list<T>(
        &mut self,
        field: &'static str,
        mut entry: impl FnMut(&mut Self) -> Result<T, Malformed>,
    ) -> Result<Vec<T>, Malformed> {
        let n = self.u8(field)?;
        (0..n).map(|_| entry(self)).collect()
    }

    /// Everything that is left.
    pub(super) fn rest(&mut self) -> &'a [u8] {
        let rest = &self.body[self.at..];
        self.at = self.body.len();
        rest
    }

    /// Refuses bytes after the last field.
    pub(super) fn end(self) -> Result<(), Malformed> {
        match self.body.len() - self.at {
            0 => Ok(()),
            n => Err(Malformed { field: "end", at: self.at, why: Why::Trailing(n) }),
        }
    }
}

/// Appends a length byte and the text, cut at a character boundary to `max` bytes.
pub(super) fn put_text(out: &mut Vec<u8>, text: &str, max: usize) {
    let mut n = text.len().min(max).min(255);
    while !text.is_char_boundary(n) {
        n -= 1;
    }
    out.push(n as u8);
    out.extend_from_slice(&text.as_bytes()[..n]);
}
