//! Finding the adapter and the rate to talk at.

use super::{Client, Heard, LinkError};
use crate::bus::{Baud, Nanos};
use crate::wire::{HelloReply, HelloRequest, Kind, PROTOCOL_MAJOR, RateRequest, Reply, Request};

/// HELLO is repeated so often.
const TRY: Nanos = Nanos::from_millis(100);
/// HELLOs at one rate before the next one is tried, round by round: the answer to the first of them
/// may be on its way for so many tries.
const TRIES: [u32; 3] = [1, 2, 4];
/// The whole search: a board that restarts when its port is opened needs a second or two.
const SEARCH: Nanos = Nanos::from_secs(4);
/// Rates at which an adapter may wait after a reset.
const RESET_RATES: [Baud; 3] = [Baud(115_200), Baud(250_000), Baud(500_000)];
/// One PING at a new rate; more where the way is long.
const RATE_TRY: Nanos = Nanos::from_millis(120);
/// After what HELLO took, for a way that is not always the same.
const RATE_MARGIN: Nanos = Nanos::from_millis(50);
/// An adapter that is busy with what an earlier host left is asked so often.
const BUSY_TRY: Nanos = Nanos::from_secs(1);
/// The adapter must hear a good frame within 500 ms at a new rate.
const RATE_TRY_MAX: Nanos = Nanos::from_millis(450);
/// How long a silent adapter is looked for: a board may need a second or two to start.
const LOOK_AGAIN: Nanos = Nanos::from_millis(2_400);
/// PINGs that must be answered in a row before a rate counts as working.
const RATE_PROOF: u32 = 3;
/// The adapter goes back after 500 ms; by then it has.
const RATE_BACK: Nanos = Nanos::from_millis(600);

/// Which rates to try.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RatePlan {
    /// The user has named the rate: no other is tried.
    pub fixed: Option<Baud>,
    /// The rate that worked last with this adapter.
    pub remembered: Option<Baud>,
    /// The line has no rate (TCP).
    pub none: bool,
}

impl RatePlan {
    /// The rate to open a port at: the first that is tried; `None` where the line has none.
    pub fn first(self) -> Option<Baud> {
        self.rates().first().copied()
    }

    fn rates(self) -> Vec<Baud> {
        if self.none {
            return Vec::new();
        }
        if let Some(fixed) = self.fixed {
            return vec![fixed];
        }
        let mut rates: Vec<_> = self.remembered.into_iter().collect();
        rates.extend(RESET_RATES.iter().filter(|&&rate| Some(rate) != self.remembered));
        rates
    }
}

/// Says HELLO at one rate after the other until an adapter answers, and opens the session.
pub async fn connect(client: &Client, plan: RatePlan) -> Result<HelloReply, LinkError> {
    connect_told(client, plan, |_| ()).await
}

/// The same; `busy` is told, in milliseconds, how long an adapter at most goes on with what an
/// earlier host has left running: it is waited for.
pub async fn connect_told(
    client: &Client,
    plan: RatePlan,
    mut busy: impl FnMut(u32),
) -> Result<HelloReply, LinkError> {
    let rates = plan.rates();
    let mut start = client.now();
    let (mut at, mut tries) = (0, 0);
    loop {
        if tries == 0
            && let Some(&rate) = rates.get(at % rates.len().max(1))
        {
            client.set_rate(rate);
        }
        match hello(client).await {
            Ok(reply) if reply.still_running_ms > 0 => {
                busy(reply.still_running_ms);
                // Mostly it is done earlier; and while it hears something it stays at this rate.
                let left = Nanos::from_millis(u64::from(reply.still_running_ms));
                client.sleep(left.min(BUSY_TRY)).await;
                (start, at, tries) = (client.now(), at, 1);
                continue;
            }
            Ok(reply) => {
                client.open(&reply);
                return Ok(reply);
            }
            Err(LinkError::Silent { .. }) => {}
            Err(error) => return Err(error),
        }
        if client.with(|s| s.is_stopping()) {
            return Err(LinkError::Aborted);
        }
        let waited = client.now().since(start);
        if waited >= SEARCH {
            let heard = heard(client);
            return Err(LinkError::NoAnswer { tried: rates, waited_ms: waited.as_millis(), heard });
        }
        tries += 1;
        if tries >= TRIES[(at / rates.len().max(1)).min(TRIES.len() - 1)] {
            tries = 0;
            at += 1;
        }
    }
}

/// How long one PING is waited for, on this way.
fn rate_try(client: &Client) -> Nanos {
    (client.round_trip() + RATE_MARGIN).min(RATE_TRY_MAX).max(RATE_TRY)
}

async fn hello(client: &Client) -> Result<HelloReply, LinkError> {
    let request = HelloRequest { major: PROTOCOL_MAJOR, session: client.number() };
    match client.call_once(Request::Hello(request), TRY).await? {
        Reply::Hello(reply) if reply.major == PROTOCOL_MAJOR => Ok(*reply),
        Reply::Hello(reply) => {
            Err(LinkError::OtherProtocol { theirs: reply.major, ours: PROTOCOL_MAJOR })
        }
        other => Err(LinkError::unexpected(Kind::HELLO, &other)),
    }
}

fn heard(client: &Client) -> Heard {
    let stats = client.stats();
    if stats.frames_received > 0 {
        Heard::Frames { frames: stats.frames_received }
    } else if stats.bytes_received > 0 {
        Heard::Noise { bytes: stats.bytes_received }
    } else {
        Heard::Nothing
    }
}

/// Goes to the fastest rate of `hello` that works both ways, at most `limit`; stays at the present
/// one if none does. Returns the rate in use, `None` where the line has none.
pub async fn raise_rate(
    client: &Client,
    hello: &HelloReply,
    limit: Option<Baud>,
) -> Result<Option<Baud>, LinkError> {
    let Some(present) = client.baud() else { return Ok(None) };
    let mut faster: Vec<_> = hello.rates.iter().copied().filter(|&rate| rate > present).collect();
    faster.retain(|&rate| limit.is_none_or(|limit| rate <= limit));
    faster.sort_unstable();
    for &rate in faster.iter().rev() {
        match client.call(Request::Rate(RateRequest { rate })).await {
            Ok(_) => {}
            Err(LinkError::Fault { .. }) => continue,
            Err(error) => return Err(error),
        }
        client.set_rate(rate);
        if proven(client).await? {
            return Ok(Some(rate));
        }
        client.set_rate(present);
        client.sleep(RATE_BACK).await;
        client.call(Request::Ping).await?;
    }
    Ok(Some(present))
}

/// Whether an adapter that fell silent is there after all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FoundAgain {
    /// It has restarted: its rail is off.
    Restarted,
    /// It is the same session, at its reset rate.
    Same,
    /// It answers nothing.
    No,
}

/// Looks for a silent adapter where a reset, or ten seconds without a good frame, leave it: at its
/// reset rate.
pub async fn find_again(client: &Client, hello: &HelloReply) -> FoundAgain {
    client.reopen();
    if client.baud().is_some() {
        client.set_rate(hello.reset_rate);
    }
    let start = client.now();
    while client.now().since(start) < LOOK_AGAIN {
        match client.call_once(Request::Ping, rate_try(client)).await {
            Ok(_) => return FoundAgain::Same,
            Err(LinkError::Restarted) => return FoundAgain::Restarted,
            Err(LinkError::Silent { .. }) => {}
            Err(_) => return FoundAgain::No,
        }
    }
    FoundAgain::No
}

async fn proven(client: &Client) -> Result<bool, LinkError> {
    let mut good = 0;
    for _ in 0..=RATE_PROOF {
        match client.call_once(Request::Ping, rate_try(client)).await {
            Ok(_) => good += 1,
            Err(LinkError::Silent { .. }) => {}
            Err(error) => return Err(error),
        }
        if good == RATE_PROOF {
            return Ok(true);
        }
    }
    Ok(false)
}
