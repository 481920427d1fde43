//! Foreign text made fit for a message.

/// `text`, short and without control characters.
pub(super) fn shown(text: &str) -> String {
    const MOST: usize = 160;
    let mut short: String = text
        .chars()
        .take(MOST)
        .flat_map(|c| {
            let escaped = c.is_control().then(|| c.escape_debug());
            let plain = escaped.is_none().then_some(c);
            escaped.into_iter().flatten().chain(plain)
        })
        .collect();
    if text.chars().nth(MOST).is_some() {
        short.push_str("...");
    }
    short
}
