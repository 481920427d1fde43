//! Programs that are killed in mid-capture: nothing that was read is lost.

use crate::home::Stream;
use crate::served::{REAL, SLOW, Served, Since};

#[test]
fn a_host_that_is_killed_leaves_what_it_has_read() {
    let served = Served::on_pty(&REAL);
    served.capture_until(2).kill();
    assert_eq!(served.home.captures(), 0);
    served.run(&["shelf", "list"]).says(0, &["unfinished", "PT #0001", "goes on with it"]);
    let ran = served.goes_on().says(0, &["gone on with after 1 interruption", "rail was still on"]);
    // Two blocks at least are not read again.
    let kept = ran.err.split("unfinished capture: ").nth(1).unwrap();
    let kept: usize = kept.split(' ').next().unwrap().parse().unwrap();
    assert!((2..4).contains(&kept), "{ran}");
    served.run(&["verify", "@last"]).says(0, &["equals"]);
}

#[test]
fn a_host_that_is_killed_again_and_again_comes_to_its_end() {
    let served = Served::on_pty(&REAL);
    for _ in 0..3 {
        served.capture_until(1).kill();
    }
    served.goes_on().says(0, &["gone on with after 3 interruptions"]);
}

#[test]
fn a_host_that_is_killed_in_pass_two_reads_no_word_again() {
    let served = Served::on_pty(&REAL);
    let host = served.home.start(&served.args(&["capture", "--json"]));
    host.wait_for(Stream::Out, "agreed");
    host.kill();
    served.goes_on().says(0, &["4 of 4 blocks are there"]).never_says(&["pass 1"]);
}

#[test]
fn a_bench_that_goes_away_is_told_at_once_and_the_blocks_are_kept() {
    let mut served = Served::on_pty(&SLOW);
    let host = served.capture_until(1);
    let since = Since::now();
    let bench = std::mem::replace(&mut served.bench, served.home.start(&["sheet", "list"]));
    bench.kill();
    let ran = host.finish().says(3, &["port is gone", "pass one of space store", "are kept"]);
    since.at_most(30, "seeing that the port is gone");
    assert_eq!(ran.events().last().unwrap()["event"], "finished");
    served.run(&["shelf", "list"]).says(0, &["unfinished"]);
    served.run(&["capture"]).says(3, &[&served.port, "no such port"]);
    // Another way to the same module goes on.
    served
        .home
        .run(&["capture", "--port", "sim:bench.toml"])
        .says(0, &["going on with an unfinished capture", "agreed"]);
    assert!(served.home.content("0001-001") == served.contents);
}

#[test]
fn a_short_capture_in_between_loses_no_longer_one() {
    let served = Served::on_pty(&REAL);
    served.capture_until(2).kill();
    served
        .run(&["capture", "--range", "0x0+0x100"])
        .says(0, &["was set aside", "it reads other words", "takes it back", "0001-001"]);
    let listed = served.run(&["shelf", "list"]).says(0, &["0001-001", "set aside"]);
    let line = listed.out.lines().find(|line| line.starts_with("set aside")).unwrap();
    assert!(line.contains(" of 4 blocks of store 0x0+0x10000"), "{listed}");
    let command = line.split('`').nth(1).unwrap();
    assert_eq!(command, "capture --space store --range 0x0+0x10000");
    let command: Vec<_> = command.split(' ').collect();
    served.run(&command).says(0, &["is taken back", "going on with an unfinished", "0001-002"]);
    assert!(served.home.content("0001-002") == served.contents);
    served.run(&["shelf", "list"]).says(0, &[]).never_says(&["set aside", "unfinished"]);
}
