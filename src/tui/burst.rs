//! Keys that have come in one go: typed, or pasted by a terminal that does not say so.

use super::keys::Key;
use super::msg::Msg;

/// Nobody types so many signs within one look.
const BURST: usize = 16;
/// Where a label is asked for, so many signs at once are none that were typed: two may come
/// together from a quick hand over a slow link.
const TOGETHER: usize = 3;

/// What keys that were read in one go mean; `writes` where signs become text.
pub fn burst(mut keys: Vec<Key>, writes: bool) -> Vec<Msg> {
    let sign = |key: &Key| matches!(key, Key::Char(_));
    let signs = keys.iter().filter(|key| sign(key) || **key == Key::Enter).count();
    // Where nothing is written, a paste would be orders: only the stop in it counts.
    if !writes && signs > BURST {
        keys.retain(|key| *key == Key::Ctrl('c'));
        if keys.is_empty() {
            return vec![Msg::Paste(String::new())];
        }
        return keys.into_iter().map(Msg::Key).collect();
    }
    // Nobody types on after Enter within the same moment.
    let on = |pair: &[Key]| pair[0] == Key::Enter && sign(&pair[1]);
    if writes && keys.windows(2).any(on) {
        let text = keys.iter().filter_map(|key| match key {
            Key::Char(c) => Some(*c),
            Key::Enter => Some(' '),
            _ => None,
        });
        return vec![Msg::Paste(text.collect())];
    }
    // Text with its Enter, or a piece of it: a quick hand over a slow link, or a paste. What is
    // asked tells which.
    if signs >= TOGETHER || keys.contains(&Key::Enter) && keys.iter().any(sign) {
        return keys.into_iter().map(Msg::Pasted).collect();
    }
    keys.into_iter().map(Msg::Key).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> Vec<Key> {
        text.chars().map(|c| if c == '\r' { Key::Enter } else { Key::Char(c) }).collect()
    }

    #[test]
    fn text_with_its_enter_is_told_apart_from_keys_one_by_one() {
        let pasted = |msgs: &[Msg]| msgs.iter().all(|msg| matches!(msg, Msg::Pasted(_)));
        let typed = |msgs: &[Msg]| msgs.iter().all(|msg| matches!(msg, Msg::Key(_)));
        for writes in [true, false] {
            let label = burst(of("TG-7 #0417\r"), writes);
            assert!(label.len() == 11 && pasted(&label), "{label:?}");
            // Its Enter may come by hand, much later.
            for text in ["TG-7 #0417", "A #1", "allow"] {
                assert!(pasted(&burst(of(text), writes)), "{text}");
            }
            assert!(typed(&burst(of("TG"), writes)));
            assert!(typed(&burst(of("\r\r"), writes)));
            assert!(typed(&burst(vec![Key::Down, Key::Enter], writes)));
        }
    }

    #[test]
    fn lines_are_a_paste_and_in_a_pane_only_their_stop_counts() {
        let lines = burst(of("rail off\rquit"), true);
        assert!(matches!(&lines[..], [Msg::Paste(text)] if text == "rail off quit"), "{lines:?}");
        let mut keys = of("rail off\rquit now\r");
        assert!(matches!(&burst(keys.clone(), false)[..], [Msg::Paste(text)] if text.is_empty()));
        keys.push(Key::Ctrl('c'));
        assert!(matches!(burst(keys, false)[..], [Msg::Key(Key::Ctrl('c'))]));
    }
}
