//! What can go wrong between host and adapter.

use crate::bus::{Baud, Millivolts, Nanos};
use crate::wire::{FaultCode, Kind, Reply};
use thiserror::Error;

/// What was heard while nobody answered as an adapter does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heard {
    /// Not a byte.
    Nothing,
    /// Bytes that are no frames.
    Noise {
        /// How many.
        bytes: u64,
    },
    /// Good frames that are no answer to HELLO.
    Frames {
        /// How many.
        frames: u64,
    },
}

impl Heard {
    /// What it means, with what to do; rates are spoken of where the line has some.
    fn sentence(self, has_rate: bool) -> String {
        match (self, has_rate) {
            (Self::Nothing, true) => "nothing was heard: check cable, power and port. An adapter \
                 left at another rate comes back to its reset rate after 10 s"
                .into(),
            (Self::Nothing, false) => "nothing was heard: check whether the adapter or bench is \
                 running there, and whether another host is connected to it"
                .into(),
            (Self::Noise { bytes }, true) => format!(
                "{bytes} bytes were heard that are no frames: something else is on this port, or \
                 the adapter is at another rate. Name the rate with @RATE, or wait 10 s and try \
                 again"
            ),
            (Self::Noise { bytes }, false) => format!(
                "{bytes} bytes were heard that are no frames: something else answers at this \
                 address; check host and port number, and the rate of a serial server"
            ),
            (Self::Frames { frames }, has_rate) => {
                let heard =
                    if frames == 1 { "1 frame was" } else { &format!("{frames} frames were") };
                let or = if has_rate {
                    ", or it still answers an earlier one at another rate: wait 10 s and try again"
                } else {
                    ""
                };
                format!(
                    "{heard} heard that answer{} nothing: another program may be using the \
                     adapter{or}",
                    if frames == 1 { "s" } else { "" }
                )
            }
        }
    }
}

/// Why a request has no answer, or a session has ended.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum LinkError {
    /// Nobody answered HELLO.
    #[error("no adapter answered within {waited_ms} ms at {}; {}",
        rates(.tried), .heard.sentence(!.tried.is_empty()))]
    NoAnswer {
        /// Rates that were tried; empty where the line has none.
        tried: Vec<Baud>,
        /// Milliseconds waited.
        waited_ms: u64,
        /// What was heard instead.
        heard: Heard,
    },
    /// The adapter speaks another protocol.
    #[error(
        "the adapter speaks wire protocol {theirs}, this program {ours}: {}",
        if theirs > ours { "use a newer buswright" } else { "use newer firmware" }
    )]
    OtherProtocol {
        /// The adapter's major number.
        theirs: u8,
        /// Ours.
        ours: u8,
    },
    /// The port is gone.
    #[error("the port is gone: the cable was pulled or the connection closed")]
    Unplugged,
    /// A request had no answer, however often it was sent.
    #[error(
        "the adapter did not answer {request}, sent {attempts} times in {waited_ms} ms: check cable \
         and power, whether another program uses the port, and on a serial line try a lower rate \
         with @RATE"
    )]
    Silent {
        /// The request.
        request: Kind,
        /// How often it was sent.
        attempts: u32,
        /// From first to last, in milliseconds.
        waited_ms: u64,
    },
    /// The adapter was reset, or lost its supply, in mid-session.
    #[error(
        "the adapter restarted in mid-session, so the rail is off and its shapes are lost: check \
         its supply and start again"
    )]
    Restarted,
    /// The rail is off though it was switched on.
    #[error("the rail went off by itself ({why}; {mv}): check supply, contacts and module")]
    RailGone {
        /// What the adapter says about it.
        why: &'static str,
        /// The voltage it told.
        mv: Millivolts,
    },
    /// The rail is off because the adapter has not heard this host for long.
    #[error(
        "this program stood still for {} s (stopped, or the computer slept), and the adapter \
         switches the rail off by itself 5 s after the last word: keep the computer awake and \
         start again", silent_ms / 1000
    )]
    HostSilent {
        /// For how long, in milliseconds.
        silent_ms: u64,
    },
    /// The adapter refused a request.
    #[error(
        "the adapter refused {request}: {code} ({}; detail {detail}); {}",
        code.meaning(), code.remedy()
    )]
    Fault {
        /// The request.
        request: Kind,
        /// The code.
        code: FaultCode,
        /// The code's number.
        detail: u32,
    },
    /// The adapter answered something that fits no rule.
    #[error("the adapter answered {request} with something else: {what}")]
    Nonsense {
        /// The request.
        request: Kind,
        /// What is wrong.
        what: String,
    },
    /// The session was cut short on request.
    #[error("stopped on request")]
    Aborted,
}

impl LinkError {
    /// True if nothing more can be asked in this session.
    pub fn is_final(&self) -> bool {
        matches!(
            self,
            Self::NoAnswer { .. }
                | Self::OtherProtocol { .. }
                | Self::Unplugged
                | Self::Silent { .. }
                | Self::Restarted
        )
    }

    /// A reply of the wrong family, or one that says nothing: the session lets none of the first
    /// kind through, so that is a defect of ours.
    pub fn unexpected(request: Kind, reply: &Reply) -> Self {
        Self::Nonsense { request, what: format!("a {}", reply.kind()) }
    }

    pub(super) fn silent(request: Kind, attempts: u32, waited: Nanos) -> Self {
        Self::Silent { request, attempts, waited_ms: waited.as_millis() }
    }
}

fn rates(tried: &[Baud]) -> String {
    match tried {
        [] => "this address".into(),
        [rate] => rate.to_string(),
        [all @ .., last] => {
            let all: Vec<_> = all.iter().map(|rate| rate.0.to_string()).collect();
            format!("{} and {last}", all.join(", "))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sentences_name_rates_and_what_to_do() {
        let error = LinkError::NoAnswer {
            tried: vec![Baud(115_200), Baud(250_000)],
            waited_ms: 4_000,
            heard: Heard::Noise { bytes: 12 },
        };
        let text = error.to_string();
        assert!(text.starts_with("no adapter answered within 4000 ms at 115200 and 250000 baud"));
        assert!(text.contains("12 bytes"));
        for heard in [Heard::Nothing, Heard::Noise { bytes: 12 }] {
            let over_tcp = LinkError::NoAnswer { tried: vec![], waited_ms: 4_000, heard };
            let text = over_tcp.to_string();
            assert!(text.contains("at this address") && !text.contains("RATE"), "{text}");
        }
        let silent = LinkError::silent(Kind::READ, 10, Nanos::from_millis(2_500)).to_string();
        for remedy in ["cable", "power", "another program", "@RATE"] {
            assert!(silent.contains(remedy), "{silent}");
        }
        let old = LinkError::OtherProtocol { theirs: 0, ours: 1 };
        assert!(old.to_string().ends_with("use newer firmware"));
    }
}
