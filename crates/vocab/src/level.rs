//! How much this program may send.

/// How much is sent, by the user's word: the later, the quieter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Level {
    /// All that the head count asks.
    #[default]
    All,
    /// One question a second to each device of the rig, and nothing else: no control port, no sweep, no DHCP.
    Watch,
    /// Not one frame.
    Silent,
}

impl Level {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::All => "everything",
            Self::Watch => "watching only",
            Self::Silent => "nothing",
        }
    }
}
