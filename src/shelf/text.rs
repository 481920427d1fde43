//! How values are written in records: sums and words as hexadecimal text, widths in bits.

use sha2::{Digest, Sha256};
use std::fmt::Write;

/// The SHA-256 of `bytes`, 64 hexadecimal digits.
pub(crate) fn sha256_hex(bytes: &[u8]) -> String {
    finished_hex(Sha256::new_with_prefix(bytes))
}

/// A SHA-256 that has taken everything, 64 hexadecimal digits.
pub(super) fn finished_hex(hash: Sha256) -> String {
    hash.finalize().iter().fold(String::new(), |mut text, byte| {
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// A checksum as records carry it, 8 hexadecimal digits.
pub(super) fn crc_hex(crc: u32) -> String {
    format!("{crc:08x}")
}

/// `u32` as `"0x7E000"`.
pub(super) mod hex {
    use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error};

    #[expect(clippy::trivially_copy_pass_by_ref, reason = "serde gives a reference")]
    pub(crate) fn serialize<S: Serializer>(value: &u32, to: S) -> Result<S::Ok, S::Error> {
        format!("0x{value:X}").serialize(to)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<u32, D::Error> {
        let text = String::deserialize(from)?;
        parse(&text).map_err(D::Error::custom)
    }

    pub(super) fn parse(text: &str) -> Result<u32, String> {
        let digits = text.strip_prefix("0x").filter(|digits| !digits.starts_with('+'));
        digits
            .and_then(|digits| u32::from_str_radix(digits, 16).ok())
            .ok_or_else(|| format!("\"{text}\" is no 32-bit number such as \"0x7E000\""))
    }
}

/// A list of `u32`, each as in [`hex`].
pub(super) mod hex_list {
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub(crate) fn serialize<S: Serializer>(values: &[u32], to: S) -> Result<S::Ok, S::Error> {
        to.collect_seq(values.iter().map(|value| format!("0x{value:X}")))
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<u32>, D::Error> {
        let texts = Vec::<String>::deserialize(from)?;
        texts
            .iter()
            .map(|text| super::hex::parse(text))
            .collect::<Result<_, _>>()
            .map_err(D::Error::custom)
    }
}

/// A [`crate::bus::WordAddress`] as in [`hex`].
pub(super) mod address {
    use crate::bus::WordAddress;
    use serde::{Deserializer, Serializer};

    #[expect(clippy::trivially_copy_pass_by_ref, reason = "serde gives a reference")]
    pub(crate) fn serialize<S: Serializer>(value: &WordAddress, to: S) -> Result<S::Ok, S::Error> {
        super::hex::serialize(&value.0, to)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<WordAddress, D::Error> {
        super::hex::deserialize(from).map(WordAddress)
    }
}

/// A [`crate::bus::Width`] in bits.
pub(super) mod width {
    use crate::bus::Width;
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    #[expect(clippy::trivially_copy_pass_by_ref, reason = "serde gives a reference")]
    pub(crate) fn serialize<S: Serializer>(value: &Width, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_u32(value.bits())
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Width, D::Error> {
        let bits = u32::deserialize(from)?;
        Width::from_bits(bits)
            .ok_or_else(|| D::Error::custom(format!("width {bits}: expected 8, 16 or 32 bits")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4, example of the one-block message "abc" (NIST's published example values).
    #[test]
    fn sha256_of_abc() {
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256_hex(b"abc"), expected);
    }

    #[test]
    fn hexadecimal_numbers() {
        assert_eq!(hex::parse("0x7E000"), Ok(0x7_E000));
        for text in ["7E000", "0x", "0x1FFFFFFFF", "0x+1", "-0x1"] {
            assert!(hex::parse(text).is_err(), "{text}");
        }
    }
}
