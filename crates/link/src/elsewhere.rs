//! The live link on systems for which it is not built: a clear refusal.

use std::convert::Infallible;
use std::net::Ipv4Addr;

use vocab::{FrameSize, Ipv4Net, Mode, Station};

use crate::{Dial, DialId, Frame, LiveEvent, OpenError, OpenHow, PortError};

/// One interface, whole. On this system there can be none.
#[derive(Debug)]
pub struct Live(Infallible);

#[expect(clippy::unused_async, reason = "the same calls as where the link is built")]
impl Live {
    /// Refuses.
    ///
    /// # Errors
    /// Always [`OpenError::Unsupported`].
    pub fn open(_name: &str, _how: OpenHow) -> Result<Self, OpenError> {
        Err(OpenError::Unsupported {
            system: std::env::consts::OS,
        })
    }

    /// Refuses.
    ///
    /// # Errors
    /// Always [`OpenError::Unsupported`].
    pub fn open_routed(_net: Ipv4Net, _fallback: &str) -> Result<Self, OpenError> {
        Self::open("", OpenHow::Auto)
    }

    /// How frames get in and out.
    pub fn mode(&self) -> Mode {
        match self.0 {}
    }

    /// The interface as it is now.
    pub fn station(&self) -> &Station {
        match self.0 {}
    }

    /// Waits until something may have happened.
    pub async fn ready(&mut self) {
        match self.0 {}
    }

    /// The next thing that happened.
    pub fn next(&mut self, _frame: &mut Frame) -> Option<LiveEvent> {
        match self.0 {}
    }

    /// Sends one frame.
    ///
    /// # Errors
    /// See [`PortError`].
    pub fn send(&mut self, _frame: &[u8]) -> Result<(), PortError> {
        match self.0 {}
    }

    /// Waits until a frame may be sent.
    pub async fn writable(&mut self) {
        match self.0 {}
    }

    /// Makes the kernel look for an address.
    ///
    /// # Errors
    /// See [`PortError`].
    pub fn poke(&mut self, _address: Ipv4Addr) -> Result<(), PortError> {
        match self.0 {}
    }

    /// Sends an echo request.
    ///
    /// # Errors
    /// See [`PortError`].
    pub fn ping(&mut self, _address: Ipv4Addr, _sequence: u16) -> Result<(), PortError> {
        match self.0 {}
    }

    /// Sends an echo request of that size.
    ///
    /// # Errors
    /// See [`PortError`].
    pub fn ping_sized(
        &mut self,
        _address: Ipv4Addr,
        _sequence: u16,
        _size: FrameSize,
    ) -> Result<(), PortError> {
        match self.0 {}
    }

    /// Whether [`Live::ping`] can work.
    pub fn can_ping(&self) -> bool {
        match self.0 {}
    }

    /// Opens a connection or exchange.
    pub fn dial(&mut self, _dial: Dial) {
        match self.0 {}
    }

    /// Sends over it.
    pub fn dial_send(&mut self, _id: DialId, _data: Vec<u8>) {
        match self.0 {}
    }

    /// Ends it.
    pub fn dial_close(&mut self, _id: DialId) {
        match self.0 {}
    }

    /// Also lets in TCP, UDP and ICMP for these addresses.
    ///
    /// # Errors
    /// See [`PortError`].
    pub fn admit(&mut self, _addresses: &[Ipv4Addr]) -> Result<(), PortError> {
        match self.0 {}
    }

    /// Tells the switches that we want to hear the groups of discovery, or no longer do.
    pub fn join_groups(&mut self, _join: bool) {
        match self.0 {}
    }

    /// How many short frames the system keeps until they are read.
    pub fn room(&self) -> Option<usize> {
        match self.0 {}
    }

    /// Frames that the kernel had to drop.
    pub fn dropped(&mut self) -> u64 {
        match self.0 {}
    }
}

/// The default gateway, which is not looked up on this system.
pub fn default_gateway() -> Option<Ipv4Addr> {
    None
}

/// Whether the kernel forwards what is for others, which is not looked up on this system.
pub fn forwards(_interface: &str) -> Option<bool> {
    None
}

/// The networks of one rig that can be asked with whole frames.
pub const MOST_NETWORKS: usize = 32;

/// Gives up every right beyond those of the user: on this system none is used, and none is asked for.
///
/// # Errors
/// Never.
pub fn give_up_rights(_sockets: bool) -> std::io::Result<()> {
    Ok(())
}

/// Closes the sockets that no link took: there are none.
pub fn close_spare() {}
