//! Ctrl-C once, Ctrl-C twice, and the other ways to ask a program to end.

use crate::home::{Home, Ran, Stream};
use crate::served::{REAL, SLOW, Served, Since};
use rustix::process::Signal;
use std::io::Read;
use std::net::TcpListener;

/// The last that was said of the rail is that it is off.
#[track_caller]
fn rail_is_off(ran: &Ran) {
    let events = ran.events();
    let rail = events.iter().rev().find(|event| event["event"] == "rail");
    let rail = rail.unwrap_or_else(|| panic!("nothing of the rail\n{ran}"));
    assert_eq!(rail["on"], false, "{ran}");
    assert_eq!(events.iter().filter(|event| event["event"] == "finished").count(), 1, "{ran}");
}

#[test]
fn one_request_to_stop_reaches_the_safe_state_and_the_capture_goes_on() {
    for signal in [Signal::INT, Signal::TERM] {
        let served = Served::on_pty(&REAL);
        let host = served.capture_until(1);
        host.signal(signal);
        let ran = host.finish();
        let ran = ran.says(130, &["stopped on request", "pass one of space store", "are kept"]);
        assert!(ran.events().iter().any(|event| event["event"] == "stopping"), "{ran}");
        rail_is_off(&ran);
        served.goes_on();
    }
}

#[test]
fn people_are_told_that_the_rail_is_off() {
    let served = Served::on_pty(&REAL);
    let host = served.home.start(&served.args(&["capture"]));
    host.wait_for(Stream::Err, "pass 1");
    host.signal(Signal::INT);
    let ran = host.finish().says(130, &["STOPPING, up to 3 s", "RAIL OFF - safe to move"]);
    assert!(ran.err.find("STOPPING") < ran.err.find("RAIL OFF"), "{ran}");
}

#[test]
fn two_requests_end_within_seconds() {
    let served = Served::on_pty(&SLOW);
    let host = served.capture_until(1);
    let since = Since::now();
    host.signal(Signal::INT);
    host.signal(Signal::INT);
    let ran = host.finish();
    since.at_most(15, "ending after two requests");
    // Not confirmed is possible, and then said.
    match ran.code {
        130 => rail_is_off(&ran),
        _ => drop(ran.says(3, &["rail"])),
    }
    served.goes_on();
}

#[test]
fn a_hang_up_of_the_terminal_ends_no_job() {
    let served = Served::on_pty(&REAL);
    let host = served.capture_until(1);
    host.signal(Signal::HUP);
    let ran = host.finish().says(0, &["agreed"]);
    rail_is_off(&ran);
    assert!(served.home.content("0001-001") == served.contents);
}

#[test]
fn a_request_to_stop_while_nobody_answers_ends_soon() {
    for times in [1, 2] {
        let home = Home::new();
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = format!("tcp:{}", listener.local_addr().unwrap());
        let host = home.start(&["capture", "--port", &port]);
        let (mut stream, _) = listener.accept().unwrap();
        // The search has begun: the host has asked something.
        stream.read_exact(&mut [0]).unwrap();
        let since = Since::now();
        (0..times).for_each(|_| host.signal(Signal::INT));
        let ran = host.finish();
        since.at_most(15, "ending the search");
        match ran.code {
            130 => drop(ran.says(130, &["stopped on request"])),
            _ => drop(ran.says(3, &["no adapter answered"])),
        }
    }
}

#[test]
fn verify_stops_too() {
    let served = Served::on_pty(&REAL);
    let host = served.home.start(&served.args(&["verify", "noise.bin", "--json"]));
    host.wait_for(Stream::Out, "checksums");
    host.signal(Signal::INT);
    let ran = host.finish().says(130, &["stopped on request"]);
    rail_is_off(&ran);
    served.run(&["verify", "noise.bin"]).says(0, &["equals"]);
}
