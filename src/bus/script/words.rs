//! The words of one line of a script's text.

use super::TextFault;
use crate::bus::WordAddress;
use std::str::FromStr;

/// What is left of a line. Commas and brackets are words of their own.
#[derive(Clone, Copy)]
pub(super) struct Words<'a> {
    rest: &'a str,
}

impl<'a> Words<'a> {
    pub fn new(line: &'a str) -> Self {
        Self { rest: line }
    }

    /// The next word; empty at the end of the line.
    pub fn word(&mut self) -> &'a str {
        let text = self.rest.trim_start();
        let own = |c: char| c == ',' || c == '(' || c == ')';
        let end = match text.find(|c: char| own(c) || c.is_whitespace()) {
            Some(0) => 1,
            Some(at) => at,
            None => text.len(),
        };
        let end = end.min(text.len());
        let (word, rest) = text.split_at(end);
        self.rest = rest;
        word
    }

    /// Takes the next word if it is this one.
    pub fn next_is(&mut self, wanted: &str) -> bool {
        self.next_are(&[wanted])
    }

    /// Takes the next words if they are these.
    pub fn next_are(&mut self, wanted: &[&str]) -> bool {
        let mut ahead = *self;
        let all = wanted.iter().all(|wanted| ahead.word() == *wanted);
        if all {
            *self = ahead;
        }
        all
    }

    /// Takes exactly these words.
    pub fn all(&mut self, wanted: &[&str]) -> Result<(), TextFault> {
        for wanted in wanted {
            let got = self.word();
            if got != *wanted {
                return Err(TextFault::expected(&format!("`{wanted}`"), got));
            }
        }
        Ok(())
    }

    /// Nothing is left.
    pub fn end(mut self) -> Result<(), TextFault> {
        match self.word() {
            "" => Ok(()),
            got => Err(TextFault::expected("the end of the line", got)),
        }
    }

    /// A decimal number without sign.
    pub fn decimal<T: FromStr>(&mut self, what: &str) -> Result<T, TextFault> {
        let got = self.word();
        let plain = got.bytes().all(|byte| byte.is_ascii_digit());
        let number = got.parse().ok().filter(|_| plain);
        number.ok_or_else(|| TextFault::expected(what, got))
    }

    /// A word as hexadecimal digits, with or without `0x`.
    pub fn hex(&mut self) -> Result<u32, TextFault> {
        let got = self.word();
        let digits = got.strip_prefix("0x").unwrap_or(got);
        hexadecimal(digits)
            .ok_or_else(|| TextFault::expected("a hexadecimal number of up to 8 digits", got))
    }

    /// A word address: `0x` and hexadecimal digits.
    pub fn address(&mut self) -> Result<WordAddress, TextFault> {
        let got = self.word();
        let address = got.strip_prefix("0x").and_then(hexadecimal).map(WordAddress);
        address.ok_or_else(|| TextFault::expected("A, B or an address such as 0x555", got))
    }

    /// A signed step.
    pub fn step(&mut self) -> Result<i16, TextFault> {
        let got = self.word();
        let step = got.parse().ok().filter(|_| got.starts_with(['+', '-']));
        step.ok_or_else(|| {
            TextFault::expected("`=`, or a step with its sign such as +1 or -2", got)
        })
    }
}

fn hexadecimal(digits: &str) -> Option<u32> {
    let tidy = digits.split('_').all(|part| !part.is_empty());
    let plain = digits.bytes().all(|byte| byte == b'_' || byte.is_ascii_hexdigit());
    u32::from_str_radix(&digits.replace('_', ""), 16).ok().filter(|_| tidy && plain)
}
