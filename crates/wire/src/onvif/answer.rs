//! An answer of the device service, from the first byte to the body of its envelope.

use super::digest::{Challenge, schemes};
use super::fault::{self, Fault};
use super::tree::{self, NoTree, Node};
use crate::head::Head;
use crate::http;
use crate::malformed::Reason;

/// The longest answer that is read, in bytes: a device with a dozen interfaces tells some twenty thousand.
pub const MAX_ANSWER: usize = 64 * 1024;
/// Challenges kept of one answer.
const MAX_CHALLENGES: usize = 8;

/// Why a device did not do, or did not tell, what it was asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refusal {
    /// It does not take the login, or wants one where none was given.
    NotAuthorized,
    /// The login is right; only the nonce that it answered was too old.
    Stale,
    /// It wants a login that would send the password as it is: that is never given.
    PlainLoginOnly,
    /// It has no such service at this place.
    NoService,
    /// It has the service, but does not do this.
    NotOffered,
    /// Its fault, in its words.
    Fault(Fault),
    /// A status that says no, without a fault, or a page that is no answer of the service.
    Status(u16),
    /// It answered, but not in HTTP.
    NotHttp,
    /// What came is longer than [`MAX_ANSWER`], or its XML deeper than is read.
    TooLong,
    /// The connection ended before the answer did.
    Cut,
    /// The answer is no whole XML, or not an envelope.
    NotSoap,
    /// The answer lacks this, or has something there that makes no sense.
    Missing(&'static str),
}

impl core::fmt::Display for Refusal {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::NotAuthorized => f.write_str("the device does not take the login"),
            Self::Stale => f.write_str("the device wants the login anew"),
            Self::PlainLoginOnly => {
                f.write_str("the device takes a login only with the password in plain text")
            }
            Self::NoService => f.write_str("there is no ONVIF device service at this place"),
            Self::NotOffered => f.write_str("the device does not offer this by ONVIF"),
            Self::Fault(fault) => write!(f, "the device refuses: {fault}"),
            Self::Status(status) => write!(f, "the device answers with HTTP status {status}"),
            Self::NotHttp => f.write_str("what answers there does not speak HTTP"),
            Self::TooLong => f.write_str("the answer is too long"),
            Self::Cut => f.write_str("the connection ended before the answer did"),
            Self::NotSoap => f.write_str("the answer is not one of an ONVIF device service"),
            Self::Missing(what) => write!(f, "the answer does not tell {what}"),
        }
    }
}

impl core::error::Error for Refusal {}

/// A whole answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    status: u16,
    /// The fields that ask for a login.
    challenges: Vec<String>,
    body: Vec<u8>,
}

/// Listens for one answer, which comes in pieces.
#[derive(Debug, Default)]
pub struct Ear {
    heard: Vec<u8>,
}

impl Ear {
    /// An ear that heard nothing yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// A piece came. `None` while more must come.
    pub fn feed(&mut self, piece: &[u8]) -> Option<Result<Answer, Refusal>> {
        let room = MAX_ANSWER - self.heard.len();
        self.heard.extend(piece.iter().take(room));
        match self.listen(false) {
            None if piece.len() > room => Some(Err(Refusal::TooLong)),
            other => other,
        }
    }

    /// The device closed the connection, which ends an answer that does not tell its length.
    ///
    /// # Errors
    /// [`Refusal::Cut`] if more should have come, [`Refusal::NotHttp`].
    pub fn end(&mut self) -> Result<Answer, Refusal> {
        self.listen(true).unwrap_or(Err(Refusal::Cut))
    }

    fn listen(&mut self, ended: bool) -> Option<Result<Answer, Refusal>> {
        loop {
            let head = match http::parse(&self.heard) {
                Ok(head) => head,
                Err(e) => {
                    return match e.reason {
                        Reason::Short => None,
                        Reason::Long => Some(Err(Refusal::TooLong)),
                        _ => Some(Err(Refusal::NotHttp)),
                    };
                }
            };
            // A note such as "100 Continue" comes before the answer itself (RFC 9110 section 15.2).
            if head.status < 200 {
                let from = self.heard.len() - head.body.len();
                self.heard.drain(..from);
                continue;
            }
            let (body, all) = http::body(&head);
            let untold = head.field("content-length").is_none() && head.field("transfer-encoding").is_none();
            return (all || (ended && untold)).then(|| Ok(Answer::new(&head, body)));
        }
    }
}

impl Answer {
    fn new(head: &Head<'_>, body: Vec<u8>) -> Self {
        let fields = head.all("www-authenticate").take(MAX_CHALLENGES);
        Self {
            status: head.status,
            challenges: fields
                .filter_map(|field| core::str::from_utf8(field).ok().map(str::to_owned))
                .collect(),
            body,
        }
    }

    /// What stands in the envelope, if it is called `name`.
    pub(super) fn body(&self, name: &'static str) -> Result<Node, Refusal> {
        if self.status == 401 {
            let stale = self.challenge().is_some_and(|challenge| challenge.stale());
            return Err(if stale {
                Refusal::Stale
            } else {
                Refusal::NotAuthorized
            });
        }
        match tree::body(&self.body) {
            Ok(node) if node.is_fault() => Err(fault::refusal(&node)),
            Ok(node) if node.is(name) => Ok(node),
            Ok(_) if self.status == 200 => Err(Refusal::Missing(name)),
            Err(NoTree::TooMuch) => Err(Refusal::TooLong),
            Err(NoTree::NotXml | NoTree::NotSoap) if self.status == 200 => Err(Refusal::NotSoap),
            _ => Err(match self.status {
                403 => Refusal::NotAuthorized,
                404 | 405 => Refusal::NoService,
                501 => Refusal::NotOffered,
                status => Refusal::Status(status),
            }),
        }
    }

    /// The challenge in it that can be answered.
    pub(super) fn challenge(&self) -> Option<Challenge> {
        Challenge::choose(&self.challenges)
    }

    /// Whether it asks for a login, if only in its status.
    pub(super) const fn wants_login(&self) -> bool {
        self.status == 401
    }

    /// Whether all ways to log in that it offers beside the message are such as cannot be used.
    pub(super) fn only_unusable(&self) -> bool {
        let mut all = self.challenges.iter().flat_map(|field| schemes(field)).peekable();
        all.peek().is_some() && self.challenge().is_none()
    }

    /// The fault in it, if it is one.
    pub(super) fn fault(&self) -> Option<Refusal> {
        let node = tree::body(&self.body).ok()?;
        node.is_fault().then(|| fault::refusal(&node))
    }
}

#[cfg(test)]
#[path = "answer_tests.rs"]
mod tests;
