//! The one place that sends the final event.

use super::error::unproven;
use super::{Desk, Ending, Event, JobError, Outcome};
use serde::Serialize;
use std::fmt::Display;
use std::future::{Future, poll_fn};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::pin::pin;
use std::task::Poll;

/// Awaits `job` and sends the one final event for whatever comes of it, a panic included.
///
/// The report's `Display` is the sentence for people, its JSON goes along for programs.
pub async fn run<R: Serialize + Display>(
    desk: &Desk<'_>,
    job: impl Future<Output = Result<(R, Ending), JobError>>,
) -> Outcome {
    let mut job = pin!(job);
    let result =
        poll_fn(|context| match catch_unwind(AssertUnwindSafe(|| job.as_mut().poll(context))) {
            Ok(Poll::Pending) => Poll::Pending,
            Ok(Poll::Ready(result)) => Poll::Ready(Ok(result)),
            Err(panic) => Poll::Ready(Err(panic)),
        })
        .await;
    let outcome = match result {
        Ok(Ok((report, ending))) => {
            let rail = desk.rail_unproven.take();
            // Whatever was found, the module must not be touched: that decides the exit code.
            let code = if rail.is_some() { 3 } else { u8::from(ending == Ending::No) };
            let rail = rail.map(|error| format!("\n  ! {}", unproven(&error)));
            let text = format!("{report}{}", rail.unwrap_or_default());
            Outcome { code, text, report: serde_json::to_value(&report).ok() }
        }
        Ok(Err(error)) => Outcome { code: error.code(), text: error.to_string(), report: None },
        Err(panic) => {
            let what = panic
                .downcast_ref::<&str>()
                .map(|text| (*text).to_string())
                .or_else(|| panic.downcast_ref::<String>().cloned())
                .unwrap_or_default();
            let text = format!(
                "a defect of this program ended the job: {what}. The adapter switches the rail off \
                 5 s from now; please report it"
            );
            Outcome { code: 3, text, report: None }
        }
    };
    desk.tell(&Event::Finished(outcome.clone()));
    outcome
}
