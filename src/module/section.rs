//! One table of a sheet, read key by key; every error knows its line.

use super::keys::{Keys, closest};
use super::source::{Source, shown};
use super::{Level, LineLevel, LineName, SheetError, SheetFault};
use std::ops::RangeInclusive;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The longest name or text, in characters.
const MOST_CHARS: usize = 64;

/// A value with the line its key stands on.
#[derive(Clone, Copy, Debug)]
pub(super) struct At<T> {
    pub value: T,
    pub line: usize,
}

/// One table of a sheet.
pub(super) struct Section<'a> {
    pub source: Source<'a>,
    /// The line of its heading.
    pub line: usize,
    path: String,
    table: &'a DeTable<'a>,
}

impl<'a> Section<'a> {
    /// The top of a sheet.
    pub fn top(
        source: Source<'a>,
        table: &'a DeTable<'a>,
        keys: &'static Keys,
    ) -> Result<Self, SheetError> {
        Self { source, line: 1, path: String::new(), table }.checked(keys)
    }

    /// Refuses keys that are not `keys`, the first in the file first.
    fn checked(self, keys: &'static Keys) -> Result<Self, SheetError> {
        for (key, line, _) in self.entries() {
            if keys.known.contains(&key) {
                continue;
            }
            let fault = if keys.reserved.contains(&key) {
                SheetFault::Reserved
            } else {
                let home = keys.near.iter().find(|near| near.known.contains(&key));
                SheetFault::UnknownKey {
                    table: keys.table,
                    closest: closest(key, keys.known.iter().copied()),
                    home: home.map(|near| near.table),
                }
            };
            return Err(self.error(key, line, fault));
        }
        Ok(self)
    }

    /// Every key with its line, in the order of the file.
    pub fn entries(&self) -> Vec<(&'a str, usize, &'a DeValue<'a>)> {
        let mut entries: Vec<_> = self.table.iter().collect();
        entries.sort_by_key(|(key, _)| key.span().start);
        let place = |key: &Spanned<_>| self.source.line_of(key.span().start);
        entries.into_iter().map(|(k, v)| (k.get_ref().as_ref(), place(k), v.get_ref())).collect()
    }

    fn get(&self, key: &str) -> Option<At<&'a DeValue<'a>>> {
        let (name, value) = self.table.get_key_value(key)?;
        Some(At { value: value.get_ref(), line: self.source.line_of(name.span().start) })
    }

    /// An error at `key` of this table.
    pub fn error(&self, key: &str, line: usize, fault: SheetFault) -> SheetError {
        self.source.error(line, &format!("{}{}", self.path, shown(key)), fault)
    }

    fn wrong(&self, key: &str, line: usize, expected: &str, got: String) -> SheetError {
        let expected = expected.to_owned();
        self.error(key, line, SheetFault::Value { expected, got })
    }

    /// The value, or the error that the key is missing.
    pub fn need<T>(
        &self,
        key: &str,
        value: Option<At<T>>,
        expected: &'static str,
    ) -> Result<At<T>, SheetError> {
        value.ok_or_else(|| self.error(key, self.line, SheetFault::Missing(expected)))
    }

    /// A string of 1 to 64 characters without control characters or blanks at its ends.
    pub fn text(&self, key: &str) -> Result<Option<At<String>>, SheetError> {
        let Some(At { value, line }) = self.get(key) else { return Ok(None) };
        Ok(Some(At { value: self.as_text(key, line, value)?, line }))
    }

    /// Checks a value of this table as [`Section::text`] does.
    pub fn as_text(
        &self,
        key: &str,
        line: usize,
        value: &DeValue<'_>,
    ) -> Result<String, SheetError> {
        let wrong = |got| {
            let expected =
                "a string of 1 to 64 characters, no control characters, no blanks at its ends";
            self.wrong(key, line, expected, got)
        };
        let Some(text) = value.as_str() else { return Err(wrong(described(value))) };
        let count = text.chars().count();
        if count > MOST_CHARS {
            return Err(wrong(format!("{count} characters")));
        }
        if text.is_empty() || text.trim() != text || text.chars().any(char::is_control) {
            return Err(wrong(described(value)));
        }
        Ok(text.to_owned())
    }

    /// A whole number within `limits`.
    pub fn number(
        &self,
        key: &str,
        limits: RangeInclusive<u32>,
    ) -> Result<Option<At<u32>>, SheetError> {
        let Some(At { value, line }) = self.get(key) else { return Ok(None) };
        let number = value
            .as_integer()
            .and_then(|number| u32::from_str_radix(number.as_str(), number.radix()).ok())
            .filter(|number| limits.contains(number));
        let Some(value) = number else {
            let (first, last) = limits.into_inner();
            let expected = format!("a whole number, {first} to {last}");
            return Err(self.wrong(key, line, &expected, described(value)));
        };
        Ok(Some(At { value, line }))
    }

    /// `true` or `false`.
    pub fn flag(&self, key: &str) -> Result<Option<At<bool>>, SheetError> {
        let Some(At { value, line }) = self.get(key) else { return Ok(None) };
        let Some(value) = value.as_bool() else {
            return Err(self.wrong(key, line, "true or false", described(value)));
        };
        Ok(Some(At { value, line }))
    }

    /// One of a few words.
    pub fn choice<T: Copy>(
        &self,
        key: &str,
        words: &[(&str, T)],
    ) -> Result<Option<At<T>>, SheetError> {
        let Some(At { value, line }) = self.get(key) else { return Ok(None) };
        let found = words.iter().find(|(word, _)| value.as_str() == Some(word));
        let Some((_, value)) = found else {
            let words: Vec<_> = words.iter().map(|(word, _)| format!("\"{word}\"")).collect();
            return Err(self.wrong(key, line, &words.join(" or "), described(value)));
        };
        Ok(Some(At { value: *value, line }))
    }

    /// Control lines with levels: `{ CS0 = "low" }`.
    pub fn levels(&self, key: &str) -> Result<Option<At<Vec<LineLevel>>>, SheetError> {
        let Some(inner) = self.open_table(key)? else { return Ok(None) };
        let mut levels = Vec::new();
        for (name, line, _) in inner.entries() {
            let Some(LineName::Control(control)) = LineName::parse(name) else {
                let expected = "a control line (not D, A, a supply, NC or ?)";
                return Err(inner.wrong(name, line, expected, format!("`{}`", shown(name))));
            };
            let words = [("low", Level::Low), ("high", Level::High)];
            let level = inner.need(name, inner.choice(name, &words)?, "a level")?;
            levels.push(LineLevel { line: control, level: level.value });
        }
        Ok(Some(At { value: levels, line: inner.line }))
    }

    /// A list of strings.
    pub fn texts(&self, key: &str) -> Result<Vec<At<String>>, SheetError> {
        let Some(At { value, line }) = self.get(key) else { return Ok(Vec::new()) };
        let Some(list) = value.as_array() else {
            return Err(self.wrong(key, line, "a list of strings in [ ]", described(value)));
        };
        let one = |item: &'a Spanned<DeValue<'a>>| {
            let line = self.source.line_of(item.span().start);
            Ok(At { value: self.as_text(key, line, item.get_ref())?, line })
        };
        list.iter().map(one).collect()
    }

    /// A table whose keys are free.
    pub fn open_table(&self, key: &str) -> Result<Option<Self>, SheetError> {
        let Some(At { value, line }) = self.get(key) else { return Ok(None) };
        let Some(table) = value.as_table() else {
            let expected = "a table, [in brackets] or { within braces }";
            return Err(self.wrong(key, line, expected, described(value)));
        };
        Ok(Some(Self { source: self.source, line, path: format!("{}{key}.", self.path), table }))
    }

    /// A table with known keys.
    pub fn table(&self, key: &str, keys: &'static Keys) -> Result<Option<Self>, SheetError> {
        self.open_table(key)?.map(|inner| inner.checked(keys)).transpose()
    }

    /// A list of tables with known keys.
    pub fn rows(&self, key: &str, keys: &'static Keys) -> Result<Vec<Self>, SheetError> {
        let Some(At { value, line }) = self.get(key) else { return Ok(Vec::new()) };
        let expected = if keys.table.starts_with('[') {
            format!("a list of tables, each headed {}", keys.table)
        } else {
            "a list of tables, [{ ... }, { ... }]".to_owned()
        };
        let Some(list) = value.as_array() else {
            return Err(self.wrong(key, line, &expected, described(value)));
        };
        let one = |item: &'a Spanned<DeValue<'a>>| {
            let line = self.source.line_of(item.span().start);
            let Some(table) = item.get_ref().as_table() else {
                return Err(self.wrong(key, line, &expected, described(item.get_ref())));
            };
            let path = format!("{}{key}.", self.path);
            Self { source: self.source, line, path, table }.checked(keys)
        };
        list.iter().map(one).collect()
    }
}

/// A value as it is named in "got ...".
fn described(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) if text.is_empty() => "an empty string".to_owned(),
        DeValue::String(text) => format!("\"{}\"", shown(text)),
        DeValue::Integer(number) => shown(&number.to_string()),
        DeValue::Float(number) => format!("the fraction {}", shown(number.as_str())),
        DeValue::Boolean(flag) => flag.to_string(),
        DeValue::Datetime(_) => "a date or time".to_owned(),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}
