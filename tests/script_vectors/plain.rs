//! The records of `tests/vectors/scripts.txt`, read as plainly as a C program would.

use std::collections::BTreeMap;

pub const FILE: &str = include_str!("../vectors/scripts.txt");

/// One record: its name and its other lines by key, in the words of the file.
#[derive(Clone, Debug, Default)]
pub struct Record {
    pub name: String,
    lines: BTreeMap<String, Vec<String>>,
}

impl Record {
    /// The words after `key`, of all its lines; `None` if it is not there.
    pub fn words(&self, key: &str) -> Option<&[String]> {
        self.lines.get(key).map(Vec::as_slice)
    }

    /// The hexadecimal numbers after `key`; none if it is not there.
    pub fn numbers(&self, key: &str) -> Vec<u32> {
        let words = self.words(key).unwrap_or_default();
        words.iter().map(|word| self.number(word)).collect()
    }

    /// The only number after `key`, in decimal.
    pub fn decimal(&self, key: &str) -> Option<u64> {
        let [word] = self.words(key)? else { panic!("{}: one number after {key}", self.name) };
        Some(word.parse().unwrap_or_else(|_| panic!("{}: {key} {word}", self.name)))
    }

    pub fn code(&self) -> Vec<u8> {
        self.numbers("code").into_iter().map(|byte| u8::try_from(byte).unwrap()).collect()
    }

    /// Every key of the record.
    pub fn keys(&self) -> impl Iterator<Item = &str> {
        self.lines.keys().map(String::as_str)
    }

    fn number(&self, word: &str) -> u32 {
        u32::from_str_radix(word, 16).unwrap_or_else(|_| panic!("{}: {word}", self.name))
    }
}

/// Every record of the file, in order.
pub fn records() -> Vec<Record> {
    let mut found: Vec<Record> = Vec::new();
    for line in FILE.lines().filter(|line| !line.starts_with('#') && !line.is_empty()) {
        let mut words = line.split(' ').map(str::to_owned);
        let key = words.next().unwrap();
        if key == "script" {
            found.push(Record { name: words.next().unwrap(), ..Record::default() });
        } else {
            let record = found.last_mut().unwrap_or_else(|| panic!("no script before: {line}"));
            record.lines.entry(key).or_default().extend(words);
        }
    }
    found
}
