//! Where things are on the screen.

use super::state::Pane;
use ratatui::layout::Rect;

/// From here on all four panes are shown.
const WHOLE: (u16, u16) = (80, 24);
/// Below this nothing can be shown.
pub const LEAST: (u16, u16) = (36, 8);

/// The places of everything.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Areas {
    /// The status line.
    pub status: Rect,
    /// The panes; those that are not shown have no rows.
    pub panes: [Rect; 4],
    /// The tab line, where only one pane is shown.
    pub tabs: Option<Rect>,
    /// The line between the two upper panes.
    pub bar: Option<Rect>,
    /// The key strip: the pane's own keys, and those of the work.
    pub strip: [Rect; 2],
    /// Everything between status line and key strip.
    pub middle: Rect,
}

/// True if something can be shown in a window of this size.
pub fn shows((width, height): (u16, u16)) -> bool {
    width >= LEAST.0 && height >= LEAST.1
}

/// The places in a window of this size; `None` if it is too small.
pub fn areas(size: (u16, u16), focus: Pane) -> Option<Areas> {
    if !shows(size) {
        return None;
    }
    let (width, height) = size;
    let row = |y: u16| Rect { x: 0, y, width, height: 1 };
    let strip = [row(height - 2), row(height - 1)];
    let middle = Rect { x: 0, y: 1, width, height: height - 3 };
    let mut panes = [Rect::default(); 4];
    if width < WHOLE.0 || height < WHOLE.1 {
        panes[focus as usize] = Rect { y: 2, height: middle.height - 1, ..middle };
        let tabs = Some(row(1));
        return Some(Areas { status: row(0), panes, tabs, bar: None, strip, middle });
    }
    // What a larger window has goes to the map first.
    let more = height - WHOLE.1;
    let log = 5 + more / 4;
    let console = 5 + more / 4;
    let upper = middle.height - log - console;
    let left = 29 + (width - WHOLE.0) / 8;
    panes[0] = Rect { width: left, height: upper, ..middle };
    let bar = Rect { x: left, width: 1, ..panes[0] };
    panes[1] = Rect { x: left + 1, width: width - left - 1, ..panes[0] };
    panes[2] = Rect { x: 0, y: 1 + upper, width, height: log };
    panes[3] = Rect { x: 0, y: 1 + upper + log, width, height: console };
    Some(Areas { status: row(0), panes, tabs: None, bar: Some(bar), strip, middle })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pane_has_room_wherever_it_is_shown() {
        for width in 30..200 {
            for height in 5..90 {
                let Some(areas) = areas((width, height), Pane::Map) else { continue };
                let all = [areas.status, areas.strip[0], areas.strip[1]];
                let mut rows: u16 = all.iter().map(|area| area.height).sum();
                let map = areas.panes[1];
                if areas.tabs.is_some() {
                    rows += 1 + map.height;
                    assert!(map.height >= 4);
                } else {
                    rows += areas.panes[0].height + areas.panes[2].height + areas.panes[3].height;
                    assert!(areas.panes[0].height >= 11 && map.width >= 50, "{width}x{height}");
                    assert!(areas.panes[2].height >= 5 && areas.panes[3].height >= 5);
                }
                assert_eq!(rows, height, "{width}x{height}");
            }
        }
    }
}
