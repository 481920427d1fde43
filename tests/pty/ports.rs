//! A bench on a pseudo-terminal as a serial port: copies, rates, and who may open it.

use crate::home::Stream;
use crate::served::{INSTANT, Kind, REAL, SLOW, Served};
use rustix::process::Signal;
use std::fs;

#[test]
fn a_capture_equals_the_bench_and_a_changed_file_does_not() {
    let served = Served::on_pty(&INSTANT);
    served.run(&["capture", "--out", "copy.bin"]).says(0, &["adapter bench:", "agreed"]);
    assert!(served.home.read("copy.bin") == served.contents);
    served.run(&["verify", "copy.bin"]).says(0, &["equals copy.bin"]);
    served.run(&["verify", "@last"]).says(0, &["equals"]);
    let mut copy = served.home.read("copy.bin");
    copy[0x4321 * 4 + 1] ^= 0x80;
    served.home.write("changed.bin", copy);
    served.run(&["verify", "changed.bin"]).says(1, &["1 word of", "store word 0x4321: image"]);
    // The port is a real one, the module is not.
    served.run(&["shelf", "list"]).says(0, &["simulated"]);
}

#[test]
fn only_a_built_in_bench_has_a_label_of_its_own() {
    let served = Served::on_pty(&INSTANT);
    let ran = served.home.run(&["capture", "--port", &served.port, "--sheet", "small.toml"]);
    ran.says(2, &["which specimen", "bench:small", "--specimen"]).never_says(&["RAIL ON"]);
    let home = crate::home::Home::new();
    let bench = crate::home::Running::new(&mut home.bare(&["bench", "--pty"]));
    let port = bench.wait_for(Stream::Out, "");
    home.run(&["capture", "--range", "0x0+0x10", "--space", "store", "--port", &port])
        .says(0, &["TG-7 #0417"]);
}

#[test]
fn a_bench_file_does_not_pass_for_the_built_in_bench_of_its_sheet() {
    let home = crate::home::Home::new();
    home.write(
        "TG-7.toml",
        "format = 1\nsheet = \"TG-7\"\nspecimen = \"TG-7 #0900\"\n[line]\npace = \"instant\"\n\
         [[memory]]\nkind = \"ram\"\nname = \"records\"\nwidth = 32\nwords = 0x10000\n\
         select = { CS1 = \"low\" }\n",
    );
    let bench = crate::home::Running::new(&mut home.bare(&["bench", "TG-7.toml", "--pty"]));
    let port = bench.wait_for(Stream::Out, "");
    let args = ["capture", "--space", "records", "--port", &port, "--sheet", "TG-7"];
    home.run(&args).says(2, &["which specimen", "bench:file TG-7"]).never_says(&["RAIL ON"]);
    home.run(&[&args[..], &["--specimen", "TG-7 #0900"]].concat()).says(0, &["0900-001"]);
}

#[test]
fn a_bench_that_is_asked_to_stop_ends_well() {
    for signal in [Signal::INT, Signal::TERM] {
        let served = Served::on_pty(&INSTANT);
        served.bench.signal(signal);
        let ran = served.bench.finish().says(0, &["SIMULATED BENCH"]);
        assert!(ran.out.starts_with("/dev/"), "{ran}");
    }
}

#[test]
fn the_rate_goes_up_and_is_remembered() {
    let served = Served::on_pty(&REAL);
    let ran = served.run(&["capture", "--json", "--range", "0x0+0x1000"]).says(0, &[]);
    assert_eq!(ran.events()[0]["baud"], 1_000_000, "{ran}");
    let known = fs::read_to_string(served.home.known()).unwrap();
    assert!(known.contains(&served.port) && known.contains("rate = 1000000"), "{known}");
    // A pty bench is not a real adapter: `sim` stays the default.
    assert!(known.contains("real_port_used = false"), "{known}");

    // A rate that is named is the only one; the adapter is back at its own after 10 s.
    let port = format!("{}@115200", served.port);
    let mut args = vec!["capture", "--range", "0x0+0x400", "--port", &port, "--json"];
    args.extend(["--specimen", "PT #0001", "--sheet", "small.toml"]);
    let mut silent = 0;
    let ran = loop {
        let ran = served.home.run(&args);
        if ran.code == 0 {
            break ran;
        }
        ran.says(3, &["no adapter answered", "at 115200 baud"]);
        silent += 1;
        assert!(silent < 5, "10 s are over");
    };
    assert_eq!(ran.events()[0]["baud"], 115_200, "{ran}");
}

#[test]
fn a_bench_left_at_its_fast_rate_is_found_again_by_memory() {
    let served = Served::on_pty(&REAL);
    served.capture_until(1).kill();
    // The dead-man gives it 10 s at this rate: a machine without memory does not find it yet.
    let stranger = served.home.elsewhere("stranger");
    stranger
        .run(&served.args(&["capture"]))
        .says(3, &["no adapter answered", "115200, 250000 and 500000", "wait 10 s"])
        .never_says(&["RAIL ON"]);
    served.goes_on().says(0, &["at 1000000 baud"]);
}

#[test]
fn a_busy_port_says_so() {
    let served = Served::on_pty(&SLOW);
    let mut host = served.capture_until(1);
    let second = served.home.elsewhere("second");
    for command in [&["capture"][..], &["verify", "noise.bin"]] {
        second
            .run(&served.args(command))
            .says(3, &[&served.port, "another program has this port open", "close it there"]);
    }
    assert!(host.is_running(), "the first is not disturbed");
    host.signal(Signal::INT);
    host.finish().says(130, &[]);
}

#[test]
fn an_unfinished_capture_under_way_is_not_shared() {
    // Two ports, one specimen, one shelf.
    let served = Served::on_pty(&SLOW);
    let host = served.capture_until(1);
    served
        .home
        .run(&["capture", "--sheet", "small.toml", "--port", "sim:bench.toml"])
        .says(3, &["another buswright is working on this unfinished capture"]);
    host.signal(Signal::INT);
    host.finish().says(130, &[]);
}

#[test]
fn a_board_that_restarts_when_it_is_opened_is_waited_for() {
    let kind = Kind { adapter: "restarts_on_open = true\nboot_ms = 1500", ..INSTANT };
    let served = Served::on_pty(&kind);
    served.run(&["capture"]).says(0, &["agreed"]);
}

#[test]
fn something_else_on_the_port_is_told() {
    let served = Served::on_pty(&INSTANT);
    served.bench.signal(Signal::STOP);
    let host = served.home.start(&served.args(&["capture"]));
    host.wait_for(Stream::Err, "nothing was heard");
    host.finish().says(3, &["no adapter answered", "check cable, power and port"]);
    served.bench.signal(Signal::CONT);
}

#[test]
fn a_program_that_serves_a_bench_gets_its_port_as_json() {
    let home = crate::home::Home::new();
    let bench = crate::home::Running::new(&mut home.bare(&["bench", "--pty", "--json"]));
    let line = bench.wait_for(Stream::Out, "");
    let value: serde_json::Value = serde_json::from_str(&line).unwrap();
    assert_eq!(value["event"], "serving");
    assert!(value["port"].as_str().unwrap().starts_with("/dev/"), "{value}");
}
