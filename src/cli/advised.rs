//! Commands that messages advise, with the global options that this one was given: a line that is
//! obeyed to the letter must reach the same bench and the same shelf.

use super::args::Global;
use crate::app::{Event, Outcome};
use serde_json::Value;
use std::borrow::Cow;
use std::ffi::OsStr;

/// What every advised command begins with.
const PROGRAM: &str = "buswright ";
/// Commands that work on a module.
const WITH_PORT: [&str; 7] = ["identify", "capture", "verify", "plan", "write", "resume", "erase"];
/// The command that needs nothing but the shelf.
const SHELF: &str = "shelf";

/// The options to be put into advised commands, each with a space behind it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Advised {
    /// For commands that work on a module.
    module: String,
    /// For commands that work on the shelf.
    shelf: String,
}

impl Advised {
    /// The options of this run; a shelf that the environment names needs no option.
    pub fn new(given: &Global, shelf_of_environment: Option<&OsStr>) -> Self {
        let option = |name: &str, value: &str| format!("{name} {} ", quoted(value));
        let text = |name: &str, value: &Option<String>| {
            value.as_deref().map(|value| option(name, value)).unwrap_or_default()
        };
        let shelf = given.shelf.as_deref();
        let shelf = shelf.filter(|shelf| Some(shelf.as_os_str()) != shelf_of_environment);
        let shelf =
            shelf.map(|shelf| option("--shelf", &shelf.to_string_lossy())).unwrap_or_default();
        let module = [
            text("--port", &given.port),
            text("--sheet", &given.sheet),
            text("--adapter", &given.adapter),
            text("--specimen", &given.specimen),
        ];
        Self { module: module.concat() + &shelf, shelf }
    }

    /// `text` with the options in every command that takes them.
    pub fn text<'t>(&self, text: &'t str) -> Cow<'t, str> {
        if self.module.is_empty() || !text.contains(PROGRAM) {
            return Cow::Borrowed(text);
        }
        let mut out = String::with_capacity(text.len() + self.module.len());
        let mut rest = text;
        while let Some((before, after)) = rest.split_once(PROGRAM) {
            let command = after.split(|c: char| !c.is_ascii_alphabetic()).next().unwrap_or("");
            out.push_str(before);
            out.push_str(PROGRAM);
            if command == SHELF {
                out.push_str(&self.shelf);
            } else if WITH_PORT.contains(&command) {
                out.push_str(&self.module);
            }
            rest = after;
        }
        out.push_str(rest);
        Cow::Owned(out)
    }

    /// The same in what a job tells.
    pub fn event<'e>(&self, event: &'e Event) -> Cow<'e, Event> {
        let text = |text: &str| self.text(text).into_owned();
        match event {
            Event::Note { text: said } => Cow::Owned(Event::Note { text: text(said) }),
            Event::Caution { text: said } => Cow::Owned(Event::Caution { text: text(said) }),
            Event::Finished(outcome) => Cow::Owned(Event::Finished(self.outcome(outcome.clone()))),
            other => Cow::Borrowed(other),
        }
    }

    /// The same in how a job ended.
    pub fn outcome(&self, outcome: Outcome) -> Outcome {
        let Outcome { code, text, mut report } = outcome;
        if let Some(report) = &mut report {
            self.value(report);
        }
        Outcome { code, text: self.text(&text).into_owned(), report }
    }

    fn value(&self, value: &mut Value) {
        match value {
            Value::String(text) => {
                if let Cow::Owned(advised) = self.text(text) {
                    *text = advised;
                }
            }
            Value::Array(values) => values.iter_mut().for_each(|value| self.value(value)),
            Value::Object(values) => values.values_mut().for_each(|value| self.value(value)),
            _ => {}
        }
    }
}

/// A word as a POSIX shell takes it for one (quoting as in POSIX.1-2017, XCU 2.2; from memory).
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "_./:@%+=,-".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        return word.into();
    }
    if word.contains(['"', '$', '`', '\\', '!']) {
        return format!("'{}'", word.replace('\'', r"'\''"));
    }
    format!("\"{word}\"")
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::Parser;

    fn advised(options: &[&str], environment: Option<&str>) -> Advised {
        let args = [&["buswright"], options, &["ports"]].concat();
        let args = super::super::args::Args::try_parse_from(args).unwrap();
        Advised::new(&args.global, environment.map(OsStr::new))
    }

    #[test]
    fn an_advised_command_gets_the_options_of_this_one() {
        let given = advised(
            &["--port", "/dev/pts/4", "--shelf", "my shelf", "--specimen", "TG-7 #0417"],
            None,
        );
        let said = "it is not finished: `buswright resume` goes on; next buswright write K7 \
                    --confirm \"TG-7 #0417\"; `buswright shelf list` shows";
        assert_eq!(
            given.text(said),
            "it is not finished: `buswright --port /dev/pts/4 --specimen \"TG-7 #0417\" --shelf \
             \"my shelf\" resume` goes on; next buswright --port /dev/pts/4 --specimen \"TG-7 \
             #0417\" --shelf \"my shelf\" write K7 --confirm \"TG-7 #0417\"; `buswright --shelf \
             \"my shelf\" shelf list` shows"
        );
        for other in ["`buswright ports` lists", "`buswright sheet check`", "buswright planner"] {
            assert_eq!(given.text(other), other);
        }
        let given = advised(&["--sheet", "a.toml", "--adapter", "b.toml"], None);
        assert_eq!(
            given.text("`buswright plan --back`"),
            "`buswright --sheet a.toml --adapter b.toml plan --back`"
        );
        assert_eq!(given.text("`buswright shelf list`"), "`buswright shelf list`");
    }

    #[test]
    fn what_is_so_without_options_stays_as_it_is() {
        assert_eq!(advised(&[], None).text("`buswright resume`"), "`buswright resume`");
        let given = advised(&["--shelf", "/s"], Some("/s"));
        assert_eq!(given.text("`buswright resume`"), "`buswright resume`");
        let given = advised(&["--shelf", "/s"], Some("/t"));
        assert_eq!(given.text("`buswright resume`"), "`buswright --shelf /s resume`");
    }

    #[test]
    fn a_shell_takes_each_option_for_one_word() {
        for (word, shell) in [
            ("tcp:127.0.0.1:90", "tcp:127.0.0.1:90"),
            ("TG-7 #0417", "\"TG-7 #0417\""),
            ("it's", "\"it's\""),
            ("a$b", "'a$b'"),
            ("a\"it's", r#"'a"it'\''s'"#),
            ("", "\"\""),
        ] {
            assert_eq!(quoted(word), shell);
        }
    }

    #[test]
    fn events_and_reports_get_them_too() {
        let given = advised(&["--port", "P"], None);
        let event = Event::Caution { text: "`buswright resume`".into() };
        let text = "`buswright --port P resume`".to_owned();
        assert_eq!(*given.event(&event), Event::Caution { text: text.clone() });
        let report = serde_json::json!({ "next": "`buswright resume`", "all": ["x", 3] });
        let outcome = Outcome { code: 1, text: "x".into(), report: Some(report) };
        let report = given.outcome(outcome).report.unwrap();
        assert_eq!(report, serde_json::json!({ "next": text, "all": ["x", 3] }));
    }
}
