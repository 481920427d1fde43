//! Both interpreters of cycle scripts are held to `tests/vectors/scripts.txt`; this holds the
//! crate's, and docs/script.md, to it.

#![allow(clippy::unwrap_used, reason = "a test ends where its data is wrong")]

#[path = "script_vectors/plain.rs"]
mod plain;
#[path = "support/script_bench.rs"]
mod script_bench;
#[path = "script_vectors/text.rs"]
mod text;

use buswright::bus::script::{
    LaneRule, Limits, Run, Script, SlotRule, Start, StartError, Status, check, list,
};
use buswright::bus::{Nanos, Width, WordAddress};
use plain::{Record, records};
use script_bench::{CYCLE, Model, ScriptBench};
use std::collections::BTreeSet;
use std::fmt::Write as _;

/// Keys that say what is run, and keys that say what must come of it.
const GIVEN: &[&str] = &[
    "code",
    "width",
    "rule",
    "start",
    "payload",
    "answers",
    "memory",
    "permit",
    "ready",
    "stop",
    "cut",
    "read-only",
    "no-lines",
];
const WANTED: &[&str] =
    &["invalid", "refused", "cycles", "end", "lanes", "registers", "emitted", "mismatches", "ns"];

fn bench(record: &Record) -> ScriptBench {
    let width = record
        .decimal("width")
        .map_or(Width::W16, |bits| Width::from_bits(u32::try_from(bits).unwrap()).unwrap());
    let mut bench = ScriptBench::new(width);
    bench.rule = match record.words("rule").map(|words| words[0].as_str()) {
        None | Some("rest") => LaneRule::Rest,
        Some("whole") => LaneRule::Whole,
        Some("strobes") => LaneRule::Strobes,
        Some(other) => panic!("{}: rule {other}", record.name),
    };
    let memory = record.numbers("memory");
    bench.model = if record.words("answers").is_some() {
        Model::Answers(record.numbers("answers").into())
    } else {
        Model::Memory(memory.chunks(2).map(|pair| (pair[0], pair[1])).collect())
    };
    if let [first, last] = record.numbers("permit")[..] {
        bench.permit = Some((first, last));
    }
    bench.ready_at = record.decimal("ready").map_or(Nanos::ZERO, Nanos);
    bench.cut_after = record.decimal("cut").map(|cycles| cycles as usize);
    bench.lines = record.words("no-lines").is_none();
    if record.words("read-only").is_some() {
        bench.shape.write = None;
    }
    bench
}

/// The limits that all vectors are checked against.
fn limits(bench: &ScriptBench) -> Limits {
    let slot = SlotRule { width: bench.shape.width, lanes: bench.rule };
    // Slot 1 is known to the checker and not to the bench: shapes may go between check and run.
    Limits { bytes: 128, cycle: CYCLE, op: Nanos(1000), ..Limits::with_shapes([slot, slot]) }
}

/// What comes of a record, as the file would write it.
fn outcome(record: &Record, stride: Nanos) -> String {
    let mut bench = bench(record);
    let script = Script(record.code());
    let checked = match check(&script, &limits(&bench)) {
        Ok(checked) => checked,
        Err(error) => return format!("invalid {} {}\n", error.at, error.what.number()),
    };
    let start = record.numbers("start");
    let [a, b, n, lanes] = start[..] else { panic!("{}: four start values", record.name) };
    let start = Start { a: WordAddress(a), b: WordAddress(b), n, lanes };
    let mut run = match Run::new(&checked, start, record.numbers("payload")) {
        Ok(run) => run,
        Err(error) => {
            return match error {
                StartError::NoCount => "refused count\n".to_owned(),
                StartError::NoLanes => "refused lanes\n".to_owned(),
                StartError::Payload { takes, .. } => format!("refused payload {takes}\n"),
                StartError::Refused { error, .. } => {
                    format!("refused check {} {}\n", error.at, error.what.number())
                }
            };
        }
    };
    let stop = record.decimal("stop").map(|cycles| cycles as usize);
    loop {
        if stop.is_some_and(|stop| bench.cycles >= stop) {
            run.stop();
        }
        let until = bench.now + if stop.is_some() { Nanos::ZERO } else { stride };
        match run.step(&mut bench, until) {
            Status::Running => {}
            Status::Waiting(time) => {
                assert!(time > until, "{}: waits for what is past", record.name);
                bench.now = time;
            }
            Status::Done => break,
        }
    }
    let ended = run.ended().unwrap();
    let worst = checked.need(n).unwrap().worst;
    assert!(ended.elapsed <= worst, "{}: {:?} of {worst:?}", record.name, ended.elapsed);
    let mut out = String::new();
    let mut line = |key: &str, words: &mut dyn Iterator<Item = String>| {
        let words: Vec<_> = words.collect();
        if !words.is_empty() {
            writeln!(out, "{key} {}", words.join(" ")).unwrap();
        }
    };
    line("cycles", &mut bench.events.iter().map(ToString::to_string));
    line("end", &mut [ended.why.name().to_owned(), ended.at.to_string()].into_iter());
    line("lanes", &mut ended.lanes.iter().map(|lane| lane.name().to_owned()));
    line("registers", &mut [ended.a.0, ended.d].iter().map(|value| format!("{value:X}")));
    assert_eq!(run.emitted().len(), ended.emitted as usize);
    line("emitted", &mut run.emitted().iter().map(|word| format!("{word:X}")));
    if ended.mismatches > 0 {
        let each = run.mismatches().iter();
        let each = each.map(|m| format!("{:X}:{:X}:{:X}", m.address.0, m.expected, m.got));
        line("mismatches", &mut std::iter::once(ended.mismatches.to_string()).chain(each));
    }
    line("ns", &mut std::iter::once(ended.elapsed.0.to_string()));
    out
}

/// What the file wants, in the same words.
fn wanted(record: &Record) -> String {
    let lines = WANTED.iter().filter_map(|key| Some((key, record.words(key)?)));
    lines.fold(String::new(), |out, (key, words)| format!("{out}{key} {}\n", words.join(" ")))
}

#[test]
fn every_vector_comes_out_as_written() {
    let mut wrong = String::new();
    for record in records() {
        let got = outcome(&record, Nanos::from_secs(3600));
        if got != wanted(&record) {
            write!(wrong, "script {}\n{got}\n", record.name).unwrap();
        }
    }
    assert!(wrong.is_empty(), "these came out as:\n{wrong}");
}

/// However finely it is stepped, a run makes the same cycles at the same times.
#[test]
fn steps_of_any_size_come_to_the_same() {
    for record in records() {
        for stride in [0, 1, 150, 5_000] {
            assert_eq!(outcome(&record, Nanos(stride)), wanted(&record), "{}", record.name);
        }
    }
}

#[test]
fn records_are_well_formed() {
    let mut names = BTreeSet::new();
    for record in records() {
        assert!(names.insert(record.name.clone()), "{} is there twice", record.name);
        for key in record.keys() {
            assert!(GIVEN.contains(&key) || WANTED.contains(&key), "{}: {key}", record.name);
        }
        assert!(!record.code().is_empty() || record.name == "empty", "{}", record.name);
    }
    assert!(plain::FILE.lines().all(|line| line.len() <= 100));
}

/// Every opcode, every result and every refusal occurs in some vector.
#[test]
fn nothing_is_without_a_vector() {
    use buswright::bus::script::OPCODES;
    let all = records();
    let mut opcodes = BTreeSet::new();
    for record in &all {
        let code = record.code();
        for placed in Script(code.clone()).decode().unwrap_or_default() {
            opcodes.insert(code[placed.at as usize]);
        }
    }
    let known: BTreeSet<_> = OPCODES.iter().map(|opcode| opcode.code).collect();
    assert_eq!(opcodes, known);
    let seen = |key: &str, nth: usize| -> BTreeSet<String> {
        let words = all.iter().filter_map(|record| record.words(key)?.get(nth).cloned());
        words.collect()
    };
    // Dead-man, rail-off and session end as a stop does; the runner of vectors asks for stops.
    let ends = "good no-line no-shape not-permitted partial-lanes power-lost read-only stopped \
                timed-out wait-failed";
    assert_eq!(seen("end", 0), ends.split_whitespace().map(str::to_owned).collect());
    let lanes: BTreeSet<_> = (0..4).flat_map(|lane| seen("lanes", lane)).collect();
    let wanted = "- aborted different done failed timed-out";
    assert_eq!(lanes, wanted.split(' ').map(str::to_owned).collect());
    let mut refusals: BTreeSet<u32> =
        seen("invalid", 1).iter().map(|number| number.parse().unwrap()).collect();
    refusals.extend(all.iter().filter_map(|record| match record.words("refused")? {
        [check, _, number] if check == "check" => number.parse::<u32>().ok(),
        _ => None,
    }));
    assert_eq!(refusals, (1..=28).collect());
}

#[test]
fn the_text_is_the_opcodes_the_refusals_and_the_vectors() {
    text::opcodes();
    text::numbers();
    for (name, listing) in text::listings() {
        let record = records().into_iter().find(|record| record.name == name);
        let record = record.unwrap_or_else(|| panic!("docs/script.md: no vector {name}"));
        assert_eq!(list(&Script(record.code())), listing, "docs/script.md: {name}");
    }
}

/// A usual flash identification is far below 64 bytes.
#[test]
fn an_identification_is_small() {
    for name in ["identify-16", "identify-32"] {
        let record = records().into_iter().find(|record| record.name == name).unwrap();
        assert!(record.code().len() <= 40, "{name}: {} bytes", record.code().len());
    }
}
