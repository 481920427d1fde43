//! Many runs in a row, so that the line never waits for a chip.

use super::{Runs, Start};
use crate::bus::Width;
use crate::bus::script::{Script, Why};
use crate::jobs::JobError;
use crate::link::{LinkError, Ticket};
use crate::wire::{FaultCode, Reply, Request, RunReply, RunRequest};
use std::collections::VecDeque;

/// How often one run is offered again that came before the one it follows: damage on the line
/// would have to hit as often in a row.
const OFFERS: u32 = 40;

/// What became of many runs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::jobs) enum Streamed {
    /// All of them ended good.
    Done,
    /// A chip failed, or was not ready in time; nothing after it has run.
    Stopped(RunReply),
}

struct Flight {
    request: RunRequest,
    ticket: Ticket,
    offers: u32,
}

impl Runs<'_, '_> {
    /// Runs `starts` one after the other, as many on their way as the adapter remembers; `done`
    /// is told how many words each took. The request to stop is not looked at in between.
    pub(in crate::jobs) async fn stream(
        &mut self,
        width: Width,
        scripts: &[Script],
        starts: Vec<(usize, Start)>,
        mut done: impl FnMut(usize),
    ) -> Result<Streamed, JobError> {
        let mut slots = Vec::new();
        for script in scripts {
            slots.push(self.slot_of(script).await?);
        }
        let client = self.desk.client.clone();
        let window = usize::from(self.sizes.runs_remembered).max(1);
        let mut starts = starts.into_iter();
        let mut flying: VecDeque<Flight> = VecDeque::new();
        loop {
            while flying.len() < window {
                let Some((which, start)) = starts.next() else { break };
                let request = self.request(slots[which], &scripts[which], width, start);
                let ticket = client.submit(Request::Run(request.clone()));
                flying.push_back(Flight { request, ticket, offers: 1 });
            }
            let Some(first) = flying.front_mut() else { return Ok(Streamed::Done) };
            let reply = client.finish(first.ticket).await;
            if came_early(&first.request, &reply) && first.offers < OFFERS {
                // What was sent behind it came early, too: all are offered again in their order.
                for late in flying.iter().skip(1) {
                    let _ = client.finish(late.ticket).await;
                }
                for flight in &mut flying {
                    flight.offers += 1;
                    flight.ticket = client.submit(Request::Run(flight.request.clone()));
                }
                continue;
            }
            let words = first.request.payload.len();
            flying.pop_front();
            let reply = match self.taken(reply) {
                Ok(reply) if reply.status == Why::Good.number() => {
                    done(words);
                    continue;
                }
                other => other,
            };
            // What was sent after it is refused by the adapter; its answers are waited for, so
            // that none is on its way when a new chain begins.
            for late in flying {
                let _ = client.finish(late.ticket).await;
            }
            return reply.map(Streamed::Stopped);
        }
    }
}

/// True if the adapter refused a run only because the one before it has not arrived yet.
fn came_early(request: &RunRequest, reply: &Result<Reply, LinkError>) -> bool {
    let Err(LinkError::Fault { code: FaultCode::NOT_NEXT_RUN, detail, .. }) = reply else {
        return false;
    };
    *detail < request.after
}
