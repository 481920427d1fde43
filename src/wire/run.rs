//! RUN: run a stored cycle script, once and never twice.

use super::field::{Fields, Malformed, Why};
use crate::bus::{Width, Word, WordAddress, crc32};

/// Where a run stands in the chain of its session. HOLD of a write and REPEAT carry it, too.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct RunId {
    /// The host's session number.
    pub session: u32,
    /// Raised by one whenever a chain was halted and a new one begins.
    pub chain: u16,
    /// The last one plus one.
    pub run: u32,
}

impl RunId {
    pub(super) fn put(self, out: &mut Vec<u8>) {
        out.extend(self.session.to_le_bytes());
        out.extend(self.chain.to_le_bytes());
        out.extend(self.run.to_le_bytes());
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        Ok(Self { session: f.u32("session")?, chain: f.u16("chain")?, run: f.u32("run")? })
    }
}

/// RUN, as the host sends it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RunRequest {
    /// Its place in the chain.
    pub id: RunId,
    /// The first run of a new chain names the last id that the adapter has reported.
    pub after: u32,
    /// The slot of the script.
    pub slot: u8,
    /// CRC-32/ISO-HDLC of the script it means.
    pub script_crc: u32,
    /// Start value of A.
    pub a: WordAddress,
    /// Start value of B.
    pub b: WordAddress,
    /// Start value of N.
    pub n: u32,
    /// Start value of the lane mask.
    pub lanes: Word,
    /// The width in which the payload words travel.
    pub width: Width,
    /// The words that the script takes, exactly.
    pub payload: Vec<Word>,
}

impl RunRequest {
    /// Bytes of its body besides the payload; a body is counted without its checksum.
    pub const OVERHEAD: usize = 42;

    /// CRC-32/ISO-HDLC over all fields: a remembered reply is given only for the same request.
    pub fn crc(&self) -> u32 {
        let mut fields = Vec::new();
        self.fields(&mut fields);
        crc32(&fields)
    }

    fn fields(&self, out: &mut Vec<u8>) {
        self.id.put(out);
        out.extend(self.after.to_le_bytes());
        out.push(self.slot);
        for n in [self.script_crc, self.a.0, self.b.0, self.n, self.lanes] {
            out.extend(n.to_le_bytes());
        }
        out.push(self.width.bytes() as u8);
        self.payload.iter().for_each(|&word| self.width.put(word, out));
    }

    pub(super) fn put(&self, out: &mut Vec<u8>) {
        let start = out.len();
        self.fields(out);
        let sum = crc32(&out[start..]);
        out.extend(sum.to_le_bytes());
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        let id = RunId::take(f)?;
        let after = f.u32("after")?;
        let slot = f.u8("slot")?;
        let script_crc = f.u32("script checksum")?;
        let (a, b) = (WordAddress(f.u32("A")?), WordAddress(f.u32("B")?));
        let (n, lanes) = (f.u32("N")?, f.u32("lanes")?);
        let width = f.code("width", |bytes| Width::from_bits(u32::from(bytes) * 8))?;
        let at = f.at();
        let rest = f.rest();
        let short = Malformed { field: "payload", at, why: Why::Short };
        let (words, sum) = rest.split_at_checked(rest.len().wrapping_sub(4)).ok_or(short)?;
        if words.len() % width.bytes() != 0 {
            return Err(short);
        }
        let payload = width.words(words).collect();
        let run = Self { id, after, slot, script_crc, a, b, n, lanes, width, payload };
        let sum = u32::from_le_bytes([sum[0], sum[1], sum[2], sum[3]]);
        if run.crc() != sum {
            let why = Why::Value(sum);
            return Err(Malformed { field: "request checksum", at: at + words.len(), why });
        }
        Ok(run)
    }
}

/// How a run ended: RUN's reply, and REPEAT's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RunReply {
    /// Its place in the chain.
    pub id: RunId,
    /// CRC-32/ISO-HDLC over the fields of the request it answers.
    pub request_crc: u32,
    /// Why it ended: the numbers of `bus::script::Why`; 0 is good.
    pub status: u8,
    /// Offset in the script where it ended.
    pub at: u16,
    /// What became of each lane in the last wait: the numbers of `bus::script::LaneResult`.
    pub lanes: [u8; 4],
    /// A at the end.
    pub a: WordAddress,
    /// The word read last.
    pub d: Word,
    /// Bus time in microseconds.
    pub elapsed_us: u32,
    /// Words that a sweep did not expect, listed or not.
    pub mismatches: u32,
    /// The first of them: address, expected, got.
    pub listed: Vec<(WordAddress, Word, Word)>,
    /// The words emitted.
    pub emitted: Vec<Word>,
}

impl RunReply {
    pub(super) fn put(&self, out: &mut Vec<u8>) {
        self.id.put(out);
        out.extend(self.request_crc.to_le_bytes());
        out.push(self.status);
        out.extend(self.at.to_le_bytes());
        out.extend(self.lanes);
        for n in [self.a.0, self.d, self.elapsed_us, self.mismatches] {
            out.extend(n.to_le_bytes());
        }
        out.push(self.listed.len() as u8);
        for (address, expected, got) in &self.listed {
            for n in [address.0, *expected, *got] {
                out.extend(n.to_le_bytes());
            }
        }
        self.emitted.iter().for_each(|word| out.extend(word.to_le_bytes()));
    }

    pub(super) fn take(f: &mut Fields) -> Result<Self, Malformed> {
        let id = RunId::take(f)?;
        let request_crc = f.u32("request checksum")?;
        let status = f.u8("status")?;
        let at = f.u16("at")?;
        let lanes = [f.u8("lane")?, f.u8("lane")?, f.u8("lane")?, f.u8("lane")?];
        let (a, d) = (WordAddress(f.u32("A")?), f.u32("D")?);
        let (elapsed_us, mismatches) = (f.u32("elapsed")?, f.u32("mismatches")?);
        let listed = f.list("listed", |f| {
            Ok((WordAddress(f.u32("address")?), f.u32("expected")?, f.u32("got")?))
        })?;
        let start = f.at();
        let rest = f.rest();
        if !rest.len().is_multiple_of(4) {
            return Err(Malformed { field: "emitted", at: start, why: Why::Short });
        }
        let emitted = Width::W32.words(rest).collect();
        Ok(Self {
            id,
            request_crc,
            status,
            at,
            lanes,
            a,
            d,
            elapsed_us,
            mismatches,
            listed,
            emitted,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::{Reply, Request};

    fn run() -> RunRequest {
        RunRequest {
            id: RunId { session: 7, chain: 1, run: 42 },
            after: 41,
            slot: 2,
            script_crc: 0xA1B2_C3D4,
            a: WordAddress(0x10),
            b: WordAddress(0x20),
            n: 3,
            lanes: 0xFFFF,
            width: Width::W16,
            payload: vec![0x1111, 0x2222],
        }
    }

    #[test]
    fn a_run_comes_back_and_a_changed_one_is_malformed() {
        let body = Request::Run(run()).encode(9);
        assert_eq!(Request::decode(&body).unwrap(), Some((9, Request::Run(run()))));
        for at in 2..body.len() {
            let mut bad = body.clone();
            bad[at] ^= 1;
            assert!(Request::decode(&bad).is_err(), "byte {at}");
        }
        assert!(Request::decode(&body[..body.len() - 5]).is_err());
        assert!(Request::decode(&body[..20]).is_err());
    }

    #[test]
    fn a_reply_comes_back() {
        let reply = Reply::Run(RunReply {
            id: run().id,
            request_crc: run().crc(),
            status: 0,
            at: 31,
            lanes: [1, 4, 0, 0],
            a: WordAddress(5),
            d: 6,
            elapsed_us: 700,
            mismatches: 1,
            listed: vec![(WordAddress(1), 2, 3)],
            emitted: vec![0x89, 0x18],
        });
        assert_eq!(Reply::decode(&reply.encode(3)).unwrap(), Some((3, reply)));
    }
}
