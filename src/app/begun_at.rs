//! Where a write was begun: what is half written is there, and a write goes on nowhere else.

use super::wanted::Before;
use crate::image::{PLAN, one_line};
use crate::jobs::JobError;
use crate::shelf::Beginning;

/// The way to the adapter of this job.
pub(super) struct Port {
    /// By what the adapter is remembered.
    pub identity: String,
    /// It is a simulated bench inside this program.
    built_in: bool,
}

impl Port {
    /// The one that a job was begun with.
    pub fn of(before: &Before<'_>) -> Self {
        Self { identity: before.identity.to_owned(), built_in: before.bench.is_some() }
    }

    /// Refuses to go on here, where the board calls itself `board`, with a write begun elsewhere.
    ///
    /// A journal of an earlier version does not say where; then only the bench inside this program
    /// is refused, which is a new one in every run.
    pub fn refuse_elsewhere(&self, board: &str, begin: &Beginning) -> Result<(), JobError> {
        let known = !begin.port.is_empty();
        let same_port = if known { self.identity == begin.port } else { !self.built_in };
        let same_board = begin.board.is_empty() || begin.board == board;
        if same_port && same_board {
            return Ok(());
        }
        let (plan, specimen) = (&begin.plan, &begin.specimen);
        let (there, name) = match begin.port.as_str() {
            "" => ("at a port that its journal does not name".into(), "name its port".into()),
            usb if usb.starts_with("usb:") => {
                let name = "name the port of that adapter (`buswright ports` lists what is there)";
                (format!("over the adapter {}", one_line(usb)), name.into())
            }
            port => {
                let port = one_line(port);
                (format!("at {port}"), format!("say --port {port}"))
            }
        };
        let of_board = |board: &str| match board {
            "" => String::new(),
            board => format!(" (board {})", one_line(board)),
        };
        Err(JobError::Safety(format!(
            "the write of plan {plan} to {specimen} was begun {there}{}, and this is {}{}: the \
             module that is half written is there. Nothing was changed; {name} to go on with it. \
             If the module is at this port now, {PLAN} over it makes a new plan for what is there",
            of_board(&begin.board),
            one_line(&self.identity),
            of_board(board)
        )))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::Timestamp;

    fn begin(port: &str, board: &str) -> Beginning {
        Beginning {
            time: Timestamp::UNIX_EPOCH,
            specimen: crate::shelf::Label::parse("TG-7 #0417").unwrap(),
            simulated: true,
            port: port.into(),
            board: board.into(),
            plan: "K7M2QX".parse().unwrap(),
            plan_sha256: String::new(),
            backup: "0417-001".parse().unwrap(),
            locked: Vec::new(),
        }
    }

    #[test]
    fn a_write_goes_on_only_where_it_was_begun() {
        let port = |name: &str, built_in| Port { identity: name.into(), built_in };
        let sim = port("sim", true);
        let pty = port("/dev/pts/4", false);
        let (board, usb) = ("bench:TG-7", "usb:1a86:7523:");
        pty.refuse_elsewhere(board, &begin("/dev/pts/4", board)).unwrap();
        sim.refuse_elsewhere(board, &begin("sim", board)).unwrap();
        // Journals of earlier versions.
        pty.refuse_elsewhere(board, &begin("", "")).unwrap();
        for (here, begun, words) in [
            (&sim, begin("/dev/pts/4", board), "begun at /dev/pts/4 (board bench:TG-7), and this"),
            (&sim, begin("/dev/pts/4", board), "and this is sim (board bench:TG-7)"),
            (&sim, begin("/dev/pts/4", board), "say --port /dev/pts/4 to go on"),
            (&sim, begin("", ""), "at a port that its journal does not name, and this is sim"),
            (&pty, begin("/dev/pts/4", "uno"), "begun at /dev/pts/4 (board uno)"),
            (&pty, begin(usb, board), "`buswright ports` lists"),
        ] {
            let error = here.refuse_elsewhere(board, &begun).unwrap_err();
            assert_eq!(error.code(), 4);
            let said = error.to_string();
            assert!(said.contains(words) && said.contains("K7M2QX to TG-7 #0417"), "{said}");
        }
    }
}
