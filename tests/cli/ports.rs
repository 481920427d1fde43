//! PORT: what is taken, what is refused, and when the simulated bench is no longer the default.

use crate::home::Home;
use std::fs;

#[test]
fn ports_are_listed() {
    let home = Home::new();
    home.run(&["ports"]).says(0, &[]);
    home.run(&["ports", "--json"]).says(0, &[]).events();
}

#[test]
fn a_port_that_is_not_there_is_3() {
    let home = Home::new();
    for command in [&["capture"][..], &["verify", "@last"]] {
        home.run(&[command, &["--port", "/dev/no-such"]].concat())
            .says(3, &["/dev/no-such", "no such port", "buswright ports"])
            .never_says(&["SIMULATED"]);
    }
    home.write("file", "no serial port");
    home.run(&["capture", "--port", "./file"]).says(3, &["./file", "this is no serial port"]);
    home.run(&["capture", "--port", "."]).says(3, &["."]);
}

#[test]
fn a_port_that_means_nothing_is_2() {
    let home = Home::new();
    for (port, words) in [
        ("", "no device"),
        ("sim:", "no file"),
        ("tcp:host", "HOST:PORT"),
        ("tcp:host:99999", "a TCP port is a number from 0 to 65535"),
        ("/dev/ttyS0@fast", "no number"),
        ("/dev/ttyS0@0", "no number"),
    ] {
        home.run(&["capture", "--port", port])
            .says(2, &[words, "say `sim`"])
            .never_says(&["SIMULATED"]);
    }
}

#[test]
fn the_simulated_bench_is_not_taken_by_itself_once_a_real_port_was_used() {
    let home = Home::new();
    fs::create_dir_all(home.known().parent().unwrap()).unwrap();
    fs::write(home.known(), "real_port_used = true\n").unwrap();
    for command in [&["capture"][..], &["verify", "@last"]] {
        home.run(command)
            .says(2, &["which port?", "--port sim", "--port DEVICE"])
            .never_says(&["SIMULATED"]);
    }
    let args = ["capture", "--space", "records", "--port", "sim"];
    home.run(&args).says(0, &["SIMULATED BENCH"]);
    // Nothing but jobs needs a port.
    home.run(&["shelf", "list"]).says(0, &["0417-001"]);
}

#[test]
fn with_a_damaged_memory_of_ports_nobody_knows_whether_sim_is_meant() {
    let home = Home::new();
    fs::create_dir_all(home.known().parent().unwrap()).unwrap();
    for damaged in [&[0xFF, 0x00, b'['][..], b"real_port_used = 7"] {
        fs::write(home.known(), damaged).unwrap();
        for command in [&["capture"][..], &["verify", "@last"]] {
            home.run(command)
                .says(2, &["which port?", "known.toml", "nobody knows", "--port sim"])
                .never_says(&["SIMULATED"]);
        }
    }
    let args = ["capture", "--space", "records", "--port", "sim"];
    home.run(&args).says(0, &["SIMULATED BENCH", "what was remembered", "known.toml"]);
}

const BENCH: &str = r#"format = 1
sheet = "TG-7b"
specimen = "TG-7b #0300"
[[memory]]
kind = "flash"
name = "store"
width = 16
words = 0x200000
select = { CS0 = "low" }
fill = "file"
file = "store.bin"
"#;

#[test]
fn a_bench_file_is_taken_with_its_contents() {
    let home = Home::new();
    home.write("bench.toml", BENCH);
    let contents: Vec<u8> = (0..4_u32 << 20).map(|n| (n * 7 / 5) as u8).collect();
    home.write("store.bin", &contents);
    let args = ["capture", "--port", "sim:bench.toml", "--out", "copy.bin"];
    home.run(&args).says(0, &["SIMULATED BENCH", "0300-001", "TG-7b #0300"]);
    assert!(home.read("copy.bin") == contents, "the copy is what the bench holds");
}

#[test]
fn a_bench_file_that_is_wrong_is_2_with_its_line() {
    let home = Home::new();
    home.write("store.bin", "short");
    for (from, to, words) in [
        ("specimen", "specimn", "bench.toml:3"),
        ("width = 16", "width = 17", "bench.toml:7"),
        ("CS0", "CS9", "bench.toml:9"),
        ("store.bin", "none.bin", "none.bin"),
        ("format = 1", "format = 2", "bench.toml:1"),
    ] {
        home.write("bench.toml", BENCH.replacen(from, to, 1));
        let ran = home.run(&["capture", "--port", "sim:bench.toml"]);
        ran.says(2, &[words]).never_says(&["RAIL ON"]);
    }
    home.run(&["capture", "--port", "sim:none.toml"]).says(2, &["none.toml", "path"]);
    home.write("bench.toml", BENCH);
    home.write("store.bin", vec![0; (4 << 20) + 1]);
    let ran = home.run(&["capture", "--port", "sim:bench.toml"]);
    ran.says(2, &["store", "4194305 bytes", "4194304"]);
}

#[test]
fn a_bench_that_cannot_be_served_says_why() {
    let home = Home::new();
    home.run(&["bench"]).says(2, &["--pty", "--tcp"]);
    home.run(&["bench", "--pty", "--tcp", "127.0.0.1:0"]).says(2, &["--tcp"]);
    home.run(&["bench", "TG-9", "--pty"]).says(2, &["TG-9", "TG-7, TG-7b"]);
    home.run(&["bench", "--tcp", "127.0.0.1"]).says(2, &["HOST:PORT"]);
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let at = taken.local_addr().unwrap().to_string();
    home.run(&["bench", "--tcp", &at]).says(3, &[&at, "another program"]);
}

#[test]
fn a_built_in_bench_where_a_file_is_meant_is_told_how_it_is_reached() {
    let home = Home::new();
    home.run(&["capture", "--port", "sim:TG-7b"])
        .says(2, &["sim:TG-7b: there is no such file", "`buswright bench TG-7b --pty`"]);
    home.run(&["capture", "--port", "sim:TG-7x"]).says(2, &["TG-7x", "is the path right?"]);
}
