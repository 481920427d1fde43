//! The commands that README.md shows are run as they stand there.

#![allow(clippy::unwrap_used, reason = "a test ends where its set-up fails")]

#[path = "support/home.rs"]
mod home;

use home::{Home, Running, Stream};
use rustix::process::Signal;
use std::path::Path;

const CARGO: &str = "cargo run --release -- ";

/// The commands for the program in fenced `sh` blocks, without `cargo run --release --`. Other
/// lines there (building, testing, comments) are not for this test.
fn commands(readme: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut in_sh = false;
    let readme = readme.replace("\\\n", " ");
    for line in readme.lines().map(str::trim) {
        if let Some(language) = line.strip_prefix("```") {
            in_sh = !in_sh && language.trim() == "sh";
        } else if in_sh && let Some(command) = line.strip_prefix(CARGO) {
            found.push(command.to_string());
        }
    }
    found
}

/// Words of a shell line: blanks part them, double quotes hold them together, # ends the line.
fn words(line: &str) -> Vec<String> {
    let mut words = vec![];
    let mut word: Option<String> = None;
    let mut quoted = false;
    for letter in line.chars() {
        match letter {
            '"' => {
                quoted = !quoted;
                word.get_or_insert_default();
            }
            '#' if !quoted && word.is_none() => break,
            ' ' if !quoted => words.extend(word.take()),
            other => word.get_or_insert_default().push(other),
        }
    }
    assert!(!quoted, "a quote is open in: {line}");
    words.extend(word);
    words
}

#[test]
fn every_command_of_the_readme_does_what_it_should() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md");
    let readme = std::fs::read_to_string(&file).unwrap_or_else(|error| {
        panic!("{}: {error}; the repository needs its README", file.display())
    });
    let commands = commands(&readme);
    assert!(
        commands.iter().any(|command| command.contains("capture --out copy.bin")),
        "README.md shows no `{CARGO}capture --out copy.bin` in a block of sh; it shows {commands:?}"
    );
    // In their order, in one home: later ones may use what earlier ones have made.
    let home = Home::new();
    for command in &commands {
        let args = words(command);
        let args: Vec<_> = args.iter().map(String::as_str).collect();
        let running = Running::new(&mut home.bare(&args));
        if args.first() == Some(&"bench") {
            // It serves until it is stopped.
            running.wait_for(Stream::Out, "");
            running.signal(Signal::TERM);
        }
        let ran = running.finish();
        assert_eq!(ran.code, 0, "`{command}` of README.md\n{ran}");
    }
}

#[test]
fn commands_are_found_in_blocks_of_sh_only() {
    let text = "```sh\n# first\ntests/run\ngit clone x\ncargo run --release -- capture\n```\n\
                ```\ncargo run --release -- no\n```\n  ```sh\n  cargo run --release -- ports\n```\n";
    assert_eq!(commands(text), ["capture", "ports"]);
    assert_eq!(words("shelf show \"TG-7 #0417\"  # its history"), ["shelf", "show", "TG-7 #0417"]);
}
