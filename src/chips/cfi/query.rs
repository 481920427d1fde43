//! The bytes of a query table, picked out of what a chip answers.

use super::CfiError;

/// The offset of the first byte of every table.
pub const FIRST: u16 = 0x10;

/// Where a chip shows the bytes of its table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spacing {
    /// One address per offset: parts with 8 lines only, or with 16 lines as words. The upper
    /// byte of a word reads 00 (datasheets Excel ES29LV160F p21, 28F320W30 p10).
    Every,
    /// An x8/x16 part in byte mode: offset n at chip address 2n; odd addresses mean nothing
    /// (datasheet A29L160A p12).
    Second,
    /// An Intel x8/x16 part in byte mode: offset n at 2n and again at 2n+1 (datasheet J3 65 nm,
    /// tables 27 and 28).
    Twice,
}

impl Spacing {
    /// The chip address of a table offset.
    pub const fn address(self, offset: u16) -> u32 {
        match self {
            Self::Every => offset as u32,
            Self::Second | Self::Twice => offset as u32 * 2,
        }
    }

    /// How a part shows its table in `read`, the units from chip address 0 on; `None` if no
    /// 'QRY' stands where it can stand.
    pub fn find(read: &[u16]) -> Option<Self> {
        let shows = |spacing: Self| {
            let mut bytes = [0x51, 0x52, 0x59].into_iter().zip(FIRST..);
            bytes.all(|(byte, offset)| {
                let address = spacing.address(offset) as usize;
                let first = read.get(address) == Some(&byte);
                first && (spacing != Self::Twice || read.get(address + 1) == Some(&byte))
            })
        };
        [Self::Every, Self::Twice, Self::Second].into_iter().find(|spacing| shows(*spacing))
    }
}

/// Why there are no more bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum End {
    Read,
    UpperByte(u16),
    NotTwice(u16, u16),
}

/// The bytes of a query table from offset 0x10 on, as one chip shows them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Query {
    bytes: Vec<u8>,
    end: End,
}

impl Query {
    /// A table of bytes that are already one per offset, from offset 0x10 on.
    pub fn new(bytes: impl Into<Vec<u8>>) -> Self {
        Self { bytes: bytes.into(), end: End::Read }
    }

    /// Picks a table out of `read`: what one chip answers from chip address 0 on, one unit of
    /// its data lines an address. Bytes after the first that is not as `spacing` says are left
    /// out; the error comes when a field needs them.
    pub fn pick(read: &[u16], spacing: Spacing) -> Self {
        let mut bytes = Vec::new();
        let start = spacing.address(FIRST) as usize;
        let step = if spacing == Spacing::Every { 1 } else { 2 };
        for unit in read.get(start..).unwrap_or_default().chunks_exact(step) {
            let (first, second) = (unit[0], unit[step - 1]);
            if first > 0xFF {
                return Self { bytes, end: End::UpperByte(first) };
            }
            if spacing == Spacing::Twice && first != second {
                return Self { bytes, end: End::NotTwice(first, second) };
            }
            bytes.push(first as u8);
        }
        Self { bytes, end: End::Read }
    }

    /// All bytes from offset 0x10 on.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// The byte at `offset`, which is the field `what`.
    pub fn byte(&self, offset: u16, what: &'static str) -> Result<u8, CfiError> {
        let index = offset.checked_sub(FIRST).map(usize::from);
        if let Some(byte) = index.and_then(|index| self.bytes.get(index)) {
            return Ok(*byte);
        }
        // Of the bytes that are missing the first tells why.
        let offset = offset.min(FIRST.saturating_add(self.bytes.len() as u16));
        Err(match self.end {
            End::Read => CfiError::Short { offset, what },
            End::UpperByte(got) => CfiError::UpperByte { offset, what, got },
            End::NotTwice(first, second) => CfiError::NotTwice { offset, what, first, second },
        })
    }

    /// The two bytes at `offset`, the lower first.
    pub fn pair(&self, offset: u16, what: &'static str) -> Result<u16, CfiError> {
        let low = self.byte(offset, what)?;
        Ok(u16::from_le_bytes([low, self.byte(offset.saturating_add(1), what)?]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 16 filling units a table offset of 1, then the start of a table and one byte more.
    fn shown(spacing: Spacing) -> Vec<u16> {
        let mut read = vec![0xEEEE; spacing.address(FIRST) as usize];
        for byte in [0x51, 0x52, 0x59, 0x02] {
            read.push(byte);
            match spacing {
                Spacing::Every => {}
                Spacing::Second => read.push(0x77),
                Spacing::Twice => read.push(byte),
            }
        }
        read
    }

    #[test]
    fn every_spacing_is_found_and_picked() {
        for spacing in [Spacing::Every, Spacing::Second, Spacing::Twice] {
            let read = shown(spacing);
            assert_eq!(Spacing::find(&read), Some(spacing));
            assert_eq!(Query::pick(&read, spacing).bytes(), [0x51, 0x52, 0x59, 0x02]);
        }
        assert_eq!(Spacing::find(&[0xFF; 64]), None);
        assert_eq!(Spacing::find(&[]), None);
        assert!(Query::pick(&[], Spacing::Every).bytes().is_empty());
    }

    /// Offset 10h moves to 20h in byte mode, and 20h, 21h = 51 51, 22h = 52 on Intel parts
    /// (datasheet J3 65 nm, tables 27 and 28).
    #[test]
    fn byte_mode_addresses() {
        let read = shown(Spacing::Twice);
        assert_eq!(read[0x20..0x23], [0x51, 0x51, 0x52]);
        assert_eq!(Spacing::Second.address(0x10), 0x20);
    }

    #[test]
    fn what_is_no_table_byte_is_named_when_it_is_needed() {
        let mut read = shown(Spacing::Every);
        read[0x12] = 0xFF59;
        let query = Query::pick(&read, Spacing::Every);
        assert_eq!(query.byte(0x11, "'R'"), Ok(0x52));
        let error = query.byte(0x13, "the command set").unwrap_err();
        assert_eq!(
            error.to_string(),
            "offset 0x12: expected the command set with 00 on the upper data lines, got FF59; the \
             chip may have left query mode"
        );
        let mut read = shown(Spacing::Twice);
        read[0x23] = 0x51;
        let error = Query::pick(&read, Spacing::Twice).pair(0x10, "'QR'").unwrap_err();
        assert_eq!(error.to_string(), "offset 0x11: expected 'QR' twice, got 52 and 51");
        assert_eq!(error.offset(), 0x11);
    }
}
