//! VISCA over IP, and bare VISCA in datagrams and streams.
//!
//! To read beside it: a camera maker's published technical manual with the VISCA over IP command
//! list (SRG-300H Technical Manual, pp. 27–34); other makers' command lists for the raw ports.
//! What is asked about is [`ask::Inquiry`]; what is done, [`ask::Command`], of which only a deed
//! that the user said yes to may make use.

pub mod ask;
pub mod exchange;
pub mod header;
pub mod position;
pub mod reply;

pub use ask::{Command, Inquiry, Speed, Way};
pub use exchange::{Exchange, Framing, Heard, Said, Sending};
pub use header::{Control, Datagram, HEADER, Kind};
pub use position::{Digits, Position};
pub use reply::{Refusal, Reply, Version};

use crate::malformed::{Layer, Malformed, Reason};

/// The longest packet, with its closing `FF`.
pub const MAX_PACKET: usize = 16;
/// What ends every packet.
const END: u8 = 0xff;

/// A packet with its `FF`, and what follows it.
pub type Cut<'a> = (&'a [u8], &'a [u8]);

/// Takes the first packet off a stream: it and the rest, or `None` if its end has not come yet.
///
/// # Errors
/// [`Reason::Long`] if 16 bytes hold no end.
pub fn split(stream: &[u8]) -> Result<Option<Cut<'_>>, Malformed> {
    match stream.iter().take(MAX_PACKET).position(|b| *b == END) {
        Some(end) => Ok(stream.split_at_checked(end + 1)),
        None if stream.len() >= MAX_PACKET => Err(Malformed::new(Layer::Visca, Reason::Long, MAX_PACKET)),
        None => Ok(None),
    }
}

#[cfg(test)]
mod tests;
