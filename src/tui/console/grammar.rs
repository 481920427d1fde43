//! What a line of the console means.
//!
//! Words may be cut short as long as they stay clear. Numbers are hexadecimal, as on every
//! listing; times are decimal.

use crate::app::workbench::{Order, SheetFacts};
use crate::bus::WordAddress;

/// A word of the grammar.
#[derive(Clone, Copy, Debug)]
pub struct Verb {
    /// The word.
    pub word: &'static str,
    /// How lines with it look.
    pub form: &'static str,
    /// What they do.
    pub help: &'static str,
}

/// Every line that the console takes; a line that begins with the name of a space is a cycle.
pub static VERBS: &[Verb] = &[
    Verb {
        word: "",
        form: "SPACE ADDRESS ?",
        help: "Reads a word, once after zeros and once after ones: a line that nobody drives \
               shows itself.",
    },
    Verb {
        word: "",
        form: "SPACE ADDRESS = VALUE",
        help: "Writes a word and reads it back. Writes need leave, which is asked for. In flash \
               each is named by what it would do: what changes a chip needs leave of its own, \
               for which the label of the module is typed; what protects for good is refused.",
    },
    Verb {
        word: "hold",
        form: "hold SPACE ADDRESS ?",
        help: "Makes the cycle and keeps it still, for a meter or a probe. With `= VALUE` a \
               write.",
    },
    Verb { word: "let", form: "let go", help: "Lets the held cycle go." },
    Verb {
        word: "again",
        form: "again",
        help: "Makes the last cycle once more; an empty line does the same. + and - on an empty \
               line go to the next address, or the one before.",
    },
    Verb {
        word: "lines",
        form: "lines ?",
        help: "Samples the level of every line. A held cycle ends with it.",
    },
    Verb { word: "rail", form: "rail on, rail off", help: "Switches the module's supply." },
    Verb {
        word: "writes",
        form: "writes SPACE [FIRST-LAST] [SECONDS]",
        help: "Asks for leave to write in a space, for 60 s if nothing else is said. Flash chips \
               may be changed from the word FIRST to LAST, and nowhere without.",
    },
    Verb { word: "locked", form: "locked", help: "Gives the leave to write back." },
    Verb { word: "help", form: "help", help: "Shows these lines." },
    Verb { word: "quit", form: "quit", help: "Ends the workbench, with the rail off." },
];

/// Lines that one might try and that are not there, with what is there instead.
const NOT_THERE: [(&str, &str); 5] = [
    (
        "every",
        "nothing repeats by itself here: Enter on an empty line makes the last cycle again, \
         `hold SPACE ADDRESS ?` keeps it still",
    ),
    (
        "walk",
        "no line walks by itself here: `hold SPACE ADDRESS ?` sets the address lines, + and - go \
         to the next address",
    ),
    (
        "watch",
        "nothing is watched by itself here: `SPACE ADDRESS ?` reads, Enter on an empty line reads \
         again and shows the changed bits",
    ),
    (
        "toggle",
        "no line toggles by itself here: `hold SPACE ADDRESS ?` and `let go` move the lines of a \
         cycle by hand",
    ),
    ("play", "no file of lines is followed here: each line is typed, Up calls an earlier one back"),
];

const NO_SHEET: &str = "no sheet is chosen, so nobody knows the spaces: connect first";

/// A cycle that can be repeated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cycle {
    /// The space.
    pub space: usize,
    /// Where.
    pub address: WordAddress,
    /// What is written, if it is a write.
    pub value: Option<u32>,
    /// It is kept still.
    pub hold: bool,
}

impl Cycle {
    /// The order for it.
    pub fn order(self) -> Order {
        let Self { space, address, value, hold } = self;
        match (hold, value) {
            (true, value) => Order::Hold { space, address, value },
            (false, None) => Order::Read { space, address },
            (false, Some(value)) => Order::Write { space, address, value },
        }
    }
}

/// What a line asks for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ask {
    /// A cycle.
    Cycle(Cycle),
    /// The last one again.
    Again,
    /// Nothing is to be held.
    LetGo,
    /// Levels.
    Lines,
    /// Rail on or off.
    Rail(bool),
    /// Leave to write.
    Writes {
        /// The space.
        space: usize,
        /// How long.
        seconds: u16,
        /// Where flash chips may be changed.
        changes: Option<(WordAddress, WordAddress)>,
    },
    /// No leave any more.
    Locked,
    /// The lines that there are.
    Help,
    /// The end.
    Quit,
}

/// The words of a line; `?` and `=` stand alone.
fn words(line: &str) -> Vec<String> {
    let apart = line.replace('?', " ? ").replace('=', " = ");
    apart.split_whitespace().map(str::to_lowercase).collect()
}

/// Everything that a line may begin with.
fn heads(sheet: Option<&SheetFacts>) -> Vec<String> {
    let verbs = VERBS.iter().map(|verb| verb.word).filter(|word| !word.is_empty());
    let mut heads: Vec<String> = verbs.map(str::to_string).collect();
    heads.extend(spaces(sheet));
    heads
}

fn spaces(sheet: Option<&SheetFacts>) -> Vec<String> {
    sheet.map_or_else(Vec::new, |sheet| {
        sheet.spaces.iter().map(|space| space.name.to_lowercase()).collect()
    })
}

/// The one of `all` that `word` means: itself, or the only one that begins so.
fn meant(word: &str, all: &[String]) -> Result<String, String> {
    if all.iter().any(|one| one == word) {
        return Ok(word.to_string());
    }
    let found: Vec<_> = all.iter().filter(|one| one.starts_with(word)).cloned().collect();
    match &found[..] {
        [one] => Ok(one.clone()),
        [] => Err(format!("'{word}' means nothing here; `help` shows what does")),
        many => Err(format!("'{word}' could be {}", many.join(" or "))),
    }
}

fn space(word: &str, sheet: Option<&SheetFacts>) -> Result<usize, String> {
    let all = spaces(sheet);
    if all.is_empty() {
        return Err(NO_SHEET.into());
    }
    let name =
        meant(word, &all).map_err(|error| format!("{error} (spaces: {})", all.join(", ")))?;
    Ok(all.iter().position(|one| *one == name).unwrap_or(0))
}

fn hex(word: &str) -> Result<u32, String> {
    let digits = word.strip_prefix("0x").unwrap_or(word).replace('_', "");
    u32::from_str_radix(&digits, 16)
        .map_err(|_| format!("'{word}' is no hexadecimal number of up to 32 bits"))
}

fn cycle(words: &[String], hold: bool, sheet: Option<&SheetFacts>) -> Result<Cycle, String> {
    let form = "a cycle is `SPACE ADDRESS ?` or `SPACE ADDRESS = VALUE`";
    let (head, rest) = words.split_first().ok_or(form)?;
    let space = space(head, sheet)?;
    match rest {
        [at, ask] if ask == "?" => {
            Ok(Cycle { space, address: WordAddress(hex(at)?), value: None, hold })
        }
        [at, be, value] if be == "=" => {
            let value = Some(hex(value)?);
            Ok(Cycle { space, address: WordAddress(hex(at)?), value, hold })
        }
        _ => Err(form.into()),
    }
}

fn writes(name: &str, rest: &[&str], sheet: Option<&SheetFacts>) -> Result<Ask, String> {
    let space = space(name, sheet)?;
    let (changes, rest) = match rest.split_first() {
        Some((first, after)) => match first.split_once('-') {
            Some(ends) => (Some(stretch(ends)?), after),
            None => (None, rest),
        },
        None => (None, rest),
    };
    let seconds = match rest {
        [] => 60,
        [time] => {
            let number = time.trim_end_matches('s').parse::<u16>().ok();
            let number = number.filter(|n| (1..=600).contains(n));
            number.ok_or_else(|| format!("'{time}' is no time of 1 to 600 seconds"))?
        }
        _ => return Err("the stretch comes first: `writes SPACE FIRST-LAST SECONDS`".into()),
    };
    Ok(Ask::Writes { space, seconds, changes })
}

fn stretch((from, to): (&str, &str)) -> Result<(WordAddress, WordAddress), String> {
    let (first, last) = (hex(from)?, hex(to)?);
    if first > last {
        return Err(format!("'{from}-{to}' ends before it begins"));
    }
    Ok((WordAddress(first), WordAddress(last)))
}

/// Reads a line.
pub fn parse(line: &str, sheet: Option<&SheetFacts>) -> Result<Ask, String> {
    let words = words(line);
    let Some((first, rest)) = words.split_first() else { return Ok(Ask::Again) };
    if let Some((_, instead)) = NOT_THERE.iter().find(|(word, _)| word == first) {
        return Err((*instead).to_string());
    }
    let head = match (meant(first, &heads(sheet)), sheet) {
        // It may be a space of the module that nobody knows yet.
        (Err(_), None) => return Err(NO_SHEET.into()),
        (head, _) => head?,
    };
    let rest: Vec<&str> = rest.iter().map(String::as_str).collect();
    let form = |word: &str| {
        let verb = VERBS.iter().find(|verb| verb.word == word);
        Err(format!("say `{}`", verb.map_or("help", |verb| verb.form)))
    };
    match (head.as_str(), &rest[..]) {
        ("hold", _) => cycle(&words[1..], true, sheet).map(Ask::Cycle),
        ("let", [] | ["go" | "g"]) => Ok(Ask::LetGo),
        ("again", []) => Ok(Ask::Again),
        ("lines", [] | ["?"]) => Ok(Ask::Lines),
        ("rail", ["on"]) => Ok(Ask::Rail(true)),
        ("rail", ["off" | "of"]) => Ok(Ask::Rail(false)),
        ("writes", ["locked"]) | ("locked", []) => Ok(Ask::Locked),
        ("writes", [name, rest @ ..]) if rest.len() <= 2 => writes(name, rest, sheet),
        ("help", []) => Ok(Ask::Help),
        ("quit", []) => Ok(Ask::Quit),
        (verb, _) if VERBS.iter().any(|one| one.word == verb) => form(verb),
        _ => cycle(&words, false, sheet).map(Ask::Cycle),
    }
}

/// What could stand instead of the last word of `before`: the rest of it where it is clear, else
/// every word that begins so.
pub fn complete(before: &str, sheet: Option<&SheetFacts>) -> Result<String, Vec<String>> {
    let words = words(before);
    let at_new = before.ends_with(' ') || before.is_empty();
    let (done, part) = match words.split_last() {
        Some((last, done)) if !at_new => (done.to_vec(), last.clone()),
        _ => (words, String::new()),
    };
    let all = match done.first().map(String::as_str) {
        None => heads(sheet),
        Some("hold" | "writes") if done.len() == 1 => spaces(sheet),
        Some("rail") if done.len() == 1 => vec!["on".into(), "off".into()],
        Some("let") if done.len() == 1 => vec!["go".into()],
        Some(_) => Vec::new(),
    };
    let found: Vec<_> = all.into_iter().filter(|word| word.starts_with(&part)).collect();
    match &found[..] {
        [one] => Ok(format!("{} ", &one[part.len()..])),
        _ => Err(found),
    }
}
