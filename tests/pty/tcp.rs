//! A bench at a TCP port.

use crate::served::{INSTANT, Kind, REAL, Served};

#[test]
fn a_bench_prints_its_address_and_is_captured_and_verified_over_it() {
    let served = Served::on_tcp(&INSTANT);
    assert!(served.port.starts_with("tcp:127.0.0.1:"), "{}", served.port);
    let ran = served.run(&["capture", "--out", "copy.bin"]).says(0, &["agreed"]);
    ran.never_says(&["baud"]);
    assert!(served.home.read("copy.bin") == served.contents);
    served.run(&["verify", "@last"]).says(0, &["equals"]);
    let mut copy = served.home.read("copy.bin");
    copy[7] ^= 1;
    served.home.write("changed.bin", copy);
    served.run(&["verify", "changed.bin"]).says(1, &["store word 0x1"]);
}

#[test]
fn a_host_or_bench_that_is_killed_loses_no_block() {
    // No rate, so the adapter's own speed is what takes time.
    let kind = Kind { adapter: "clock_hz = 1_000_000", ..REAL };
    let mut served = Served::on_tcp(&kind);
    served.capture_until(1).kill();
    let host = served.capture_until(1);
    let bench = std::mem::replace(&mut served.bench, served.home.start(&["sheet", "list"]));
    bench.kill();
    host.finish().says(3, &["port is gone", "are kept"]);
    served.run(&["capture"]).says(3, &[&served.port, "is the bench running"]);
}

#[test]
fn nobody_at_the_address_is_3() {
    let home = crate::home::Home::new();
    // A port that was free a moment ago.
    let free = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let port = format!("tcp:{free}");
    home.run(&["capture", "--port", &port]).says(3, &[&port, "refused", "is the bench running"]);
    home.run(&["capture", "--port", "tcp:no.such.host.invalid:5000"])
        .says(3, &["no.such.host.invalid", "is the address right"]);
}

#[test]
fn an_address_where_something_else_answers_is_told() {
    use std::io::Write;
    let home = crate::home::Home::new();
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = format!("tcp:{}", listener.local_addr().unwrap());
    let host = home.start(&["capture", "--port", &port]);
    let (mut stream, _) = listener.accept().unwrap();
    stream.write_all(b"220 welcome\r\nwho are you\r\n").unwrap();
    host.finish().says(3, &["no adapter answered", "bytes were heard that are no frames"]);
}
