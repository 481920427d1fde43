//! Voltages of a query table: volts in the upper half of a byte, tenths in the lower.

use super::{CfiError, Query};
use crate::bus::Millivolts;

/// A range of voltages, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Volts {
    /// The lowest.
    pub least: Millivolts,
    /// The highest.
    pub most: Millivolts,
}

/// VCC: both halves are decimal digits, 27 is 2.7 V.
pub(super) fn decimal(byte: u8) -> Option<Millivolts> {
    if byte >> 4 > 9 { None } else { hexadecimal(byte) }
}

/// VPP: the volts are a hexadecimal digit, C5 is 12.5 V; the tenths stay decimal (datasheet
/// P30, table 35).
pub(super) fn hexadecimal(byte: u8) -> Option<Millivolts> {
    let (volts, tenths) = (u16::from(byte >> 4), u16::from(byte & 0xF));
    (tenths <= 9).then_some(Millivolts(volts * 1000 + tenths * 100))
}

/// VCC for program and erase, at 1B and 1C.
pub(super) fn vcc(query: &Query) -> Result<Volts, CfiError> {
    range(query, 0x1B, "the VCC", "volts and tenths as two decimal digits", decimal)
}

/// VPP for program and erase, at 1D and 1E; 00 twice means that the part needs none.
pub(super) fn vpp(query: &Query) -> Result<Option<Volts>, CfiError> {
    if query.pair(0x1D, "the VPP")? == 0 {
        return Ok(None);
    }
    let expected = "a hexadecimal digit of volts and a decimal digit of tenths";
    range(query, 0x1D, "the VPP", expected, hexadecimal).map(Some)
}

fn range(
    query: &Query,
    offset: u16,
    what: &'static str,
    expected: &'static str,
    decode: fn(u8) -> Option<Millivolts>,
) -> Result<Volts, CfiError> {
    let one = |offset| {
        let byte = query.byte(offset, what)?;
        let wrong = CfiError::Value { offset, what, expected, got: u32::from(byte) };
        decode(byte).ok_or(wrong)
    };
    let (least, most) = (one(offset)?, one(offset + 1)?);
    if least > most {
        let got = u32::from(query.byte(offset + 1, what)?);
        let expected = "a highest voltage not below the lowest";
        return Err(CfiError::Value { offset: offset + 1, what, expected, got });
    }
    Ok(Volts { least, most })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(volts: [u8; 4]) -> Query {
        Query::new([[0; 11].as_slice(), &volts].concat())
    }

    /// 27, 36, 45, 55 of VCC; B5, C5, 85, 95 of VPP (datasheets P30 table 35, Am29LV160D).
    #[test]
    fn digits() {
        assert_eq!(decimal(0x27), Some(Millivolts(2700)));
        assert_eq!(decimal(0x55), Some(Millivolts(5500)));
        assert_eq!(decimal(0xB5), None);
        assert_eq!(hexadecimal(0xB5), Some(Millivolts(11_500)));
        assert_eq!(hexadecimal(0x85), Some(Millivolts(8500)));
        assert_eq!(hexadecimal(0x8A), None);
    }

    #[test]
    fn ranges() {
        let query = table([0x27, 0x36, 0xB4, 0xC6]);
        let wanted = Volts { least: Millivolts(11_400), most: Millivolts(12_600) };
        assert_eq!(vpp(&query), Ok(Some(wanted)));
        assert_eq!(vcc(&query).map(|vcc| vcc.most), Ok(Millivolts(3600)));
        assert_eq!(vpp(&table([0x27, 0x36, 0, 0])), Ok(None));
        let error = vcc(&table([0x36, 0x27, 0, 0])).unwrap_err();
        assert_eq!(
            error.to_string(),
            "offset 0x1C: the VCC: expected a highest voltage not below the lowest, got 27"
        );
        assert_eq!(vcc(&table([0x2F, 0x36, 0, 0])).unwrap_err().offset(), 0x1B);
    }
}
