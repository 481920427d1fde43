//! REPEAT: one cycle made again and again.

use crate::bus::script::{Abort, Env, Status, Why};
use crate::bus::{Nanos, Precharge, Shape, Word, WordAddress};
use crate::wire::RepeatRequest;

/// A REPEAT at work.
#[derive(Clone, Debug)]
pub(super) struct Repeating {
    ask: RepeatRequest,
    shape: Shape,
    address: u32,
    value: Word,
    done: u32,
    last: Word,
    /// The next cycle is not made before this time.
    wake: Option<Nanos>,
    asked: Option<Abort>,
    ended: Option<Why>,
}

impl Repeating {
    pub(super) fn new(ask: RepeatRequest, shape: Shape) -> Self {
        Self {
            ask,
            shape,
            address: ask.address.0.0,
            value: ask.value.0,
            done: 0,
            last: 0,
            wake: None,
            asked: None,
            ended: None,
        }
    }

    /// Goes on until the clock of `env` reaches `until`; at least one cycle is made.
    pub(super) fn step<E: Env + ?Sized>(&mut self, env: &mut E, until: Nanos) -> Status {
        while self.ended.is_none() {
            if let Some(abort) = self.asked {
                self.ended = Some(Why::Stopped(abort));
                break;
            }
            if let Some(wake) = self.wake.filter(|wake| *wake > env.now()) {
                if wake > until {
                    return Status::Waiting(wake);
                }
                env.delay(wake.since(env.now()));
            }
            self.ended = self.cycle(env).err();
            if self.ended.is_none() && env.now() >= until {
                return Status::Running;
            }
        }
        Status::Done
    }

    fn cycle<E: Env + ?Sized>(&mut self, env: &mut E) -> Result<(), Why> {
        if !env.powered() {
            return Err(Why::PowerLost);
        }
        let (address, ones) = (WordAddress(self.address), self.shape.width.ones());
        if self.ask.write {
            if !env.may_write(self.ask.shape, address, ones) {
                return Err(Why::NotPermitted);
            }
            self.last = self.value & ones;
            env.write(&self.shape, address, self.last);
        } else {
            self.last = env.read(&self.shape, address, Precharge::None) & ones;
        }
        self.done = self.done.saturating_add(1);
        self.address ^= self.ask.address.1;
        self.value ^= self.ask.value.1;
        if self.ask.count > 0 && self.done >= self.ask.count {
            return Err(Why::Good);
        }
        self.wake = Some(env.now() + Nanos::from_micros(u64::from(self.ask.gap_us)));
        Ok(())
    }

    /// Asks it to end before its next cycle; the first reason counts.
    pub(super) fn abort(&mut self, reason: Abort) {
        self.asked.get_or_insert(reason);
    }

    /// The rail is gone.
    pub(super) fn lose_power(&mut self) {
        self.ended.get_or_insert(Why::PowerLost);
    }

    /// How it ended, once it has.
    pub(super) fn ended(&self) -> Option<Why> {
        self.ended
    }

    /// Cycles made, cycles in all (0: until STOP), and the word of the last one.
    pub(super) fn state(&self) -> (u32, u32, Word) {
        (self.done, self.ask.count, self.last)
    }
}
