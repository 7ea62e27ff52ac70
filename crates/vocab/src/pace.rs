//! How fast we may ask.

use core::num::NonZeroU32;

/// The pace of everything we send for discovery and watching, dials included.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Pace {
    /// A network of our own: [`Pace::OWN_PER_SECOND`] for a pass, 50 broadcasts a second sustained.
    #[default]
    Own,
    /// A house network with other people on it: 10 frames a second.
    House,
    /// This many frames a second.
    PerSecond(NonZeroU32),
    /// As fast as the link takes it. For benchmarks.
    Max,
}

impl Pace {
    /// One per cent of the minimum-size frames that a 100 Mb/s port carries: 148,809 a second
    /// (672 bit times each, IEEE 802.3), rounded down.
    pub const OWN_PER_SECOND: u32 = 1_488;
    /// Frames a second on a house network.
    pub const HOUSE_PER_SECOND: u32 = 10;
    /// Broadcasts a second that watching may send, however fast the pace.
    pub const BROADCASTS_PER_SECOND: u32 = 50;

    /// Frames a second in a pass; `None` where nothing holds it back.
    pub const fn per_second(self) -> Option<u32> {
        match self {
            Self::Own => Some(Self::OWN_PER_SECOND),
            Self::House => Some(Self::HOUSE_PER_SECOND),
            Self::PerSecond(n) => Some(n.get()),
            Self::Max => None,
        }
    }
}
