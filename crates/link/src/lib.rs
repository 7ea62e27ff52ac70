//! The only room that knows an operating system's network.
//!
//! It offers *frames* ([`FramePort`]) and *dialers* for TCP and UDP.

mod dial;
mod frame;

pub use dial::{Dial, DialEvent, DialId, Transport};
pub use frame::{Frame, FramePort, PortError};
