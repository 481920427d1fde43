//! QEMU's test socket: memory accesses as lines of text, each answered by a line.

use base64::prelude::{BASE64_STANDARD, Engine};
use std::fmt::{self, Write as _};
use std::io::{BufRead, BufReader, Write as _};
use std::os::unix::net::UnixStream;
use std::time::Duration;

/// Requests sent in one go. Two such batches of about 20 bytes a read are on their way at a
/// time, which is well below the 208 KiB that Linux keeps for a unix socket: a write never waits
/// for QEMU while QEMU waits for us.
const BATCH: usize = 1024;

/// An answer comes in microseconds; this long without one means that QEMU is stuck.
const PATIENCE: Duration = Duration::from_secs(20);

/// The client of one QEMU's test socket.
///
/// Writes are posted: they leave in order with the next read or with [`Self::settle`], because
/// a round trip costs as much as dozens of accesses.
pub struct Qtest {
    requests: UnixStream,
    answers: BufReader<UnixStream>,
    outbox: String,
    unanswered: usize,
    line: String,
}

impl Qtest {
    /// Speaks over a connected socket.
    pub fn new(socket: UnixStream) -> std::io::Result<Self> {
        socket.set_read_timeout(Some(PATIENCE))?;
        socket.set_write_timeout(Some(PATIENCE))?;
        let answers = BufReader::with_capacity(1 << 16, socket.try_clone()?);
        let (outbox, line) = (String::with_capacity(BATCH * 24), String::new());
        Ok(Self { requests: socket, answers, outbox, unanswered: 0, line })
    }

    /// Posts a write of `bits` (8, 16, 32).
    pub fn write(&mut self, bits: u32, address: u64, value: u32) {
        self.post(format_args!("write{} {address:#x} {value:#x}", letter(bits)));
        if self.unanswered == BATCH {
            self.settle();
        }
    }

    /// Reads a word of `bits`, after everything posted.
    pub fn read(&mut self, bits: u32, address: u64) -> u32 {
        self.post(format_args!("read{} {address:#x}", letter(bits)));
        self.settle()
    }

    /// Reads words in one go and gives each to `take`, in their order.
    pub fn read_all(
        &mut self,
        bits: u32,
        mut addresses: impl Iterator<Item = u64>,
        mut take: impl FnMut(u32),
    ) {
        self.settle();
        let mut before = 0;
        loop {
            for address in addresses.by_ref().take(BATCH) {
                self.post(format_args!("read{} {address:#x}", letter(bits)));
            }
            // QEMU has this batch at hand while the answers to the one before are read.
            self.send();
            (0..before).for_each(|_| take(self.answer()));
            before = self.unanswered;
            if before == 0 {
                return;
            }
        }
    }

    /// Asks for a word of `bits`; [`Self::settle`] waits for it.
    pub fn ask(&mut self, bits: u32, address: u64) {
        self.post(format_args!("read{} {address:#x}", letter(bits)));
        self.send();
    }

    /// Asks for `count` bytes from `address` on by one request; [`Self::block`] waits for them.
    pub fn ask_block(&mut self, address: u64, count: usize) {
        self.settle();
        self.post(format_args!("b64read {address:#x} {count:#x}"));
        self.send();
    }

    /// The bytes that were asked for last, as they stand in memory.
    pub fn block(&mut self) -> Vec<u8> {
        self.receive();
        let text = self.line.strip_prefix("OK ").map(str::trim_end);
        let bytes = text.and_then(|text| BASE64_STANDARD.decode(text).ok());
        bytes.unwrap_or_else(|| panic!("QEMU answered {:?} to a block", self.line))
    }

    /// Waits until everything posted is done; gives the last answer's value.
    pub fn settle(&mut self) -> u32 {
        self.send();
        let mut last = 0;
        while self.unanswered > 0 {
            last = self.answer();
        }
        last
    }

    fn post(&mut self, request: fmt::Arguments<'_>) {
        // Writing into a string cannot fail.
        let _ = writeln!(self.outbox, "{request}");
        self.unanswered += 1;
    }

    fn send(&mut self) {
        if let Err(error) = self.requests.write_all(self.outbox.as_bytes()) {
            panic!("QEMU's test socket takes no request: {error}");
        }
        self.outbox.clear();
    }

    fn answer(&mut self) -> u32 {
        self.receive();
        value(&self.line).unwrap_or_else(|| panic!("QEMU answered {:?}", self.line))
    }

    fn receive(&mut self) {
        self.unanswered -= 1;
        self.line.clear();
        match self.answers.read_line(&mut self.line) {
            Ok(0) => panic!("QEMU closed its test socket"),
            Ok(_) => {}
            Err(error) => panic!("QEMU's test socket gave no answer in {PATIENCE:?}: {error}"),
        }
    }
}

/// The last letter of QEMU's word for an access of this width.
const fn letter(bits: u32) -> char {
    match bits {
        8 => 'b',
        16 => 'w',
        _ => 'l',
    }
}

/// The value of an answer: `OK`, or `OK` and a hexadecimal number that fits a word.
fn value(line: &str) -> Option<u32> {
    let rest = line.strip_prefix("OK")?.trim();
    if rest.is_empty() {
        return Some(0);
    }
    u64::from_str_radix(rest.strip_prefix("0x")?, 16).ok()?.try_into().ok()
}
