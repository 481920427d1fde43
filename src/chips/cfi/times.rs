//! Times of a query table: powers of two, typical and longest.

use super::{CfiError, Query};
use crate::bus::Nanos;

/// Larger exponents would be hours for a byte; what says so is no table.
const MOST_TYPICAL: u8 = 24;
const MOST_FACTOR: u8 = 15;

/// How long one operation takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Time {
    /// Typically.
    pub typical: Nanos,
    /// At most, if the table gives it.
    pub most: Option<Nanos>,
}

/// How long each operation takes; `None` where the part does not have it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Times {
    /// Programming one byte or word (1F, 23; 2^n us).
    pub word: Option<Time>,
    /// Programming a full write buffer (20, 24; 2^n us).
    pub buffer: Option<Time>,
    /// Erasing one sector (21, 25; 2^n ms).
    pub sector: Option<Time>,
    /// Erasing the whole chip (22, 26; 2^n ms).
    pub chip: Option<Time>,
}

impl Times {
    pub(super) fn decode(query: &Query) -> Result<Self, CfiError> {
        let us = Nanos::from_micros(1);
        let ms = Nanos::from_millis(1);
        Ok(Self {
            word: time(query, 0x1F, us, "the time to program a word")?,
            buffer: time(query, 0x20, us, "the time to program a buffer")?,
            sector: time(query, 0x21, ms, "the time to erase a sector")?,
            chip: time(query, 0x22, ms, "the time to erase the chip")?,
        })
    }
}

/// The typical time stands at `offset`, the power of two for the longest four bytes on.
fn time(
    query: &Query,
    offset: u16,
    unit: Nanos,
    what: &'static str,
) -> Result<Option<Time>, CfiError> {
    let exponent = |offset, most, expected| {
        let byte = query.byte(offset, what)?;
        let wrong = CfiError::Value { offset, what, expected, got: u32::from(byte) };
        if byte > most { Err(wrong) } else { Ok(byte) }
    };
    let typical = exponent(offset, MOST_TYPICAL, "an exponent from 00 to 18")?;
    let factor = exponent(offset + 4, MOST_FACTOR, "an exponent from 00 to 0F")?;
    if typical == 0 {
        return Ok(None);
    }
    let typical = Nanos(unit.0 << typical);
    // 00 would make the longest time the typical one; tables mean "not given" by it.
    let most = (factor > 0).then(|| Nanos(typical.0 << factor));
    Ok(Some(Time { typical, most }))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1F=04, 23=05: 16 us, at most 512 us; 21=0A, 25=04: 1.024 s, at most 16.384 s
    /// (Am29LV160D).
    #[test]
    fn exponents() {
        let bytes = [&[0; 15][..], &[4, 0, 0xA, 0, 5, 0, 4, 0]].concat();
        let times = Times::decode(&Query::new(bytes.clone())).unwrap();
        let word = times.word.unwrap();
        assert_eq!(word.typical, Nanos::from_micros(16));
        assert_eq!(word.most, Some(Nanos::from_micros(512)));
        let sector = times.sector.unwrap();
        assert_eq!(sector.typical, Nanos::from_millis(1024));
        assert_eq!(sector.most, Some(Nanos::from_millis(16_384)));
        assert_eq!((times.buffer, times.chip), (None, None));

        let mut absurd = bytes;
        absurd[0x21 - 0x10] = 0xFF;
        let error = Times::decode(&Query::new(absurd)).unwrap_err();
        assert_eq!(
            error.to_string(),
            "offset 0x21: the time to erase a sector: expected an exponent from 00 to 18, got FF"
        );
    }

    /// The largest exponents together stay below 64 bits of nanoseconds.
    #[test]
    fn no_overflow() {
        let bytes = [&[0; 15][..], &[0x18; 4], &[0xF; 4]].concat();
        let chip = Times::decode(&Query::new(bytes)).unwrap().chip.unwrap();
        assert_eq!(chip.most.unwrap().as_millis(), 1 << 39);
    }
}
