//! Texts of the documents that are made from the tables and from screens.

use super::fixture::*;
use super::write_fixture::{looked, reviewing, writing};
use crate::tui::console::grammar::VERBS;
use crate::tui::keys::{ALWAYS, Binding, Key, PANES, WORK, table};
use crate::tui::state::Pane;
use std::fmt::Write;

fn keys_of(rows: &[Binding]) -> String {
    let mut out = String::from("| key | what it does |\n|---|---|\n");
    for row in rows {
        let _ = writeln!(out, "| `{}` | {} |", row.name, row.help);
    }
    out
}

fn screen(state: &crate::tui::state::State) -> String {
    format!("```text\n{}```\n", text(state))
}

/// Every part that is made, by the name in its marker.
fn parts() -> Vec<(&'static str, String)> {
    let mut lines = String::from("| line | what it does |\n|---|---|\n");
    for verb in VERBS {
        let _ = writeln!(lines, "| `{}` | {} |", verb.form, verb.help);
    }
    let mut near = capturing(80, 24);
    keys(&mut near, &[Key::Char('2'), Key::Enter]);
    let mut cautions = connected(80, 24);
    keys(&mut cautions, &[Key::Char('k')]);
    let mut confirming = reviewing(80, 24);
    keys(&mut confirming, &[Key::Char('w')]);
    let mut planned = reviewing(80, 24);
    keys(&mut planned, &[Key::Esc]);
    vec![
        ("screen review", screen(&reviewing(80, 24))),
        ("screen plan", screen(&planned)),
        ("screen confirm", screen(&confirming)),
        ("screen writing", screen(&writing(80, 24))),
        ("screen unfinished", screen(&looked(80, 24, true, false))),
        ("screen capturing", screen(&capturing(80, 24))),
        ("screen connected", screen(&connected(80, 24))),
        ("screen small", screen(&capturing(60, 18))),
        ("screen blocks", screen(&near)),
        ("screen identified", screen(&identified(80, 24))),
        ("screen cautions", screen(&cautions)),
        ("keys always", keys_of(ALWAYS)),
        ("keys panes", keys_of(PANES)),
        ("keys work", keys_of(WORK)),
        ("keys connection", keys_of(table(Pane::Connection))),
        ("keys map", keys_of(table(Pane::Map))),
        ("keys log", keys_of(table(Pane::Log))),
        ("keys console", keys_of(table(Pane::Console))),
        ("lines console", lines),
    ]
}

/// The document with every marked part as it is made now; a part ends at the next `<!-- end -->`.
fn made(document: &str) -> (String, usize) {
    let (mut out, mut count) = (document.to_string(), 0);
    for (name, part) in parts() {
        let marker = format!("<!-- made: {name} -->\n");
        let Some(at) = out.find(&marker) else { continue };
        let from = at + marker.len();
        let to = out[from..].find("<!-- end -->").map(|to| from + to).unwrap();
        out.replace_range(from..to, &part);
        count += 1;
    }
    (out, count)
}

#[test]
fn the_documents_show_what_is_drawn_and_what_keys_do() {
    for (name, least) in [("docs/workbench.md", parts().len()), ("README.md", 1)] {
        let kept = std::fs::read_to_string(file(name)).unwrap();
        let (made, count) = made(&kept);
        assert!(count >= least, "{name} has {count} of the parts that are made");
        same_as_file(name, &made);
    }
}
