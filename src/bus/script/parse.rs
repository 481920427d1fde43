//! From text to a script: the notation of [`list`](super::list), for people to write.
//!
//! One operation a line. An offset before it, as a listing has, means nothing; empty lines and
//! what follows a `#` are passed over. Letter case counts.

use super::words::Words;
use super::{
    Expect, Line, Op, Place, Script, Source, Sweep, SweepOp, TextError, TextFault, Times, Wait,
    WaitKind,
};
use crate::bus::{ShapeId, Width};

/// An operation and the line of the text that it stands in, from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Written {
    /// The line.
    pub line: usize,
    /// The operation.
    pub op: Op,
}

/// The script that `text` lists. Whether it is a good one is for [`check`](super::check) to say.
pub fn parse(text: &str) -> Result<Script, TextError> {
    let ops: Vec<_> = parse_lines(text)?.into_iter().map(|written| written.op).collect();
    Ok(Script::encode(&ops))
}

/// The operations that `text` lists, each with its line.
pub fn parse_lines(text: &str) -> Result<Vec<Written>, TextError> {
    let mut written = Vec::new();
    let mut open: Vec<Op> = Vec::new();
    for (index, row) in text.lines().enumerate() {
        let line = index + 1;
        let row = row.split('#').next().unwrap_or_default().trim();
        let row = without_offset(row);
        if row.is_empty() {
            continue;
        }
        let op = one(row, &mut open).map_err(|what| TextError { line, what })?;
        written.push(Written { line, op });
    }
    Ok(written)
}

/// Drops the four or more hexadecimal digits that a listing begins a line with.
fn without_offset(row: &str) -> &str {
    let (first, rest) = row.split_once(char::is_whitespace).unwrap_or((row, ""));
    let offset = first.len() >= 4 && first.bytes().all(|byte| byte.is_ascii_hexdigit());
    if offset { rest.trim_start() } else { row }
}

fn one(row: &str, open: &mut Vec<Op>) -> Result<Op, TextFault> {
    let mut words = Words::new(row);
    let op = match words.word() {
        "shape" => Op::Shape(ShapeId(words.decimal("a slot, 0 to 255")?)),
        "lanes" => Op::Lanes(words.hex()?),
        "rest" => Op::Rest(words.hex()?),
        "A" => register(&mut words)?,
        "write" => write(&mut words)?,
        "D" => {
            words.all(&["=", "read"])?;
            Op::Read(place(&mut words)?)
        }
        "emit" => {
            words.all(&["D"])?;
            Op::Emit
        }
        "payload" => match words.word() {
            "back" => Op::Previous,
            "on" => Op::Next,
            got => return Err(TextFault::expected("`back` or `on`", got)),
        },
        "wait" => wait(&mut words)?,
        "delay" => {
            let us = words.decimal("microseconds")?;
            words.all(&["us"])?;
            Op::Delay { us }
        }
        "skip" => skip(&mut words)?,
        "sweep" => Op::Sweep(sweep(&mut words)?),
        "loop" if words.next_is("N") => Op::Loop(Times::N),
        "loop" => Op::Loop(Times::Fixed(words.decimal("N or how often")?)),
        "critical" => Op::Critical { max_ms: at_most(&mut words)? },
        "atomic" => Op::Atomic,
        "finally" => Op::Finally,
        "end" => end_of(open.pop())?,
        "set" => Op::Line { line: line(&mut words)?, active: true },
        "clear" => Op::Line { line: line(&mut words)?, active: false },
        other => return Err(TextFault::NoOperation(other.to_owned())),
    };
    words.end()?;
    if matches!(op, Op::Loop(_) | Op::Critical { .. } | Op::Atomic) {
        open.push(op);
    }
    Ok(op)
}

fn end_of(open: Option<Op>) -> Result<Op, TextFault> {
    match open {
        Some(Op::Loop(_)) => Ok(Op::EndLoop),
        Some(Op::Critical { .. }) => Ok(Op::EndCritical),
        Some(_) => Ok(Op::EndAtomic),
        None => Err(TextFault::NothingOpen),
    }
}

fn register(words: &mut Words<'_>) -> Result<Op, TextFault> {
    if !words.next_is("=") {
        return Ok(Op::Step(words.step()?));
    }
    if words.next_is("next") {
        words.all(&["payload"])?;
        return Ok(Op::SetA(Source::Payload));
    }
    match place(words)? {
        Place::At(address) => Ok(Op::SetA(Source::At(address))),
        Place::B => Ok(Op::SetA(Source::B)),
        Place::A => Err(TextFault::expected("an address such as 0x555, B or next payload", "A")),
    }
}

fn write(words: &mut Words<'_>) -> Result<Op, TextFault> {
    if words.next_is("next") {
        words.all(&["payload", "at", "A"])?;
        return Ok(Op::WritePayload);
    }
    if words.next_is("N") {
        words.all(&["-", "1", "in", "lanes", "of"])?;
        let lane = lane(words)?;
        words.all(&["at", "B"])?;
        return Ok(Op::WriteCount { lane });
    }
    let value = words.hex()?;
    words.all(&["at"])?;
    Ok(Op::Write { value, at: place(words)? })
}

fn place(words: &mut Words<'_>) -> Result<Place, TextFault> {
    if words.next_is("A") {
        return Ok(Place::A);
    }
    if words.next_is("B") {
        return Ok(Place::B);
    }
    Ok(Place::At(words.address()?))
}

fn lane(words: &mut Words<'_>) -> Result<Width, TextFault> {
    let bits: u32 = words.decimal("8, 16 or 32")?;
    Width::from_bits(bits).ok_or_else(|| TextFault::expected("8, 16 or 32", &bits.to_string()))
}

fn at_most(words: &mut Words<'_>) -> Result<u32, TextFault> {
    words.all(&[",", "at", "most"])?;
    let ms = words.decimal("milliseconds")?;
    words.all(&["ms"])?;
    Ok(ms)
}

fn line(words: &mut Words<'_>) -> Result<Line, TextFault> {
    match words.word() {
        "reset" => Ok(Line::Reset),
        "protect" => Ok(Line::Protect),
        "mark" => Ok(Line::Mark),
        got => Err(TextFault::expected("`reset`, `protect` or `mark`", got)),
    }
}

fn wait(words: &mut Words<'_>) -> Result<Op, TextFault> {
    let kind = match words.word() {
        "for" => {
            words.all(&["ready"])?;
            return Ok(Op::Ready { timeout_ms: at_most(words)? });
        }
        "data" => WaitKind::Data,
        "status" => WaitKind::Status,
        "toggle" => WaitKind::Toggle,
        got => return Err(TextFault::expected("`data`, `status`, `toggle` or `for ready`", got)),
    };
    words.all(&["at"])?;
    let at_b = match words.word() {
        "A" => false,
        "B" => true,
        got => return Err(TextFault::expected("A or B", got)),
    };
    words.all(&["in", "lanes", "of"])?;
    let lane = lane(words)?;
    words.all(&["for"])?;
    let expect = if words.next_is("payload") {
        Expect::Payload
    } else if words.next_is("ones") {
        Expect::Ones
    } else {
        let value = words.hex()?;
        words.all(&["under"])?;
        Expect::Value { value, mask: words.hex()? }
    };
    let fail = if words.next_are(&[",", "failing", "at"]) { words.hex()? } else { 0 };
    Ok(Op::Wait(Wait { lane, kind, at_b, expect, fail, timeout_ms: at_most(words)? }))
}

fn skip(words: &mut Words<'_>) -> Result<Op, TextFault> {
    let count = words.decimal("how many operations, 1 to 255")?;
    words.all(&["if"])?;
    if words.next_is("payload") {
        words.all(&["is"])?;
        return Ok(Op::SkipIfPayload { count, value: words.hex()? });
    }
    words.all(&["D", "under"])?;
    let mask = words.hex()?;
    words.all(&["is"])?;
    Ok(Op::SkipIfD { count, mask, value: words.hex()? })
}

fn sweep(words: &mut Words<'_>) -> Result<Sweep, TextFault> {
    let down = match words.word() {
        "up" => false,
        "down" => true,
        got => return Err(TextFault::expected("`up` or `down`", got)),
    };
    words.all(&["N", "from", "B", "("])?;
    let mut ops = Vec::new();
    while !words.next_is(")") {
        ops.push(match words.word() {
            "r0" => SweepOp::Read(false),
            "r1" => SweepOp::Read(true),
            "w0" => SweepOp::Write(false),
            "w1" => SweepOp::Write(true),
            got => return Err(TextFault::expected("r0, r1, w0, w1 or `)`", got)),
        });
    }
    let count = ops.len().to_string();
    let sweep = Sweep::new(&ops);
    let mut sweep = sweep.ok_or_else(|| TextFault::expected("1 to 8 operations in ( )", &count))?;
    sweep.down = down;
    words.all(&[",", "0", "is"])?;
    sweep.background = words.hex()?;
    words.all(&[",", "record"])?;
    sweep.record = words.decimal("how many mismatches, 0 to 65535")?;
    sweep.precharge = !words.next_are(&[",", "no", "precharge"]);
    Ok(sweep)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bus::script::list;

    #[test]
    fn people_may_leave_offsets_out_and_add_remarks() {
        let text = "# opens the store\nshape 0\n\n  write aa at 0x555   # first\n\
                    write 0x55 at A\nA +1\nA = 0xFFFF_0000\n000C  A -16\n";
        let script = parse(text).unwrap();
        assert_eq!(
            list(&script),
            "0000  shape 0\n0002  write AA at 0x555\n0007  write 55 at A\n000A  A +1\n\
             000D  A = 0xFFFF0000\n0012  A -16\n"
        );
        let lines: Vec<_> = parse_lines(text).unwrap().iter().map(|one| one.line).collect();
        assert_eq!(lines, [2, 4, 5, 6, 7, 8]);
        assert_eq!(parse(""), Ok(Script::default()));
    }

    #[test]
    fn each_end_is_that_of_its_block() {
        let text = "loop N\ncritical, at most 5 ms\natomic\nend\nend\nend";
        let ops: Vec<_> = parse_lines(text).unwrap().iter().map(|one| one.op).collect();
        assert_eq!(ops[3..], [Op::EndAtomic, Op::EndCritical, Op::EndLoop]);
    }

    #[test]
    fn what_is_no_operation_is_said_with_its_line() {
        let cases = [
            ("shape", "line 2: expected a slot, 0 to 255, got the end of the line"),
            ("shape 256", "line 2: expected a slot, 0 to 255, got `256`"),
            ("wrote 1 at A", "line 2: `wrote` begins no operation"),
            ("write G at A", "line 2: expected a hexadecimal number of up to 8 digits, got `G`"),
            ("write 1FFFFFFFF at A", "line 2: expected a hexadecimal number of up to 8 digits"),
            ("write 1 at 555", "line 2: expected A, B or an address such as 0x555, got `555`"),
            ("write 1 to A", "line 2: expected `at`, got `to`"),
            ("write 1 at A now", "line 2: expected the end of the line, got `now`"),
            ("A = A", "line 2: expected an address such as 0x555, B or next payload, got `A`"),
            ("A 5", "line 2: expected `=`, or a step with its sign such as +1 or -2, got `5`"),
            ("A +40000", "line 2: expected `=`, or a step"),
            ("delay -1 us", "line 2: expected microseconds, got `-1`"),
            ("end", "line 2: `end` ends nothing that is open"),
            ("set fire", "line 2: expected `reset`, `protect` or `mark`, got `fire`"),
            ("wait data at A in lanes of 12 for ones, at most 1 ms", "expected 8, 16 or 32"),
            (
                "sweep up N from B (), 0 is 0, record 1",
                "expected 1 to 8 operations in ( ), got `0`",
            ),
            ("sweep up N from B (r0 w2", "expected r0, r1, w0, w1 or `)`, got `w2`"),
            ("sweep up N from B (r0", "r0, r1, w0, w1 or `)`, got the end of the line"),
            ("0004  ?? the script ends", "`??` begins no operation"),
            ("\u{1b}[2J", "line 2: `\\u{1b}[2J` begins no operation"),
        ];
        for (row, said) in cases {
            let error = parse(&format!("shape 0\n{row}\n")).expect_err(row).to_string();
            assert!(error.contains(said), "{row}: {error}");
        }
    }
}
