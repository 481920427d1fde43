//! What to do next, in the words of whoever asked: a command, or keys of the workbench.
//!
//! Messages are made with the words of commands, which histories and logs keep. The workbench puts
//! its own in their place where it shows one.

use std::fmt;

/// Stands in an advice for the one thing that is put into it.
const HOLE: char = '*';

/// An advice in both wordings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Advice {
    command: &'static str,
    keys: &'static str,
}

const fn advice(command: &'static str, keys: &'static str) -> Advice {
    Advice { command, keys }
}

/// Goes on with a write that was interrupted.
pub(crate) const RESUME: Advice = advice("`buswright resume`", "w");
/// Plans the way back.
pub(crate) const PLAN_BACK: Advice = advice("`buswright plan --back`", "n with the image @back");
/// Plans.
pub(crate) const PLAN: Advice = advice("`buswright plan IMAGE`", "n");
/// Compares with an image.
pub(crate) const VERIFY: Advice =
    advice("`buswright verify IMAGE`", "on the command line `buswright verify IMAGE`");
/// Lists captures.
pub(crate) const SHELF_LIST: Advice = advice("`buswright shelf list`", "the list of n");
/// Keeps whether the instrument started with the module named.
pub(crate) const STARTED: Advice = advice(
    "Keep the answer: buswright shelf started \"*\" yes (or no)",
    "It is asked again at the next connect",
);
/// Names a space.
pub(crate) const SPACE: Advice = advice("--space", "the field space");
/// Names a range.
pub(crate) const RANGE: Advice = advice("--range", "the field range");
/// Takes a kept zone.
pub(crate) const TAKE: Advice = advice("--take", "the zone");
/// Names a specimen; its label follows.
pub(crate) const SPECIMEN: Advice = advice("--specimen", "m, then");
/// Names a module sheet.
pub(crate) const SHEET: Advice = advice("--sheet", "s");
/// Takes a simulated image for a real module.
pub(crate) const ACCEPT: Advice = advice(
    "say --accept-simulated",
    "the command line takes it with an option, --accept-simulated",
);

/// Lists ports; `link`, which stands beside this floor, words it itself.
const PORTS: Advice = advice("`buswright ports`", "p");
/// Adds to the part list; said by `chips`, which is below this floor.
const CHIPS: Advice = advice("(--chips)", "(on the command line: --chips)");

/// All of them.
const ALL: [Advice; 14] = [
    RESUME, PLAN_BACK, PLAN, VERIFY, SHELF_LIST, STARTED, SPACE, RANGE, TAKE, SPECIMEN, SHEET,
    ACCEPT, PORTS, CHIPS,
];

impl fmt::Display for Advice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.command)
    }
}

impl Advice {
    /// The command with something in its one hole.
    pub(crate) fn of(self, what: impl fmt::Display) -> String {
        self.command.replace(HOLE, &what.to_string())
    }

    /// `text` with the words of the workbench wherever those of the command stand.
    fn put_keys(self, text: &str) -> String {
        let (head, tail) = self.command.split_once(HOLE).unwrap_or((self.command, ""));
        let mut out = String::new();
        let mut rest = text;
        while let Some((before, behind)) = rest.split_once(head) {
            let Some((_, after)) = behind.split_once(tail) else { break };
            out.push_str(before);
            out.push_str(self.keys);
            rest = after;
        }
        out + rest
    }
}

/// A message with the keys of the workbench in place of commands and options.
///
/// What the workbench has no keys for stays as it is: a command is the way then.
pub(crate) fn in_keys(message: &str) -> String {
    ALL.iter().fold(message.to_owned(), |text, advice| advice.put_keys(&text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_advice_is_a_command_and_in_the_workbench_a_key() {
        let said = format!("it is not finished: {RESUME} goes on, and {PLAN_BACK} leads back");
        assert!(said.contains("`buswright resume` goes on, and `buswright plan --back` leads"));
        assert_eq!(
            in_keys(&said),
            "it is not finished: w goes on, and n with the image @back leads back"
        );
        let said = format!("{RANGE} needs {SPACE}: which space is meant?");
        assert_eq!(said, "--range needs --space: which space is meant?");
        assert_eq!(in_keys(&said), "the field range needs the field space: which space is meant?");
    }

    #[test]
    fn what_was_put_into_an_advice_goes_with_it() {
        let said = format!("Did it start? {}; {RESUME}", STARTED.of("TG-7 #0417"));
        assert!(said.contains("buswright shelf started \"TG-7 #0417\" yes (or no)"), "{said}");
        assert_eq!(in_keys(&said), "Did it start? It is asked again at the next connect; w");
        // Half of one is none.
        let half = "Keep the answer: buswright shelf started \"TG-7";
        assert_eq!(in_keys(half), half);
    }

    #[test]
    fn all_are_told_apart_and_none_is_taken_twice() {
        for one in ALL {
            let words = one.of("X");
            assert_eq!(in_keys(&words), one.keys, "{words}");
            let inside = |other: &&Advice| **other != one && words.contains(other.command);
            assert_eq!(ALL.iter().find(inside), None, "{words}");
        }
        let only = "`buswright shelf check` tells more";
        assert_eq!(in_keys(only), only);
    }
}
