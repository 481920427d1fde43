//! Which keys a sheet may have, and where.

/// The keys of one kind of table.
#[derive(Debug)]
pub(super) struct Keys {
    /// The table as people write it.
    pub table: &'static str,
    /// Keys this version reads.
    pub known: &'static [&'static str],
    /// Tables whose keys are often written here by mistake.
    pub near: &'static [&'static Keys],
}

/// The top of a module sheet.
pub(super) static SHEET: Keys = Keys {
    table: "the top of the sheet",
    known: &[
        "format",
        "name",
        "title",
        "rail_mv",
        "address_lines",
        "space",
        "zone",
        "check",
        "pins",
        "author",
        "revision",
        "tried_on",
    ],
    near: &[&SPACE, &ZONE],
};

/// A `[[space]]`.
pub(super) static SPACE: Keys = Keys {
    table: "[[space]]",
    known: &[
        "name", "kind", "width", "base", "words", "select", "read", "write", "family", "chips",
        "timing", "battery", "pull", "buffered", "open", "close", "banks",
    ],
    near: &[&SHEET, &TIMING, &ZONE, &CHIP],
};

/// One of a space's `chips`.
pub(super) static CHIP: Keys = Keys {
    table: "chips",
    known: &["ref", "lane", "data_order", "address_order"],
    near: &[&SPACE],
};

/// A space's `timing`.
pub(super) static TIMING: Keys = Keys {
    table: "timing",
    known: &["access_ns", "set_up_ns", "hold_ns", "recover_ns", "release_ns"],
    near: &[&SPACE],
};

/// A `[[zone]]`.
pub(super) static ZONE: Keys = Keys {
    table: "[[zone]]",
    known: &["space", "name", "range", "keep", "live", "keep_off"],
    near: &[&SHEET, &SPACE],
};

/// A `[[check]]`.
pub(super) static CHECK: Keys =
    Keys { table: "[[check]]", known: &["line", "level", "why"], near: &[&SHEET, &SPACE] };

/// The top of an adapter sheet.
pub(super) static ADAPTER: Keys = Keys {
    table: "the top of the adapter sheet",
    known: &["format", "name", "board", "lines", "pulled_down", "author", "revision"],
    near: &[],
};

/// The candidate most like `text`, if any is like it at all.
pub(super) fn closest<'a>(
    text: &str,
    candidates: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    let text = text.to_lowercase();
    candidates
        .into_iter()
        .map(|one| (strsim::jaro_winkler(&text, &one.to_lowercase()), one))
        .filter(|(likeness, _)| *likeness >= 0.75)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, one)| one)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closest_finds_slips_and_leaves_strangers() {
        let known = SPACE.known.iter().copied();
        assert_eq!(closest("widht", known.clone()), Some("width"));
        assert_eq!(closest("WORDS", known.clone()), Some("words"));
        assert_eq!(closest("colour", known), None);
    }
}
