//! What a sheet may say and this version cannot do yet. A job refuses such a sheet: to pass over
//! what it says would be unsafe.

use super::{Sheet, Space};

impl Sheet {
    /// Why no job of this version may switch this module on, if so.
    pub fn not_yet(&self) -> Option<String> {
        let checks = &self.checks;
        let first = checks.first()?;
        let lines: Vec<_> =
            checks.iter().map(|check| format!("{} {}", check.line, check.level)).collect();
        let why = first.why.as_ref().map_or_else(String::new, |why| format!(" ({why})"));
        Some(format!(
            "the sheet of {} asks that lines be looked at before anything else ([[check]]: \
             {}{why}), and this version cannot do that yet; with these lines proven by hand, work \
             with a copy of the sheet that has no [[check]]",
            self.name,
            lines.join(", ")
        ))
    }
}

impl Space {
    /// Why no job of this version may work on this space, if so.
    pub fn not_yet(&self) -> Option<String> {
        let keys = [
            ("open", self.open.is_some()),
            ("close", self.close.is_some()),
            ("banks", self.banks.is_some()),
        ];
        let keys: Vec<_> = keys.iter().filter(|(_, there)| *there).map(|(key, _)| *key).collect();
        if keys.is_empty() {
            return None;
        }
        Some(format!(
            "space {} needs its cycle scripts ({}), and this version cannot run them for a job \
             yet: what is read without them may be something else; choose another space with \
             --space",
            self.name,
            keys.join(", ")
        ))
    }
}
