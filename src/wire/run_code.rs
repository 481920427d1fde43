//! Encoding 1: runs of equal words folded.
//!
//! A payload is a row of pieces. A head byte h < 0x80 is followed by h + 1 words as they are; a
//! head byte h >= 0x80 is followed by one word that stands (h & 0x7F) + 2 times. Incompressible
//! words cost one byte more for every 128.

use crate::bus::Width;
use thiserror::Error;

const LONGEST_PLAIN: usize = 128;
const LONGEST_RUN: usize = 129;

/// A payload that is no run-coded row of the words asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum RunCodeError {
    /// It ends inside a piece.
    #[error("the run-coded payload ends inside a piece at byte {at}")]
    Cut {
        /// Where the piece starts.
        at: usize,
    },
    /// It holds another number of words.
    #[error("the run-coded payload holds {got} words or more; {expected} were asked for")]
    Count {
        /// Words asked for.
        expected: usize,
        /// Words found.
        got: usize,
    },
}

/// Folds the words in `raw` (little-endian, whole words of `width`).
pub fn encode_runs(width: Width, raw: &[u8]) -> Vec<u8> {
    let size = width.bytes();
    let words = raw.len() / size;
    let word = |i: usize| &raw[i * size..(i + 1) * size];
    let mut out = Vec::with_capacity(raw.len() + words / LONGEST_PLAIN + 1);
    let mut plain = 0;
    let mut at = 0;
    let flush = |out: &mut Vec<u8>, from: usize, to: usize| {
        for start in (from..to).step_by(LONGEST_PLAIN) {
            let end = to.min(start + LONGEST_PLAIN);
            out.push((end - start - 1) as u8);
            out.extend_from_slice(&raw[start * size..end * size]);
        }
    };
    while at < words {
        let longest = (words - at).min(LONGEST_RUN);
        let run = (1..longest).take_while(|&n| word(at + n) == word(at)).count() + 1;
        // A run of two single bytes saves nothing and breaks a plain piece.
        if run >= 3 || (run == 2 && size > 1) {
            flush(&mut out, plain, at);
            out.push(0x80 | (run - 2) as u8);
            out.extend_from_slice(word(at));
            at += run;
            plain = at;
        } else {
            at += run;
        }
    }
    flush(&mut out, plain, words);
    out
}

/// Unfolds `payload` to exactly `count` words of `width`, little-endian.
pub fn decode_runs(width: Width, count: usize, payload: &[u8]) -> Result<Vec<u8>, RunCodeError> {
    let size = width.bytes();
    let whole = count * size;
    let mut out = Vec::with_capacity(whole);
    let mut at = 0;
    while at < payload.len() {
        let head = payload[at];
        let (words, times) = match head {
            0..0x80 => (usize::from(head) + 1, 1),
            _ => (1, usize::from(head & 0x7F) + 2),
        };
        let bytes = payload.get(at + 1..at + 1 + words * size).ok_or(RunCodeError::Cut { at })?;
        if out.len() + bytes.len() * times > whole {
            let got = out.len() / size + words * times;
            return Err(RunCodeError::Count { expected: count, got });
        }
        (0..times).for_each(|_| out.extend_from_slice(bytes));
        at += 1 + bytes.len();
    }
    if out.len() < whole {
        return Err(RunCodeError::Count { expected: count, got: out.len() / size });
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_blank_frame_is_a_few_bytes() {
        let coded = encode_runs(Width::W32, &[0xFF; 1024]);
        assert_eq!(coded, [0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFD, 0xFF, 0xFF, 0xFF, 0xFF]);
        assert_eq!(decode_runs(Width::W32, 256, &coded).unwrap(), [0xFF; 1024]);
    }

    #[test]
    fn pieces_and_runs_mix() {
        let raw = [1, 2, 3, 3, 3, 3, 4];
        let coded = encode_runs(Width::W8, &raw);
        assert_eq!(coded, [1, 1, 2, 0x82, 3, 0, 4]);
    }

    #[test]
    fn wrong_payloads_are_told_apart() {
        assert_eq!(decode_runs(Width::W16, 2, &[1, 0]), Err(RunCodeError::Cut { at: 0 }));
        let short = decode_runs(Width::W16, 3, &[0x80, 1, 2]);
        assert_eq!(short, Err(RunCodeError::Count { expected: 3, got: 2 }));
        let long = decode_runs(Width::W8, 3, &[0xFF, 7]);
        assert_eq!(long, Err(RunCodeError::Count { expected: 3, got: 129 }));
    }

    proptest! {
        #[test]
        fn any_words_come_back_at_bounded_cost(
            raw in proptest::collection::vec(0_u8..4, 0..2_000),
            width in prop_oneof![Just(Width::W8), Just(Width::W16), Just(Width::W32)],
        ) {
            let whole = raw.len() / width.bytes() * width.bytes();
            let raw = &raw[..whole];
            let coded = encode_runs(width, raw);
            let words = whole / width.bytes();
            prop_assert!(coded.len() <= raw.len() + words.div_ceil(128));
            prop_assert_eq!(decode_runs(width, words, &coded).unwrap(), raw);
        }

        #[test]
        fn noise_is_refused_without_panic(
            noise in proptest::collection::vec(any::<u8>(), 0..300),
            count in 0_usize..300,
        ) {
            if let Ok(words) = decode_runs(Width::W16, count, &noise) {
                prop_assert_eq!(words.len(), count * 2);
            }
        }
    }
}
