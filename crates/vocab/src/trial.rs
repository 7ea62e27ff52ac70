//! The echoes of a cable check: frames of a few sizes.

use core::time::Duration;

/// How large a frame is on the wire. Five of the sizes at which links are commonly measured
/// (RFC 2544, section 9.1), from the least to the largest that Ethernet carries without a tag.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FrameSize {
    /// 64 bytes: the least there is (IEEE 802.3).
    Least,
    /// 256 bytes.
    Small,
    /// 512 bytes.
    Middle,
    /// 1,024 bytes.
    Large,
    /// 1,518 bytes: full size, with an IP packet of 1,500 (IEEE 802.3, RFC 894).
    Full,
}

impl FrameSize {
    /// All of them, from the least up.
    pub const ALL: [Self; 5] = [Self::Least, Self::Small, Self::Middle, Self::Large, Self::Full];

    /// Bytes of the whole frame, from the destination address to the check sequence.
    pub const fn bytes(self) -> u16 {
        match self {
            Self::Least => 64,
            Self::Small => 256,
            Self::Middle => 512,
            Self::Large => 1_024,
            Self::Full => 1_518,
        }
    }

    /// Bytes of data in an echo message that makes such a frame: without 18 bytes of Ethernet, 20 of
    /// IPv4 and 8 of ICMP.
    pub const fn echo_data(self) -> u16 {
        self.bytes() - 18 - 20 - 8
    }
}

/// One echo of a cable check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Trial {
    /// Its number, unique in a run.
    pub number: u32,
    /// How large its frame is, there and back.
    pub size: FrameSize,
}

/// What became of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tried {
    /// It left this computer.
    Sent,
    /// It did not leave, and will not: there is no way, or our own system refused it.
    NotSent,
    /// The whole of it came back, so long after it left.
    Answered(Duration),
    /// It did not come back in time, or not whole.
    Silent,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_data_is_what_makes_the_frame() {
        assert_eq!(
            FrameSize::ALL.map(FrameSize::echo_data),
            [18, 210, 466, 978, 1_472]
        );
        assert!(FrameSize::ALL.is_sorted());
    }
}
