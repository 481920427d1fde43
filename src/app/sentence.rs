//! Events in words for people.

use super::Event;

/// What an event says to people; blocks are in the progress line, the end in the report.
pub fn sentence(event: &Event) -> Option<String> {
    Some(match event {
        Event::Connected { board, firmware, baud } => {
            let rate = baud.map_or_else(String::new, |baud| format!(" at {baud} baud"));
            format!("adapter {board} ({firmware}){rate}")
        }
        Event::Rail { on, mv, measured } => {
            let how = if *measured { "measured" } else { "declared" };
            if *on {
                format!("RAIL ON - do not touch the module ({mv} mV {how})")
            } else if *measured {
                format!("RAIL OFF - safe to move the module ({mv} mV {how})")
            } else {
                "RAIL OFF - declared, not measured: measure the rail before you move the module"
                    .into()
            }
        }
        Event::RailUnknown => "RAIL NOT KNOWN - measure it before you touch the module".into(),
        Event::Resumed { blocks, of } => {
            format!("going on with an unfinished capture: {blocks} of {of} blocks are there")
        }
        Event::Pass { space, number, what, bytes } => {
            let size = humansize::format_size(*bytes, humansize::BINARY);
            format!("{space}: pass {number}, {what} of {size}")
        }
        Event::Note { text } | Event::Caution { text } => text.clone(),
        Event::Stopping { within_ms } => {
            format!("STOPPING, up to {} s", within_ms.div_ceil(1000))
        }
        Event::Block { .. } | Event::Finished(_) => return None,
    })
}
