//! Every request and every reply as one value.

use super::field::Malformed;
use super::{
    Busy, DigestReply, DigestRequest, Fault, HelloReply, HelloRequest, HoldReply, HoldRequest,
    Kind, LinesReply, LinesRequest, PROTOCOL_MAJOR, PermitReply, PermitRequest, PingReply,
    RailReply, RailRequest, RateReply, RateRequest, ReadReply, ReadRequest, RepeatReply,
    RepeatRequest, RunReply, RunRequest, ScriptReply, ScriptRequest, ShapeReply, ShapeRequest,
    StopReply, WalkReply, WalkRequest, Why,
};

/// What the host asks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Request {
    /// Who are you, and a session number.
    Hello(HelloRequest),
    /// Still there.
    Ping,
    /// Another line rate.
    Rate(RateRequest),
    /// Rail on or off.
    Rail(RailRequest),
    /// Define a shape.
    Shape(ShapeRequest),
    /// Read words.
    Read(ReadRequest),
    /// Checksum of words.
    Digest(DigestRequest),
    /// Stop what runs.
    Stop,
    /// Leave to write.
    Permit(PermitRequest),
    /// Set and sample lines.
    Lines(LinesRequest),
    /// Walk lines.
    Walk(WalkRequest),
    /// Keep one cycle still.
    Hold(HoldRequest),
    /// Repeat one cycle.
    Repeat(RepeatRequest),
    /// Store a cycle script.
    Script(ScriptRequest),
    /// Run one.
    Run(RunRequest),
}

impl Request {
    /// Its kind.
    pub const fn kind(&self) -> Kind {
        match self {
            Self::Hello(_) => Kind::HELLO,
            Self::Ping => Kind::PING,
            Self::Rate(_) => Kind::RATE,
            Self::Rail(_) => Kind::RAIL,
            Self::Shape(_) => Kind::SHAPE,
            Self::Read(_) => Kind::READ,
            Self::Digest(_) => Kind::DIGEST,
            Self::Stop => Kind::STOP,
            Self::Permit(_) => Kind::PERMIT,
            Self::Lines(_) => Kind::LINES,
            Self::Walk(_) => Kind::WALK,
            Self::Hold(_) => Kind::HOLD,
            Self::Repeat(_) => Kind::REPEAT,
            Self::Script(_) => Kind::SCRIPT,
            Self::Run(_) => Kind::RUN,
        }
    }

    /// The nonce or run id that FAULT and BUSY echo; 0 for requests that carry none.
    pub const fn echo_id(&self) -> u32 {
        match self {
            Self::Read(read) => read.echo.nonce as u32,
            Self::Digest(digest) => digest.nonce as u32,
            Self::Walk(walk) => walk.nonce as u32,
            Self::Run(run) => run.id.run,
            Self::Hold(hold) => hold.id.run,
            Self::Repeat(repeat) => repeat.id.run,
            _ => 0,
        }
    }

    /// The body with this tag.
    pub fn encode(&self, tag: u8) -> Vec<u8> {
        let mut out = vec![self.kind().0, tag];
        match self {
            Self::Hello(m) => m.put(&mut out),
            Self::Ping | Self::Stop => {}
            Self::Rate(m) => m.put(&mut out),
            Self::Rail(m) => m.put(&mut out),
            Self::Shape(m) => m.put(&mut out),
            Self::Read(m) => m.echo.put(&mut out),
            Self::Digest(m) => m.put(&mut out),
            Self::Permit(m) => m.put(&mut out),
            Self::Lines(m) => m.put(&mut out),
            Self::Walk(m) => m.put(&mut out),
            Self::Hold(m) => m.put(&mut out),
            Self::Repeat(m) => m.put(&mut out),
            Self::Script(m) => m.put(&mut out),
            Self::Run(m) => m.put(&mut out),
        }
        out
    }

    /// The tag and the request of a body; `Ok(None)` for a kind that this version does not know.
    /// A kind with bit 7 set is a reply, an adapter's own echo on a looped line for instance: an
    /// adapter drops it ([`Kind::is_reply`]), since answering it would never end.
    pub fn decode(body: &[u8]) -> Result<Option<(u8, Self)>, Malformed> {
        let (kind, tag) = head(body)?;
        let mut fields = super::field::Fields::of(body);
        let f = &mut fields;
        let request = match kind {
            Kind::HELLO => {
                let hello = HelloRequest::take(f)?;
                // Of another protocol only the fields that every version has in the same place.
                if hello.major != PROTOCOL_MAJOR {
                    return Ok(Some((tag, Self::Hello(hello))));
                }
                Self::Hello(hello)
            }
            Kind::PING => Self::Ping,
            Kind::RATE => Self::Rate(RateRequest::take(f)?),
            Kind::RAIL => Self::Rail(RailRequest::take(f)?),
            Kind::SHAPE => Self::Shape(ShapeRequest::take(f)?),
            Kind::READ => Self::Read(ReadRequest { echo: super::ReadEcho::take(f)? }),
            Kind::DIGEST => Self::Digest(DigestRequest::take(f)?),
            Kind::STOP => Self::Stop,
            Kind::PERMIT => Self::Permit(PermitRequest::take(f)?),
            Kind::LINES => Self::Lines(LinesRequest::take(f)?),
            Kind::WALK => Self::Walk(WalkRequest::take(f)?),
            Kind::HOLD => Self::Hold(HoldRequest::take(f)?),
            Kind::REPEAT => Self::Repeat(RepeatRequest::take(f)?),
            Kind::SCRIPT => Self::Script(ScriptRequest::take(f)?),
            Kind::RUN => Self::Run(RunRequest::take(f)?),
            _ => return Ok(None),
        };
        fields.end()?;
        Ok(Some((tag, request)))
    }
}

/// What the adapter answers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reply {
    /// To HELLO.
    Hello(Box<HelloReply>),
    /// To PING.
    Ping(PingReply),
    /// To RATE.
    Rate(RateReply),
    /// To RAIL.
    Rail(RailReply),
    /// To SHAPE.
    Shape(ShapeReply),
    /// To READ.
    Read(ReadReply),
    /// To DIGEST.
    Digest(DigestReply),
    /// To STOP.
    Stop(StopReply),
    /// To PERMIT.
    Permit(PermitReply),
    /// To LINES.
    Lines(LinesReply),
    /// To WALK.
    Walk(WalkReply),
    /// To HOLD.
    Hold(HoldReply),
    /// To REPEAT.
    Repeat(RepeatReply),
    /// To SCRIPT.
    Script(ScriptReply),
    /// To RUN.
    Run(RunReply),
    /// The request goes on.
    Busy(Busy),
    /// The request was refused or failed.
    Fault(Fault),
}

impl Reply {
    /// Its kind.
    pub const fn kind(&self) -> Kind {
        match self {
            Self::Hello(_) => Kind::HELLO.reply(),
            Self::Ping(_) => Kind::PING.reply(),
            Self::Rate(_) => Kind::RATE.reply(),
            Self::Rail(_) => Kind::RAIL.reply(),
            Self::Shape(_) => Kind::SHAPE.reply(),
            Self::Read(_) => Kind::READ.reply(),
            Self::Digest(_) => Kind::DIGEST.reply(),
            Self::Stop(_) => Kind::STOP.reply(),
            Self::Permit(_) => Kind::PERMIT.reply(),
            Self::Lines(_) => Kind::LINES.reply(),
            Self::Walk(_) => Kind::WALK.reply(),
            Self::Hold(_) => Kind::HOLD.reply(),
            Self::Repeat(_) => Kind::REPEAT.reply(),
            Self::Script(_) => Kind::SCRIPT.reply(),
            Self::Run(_) => Kind::RUN.reply(),
            Self::Busy(_) => Kind::BUSY,
            Self::Fault(_) => Kind::FAULT,
        }
    }

    /// The body with the tag of the request.
    pub fn encode(&self, tag: u8) -> Vec<u8> {
        let mut out = vec![self.kind().0, tag];
        match self {
            Self::Hello(m) => m.put(&mut out),
            Self::Ping(m) => m.put(&mut out),
            Self::Rate(m) => m.put(&mut out),
            Self::Rail(m) => m.put(&mut out),
            Self::Shape(m) => m.put(&mut out),
            Self::Read(m) => m.put(&mut out),
            Self::Digest(m) => m.put(&mut out),
            Self::Stop(m) => m.put(&mut out),
            Self::Permit(m) => m.put(&mut out),
            Self::Lines(m) => m.put(&mut out),
            Self::Walk(m) => m.put(&mut out),
            Self::Hold(m) => m.put(&mut out),
            Self::Repeat(m) => m.put(&mut out),
            Self::Script(m) => m.put(&mut out),
            Self::Run(m) => m.put(&mut out),
            Self::Busy(m) => m.put(&mut out),
            Self::Fault(m) => m.put(&mut out),
        }
        out
    }

    /// The tag and the reply of a body; `Ok(None)` for a kind that this version does not know.
    pub fn decode(body: &[u8]) -> Result<Option<(u8, Self)>, Malformed> {
        let (kind, tag) = head(body)?;
        let mut fields = super::field::Fields::of(body);
        let f = &mut fields;
        let reply = match kind {
            Kind::BUSY => Self::Busy(Busy::take(f)?),
            Kind::FAULT => Self::Fault(Fault::take(f)?),
            Kind(n) if n & 0x80 == 0 => return Ok(None),
            Kind(n) => match Kind(n & 0x7F) {
                Kind::HELLO => Self::Hello(Box::new(HelloReply::take(f)?)),
                Kind::PING => Self::Ping(PingReply::take(f)?),
                Kind::RATE => Self::Rate(RateReply::take(f)?),
                Kind::RAIL => Self::Rail(RailReply::take(f)?),
                Kind::SHAPE => Self::Shape(ShapeReply::take(f)?),
                Kind::READ => Self::Read(ReadReply::take(f)?),
                Kind::DIGEST => Self::Digest(DigestReply::take(f)?),
                Kind::STOP => Self::Stop(StopReply::take(f)?),
                Kind::PERMIT => Self::Permit(PermitReply::take(f)?),
                Kind::LINES => Self::Lines(LinesReply::take(f)?),
                Kind::WALK => Self::Walk(WalkReply::take(f)?),
                Kind::HOLD => Self::Hold(HoldReply::take(f)?),
                Kind::REPEAT => Self::Repeat(RepeatReply::take(f)?),
                Kind::SCRIPT => Self::Script(ScriptReply::take(f)?),
                Kind::RUN => Self::Run(RunReply::take(f)?),
                _ => return Ok(None),
            },
        };
        // A later minor version may append fields to these; an older host reads on without them.
        if !matches!(reply, Self::Hello(_) | Self::Ping(_)) {
            fields.end()?;
        }
        Ok(Some((tag, reply)))
    }
}

fn head(body: &[u8]) -> Result<(Kind, u8), Malformed> {
    match *body {
        [kind, tag, ..] => Ok((Kind(kind), tag)),
        _ => Err(Malformed { field: "kind", at: 0, why: Why::Short }),
    }
}
