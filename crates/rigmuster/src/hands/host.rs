//! Who carries a deed out, and so how the next steps that it tells are taken there.

/// The host of a deed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Host {
    /// A command on the terminal: a next step is another command.
    Terminal,
    /// The board: a next step is one of its keys.
    Board,
}

impl Host {
    /// How the page of a unit is opened, wherever its address is: by its hardware, or by the row where it stands.
    pub(crate) fn page(self, mac: &str, name: &str) -> String {
        match self {
            Self::Terminal => format!("rigmuster reach {mac} --open"),
            Self::Board => format!("key o on {name}"),
        }
    }

    /// How the ports of a unit are opened.
    pub(crate) fn ports(self, mac: &str, name: &str) -> String {
        match self {
            Self::Terminal => format!("rigmuster reach {mac}"),
            Self::Board => self.page(mac, name),
        }
    }

    /// How a unit's lamp shows it.
    pub(crate) fn lamp(self, mac: &str, name: &str) -> String {
        match self {
            Self::Terminal => format!("rigmuster wink {mac}"),
            Self::Board => format!("key w on {name}, and Enter"),
        }
    }

    /// How one that may be anywhere is found.
    pub(crate) const fn far(self) -> &'static str {
        match self {
            Self::Terminal => "rigmuster survey --far",
            Self::Board => "key d (deep search)",
        }
    }

    /// How it is seen whether all is well.
    pub(crate) const fn check(self) -> &'static str {
        match self {
            Self::Terminal => "rigmuster check",
            Self::Board => "key c on it",
        }
    }

    /// How the same is begun anew.
    pub(crate) const fn again(self) -> &'static str {
        match self {
            Self::Terminal => "run the same again",
            Self::Board => "press the same key again",
        }
    }

    /// How what stays open is ended.
    pub(crate) const fn ends(self) -> &'static str {
        match self {
            Self::Terminal => "Ctrl-C",
            Self::Board => "Esc",
        }
    }
}
