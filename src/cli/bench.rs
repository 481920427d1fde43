//! `bench`: the simulated bench as a serial device or TCP service for other programs.

use super::args::BenchArgs;
use super::context::Context;
use super::output::Output;
use crate::app::{PortName, bench_for_service, serve_pty, serve_tcp, watch_signals};
use crate::link::Cancel;
use serde_json::json;

/// Runs `bench` until it is interrupted.
pub fn run(context: &Context, args: &BenchArgs) -> u8 {
    if let Some(address) = &args.tcp
        && let Err(error) = format!("tcp:{address}").parse::<PortName>()
    {
        return Output::fail(2, &error.to_string());
    }
    let bench = match bench_for_service(&args.bench, args.tcp.is_some()) {
        Ok(bench) => bench,
        Err(error) => return Output::fail(error.code(), &error.to_string()),
    };
    Output::always("SIMULATED BENCH: no hardware is touched, all contents are generated");
    let cancel = Cancel::default();
    if let Err(error) = watch_signals(cancel.clone(), || ()) {
        return Output::fail(3, &format!("signals cannot be watched: {error}"));
    }
    let ready = |name: &str| {
        if context.output.json {
            Output::json(&json!({ "event": "serving", "port": name }));
        } else {
            Output::line(name);
        }
    };
    let served = match &args.tcp {
        Some(address) => serve_tcp(bench, address, &cancel, ready),
        None => serve_pty(bench, &cancel, ready),
    };
    match served {
        Ok(()) => 0,
        Err(error) => Output::fail(3, &error.to_string()),
    }
}
