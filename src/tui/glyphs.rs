//! The signs that are drawn, for terminals with and without Unicode.
//!
//! The rule of the map: fill tells how sure, a letter tells trouble. All signs are one cell wide
//! where the locale is not East Asian; elsewhere the set without Unicode is there.

/// A set of signs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Glyphs {
    /// A line across.
    pub rule: char,
    /// A line down.
    pub bar: char,
    /// Between two things in a row.
    pub dot: char,
    /// Nothing is known of a block.
    pub not_read: char,
    /// It is under way.
    pub under_way: char,
    /// Read once.
    pub once: char,
    /// Read twice, and the same.
    pub agreed: char,
    /// The done part of a bar, and the rest.
    pub done: char,
    /// See `done`.
    pub rest: char,
    /// Stands for what did not fit.
    pub more: char,
}

/// With Unicode: the level rises.
pub const UNICODE: Glyphs = Glyphs {
    rule: '─',
    bar: '│',
    dot: '·',
    not_read: '▁',
    under_way: '▃',
    once: '▅',
    agreed: '█',
    done: '█',
    rest: '▁',
    more: '…',
};

/// Without: the ink grows.
pub const ASCII: Glyphs = Glyphs {
    rule: '-',
    bar: '|',
    dot: '-',
    not_read: '_',
    under_way: '-',
    once: '=',
    agreed: '#',
    done: '#',
    rest: '_',
    more: '~',
};

/// The set that fits a locale, as the environment gives it.
pub fn of_locale(variable: impl Fn(&str) -> Option<String>) -> Glyphs {
    let set = |name: &&str| variable(name).filter(|value| !value.is_empty());
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"].iter().find_map(set).unwrap_or_default();
    let locale = locale.to_ascii_lowercase();
    if locale.contains("utf-8") || locale.contains("utf8") { UNICODE } else { ASCII }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn locale(set: &[(&str, &str)]) -> Glyphs {
        of_locale(|name| set.iter().find(|(of, _)| *of == name).map(|(_, v)| (*v).into()))
    }

    #[test]
    fn the_locale_decides_and_an_empty_one_counts_as_unset() {
        assert_eq!(locale(&[("LANG", "de_DE.UTF-8")]), UNICODE);
        assert_eq!(locale(&[("LANG", "C")]), ASCII);
        assert_eq!(locale(&[]), ASCII);
        assert_eq!(locale(&[("LC_ALL", ""), ("LANG", "C.utf8")]), UNICODE);
        assert_eq!(locale(&[("LC_ALL", "C"), ("LANG", "en_GB.UTF-8")]), ASCII);
    }
}
