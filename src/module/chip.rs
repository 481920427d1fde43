//! A chip of a space: its lane, and the order in which its lines meet those of the module.

use crate::bus::{Lane, Word, WordAddress};

/// One part of a space.
///
/// Boards often join a chip's lines to those of the module in another order, whatever routes best.
/// Contents do not show it, since they were written through the same lines. Commands, ids and query
/// tables do: what the chip must see, or says, goes through the methods here.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chip {
    /// Its reference on the board, such as U1.
    pub reference: String,
    /// The data lines it occupies.
    pub lane: Lane,
    /// The module's data lines on the chip's D0, D1, ...; empty if they run straight.
    pub data_order: Vec<u8>,
    /// The module's address lines on the chip's A0, A1, ...; those beyond the list run straight.
    pub address_order: Vec<u8>,
}

impl Chip {
    /// A chip whose lines run straight.
    pub fn straight(reference: &str, lane: Lane) -> Self {
        let (data_order, address_order) = (Vec::new(), Vec::new());
        Self { reference: reference.to_owned(), lane, data_order, address_order }
    }
}

#[cfg_attr(not(test), expect(dead_code, reason = "for the commands that chips are sent"))]
impl Chip {
    /// The word on the module's data lines with which the chip sees `chip_value` on its own; all
    /// other lines are 0.
    pub fn module_word(&self, chip_value: Word) -> Word {
        if self.data_order.is_empty() {
            return chip_value.wrapping_shl(self.lane.first.into()) & self.lane.mask();
        }
        let order = self.data_order.iter().enumerate();
        order.fold(0, |word, (own, line)| word | (chip_value >> own & 1) << line)
    }

    /// What the chip says when `word` is on the module's data lines.
    pub fn chip_value(&self, word: Word) -> Word {
        if self.data_order.is_empty() {
            return (word & self.lane.mask()) >> self.lane.first;
        }
        let order = self.data_order.iter().enumerate();
        order.fold(0, |value, (own, line)| value | (word >> line & 1) << own)
    }

    /// The address on the module's lines at which the chip sees `chip_address` on its own.
    ///
    /// The base of the space may be added before or after: the lines that are moved lie below it.
    pub fn module_address(&self, chip_address: WordAddress) -> WordAddress {
        let order = self.address_order.iter().enumerate();
        WordAddress(order.fold(self.above(chip_address), |address, (own, line)| {
            address | (chip_address.0 >> own & 1) << line
        }))
    }

    /// The address that the chip sees when `module_address` is on the module's lines.
    pub fn chip_address(&self, module_address: WordAddress) -> WordAddress {
        let order = self.address_order.iter().enumerate();
        WordAddress(order.fold(self.above(module_address), |address, (own, line)| {
            address | (module_address.0 >> line & 1) << own
        }))
    }

    /// The address lines beyond the list.
    fn above(&self, address: WordAddress) -> u32 {
        let listed = u32::MAX.checked_shl(self.address_order.len() as u32).unwrap_or(0);
        address.0 & listed
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn lane(first: u8, bits: u8) -> Lane {
        Lane { first, bits }
    }

    #[test]
    fn a_straight_chip_sees_its_lane() {
        let chip = Chip::straight("U2", lane(16, 16));
        assert_eq!(chip.module_word(0x00AA), 0x00AA_0000);
        assert_eq!(chip.module_word(0x1_00AA), 0x00AA_0000);
        assert_eq!(chip.chip_value(0x1234_5678), 0x1234);
        assert_eq!(chip.module_address(WordAddress(0x8_0555)), WordAddress(0x8_0555));
        let whole = Chip::straight("chip", lane(0, 32));
        assert_eq!(whole.chip_value(whole.module_word(u32::MAX)), u32::MAX);
    }

    #[test]
    fn lines_in_another_order_are_undone() {
        let chip = Chip {
            data_order: vec![15, 8, 9, 10, 11, 12, 13, 14],
            address_order: vec![1, 0, 2],
            ..Chip::straight("U2", lane(8, 8))
        };
        // The chip's D0 is the module's D15, its D1 the module's D8.
        assert_eq!(chip.module_word(0x01), 0x8000);
        assert_eq!(chip.module_word(0xAA), 0x5500);
        assert_eq!(chip.chip_value(0x55FF), 0xAA);
        // Its A0 is the module's A1; A3 and above run straight.
        assert_eq!(chip.module_address(WordAddress(0x555)), WordAddress(0x556));
        assert_eq!(chip.chip_address(WordAddress(0x2AA)), WordAddress(0x2A9));
    }

    fn chips() -> impl Strategy<Value = Chip> {
        let lanes = prop_oneof![Just((0, 8)), Just((8, 8)), Just((16, 16)), Just((0, 32))];
        lanes.prop_flat_map(|(first, bits)| {
            let data: Vec<u8> = (first..first + bits).collect();
            let address =
                (0_u8..=32).prop_flat_map(|n| Just((0..n).collect::<Vec<u8>>()).prop_shuffle());
            (Just(data).prop_shuffle(), address).prop_map(move |(data_order, address_order)| Chip {
                data_order,
                address_order,
                ..Chip::straight("U1", lane(first, bits))
            })
        })
    }

    proptest! {
        #[test]
        fn both_ways_are_inverse(chip in chips(), word: u32, address: u32) {
            let mask = chip.lane.mask();
            prop_assert_eq!(chip.module_word(chip.chip_value(word)), word & mask);
            let address = WordAddress(address);
            prop_assert_eq!(chip.chip_address(chip.module_address(address)), address);
            prop_assert_eq!(chip.module_address(chip.chip_address(address)), address);
        }
    }
}
