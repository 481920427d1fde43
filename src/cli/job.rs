//! `identify`, `capture`, `verify`, `plan`, `write`, `resume` and `erase`: a job over a port.

use super::args::{CaptureArgs, EraseArgs, IdentifyArgs, PlanArgs, VerifyArgs, WriteArgs};
use super::context::Context;
use super::output::Output;
use super::progress::Progress;
use crate::app::{
    CaptureOptions, EraseOptions, Event, IdentifyOptions, Job, Machine, OpenPort, Outcome,
    PlanOptions, WriteOptions, open_port, run_job, watch_signals,
};
use crate::link::Cancel;

/// Runs `identify`.
pub fn identify(context: &Context, args: IdentifyArgs) -> u8 {
    let IdentifyArgs { probe, chips } = args;
    run(context, &Job::Identify(IdentifyOptions { probe, chips }))
}

/// Runs `capture`.
pub fn capture(context: &Context, args: CaptureArgs) -> u8 {
    let CaptureArgs { space, range, passes, out, note } = args;
    run(context, &Job::Capture(CaptureOptions { space, range, passes, out, note }))
}

/// Runs `verify`.
pub fn verify(context: &Context, args: VerifyArgs) -> u8 {
    let VerifyArgs { image, space, range, accept_simulated } = args;
    run(context, &Job::Verify { image, space, range, accept_simulated })
}

/// Runs `write`.
pub fn write(context: &Context, args: WriteArgs) -> u8 {
    let WriteArgs { code, confirm } = args;
    run(context, &Job::Write(WriteOptions::Plan { code, confirm }))
}

/// Runs `resume`.
pub fn resume(context: &Context) -> u8 {
    run(context, &Job::Write(WriteOptions::Resume))
}

/// Runs `erase`.
pub fn erase(context: &Context, args: EraseArgs) -> u8 {
    let EraseArgs { range, space, confirm, chips } = args;
    run(context, &Job::Erase(EraseOptions { space, range, confirm, chips }))
}

/// Runs `plan`.
pub fn plan(context: &Context, args: PlanArgs) -> u8 {
    // The command line has seen to it that an image is named, or the way back asked for.
    let PlanArgs { image, back: _, space, range, take, chips, accept_simulated } = args;
    run(context, &Job::Plan(PlanOptions { image, space, range, take, accept_simulated, chips }))
}

fn run(context: &Context, job: &Job) -> u8 {
    let output = context.output;
    let mut known = context.known();
    let mut progress = match Progress::new(context) {
        Ok(progress) => progress,
        Err(text) => return Output::fail(2, &text),
    };
    if let Err(outcome) = job.check(&context.wanted()) {
        let outcome = context.advised.outcome(outcome);
        return not_begun(&mut progress, outcome.code, outcome.text);
    }
    let name = match context.port(&known) {
        Ok(name) => name,
        Err(text) => return not_begun(&mut progress, 2, text),
    };
    if let Some(damage) = &known.damage {
        Output::always(&format!("what was remembered of adapters is lost: {damage}"));
    }
    if name.is_sim() {
        Output::always("SIMULATED BENCH: no hardware is touched, all contents are generated");
    }
    let mut open = match open_port(&name, |identity| known.rate(identity)) {
        Ok(open) => open,
        Err(error) => return not_begun(&mut progress, error.code(), error.to_string()),
    };
    let cancel = Cancel::default();
    let attention = open.attention.clone();
    let watching = watch_signals(cancel.clone(), move || {
        if let Some(attention) = &attention {
            attention.call();
        }
    });
    if let Err(error) = watching {
        return not_begun(&mut progress, 3, format!("signals cannot be watched: {error}"));
    }
    let OpenPort { port, plan, identity, bench, .. } = &mut open;
    let mut machine = Machine {
        port: port.as_mut(),
        plan: *plan,
        identity,
        bench: bench.as_ref(),
        known: &mut known,
        cancel,
        shelf: &context.shelf(),
    };
    let advised = &context.advised;
    let mut tell = |event: &Event| progress.event(&advised.event(event));
    let outcome = advised.outcome(run_job(&mut machine, &context.wanted(), job, &mut tell));
    // A report with the code of an error holds a warning that must not be lost in a pipe.
    let code = if outcome.report.is_none() || outcome.code > 1 {
        Output::told(outcome.code, &outcome.text)
    } else {
        if !output.json {
            Output::line(&outcome.text);
        }
        outcome.code
    };
    progress.end(code)
}

/// Programs that read events and the log get their final event also when no job was begun.
fn not_begun(progress: &mut Progress<'_>, code: u8, text: String) -> u8 {
    let outcome = Outcome { code, text, report: None };
    progress.event(&Event::Finished(outcome.clone()));
    progress.end(Output::told(code, &outcome.text))
}
