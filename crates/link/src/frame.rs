//! Frames in and out.

use std::fmt;

/// A received Ethernet frame.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Frame {
    /// From the destination address on, without the check sequence. A VLAN tag that the kernel
    /// has taken out is not in it.
    pub bytes: Vec<u8>,
    /// The VLAN identifier that the kernel has taken out (1–4094), or `None`.
    pub vlan: Option<u16>,
    /// The sender was a kernel on this machine that left TCP and UDP checksums to hardware which
    /// does not exist (veth): they must not be verified.
    pub checksum_unfinished: bool,
}

/// Why a frame did not leave or could not be read.
#[derive(Debug)]
pub enum PortError {
    /// The send queue is full: try again when the port is writable.
    Busy,
    /// The interface is switched off, has no carrier, or is gone. The port heals by itself when it returns.
    Down,
    /// Something else, in the system's words.
    Other(std::io::Error),
}

impl fmt::Display for PortError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Busy => f.write_str("the send queue is full"),
            Self::Down => f.write_str("the link does not carry"),
            Self::Other(e) => write!(f, "{e}"),
        }
    }
}

impl std::error::Error for PortError {}

/// A place where whole frames go in and out: a packet socket, or a jack of the simulated venue.
///
/// Neither call waits.
pub trait FramePort {
    /// Sends one frame, as it stands.
    ///
    /// # Errors
    /// See [`PortError`]; after an error the frame has not left.
    fn send(&mut self, frame: &[u8]) -> Result<(), PortError>;

    /// Takes the next received frame into `frame`, whose buffer is reused. False when there is none now.
    ///
    /// # Errors
    /// See [`PortError`]; reading can go on after any of them.
    fn receive(&mut self, frame: &mut Frame) -> Result<bool, PortError>;
}
