//! Bench files: what they may say, and what is refused with its line.

use super::*;
use crate::sim::{Event, MemoryFill, Pace};

const HEAD: &str = "format = 1\nsheet = \"X\"\nspecimen = \"X #1\"\n";

fn error(rest: &str) -> String {
    BenchDescription::parse("x.toml", &format!("{HEAD}{rest}")).unwrap_err().to_string()
}

#[test]
fn unknown_keys_are_refused_with_their_line() {
    let text = error("[adapter]\nclock_hz = 8000000\nclok = 1\n");
    assert!(text.starts_with("x.toml:6: ") && text.contains("clok"), "{text}");
    let text = error("[[memory]]\nkind = \"flash\"\nnam = \"store\"\n");
    assert!(text.starts_with("x.toml:6: ") && text.contains("nam"), "{text}");
    let text = error("colour = 1\n");
    assert!(text.starts_with("x.toml:4: "), "{text}");
    let text = error("[adapter\n");
    assert!(text.starts_with("x.toml:4: "), "{text}");
}

#[test]
fn wrong_values_are_refused_with_their_line() {
    let cases = [
        ("[adapter]\ndata_lines = 40\n", ":4: ", "data_lines"),
        ("[line]\npacket = 0\n", ":5: ", "packet"),
        ("[faults]\nreply = { drop = 1.5 }\n", ":5: ", "1.5"),
        ("[rail]\nsag_mv = 5\n", ":5: ", "sags_after_ms"),
        ("[rail]\nsags_at_cycle = 5\n", ":5: ", "sags_at_cycle without sag_mv"),
        ("[rail]\nsags_at_cycle = 0\nsag_mv = 5\n", ":5: ", "count from 1"),
        ("[adapter]\nrestarts_at_cycle = 0\n", ":5: ", "count from 1"),
        ("[line]\nbreaks_at_cycle = 0\n", ":5: ", "no cycle 0"),
        ("[[line_fault]]\nline = \"Q1\"\nkind = \"open\"\n", ":5: ", "Q1"),
        ("[[line_fault]]\nline = \"D1\"\nkind = \"shorted_to\"\nto = \"A1\"\n", ":7: ", "A1"),
        (
            "[[memory]]\nkind = \"rom\"\nname = \"r\"\nwidth = 32\nwords = 16\nselect = { XX = \
             \"low\" }\n",
            ":9: ",
            "XX",
        ),
        (
            "[[memory]]\nkind = \"rom\"\nname = \"r\"\nwidth = 24\nwords = 16\nselect = {}\n",
            ":7: ",
            "width",
        ),
    ];
    for (rest, line, word) in cases {
        let text = error(rest);
        assert!(text.contains(line) && text.contains(word), "{text}");
    }
    let text = BenchDescription::parse("x", "format = 2\nsheet = \"\"\nspecimen = \"\"\n");
    assert!(text.unwrap_err().to_string().contains("format 2"));
}

#[test]
fn every_key_is_taken() {
    let text = format!(
        "{HEAD}board = \"bench:other\"\nstate = \"keep/here\"
[adapter]
protocol_major = 3
firmware = \"old one\"
clock_hz = 8_000_000
reset_rate = 250_000
rates = [250_000, 500_000, 2_000_000]
data_lines = 16
address_lines = 20
control = [{{ name = \"OE\" }}, {{ name = \"WE\", write_strobe = true, pulled_down = true }}]
data_path = \"auto_direction\"
io_high_mv = 5000
io_measured = true
input_max_mv = 5000
rails_mv = [5000, 3300]
limit_ma = 0
supply = \"own\"
sensed = false
shape_slots = 4
rx_body_max = 128
rx_queue_bytes = 300
tx_body_max = 600
boot_ms = 10
restarts_on_open = true
restarts_at_cycle = 8
[line]
fastest = 600_000
pace = \"instant\"
packet = 510
latency_ms = 1
delay_ms = 3
breaks_at_cycle = 7
[faults]
seed = 5
request = {{ drop = 0.1, flip = 0.2 }}
reply = {{ double = 0.1, lost_delimiter = 0.2 }}
[rail]
rises = true
rise_ms = 2
fall_ms = 3
nominal_mv = 4900
sags_after_ms = 10
sags_at_cycle = 9
sag_mv = 100
feeds_back = true
module_needs_mv = 4500
[[memory]]
kind = \"rom\"
name = \"rom\"
width = 8
first_line = 8
base = 0x10
words = 0x20
select = {{ WE = \"high\" }}
read = {{ OE = \"high\" }}
write = {{ WE = \"low\" }}
access_ns = 70
fill = \"file\"
file = \"rom.bin\"
[[line_fault]]
line = \"A3\"
kind = \"unsteady\"
chance = 0.5
from = 0x10
words = 8
"
    );
    let mut bench = BenchDescription::parse("x", &text).unwrap();
    assert_eq!(bench.adapter.rates, [Baud(250_000), Baud(500_000)]);
    assert_eq!((bench.adapter.major, bench.line.pace), (3, Pace::Instant));
    assert_eq!(bench.state.as_deref(), Some("keep/here"));
    assert_eq!(bench.memories[0].0.read, Levels { mask: 3, level: 3 });
    assert_eq!(bench.memories[0].0.write, Levels { mask: 2, level: 0 });
    assert_eq!(bench.files().collect::<Vec<_>>(), [("rom", "rom.bin")]);
    assert!(bench.set_contents("rom", vec![0; 0x21]).unwrap_err().to_string().contains("33"));
    assert!(bench.set_contents("ram", vec![]).is_err());
    bench.set_contents("rom", vec![1, 2, 3]).unwrap();
    assert_eq!(bench.memories[0].1, MemoryFill::Bytes(vec![1, 2, 3]));
    let module = bench.module(0);
    assert_eq!(module.contents("rom").unwrap()[..4], [1, 2, 3, 0xFF]);
}

#[test]
fn line_faults_of_the_file_are_on_the_bench() {
    let mut text = include_str!("../benches/tg-7.toml").to_owned();
    text += "\n[[line_fault]]\nline = \"D7\"\nkind = \"open\"\n";
    let description = BenchDescription::parse("x", &text).unwrap();
    let mut host = Host::on(Bench::new(&description, 1));
    host.make_ready();
    let ones = host.read(ReadEcho { precharge: Precharge::Ones, ..echo(0, 0, 64) });
    let zeros = host.read(ReadEcho { precharge: Precharge::Zeros, ..echo(0, 0, 64) });
    assert!(ones.chunks(4).zip(zeros.chunks(4)).all(|(a, b)| a[0] ^ b[0] == 0x80));
    host.bench.at(host.now, Event::Unplug);
    assert!(host.bench.is_unplugged(host.now));
}
