//! A new module sheet, to be filled in.

/// The text of a new sheet for a module of this name. Its blanks are zeros, which the check of
/// sheets names one by one; nothing is assumed that could harm a module, such as a voltage.
pub fn new_sheet(name: &str) -> String {
    let name = toml::Value::String(name.to_owned()).to_string();
    include_str!("sheets/new.toml").replace("\"NAME\"", &name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::module::Sheet;

    const BLANKS: [(&str, &str); 4] =
        [("rail_mv", "5000"), ("address_lines", "17"), ("width", "32"), ("words", "0x20000")];

    fn filled(text: &str) -> String {
        let lines = text.lines().map(|line| {
            let key = line.split_once(" = 0").map(|(key, _)| key);
            let value = BLANKS.iter().find(|(blank, _)| key == Some(blank));
            value.map_or_else(|| line.to_owned(), |(key, value)| format!("{key} = {value}"))
        });
        lines.collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn the_check_names_every_blank_and_nothing_else() {
        let review = Sheet::review("new.toml", &new_sheet("XY-1"));
        let keys: Vec<_> = review.faults.iter().map(|fault| fault.key.as_str()).collect();
        assert_eq!(keys, ["rail_mv", "address_lines", "space.width", "space.words"]);
    }

    #[test]
    fn filled_in_it_is_a_good_sheet() {
        for name in ["XY-1", "a \"quoted\" \\ name", "Größe"] {
            let sheet = Sheet::parse("new.toml", &filled(&new_sheet(name))).unwrap();
            assert_eq!((sheet.name.as_str(), sheet.title.as_str()), (name, name));
        }
    }

    /// What stands there as an example may be taken as it is.
    #[test]
    fn its_examples_are_good_too() {
        let text = filled(&new_sheet("XY-1"));
        let lines = text.lines().map(|line| line.strip_prefix("#: ").unwrap_or(line));
        let whole = lines.collect::<Vec<_>>().join("\n");
        let review = Sheet::review("new.toml", &whole);
        assert_eq!(review.faults, []);
        let sheet = review.sheet.unwrap();
        assert!(!sheet.zones.is_empty() && !sheet.pins.is_empty());
    }
}
