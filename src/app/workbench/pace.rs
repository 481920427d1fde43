//! How long a write still takes, from how long its work has taken so far. Nothing here reads a
//! clock: times come in.

use std::time::Duration;

/// A sector in hand counts as measured from so much programming on.
const ENOUGH: Duration = Duration::from_secs(1);

/// Sectors that are still to be written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rest {
    /// Those that are erased first.
    pub erases: u32,
    /// Bytes that are programmed into all of them.
    pub bytes: u64,
}

impl Rest {
    /// True if nothing is left.
    pub fn is_none(&self) -> bool {
        *self == Self::default()
    }
}

/// What the write is at; none of it is part of [`Rest`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum At {
    /// Nothing.
    #[default]
    Between,
    /// A sector is being erased; so many bytes are programmed into it afterwards.
    Erasing {
        /// How long.
        since: Duration,
        /// Bytes.
        bytes: u64,
    },
    /// A sector is being programmed.
    Programming {
        /// How long.
        since: Duration,
        /// Bytes that are in.
        done: u64,
        /// Bytes that are to come.
        left: u64,
    },
    /// Every sector is written: the module loses its supply and is compared.
    Proving {
        /// How long.
        since: Duration,
    },
}

/// How long things took.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Pace {
    erases: u32,
    erasing: Duration,
    bytes: u64,
    programming: Duration,
    /// What stands before the first sector stands after the last one, too: the chips are asked who
    /// they are, and every sector is compared.
    lead: Option<Duration>,
}

impl Pace {
    /// A sector was erased.
    pub fn erased(&mut self, took: Duration) {
        self.erases += 1;
        self.erasing += took;
    }

    /// So many bytes were programmed.
    pub fn programmed(&mut self, bytes: u64, took: Duration) {
        self.bytes += bytes;
        self.programming += took;
    }

    /// Everything before the first sector took so long.
    pub fn led(&mut self, took: Duration) {
        self.lead = Some(took);
    }

    /// The time to the end; none while a kind of work that is left was not measured yet.
    pub fn left(&self, rest: Rest, at: At) -> Option<Duration> {
        let mut pace = *self;
        let Rest { mut erases, mut bytes } = rest;
        let mut spent = Duration::ZERO;
        match at {
            At::Between => {}
            At::Erasing { since, bytes: then } => {
                erases += 1;
                bytes += then;
                spent = since;
            }
            At::Programming { since, done, left } => {
                bytes += left;
                if since >= ENOUGH && done > 0 {
                    pace.programmed(done, since);
                }
            }
            At::Proving { since } => spent = since,
        }
        let erase = match (erases, pace.erases) {
            (0, _) => Duration::ZERO,
            (_, 0) => return None,
            (_, known) => pace.erasing / known,
        };
        let programming = match (bytes, pace.bytes) {
            (0, _) => Duration::ZERO,
            (_, 0) => return None,
            (_, known) => pace.programming.mul_f64(bytes as f64 / known as f64),
        };
        let lead = pace.lead?;
        Some(match at {
            // What has lasted longer than it did before ends any moment, as far as anybody knows.
            At::Proving { .. } => lead.checked_sub(spent)?,
            _ => (erase * erases).saturating_sub(spent.min(erase)) + programming + lead,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn s(seconds: u64) -> Duration {
        Duration::from_secs(seconds)
    }

    #[test]
    fn no_number_before_everything_that_is_left_was_measured() {
        let rest = Rest { erases: 3, bytes: 3_000 };
        let mut pace = Pace::default();
        assert_eq!(pace.left(rest, At::Between), None);
        pace.led(s(8));
        assert_eq!(pace.left(rest, At::Between), None);
        pace.erased(s(2));
        assert_eq!(pace.left(rest, At::Between), None, "nothing was programmed yet");
        assert_eq!(pace.left(Rest { erases: 3, bytes: 0 }, At::Between), Some(s(6 + 8)));
        pace.programmed(1_000, s(5));
        assert_eq!(pace.left(rest, At::Between), Some(s(6 + 15 + 8)));
        assert_eq!(pace.left(Rest::default(), At::Between), Some(s(8)));
    }

    #[test]
    fn a_sector_in_hand_counts_as_far_as_it_is() {
        let mut pace = Pace::default();
        pace.led(s(8));
        pace.erased(s(4));
        let early = At::Programming { since: Duration::from_millis(900), done: 90, left: 910 };
        assert_eq!(pace.left(Rest::default(), early), None);
        let later = At::Programming { since: s(2), done: 200, left: 800 };
        assert_eq!(pace.left(Rest::default(), later), Some(s(8 + 8)));
        pace.programmed(1_000, s(10));
        let rest = Rest { erases: 1, bytes: 1_000 };
        let erasing = |since| At::Erasing { since, bytes: 500 };
        assert_eq!(pace.left(rest, erasing(s(1))), Some(s(4 + 3 + 10 + 5 + 8)));
        // An erase that takes longer than the others is over any moment, not overdue.
        assert_eq!(pace.left(rest, erasing(s(9))), Some(s(4 + 10 + 5 + 8)));
    }

    #[test]
    fn the_end_takes_as_long_as_the_beginning() {
        let mut pace = Pace::default();
        assert_eq!(pace.left(Rest::default(), At::Proving { since: s(1) }), None);
        pace.led(s(8));
        assert_eq!(pace.left(Rest::default(), At::Proving { since: s(3) }), Some(s(5)));
        assert_eq!(pace.left(Rest::default(), At::Proving { since: s(9) }), None);
    }

    proptest! {
        /// At a steady pace the guess is right from the first sector on, wherever the write is.
        #[test]
        fn a_steady_pace_is_told_rightly(
            erase_ms in 1_u64..20_000,
            byte_us in 1_u64..200,
            sizes in proptest::collection::vec(1_u64..200_000, 2..12),
            lead_ms in 0_u64..60_000,
        ) {
            let erase = Duration::from_millis(erase_ms);
            let program = |bytes: u64| Duration::from_micros(bytes * byte_us);
            let lead = Duration::from_millis(lead_ms);
            let mut pace = Pace::default();
            pace.led(lead);
            for (done, size) in sizes.iter().enumerate() {
                pace.erased(erase);
                pace.programmed(*size, program(*size));
                let left = &sizes[done + 1..];
                let bytes = left.iter().sum();
                let rest = Rest { erases: left.len() as u32, bytes };
                let truth = erase * left.len() as u32 + program(bytes) + lead;
                let told = pace.left(rest, At::Between).unwrap();
                let off = told.abs_diff(truth);
                prop_assert!(off <= truth / 1_000 + Duration::from_micros(50), "{told:?} {truth:?}");
            }
        }
    }
}
