//! How one chip's lines lie on the module's.

use crate::bus::{Lane, Word};

/// Where the lines of one chip are on the module.
///
/// Tables hold the module's line for each of the chip's; an empty one means that the lines go
/// straight.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wiring {
    lane: Lane,
    data: Vec<u8>,
    address: Vec<u8>,
}

impl Wiring {
    /// A chip whose lines all go straight.
    pub const fn straight(lane: Lane) -> Self {
        Self { lane, data: Vec::new(), address: Vec::new() }
    }

    /// A chip whose data line n is the module's `data[n]` and whose address line n is the module's
    /// `address[n]`; address lines beyond the table go straight.
    pub const fn new(lane: Lane, data: Vec<u8>, address: Vec<u8>) -> Self {
        Self { lane, data, address }
    }

    /// The data lines that it occupies.
    pub const fn lane(&self) -> Lane {
        self.lane
    }

    /// The module's data lines while the chip is given `value`; the other lines are 0.
    pub fn put(&self, value: u16) -> Word {
        if self.data.is_empty() {
            return (Word::from(value) << self.lane.first) & self.lane.mask();
        }
        let bits = self.data.iter().enumerate();
        bits.fold(0, |word, (bit, line)| word | Word::from(value >> bit & 1) << line)
    }

    /// What the chip gives in a word of the module.
    pub fn get(&self, word: Word) -> u16 {
        if self.data.is_empty() {
            return ((word & self.lane.mask()) >> self.lane.first) as u16;
        }
        let bits = self.data.iter().enumerate();
        bits.fold(0, |value, (bit, line)| value | ((word >> line & 1) as u16) << bit)
    }

    /// The module's address, counted from the base of the space, of an address of the chip.
    pub fn address(&self, chip: u32) -> u32 {
        let known = self.address.len() as u32;
        let straight = chip.checked_shr(known).unwrap_or(0).checked_shl(known).unwrap_or(0);
        let bits = self.address.iter().enumerate();
        bits.fold(straight, |at, (bit, line)| at | (chip >> bit & 1) << line)
    }

    /// The chip's address of an address of the module, counted from the base of the space: the
    /// inverse of [`Wiring::address`].
    pub fn chip_address(&self, module: u32) -> u32 {
        let known = self.address.len() as u32;
        let straight = module.checked_shr(known).unwrap_or(0).checked_shl(known).unwrap_or(0);
        let bits = self.address.iter().enumerate();
        bits.fold(straight, |at, (bit, line)| at | (module >> line & 1) << bit)
    }

    /// True if both chips see the same address for every address of the module.
    pub fn same_address_lines(&self, other: &Self) -> bool {
        self.address == other.address
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const UPPER: Lane = Lane { first: 8, bits: 8 };

    #[test]
    fn straight_lines_are_a_shift() {
        let chip = Wiring::straight(UPPER);
        assert_eq!((chip.put(0xAA), chip.get(0x12_AA55)), (0xAA00, 0xAA));
        assert_eq!(chip.address(0x5555), 0x5555);
    }

    #[test]
    fn a_lane_of_a_wide_bus() {
        let words = [0x0051_0052, 0x0059_FFFF];
        let of_lane = |lane| words.map(|word| Wiring::straight(lane).get(word));
        assert_eq!(of_lane(Lane { first: 16, bits: 16 }), [0x51, 0x59]);
        assert_eq!(of_lane(Lane { first: 0, bits: 8 }), [0x52, 0xFF]);
    }

    #[test]
    fn scrambled_lines_are_undone() {
        // D0 and D1 of the chip are swapped; so are A0 and A2.
        let chip = Wiring::new(UPPER, vec![9, 8, 10, 11, 12, 13, 14, 15], vec![2, 1, 0]);
        assert_eq!((chip.put(0x01), chip.get(0x0200)), (0x0200, 0x01));
        assert_eq!((chip.address(0b001), chip.address(0b1110)), (0b100, 0b1011));
    }

    proptest! {
        #[test]
        fn what_is_put_is_got(
            value in any::<u16>(),
            data in Just((16..32).collect::<Vec<u8>>()).prop_shuffle(),
        ) {
            let chip = Wiring::new(Lane { first: 16, bits: 16 }, data, Vec::new());
            prop_assert_eq!(chip.get(chip.put(value)), value);
        }

        #[test]
        fn no_two_addresses_meet(
            one in any::<u32>(), two in any::<u32>(),
            lines in Just((0..19).collect::<Vec<u8>>()).prop_shuffle(),
        ) {
            let chip = Wiring::new(UPPER, Vec::new(), lines);
            prop_assert_eq!(chip.address(one) == chip.address(two), one == two);
            prop_assert_eq!(chip.chip_address(chip.address(one)), one);
            prop_assert_eq!(chip.address(chip.chip_address(two)), two);
        }
    }
}
