//! The erase regions of a query table.

use super::{CfiError, Query};
use crate::chips::Region;

/// Where the first region stands; each takes four bytes.
const START: u16 = 0x2D;

/// The regions in the order of the table; none for a chip that only erases as a whole (from
/// memory).
pub(super) fn listed(query: &Query) -> Result<Vec<Region>, CfiError> {
    let count = query.byte(0x2C, "the number of erase regions")?;
    let one = |index: u8| {
        let at = end(usize::from(index));
        let count = u32::from(query.pair(at, "the sectors of an erase region")?) + 1;
        // Units of 256 bytes (datasheet M29FxxxFT p58: "0040h*256"); 0 is 128 bytes (from
        // memory).
        let bytes = match query.pair(at + 2, "the sector size of an erase region")? {
            0 => 128,
            units => u64::from(units) * 256,
        };
        Ok(Region { count, bytes })
    };
    (0..count).map(one).collect()
}

/// The offset behind the last of `regions` regions, of which there are at most 255.
pub(super) fn end(regions: usize) -> u16 {
    START + 4 * regions.min(255) as u16
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(regions: &[[u8; 4]]) -> Query {
        let count = [regions.len() as u8];
        Query::new([&[0; 0x1C][..], &count, regions.concat().as_slice()].concat())
    }

    /// The worked example of datasheet M29F160FT p58.
    #[test]
    fn a_printed_list() {
        let query = table(&[[0, 0, 0x40, 0], [1, 0, 0x20, 0], [0, 0, 0x80, 0], [0x1E, 0, 0, 1]]);
        let found: Vec<_> = listed(&query).unwrap().iter().map(Region::to_string).collect();
        assert_eq!(found, ["1 x 16K", "2 x 8K", "1 x 32K", "31 x 64K"]);
        assert_eq!(end(4), 0x3D);
    }

    #[test]
    fn size_zero_is_128_bytes() {
        assert_eq!(
            listed(&table(&[[0xFF, 3, 0, 0]])),
            Ok(vec![Region { count: 1024, bytes: 128 }])
        );
        assert_eq!(listed(&table(&[])), Ok(Vec::new()));
    }

    #[test]
    fn a_list_that_ends_early() {
        let mut bytes = table(&[[0, 0, 1, 0], [0, 0, 1, 0]]).bytes().to_vec();
        bytes.pop();
        let error = listed(&Query::new(bytes)).unwrap_err();
        let what = "the sector size of an erase region";
        assert_eq!(error, CfiError::Short { offset: 0x34, what });
    }
}
