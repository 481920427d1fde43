//! One table of a sheet, read key by key. What is wrong is told to the source, with its line, and
//! reading goes on.

use super::keys::{Keys, closest};
use super::source::{Source, shown};
use super::{Level, LineLevel, LineName, SheetFault};
use std::ops::RangeInclusive;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The longest name or text, in characters.
const MOST_CHARS: usize = 64;
/// Control lines that a shape can name (`docs/wire.md`).
const MOST_CONTROL: usize = 16;

/// A value with the line its key stands on.
#[derive(Clone, Copy, Debug)]
pub(super) struct At<T> {
    pub value: T,
    pub line: usize,
}

/// Text of several lines.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lines<'a> {
    pub text: &'a str,
    first: usize,
    block: bool,
}

impl Lines<'_> {
    /// The line of the sheet in which line `nth` of the text stands, from 1.
    pub fn place(self, nth: usize) -> usize {
        if self.block { self.first + nth - 1 } else { self.first }
    }
}

/// One table of a sheet.
pub(super) struct Section<'a> {
    pub source: &'a Source<'a>,
    /// The line of its heading.
    pub line: usize,
    path: String,
    table: &'a DeTable<'a>,
    /// Keys that a misspelt one seems to stand for.
    meant: Vec<&'static str>,
}

impl<'a> Section<'a> {
    /// The top of a sheet, its keys not checked yet.
    pub fn top(source: &'a Source<'a>, table: &'a DeTable<'a>) -> Self {
        Self { source, line: 1, path: String::new(), table, meant: Vec::new() }
    }

    /// Tells of keys that are not `keys`.
    pub fn check(&mut self, keys: &'static Keys) {
        for (key, line, _) in self.entries() {
            if keys.known.contains(&key) {
                continue;
            }
            let closest = closest(key, keys.known.iter().copied());
            let home = keys.near.iter().find(|near| near.known.contains(&key));
            if home.is_none() {
                self.meant.extend(closest);
            }
            let home = home.map(|near| near.table);
            self.tell(key, line, SheetFault::UnknownKey { table: keys.table, closest, home });
        }
    }

    fn checked(mut self, keys: &'static Keys) -> Self {
        self.check(keys);
        self
    }

    /// Every key with its line, in the order of the file.
    pub fn entries(&self) -> Vec<(&'a str, usize, &'a DeValue<'a>)> {
        let mut entries: Vec<_> = self.table.iter().collect();
        entries.sort_by_key(|(key, _)| key.span().start);
        let place = |key: &Spanned<_>| self.source.line_of(key.span().start);
        entries.into_iter().map(|(k, v)| (k.get_ref().as_ref(), place(k), v.get_ref())).collect()
    }

    /// True if the key is there, whatever its value, or seems to be meant by another.
    pub fn has(&self, key: &str) -> bool {
        self.table.contains_key(key) || self.meant.contains(&key)
    }

    fn get(&self, key: &str) -> Option<At<&'a DeValue<'a>>> {
        self.get_spanned(key).map(|At { value, line }| At { value: value.get_ref(), line })
    }

    fn get_spanned(&self, key: &str) -> Option<At<&'a Spanned<DeValue<'a>>>> {
        let (name, value) = self.table.get_key_value(key)?;
        Some(At { value, line: self.source.line_of(name.span().start) })
    }

    /// Tells a fault at `key` of this table.
    pub fn tell(&self, key: &str, line: usize, fault: SheetFault) {
        self.source.tell(line, &format!("{}{}", self.path, shown(key)), fault);
    }

    /// Tells that a value is not what is expected.
    pub fn wrong(&self, key: &str, line: usize, expected: impl Into<String>, got: String) {
        self.tell(key, line, SheetFault::Value { expected: expected.into(), got });
    }

    /// The value; tells that the key is missing if it is.
    pub fn need<T>(
        &self,
        key: &str,
        value: Option<At<T>>,
        expected: &'static str,
    ) -> Option<At<T>> {
        if value.is_none() && !self.has(key) {
            self.tell(key, self.line, SheetFault::Missing(expected));
        }
        value
    }

    /// A string of 1 to 64 characters without control characters or blanks at its ends.
    pub fn text(&self, key: &str) -> Option<At<String>> {
        let At { value, line } = self.get(key)?;
        Some(At { value: self.as_text(key, line, value)?, line })
    }

    /// Checks a value of this table as [`Section::text`] does.
    pub fn as_text(&self, key: &str, line: usize, value: &DeValue<'_>) -> Option<String> {
        let expected =
            "a string of 1 to 64 characters, no control characters, no blanks at its ends";
        let wrong = |got| self.wrong(key, line, expected, got);
        let Some(text) = value.as_str() else {
            wrong(described(value));
            return None;
        };
        let count = text.chars().count();
        if count > MOST_CHARS {
            wrong(format!("{count} characters"));
            return None;
        }
        if text.is_empty() || text.trim() != text || text.chars().any(char::is_control) {
            wrong(described(value));
            return None;
        }
        Some(text.to_owned())
    }

    /// A string of several lines, with where in the sheet they stand.
    pub fn lines(&self, key: &str) -> Option<Lines<'a>> {
        let At { value, line } = self.get_spanned(key)?;
        let Some(text) = value.get_ref().as_str() else {
            self.wrong(key, line, "lines of text within \"\"\"", described(value.get_ref()));
            return None;
        };
        let written = self.source.text.get(value.span()).unwrap_or_default();
        let block = ["\"\"\"", "'''"].iter().find_map(|quotes| written.strip_prefix(quotes));
        let below = block.is_some_and(|rest| rest.starts_with('\n') || rest.starts_with("\r\n"));
        let first = self.source.line_of(value.span().start) + usize::from(below);
        Some(Lines { text, first, block: block.is_some() })
    }

    /// A whole number within `limits`.
    pub fn number(&self, key: &str, limits: RangeInclusive<u32>) -> Option<At<u32>> {
        let At { value, line } = self.get(key)?;
        let number = value
            .as_integer()
            .and_then(|number| u32::from_str_radix(number.as_str(), number.radix()).ok())
            .filter(|number| limits.contains(number));
        if number.is_none() {
            let (first, last) = limits.into_inner();
            let expected = format!("a whole number, {first} to {last}");
            self.wrong(key, line, expected, described(value));
        }
        Some(At { value: number?, line })
    }

    /// `true` or `false`.
    pub fn flag(&self, key: &str) -> Option<At<bool>> {
        let At { value, line } = self.get(key)?;
        let flag = value.as_bool();
        if flag.is_none() {
            self.wrong(key, line, "true or false", described(value));
        }
        Some(At { value: flag?, line })
    }

    /// One of a few words.
    pub fn choice<T: Copy>(&self, key: &str, words: &[(&str, T)]) -> Option<At<T>> {
        let At { value, line } = self.get(key)?;
        let found = words.iter().find(|(word, _)| value.as_str() == Some(word));
        if found.is_none() {
            let words: Vec<_> = words.iter().map(|(word, _)| format!("\"{word}\"")).collect();
            self.wrong(key, line, words.join(" or "), described(value));
        }
        Some(At { value: found?.1, line })
    }

    /// `"low"` or `"high"`.
    pub fn level(&self, key: &str) -> Option<At<Level>> {
        self.choice(key, &[("low", Level::Low), ("high", Level::High)])
    }

    /// Control lines with levels: `{ CS0 = "low" }`; `None` if one of them is wrong.
    pub fn levels(&self, key: &str) -> Option<At<Vec<LineLevel>>> {
        let inner = self.open_table(key)?;
        let entries = inner.entries();
        if entries.len() > MOST_CONTROL {
            let expected = format!("at most {MOST_CONTROL} control lines, as a shape names");
            self.wrong(key, inner.line, expected, entries.len().to_string());
            return None;
        }
        let mut levels = Vec::new();
        for (name, line, _) in &entries {
            let level = inner.level(name);
            if let Some(control) = inner.control_line(name, *line, name) {
                levels.extend(level.map(|at| LineLevel { line: control, level: at.value }));
            }
        }
        let whole = levels.len() == entries.len();
        whole.then_some(At { value: levels, line: inner.line })
    }

    /// The name of a control line.
    pub fn control_line(&self, key: &str, line: usize, name: &str) -> Option<String> {
        if let Some(LineName::Control(control)) = LineName::parse(name) {
            return Some(control);
        }
        let expected = "a control line (not D, A, a supply, NC or ?)";
        self.wrong(key, line, expected, format!("`{}`", shown(name)));
        None
    }

    /// A list of strings; none where the key is missing, `None` if one of them is wrong.
    pub fn texts(&self, key: &str) -> Option<Vec<At<String>>> {
        let Some(At { value, line }) = self.get(key) else { return Some(Vec::new()) };
        let Some(list) = value.as_array() else {
            self.wrong(key, line, "a list of strings in [ ]", described(value));
            return None;
        };
        let one = |item: &'a Spanned<DeValue<'a>>| {
            let line = self.source.line_of(item.span().start);
            Some(At { value: self.as_text(key, line, item.get_ref())?, line })
        };
        let texts: Vec<_> = list.iter().filter_map(one).collect();
        (texts.len() == list.len()).then_some(texts)
    }

    /// A table whose keys are free.
    pub fn open_table(&self, key: &str) -> Option<Self> {
        let At { value, line } = self.get(key)?;
        let Some(table) = value.as_table() else {
            let expected = "a table, [in brackets] or { within braces }";
            self.wrong(key, line, expected, described(value));
            return None;
        };
        let path = format!("{}{key}.", self.path);
        Some(Self { source: self.source, line, path, table, meant: Vec::new() })
    }

    /// A table with known keys.
    pub fn table(&self, key: &str, keys: &'static Keys) -> Option<Self> {
        self.open_table(key).map(|inner| inner.checked(keys))
    }

    /// A list of at most `most` tables with known keys; none where the key is missing.
    pub fn rows(&self, key: &str, keys: &'static Keys, most: usize) -> Vec<Self> {
        let Some(At { value, line }) = self.get(key) else { return Vec::new() };
        let expected = if keys.table.starts_with('[') {
            format!("a list of tables, each headed {}", keys.table)
        } else {
            "a list of tables, [{ ... }, { ... }]".to_owned()
        };
        let Some(list) = value.as_array() else {
            self.wrong(key, line, expected, described(value));
            return Vec::new();
        };
        if list.len() > most {
            let expected = format!("at most {most} tables");
            self.wrong(key, line, expected, list.len().to_string());
            return Vec::new();
        }
        let one = |item: &'a Spanned<DeValue<'a>>| {
            let line = self.source.line_of(item.span().start);
            let Some(table) = item.get_ref().as_table() else {
                self.wrong(key, line, &*expected, described(item.get_ref()));
                return None;
            };
            let path = format!("{}{key}.", self.path);
            let row = Self { source: self.source, line, path, table, meant: Vec::new() };
            Some(row.checked(keys))
        };
        list.iter().filter_map(one).collect()
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
