//! The verdict on a device.

/// How a device stands. See the contract for when each holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Standing {
    /// The expected hardware holds the expected address and every listed control port answered.
    Present,
    /// Seen to appear or return, and within its boot time not settled.
    Starting,
    /// Settled or past its boot time, and a listed control port is refused or silent.
    NoControl,
    /// Asked, provably sent, and unanswered.
    Missing,
    /// Its hardware is seen, and none of its addresses lies in the rig's subnet.
    WrongSubnet,
    /// Its hardware is in the subnet, but not at the expected address.
    Moved,
    /// Its address is held by other hardware, and its own is nowhere seen.
    Replaced,
    /// Its address is held by two or more at the same time.
    Conflict,
    /// Nothing can be said now.
    Unknown,
}

impl Standing {
    /// Every standing, in the order of the contract.
    pub const ALL: [Self; 9] = [
        Self::Present,
        Self::Starting,
        Self::NoControl,
        Self::Missing,
        Self::WrongSubnet,
        Self::Moved,
        Self::Replaced,
        Self::Conflict,
        Self::Unknown,
    ];

    /// The word in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Present => "present",
            Self::Starting => "starting",
            Self::NoControl => "no_control",
            Self::Missing => "missing",
            Self::WrongSubnet => "wrong_subnet",
            Self::Moved => "moved",
            Self::Replaced => "replaced",
            Self::Conflict => "conflict",
            Self::Unknown => "unknown",
        }
    }

    /// How much trouble it is: the greater, the worse.
    pub(crate) const fn trouble(self) -> u8 {
        match self {
            Self::Present => 0,
            Self::Unknown => 1,
            Self::Starting => 2,
            Self::NoControl => 3,
            Self::Moved => 4,
            Self::WrongSubnet => 5,
            Self::Replaced => 6,
            Self::Missing => 7,
            Self::Conflict => 8,
        }
    }

    /// The words on the screen.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Present => "present",
            Self::Starting => "starting",
            Self::NoControl => "on, won't take control",
            Self::Missing => "missing",
            Self::WrongSubnet => "wrong subnet",
            Self::Moved => "wrong address",
            Self::Replaced => "different unit",
            Self::Conflict => "two on one address",
            Self::Unknown => "not asked",
        }
    }
}

/// How many devices stand how.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts([usize; 9]);

impl Counts {
    /// Counts one more device.
    pub const fn add(&mut self, standing: Standing) {
        self.0[standing as usize] += 1;
    }

    /// Counts those of another count as well.
    pub(crate) fn add_all(&mut self, other: &Self) {
        for (mine, theirs) in self.0.iter_mut().zip(other.0) {
            *mine += theirs;
        }
    }

    /// How many stand so.
    pub const fn of(&self, standing: Standing) -> usize {
        self.0[standing as usize]
    }

    /// How many there are in all.
    pub fn total(&self) -> usize {
        self.0.iter().sum()
    }
}
