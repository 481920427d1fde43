//! Words about another workbench.

use crate::app::workbench::Elsewhere;

/// The sentences of the dialog.
pub fn sentences(there: Option<&Elsewhere>, follow: bool) -> Vec<String> {
    let Some(there) = there else {
        return vec![
            "It has come to its end.".into(),
            "Enter connects here, and the log tells how it ended.".into(),
        ];
    };
    let mut said = vec![
        format!(
            "Another workbench works on this port, {} (process {}).",
            if there.seen { "with a screen of its own" } else { "without a screen" },
            there.process
        ),
        format!("It does: {}.", there.doing),
        format!("It is at: {}.", there.at),
    ];
    said.push(if follow {
        "It is looked at once a second. It finishes by itself and takes the rail off.".into()
    } else {
        "It finishes by itself and takes the rail off. f follows it; s stops it at its next safe \
         point, with the rail off."
            .into()
    });
    said
}
