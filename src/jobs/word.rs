//! Single words, read one by one.

use crate::bus::{Precharge, ShapeId, Width, Word, WordAddress};
use crate::link::LinkError;
use crate::wire::{Encoding, Kind, ReadEcho, ReadRequest, Reply, Request};

/// Asks for the word at `address`; `nonce` is new for every pass, as for any READ.
pub(super) fn read_word(
    nonce: u16,
    shape: ShapeId,
    address: WordAddress,
    precharge: Precharge,
) -> Request {
    let encoding = Encoding::Raw.number();
    let echo = ReadEcho { nonce, shape, address, step: 1, count: 1, precharge, encoding };
    Request::Read(ReadRequest { echo })
}

/// The word of the reply. One without a word is an error: a word that is made up could be written
/// back as if it had been there.
pub(super) fn word_of(reply: &Reply, width: Width) -> Result<Word, LinkError> {
    let word = match reply {
        Reply::Read(read) => width.words(&read.payload).next(),
        _ => None,
    };
    word.ok_or_else(|| LinkError::unexpected(Kind::READ, reply))
}
