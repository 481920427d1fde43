//! Maker codes of JEP106, as chips answer them.

use std::fmt;

/// "Go on to the next bank": never a maker's code.
const CONTINUATION: u8 = 0x7F;

/// A maker: a code within a bank.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MakerId {
    /// The bank, from 1: one more than the continuation bytes 7F before the code.
    pub bank: u8,
    /// The code, with its parity bit 7.
    pub code: u8,
}

/// Code, bank and name; the JEP106 list itself was not at hand. Banks and names of 01 to 20, 2C,
/// 89, 8C, 98, 9D, AD, B0 to EF were checked against a published copy of the list, codes against
/// Linux `jedec_probe.c` and MAME `intelfsh.cpp`; the rest is marked below.
const NAMES: &[(u8, u8, &str)] = &[
    (1, 0x01, "AMD/Spansion"),
    (1, 0x04, "Fujitsu"),
    (1, 0x1C, "Mitsubishi"),
    (1, 0x1F, "Atmel"),
    (1, 0x20, "ST/Numonyx"),
    (1, 0x2C, "Micron"),
    (1, 0x89, "Intel"),
    (1, 0x98, "Toshiba"),
    (1, 0x9D, "Lucent"),
    (1, 0xAD, "Hyundai"),
    (1, 0xB0, "Sharp"),
    (1, 0xBF, "SST"),
    (1, 0xC2, "Macronix"),
    (1, 0xCE, "Samsung"),
    (1, 0xDA, "Winbond"),
    (1, 0xEF, "Nexcom"),
    (2, 0x1C, "Eon"),
    (2, 0x9D, "ISSI/PMC"),
    (4, 0x8C, "ESMT"),
    // Codes from MAME; banks from memory.
    (1, 0x10, "NEC"),
    (1, 0x31, "Catalyst"),
    (1, 0x32, "Panasonic"),
    (1, 0x52, "Alliance"),
    (1, 0x62, "Sanyo"),
    (1, 0x97, "Texas Instruments"),
    (1, 0xD5, "ISSI"),
    (2, 0x37, "AMIC"),
    (7, 0xC8, "GigaDevice"),
];

impl MakerId {
    /// Atmel, whose extended query tables have a layout of their own.
    pub const ATMEL: Self = Self { bank: 1, code: 0x1F };

    /// The maker in `reads`, bytes as a chip gave them: leading 7F count banks, the next is the
    /// code. `None` if there is nothing but 7F.
    pub fn from_reads(reads: &[u8]) -> Option<Self> {
        let banks = reads.iter().take_while(|byte| **byte == CONTINUATION).count();
        let code = *reads.get(banks)?;
        Some(Self { bank: u8::try_from(banks + 1).ok()?, code })
    }

    /// True if the code has odd parity, as every code of JEP106 has; what has not is no maker's
    /// answer (00 and FF are not).
    pub const fn has_odd_parity(self) -> bool {
        self.code.count_ones() % 2 == 1
    }

    /// The maker's name, if it is known.
    pub fn name(self) -> Option<&'static str> {
        let found = NAMES.iter().find(|(bank, code, _)| (*bank, *code) == (self.bank, self.code));
        found.map(|(_, _, name)| *name)
    }

    /// What may surprise about parts that answer this code.
    pub const fn surprise(self) -> Option<&'static str> {
        match (self.bank, self.code) {
            (1, 0xB0) => Some(
                "28F160S5 and 28F320S5 sold by Intel answer this code too (datasheet 28F160S5/320S5 table 12)",
            ),
            (1, 0x89) => Some(
                "Micron M29EW parts answer this code and take AMD commands (Simics flash description file)",
            ),
            _ => None,
        }
    }

    /// True if a chip of this maker may have answered `read`. Chips of later banks do not all
    /// show 7F at the first address (AMIC A29040 shows it at 3), so a code read without 7F may be
    /// any bank's; with 7F the bank counts.
    pub const fn may_answer(self, read: Self) -> bool {
        self.code == read.code && (self.bank == read.bank || read.bank == 1)
    }
}

impl fmt::Display for MakerId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "0x{:02X}", self.code)?;
        match (self.name(), self.bank) {
            (Some(name), 1) => write!(f, " ({name})"),
            (Some(name), bank) => write!(f, " ({name}, bank {bank})"),
            (None, 1) => Ok(()),
            (None, bank) => write!(f, " (bank {bank})"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn continuation_bytes_count_banks() {
        let eon = MakerId::from_reads(&[0x7F, 0x1C]).unwrap();
        assert_eq!(eon.to_string(), "0x1C (Eon, bank 2)");
        let esmt = MakerId::from_reads(&[0x7F, 0x7F, 0x7F, 0x8C]).unwrap();
        assert_eq!(esmt.name(), Some("ESMT"));
        assert_eq!(MakerId::from_reads(&[0x1C]).unwrap().name(), Some("Mitsubishi"));
        assert_eq!(MakerId::from_reads(&[0x7F, 0x7F]), None);
        assert_eq!(MakerId::from_reads(&[]), None);
        assert_eq!(MakerId::from_reads(&[0x7F; 300]), None);
    }

    #[test]
    fn every_code_is_odd_and_stands_once() {
        for (index, (bank, code, _)) in NAMES.iter().enumerate() {
            assert!(MakerId { bank: *bank, code: *code }.has_odd_parity(), "{code:02X}");
            let same = |other: &&(u8, u8, &str)| (other.0, other.1) == (*bank, *code);
            assert_eq!(NAMES.iter().position(|row| same(&row)), Some(index), "{code:02X}");
        }
        for nobody in [0x00, 0xFF] {
            assert!(!MakerId { bank: 1, code: nobody }.has_odd_parity());
        }
    }

    #[test]
    fn a_code_without_continuation_may_be_any_banks() {
        let (eon, read) = (MakerId { bank: 2, code: 0x1C }, MakerId { bank: 1, code: 0x1C });
        assert!(eon.may_answer(read) && eon.may_answer(eon));
        assert!(!read.may_answer(eon));
        assert_eq!(MakerId { bank: 3, code: 0x1C }.to_string(), "0x1C (bank 3)");
        assert_eq!(MakerId { bank: 1, code: 0x43 }.to_string(), "0x43");
    }

    #[test]
    fn codes_that_surprise() {
        assert!(MakerId { bank: 1, code: 0xB0 }.surprise().unwrap().contains("Intel"));
        assert!(MakerId { bank: 1, code: 0x89 }.surprise().unwrap().contains("AMD"));
        assert_eq!(MakerId::ATMEL.surprise(), None);
    }
}
