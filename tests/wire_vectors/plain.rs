//! Checksum, COBS and vector file once more, written straight from their definitions: nothing
//! here is shared with the crate.

/// CRC-32/ISO-HDLC bit by bit (CRC catalogue: reflected polynomial EDB88320, start and final
/// XOR all ones).
pub fn crc32(bytes: &[u8]) -> u32 {
    let mut crc = u32::MAX;
    for &byte in bytes {
        crc ^= u32::from(byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { crc >> 1 ^ 0xEDB8_8320 } else { crc >> 1 };
        }
    }
    !crc
}

/// Decodes COBS (Cheshire and Baker 1999): each code byte says how far it is to the next zero,
/// FF that none follows its 254 bytes.
pub fn cobs(mut coded: &[u8]) -> Option<Vec<u8>> {
    let mut out = Vec::new();
    while let Some((&code, rest)) = coded.split_first() {
        let n = usize::from(code).checked_sub(1)?;
        let block = rest.get(..n)?;
        if block.contains(&0) {
            return None;
        }
        out.extend_from_slice(block);
        coded = &rest[n..];
        if code < 0xFF && !coded.is_empty() {
            out.push(0);
        }
    }
    Some(out)
}

/// Two hexadecimal digits a byte, blanks between them.
pub fn hex(text: &str) -> Vec<u8> {
    text.split_whitespace()
        .map(|pair| {
            assert_eq!(pair.len(), 2, "'{pair}' is no byte");
            u8::from_str_radix(pair, 16).unwrap_or_else(|_| panic!("'{pair}' is no byte"))
        })
        .collect()
}

/// One line of `tests/vectors/frames.txt`.
#[derive(Debug, PartialEq, Eq)]
pub struct Vector {
    pub name: String,
    pub reply: bool,
    pub body: Vec<u8>,
    pub frame: Vec<u8>,
}

/// Every example of the vector file, in its order.
pub fn vectors() -> Vec<Vector> {
    include_str!("../vectors/frames.txt")
        .lines()
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
        .map(|line| {
            assert!(line.len() <= 2_400, "longer than the file's head says: {line}");
            let fields: Vec<_> = line.split('|').map(str::trim).collect();
            let [name, direction, body, frame] = fields[..] else {
                panic!("not four fields: {line}");
            };
            let reply = match direction {
                "request" => false,
                "reply" => true,
                _ => panic!("neither request nor reply: {line}"),
            };
            Vector { name: name.to_owned(), reply, body: hex(body), frame: hex(frame) }
        })
        .collect()
}
