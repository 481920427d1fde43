//! The simulated adapter on a line without a rate: only what it charges for its work takes time.

use crate::bench::{self, CLOCK, RAM_WORDS, ROM_WORDS, contents, ready};
use buswright::bus::{Baud, Nanos};
use buswright::sim::{Adapter, BenchDescription};
use buswright::wire::{FrameReader, Reply, Request, encode_frame_after_idle};

/// It, and its time.
pub struct Simulated {
    adapter: Adapter,
    now: Nanos,
    tag: u8,
}

impl Simulated {
    /// With the module under power.
    pub fn start() -> Self {
        let text = format!(
            "format = 1\nsheet = \"x\"\nspecimen = \"x\"\n\
             [[memory]]\nkind = \"rom\"\nname = \"store\"\nwidth = 32\nbase = 0\nwords = {ROM_WORDS}\n\
             select = {{ CS0 = \"low\" }}\naccess_ns = 90\nfill = \"file\"\nfile = \"x\"\n\
             [[memory]]\nkind = \"ram\"\nname = \"records\"\nwidth = 32\nbase = 0\nwords = {RAM_WORDS}\n\
             select = {{ CS1 = \"low\" }}\naccess_ns = 90\n"
        );
        let mut described = BenchDescription::parse("bench", &text).unwrap();
        described.set_contents("store", contents()).unwrap();
        let mut config = described.adapter.clone();
        (config.clock_hz, config.charged) = (CLOCK, true);
        (config.reset_rate, config.rates) = (Baud(0), Vec::new());
        let adapter = Adapter::new(config, described.module(1), 1);
        let mut simulated = Self { adapter, now: Nanos::ZERO, tag: 0 };
        ready(&mut simulated);
        simulated
    }
}

impl bench::Adapter for Simulated {
    fn cycles(&mut self, requests: &[Request]) -> u64 {
        let start = self.now;
        for request in requests {
            self.tag = self.tag % 250 + 1;
            let frame = encode_frame_after_idle(&request.encode(self.tag));
            self.adapter.handle(start, &frame);
        }
        let mut reader = FrameReader::new(2_000);
        loop {
            while let Some(sent) = self.adapter.poll_transmit(self.now) {
                let mut last = false;
                reader.push(&sent.bytes, |body| {
                    let (tag, reply) = Reply::decode(body).unwrap().unwrap();
                    assert!(!matches!(reply, Reply::Fault(_)), "{reply:?}");
                    last |= tag == self.tag && !matches!(reply, Reply::Busy(_));
                });
                if last {
                    return (sent.start.since(start).0 * u64::from(CLOCK)).div_ceil(1_000_000_000);
                }
            }
            self.now = self.adapter.poll_timeout().unwrap();
            self.adapter.handle_timeout(self.now);
        }
    }
}
