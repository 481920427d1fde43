//! Does an image fit the module better with its bytes in another order?

use crate::bus::{Width, Word};

/// Words that are compared at most; they are spread over everything.
const LOOKED: usize = 1 << 16;
/// An order is told of if so large a share of the words fits with it, in per cent.
const MANY: usize = 60;
/// It must fit so many times better than the order as it is.
const BETTER: usize = 3;
/// With fewer words nothing is said.
const LEAST: usize = 64;

/// A sentence, if the words of `image` equal those the module holds `now` mostly when their bytes
/// or halves are swapped. Words that look the same either way are not counted.
pub fn other_order(width: Width, now: &[u8], image: &[u8]) -> Option<String> {
    type Swap = fn(Width, Word) -> Word;
    let swaps: [(&str, Swap); 3] = [
        ("the bytes of each 16 bits swapped", |_, word| {
            (word & 0xFF00_FF00) >> 8 | (word & 0x00FF_00FF) << 8
        }),
        ("its bytes in the opposite order", |width, word| word.swap_bytes() >> (32 - width.bits())),
        ("the upper and lower 16 bits swapped", |_, word| word.rotate_left(16)),
    ];
    let usable = match width {
        Width::W8 => 0,
        Width::W16 => 1,
        Width::W32 => 3,
    };
    let step = (now.len() / width.bytes() / LOOKED).max(1);
    let pairs: Vec<_> = width.words(now).zip(width.words(image)).step_by(step).collect();
    swaps[..usable].iter().find_map(|(what, swap)| {
        let telling = pairs.iter().filter(|(_, image)| swap(width, *image) != *image);
        let (mut all, mut plain, mut swapped) = (0, 0, 0);
        for (now, image) in telling {
            all += 1;
            plain += usize::from(now == image);
            swapped += usize::from(*now == swap(width, *image));
        }
        let better = swapped * 100 >= all * MANY && swapped >= plain * BETTER;
        (all >= LEAST && better).then(|| {
            format!(
                "with {what} the image would equal the module in {} % of its words, as it is in \
                 {} %: is its byte order right?",
                swapped * 100 / all,
                plain * 100 / all
            )
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn swapped_bytes_are_seen_and_other_contents_are_not() {
        let now: Vec<u8> = (0..4096_u32).map(|n| (n * 7 + n / 251) as u8).collect();
        let swap = |size: usize| {
            now.chunks(size).flat_map(|chunk| chunk.iter().rev().copied()).collect::<Vec<u8>>()
        };
        let said = |width, image: &[u8]| other_order(width, &now, image).unwrap_or_default();
        assert!(said(Width::W16, &swap(2)).contains("bytes of each 16 bits swapped"));
        assert!(said(Width::W32, &swap(2)).contains("bytes of each 16 bits swapped"));
        assert!(said(Width::W32, &swap(4)).contains("in the opposite order"));
        let halves: Vec<u8> =
            now.chunks(4).flat_map(|word| [word[2], word[3], word[0], word[1]]).collect();
        assert!(said(Width::W32, &halves).contains("upper and lower 16 bits"));
        assert_eq!(other_order(Width::W32, &now, &now), None);
        assert_eq!(other_order(Width::W32, &now, &[0xFF; 4096]), None);
        assert_eq!(other_order(Width::W8, &now, &swap(2)), None);
    }
}
