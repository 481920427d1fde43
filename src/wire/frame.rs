//! Frames on the line: `00`, COBS(body and checksum), `00`.
//!
//! COBS: Cheshire and Baker, "Consistent Overhead Byte Stuffing" (1999). A frame that fails COBS,
//! length or checksum is counted and dropped, never answered.

use crate::bus::crc32;

const DELIMITER: u8 = 0;
/// Kind, tag and checksum: the least a frame holds.
const SHORTEST: usize = 6;

/// Encodes `body` (kind, tag, fields) as a frame that ends with a delimiter and relies on the one
/// before it.
pub fn encode_frame(body: &[u8]) -> Vec<u8> {
    framed(body, Vec::with_capacity(body.len() + body.len() / 254 + 8))
}

/// Encodes `body` as a frame that also starts with a delimiter: after an idle time, noise on the
/// line may stand before it.
pub fn encode_frame_after_idle(body: &[u8]) -> Vec<u8> {
    let mut out = Vec::with_capacity(body.len() + body.len() / 254 + 9);
    out.push(DELIMITER);
    framed(body, out)
}

fn framed(body: &[u8], mut out: Vec<u8>) -> Vec<u8> {
    let mut checked = Vec::with_capacity(body.len() + 4);
    checked.extend_from_slice(body);
    checked.extend_from_slice(&crc32(body).to_le_bytes());
    let start = out.len();
    out.resize(start + cobs::max_encoding_length(checked.len()), 0);
    let n = cobs::encode(&checked, &mut out[start..]);
    out.truncate(start + n);
    out.push(DELIMITER);
    out
}

/// What a [`FrameReader`] has seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FrameCounters {
    /// Frames whose checksum was good.
    pub good: u64,
    /// Pieces between delimiters that were no good frame: COBS, length or checksum.
    pub damaged: u64,
    /// Pieces dropped because they were longer than the longest frame.
    pub overlong: u64,
}

/// Splits a byte stream at delimiters and gives the bodies whose checksum is good.
///
/// It keeps at most the longest frame, whatever arrives.
#[derive(Debug)]
pub struct FrameReader {
    held: Vec<u8>,
    longest: usize,
    dropping: bool,
    counters: FrameCounters,
}

impl FrameReader {
    /// A reader of frames whose body is at most `body_max` bytes.
    pub fn new(body_max: usize) -> Self {
        let longest = cobs::max_encoding_length(body_max + 4);
        Self { held: Vec::new(), longest, dropping: false, counters: FrameCounters::default() }
    }

    /// Takes the next bytes of the stream and calls `body` for each good frame in them.
    pub fn push(&mut self, mut bytes: &[u8], mut body: impl FnMut(&[u8])) {
        while let Some(end) = bytes.iter().position(|&byte| byte == DELIMITER) {
            self.hold(&bytes[..end]);
            bytes = &bytes[end + 1..];
            self.finish(&mut body);
        }
        self.hold(bytes);
    }

    fn hold(&mut self, bytes: &[u8]) {
        if self.held.len() + bytes.len() > self.longest {
            self.dropping = true;
            self.held.clear();
        }
        if !self.dropping {
            self.held.extend_from_slice(bytes);
        }
    }

    fn finish(&mut self, body: &mut impl FnMut(&[u8])) {
        if std::mem::take(&mut self.dropping) {
            self.counters.overlong += 1;
        } else if !self.held.is_empty() {
            match checked_body(&mut self.held) {
                Some(good) => {
                    self.counters.good += 1;
                    body(good);
                }
                None => self.counters.damaged += 1,
            }
        }
        self.held.clear();
    }

    /// Forgets the unfinished piece: after an idle line or a change of rate.
    pub fn reset(&mut self) {
        self.held.clear();
        self.dropping = false;
    }

    /// What has been seen so far.
    pub fn counters(&self) -> FrameCounters {
        self.counters
    }
}

fn checked_body(held: &mut [u8]) -> Option<&[u8]> {
    let n = cobs::decode_in_place(held).ok()?;
    if n < SHORTEST {
        return None;
    }
    let (body, sum) = held[..n].split_at(n - 4);
    (crc32(body).to_le_bytes() == sum).then_some(body)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn bodies(reader: &mut FrameReader, bytes: &[u8]) -> Vec<Vec<u8>> {
        let mut out = Vec::new();
        reader.push(bytes, |body| out.push(body.to_vec()));
        out
    }

    /// Examples of the COBS paper and its encyclopaedia table, as computed with the `cobs` 1.2.2
    /// library of another language: plain, encoded without the delimiter.
    #[test]
    fn cobs_known_answers() {
        let cases: [(&[u8], &[u8]); 6] = [
            (&[0], &[1, 1]),
            (&[0, 0], &[1, 1, 1]),
            (&[0, 0x11, 0], &[1, 2, 0x11, 1]),
            (&[0x11, 0x22, 0, 0x33], &[3, 0x11, 0x22, 2, 0x33]),
            (&[0x11, 0x22, 0x33, 0x44], &[5, 0x11, 0x22, 0x33, 0x44]),
            (&[0x11, 0, 0, 0], &[2, 0x11, 1, 1, 1]),
        ];
        for (plain, encoded) in cases {
            let mut out = vec![0; cobs::max_encoding_length(plain.len())];
            let n = cobs::encode(plain, &mut out);
            assert_eq!(&out[..n], encoded);
            let n = cobs::decode_in_place(&mut out[..n]).unwrap();
            assert_eq!(&out[..n], plain);
        }
    }

    #[test]
    fn one_delimiter_may_end_a_frame_and_start_the_next() {
        let mut stream = encode_frame_after_idle(b"\x02\x01hello");
        stream.extend(encode_frame(b"\x02\x02again"));
        let mut reader = FrameReader::new(64);
        assert_eq!(
            bodies(&mut reader, &stream),
            [b"\x02\x01hello".to_vec(), b"\x02\x02again".to_vec()]
        );
        assert_eq!(reader.counters(), FrameCounters { good: 2, damaged: 0, overlong: 0 });
    }

    #[test]
    fn any_single_flipped_bit_is_noticed() {
        let frame = encode_frame(b"\x09\x07 a body with some bytes \x00\x00\x01");
        for bit in 0..(frame.len() - 1) * 8 {
            let mut bad = frame.clone();
            bad[bit / 8] ^= 1 << (bit % 8);
            assert!(bodies(&mut FrameReader::new(64), &bad).is_empty(), "bit {bit}");
        }
    }

    #[test]
    fn an_overlong_piece_is_dropped_and_the_next_frame_read() {
        let mut reader = FrameReader::new(32);
        assert!(bodies(&mut reader, &[1; 10_000]).is_empty());
        assert!(reader.held.capacity() < 10_000);
        let good = encode_frame_after_idle(b"\x02\x09ok");
        assert_eq!(bodies(&mut reader, &good), [b"\x02\x09ok".to_vec()]);
        assert_eq!(reader.counters().overlong, 1);
    }

    proptest! {
        #[test]
        fn any_body_comes_back_in_any_pieces(
            body in proptest::collection::vec(any::<u8>(), 2..1_200),
            cut in 1_usize..200,
        ) {
            let mut reader = FrameReader::new(1_200);
            let mut out = Vec::new();
            for piece in encode_frame_after_idle(&body).chunks(cut) {
                reader.push(piece, |body| out.push(body.to_vec()));
            }
            prop_assert_eq!(out, vec![body]);
        }

        #[test]
        fn noise_never_panics_and_memory_stays_bounded(
            noise in proptest::collection::vec(any::<u8>(), 0..5_000),
        ) {
            let mut reader = FrameReader::new(128);
            reader.push(&noise, |_| ());
            prop_assert!(reader.held.len() <= reader.longest);
        }
    }
}
