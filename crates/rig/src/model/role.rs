//! What a device is for.

/// The part a device plays in the rig.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// A camera, with or without a pan-tilt head.
    Camera,
    /// A control panel with channels.
    Panel,
    /// A video switcher.
    Switcher,
    /// An encoder.
    Encoder,
    /// A decoder.
    Decoder,
    /// A recorder.
    Recorder,
    /// A monitor or projector.
    Display,
    /// Audio equipment.
    Audio,
    /// An intercom station.
    Intercom,
    /// A tally box.
    Tally,
    /// A network switch that is a device of its own.
    Switch,
    /// Something else.
    Other,
    /// A laptop or other computer.
    Computer,
    /// A router or DHCP server.
    Router,
    /// A wireless access point.
    AccessPoint,
}

impl Role {
    /// The roles that a `[[device]]` may name, in the order of the contract. [`Role::Switch`] is
    /// not among them: it comes from `[[switch]]` tables only.
    pub const LISTED: [Self; 14] = [
        Self::Camera,
        Self::Panel,
        Self::Switcher,
        Self::Encoder,
        Self::Decoder,
        Self::Recorder,
        Self::Display,
        Self::Audio,
        Self::Intercom,
        Self::Tally,
        Self::Other,
        Self::Computer,
        Self::Router,
        Self::AccessPoint,
    ];

    /// Every role, [`Role::Switch`] last.
    pub const ALL: [Self; 15] = {
        let mut all = [Self::Switch; 15];
        let (listed, _) = all.split_at_mut(Self::LISTED.len());
        listed.copy_from_slice(&Self::LISTED);
        all
    };

    /// The word in the rig file and in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Camera => "camera",
            Self::Panel => "panel",
            Self::Switcher => "switcher",
            Self::Encoder => "encoder",
            Self::Decoder => "decoder",
            Self::Recorder => "recorder",
            Self::Display => "display",
            Self::Audio => "audio",
            Self::Intercom => "intercom",
            Self::Tally => "tally",
            Self::Switch => "switch",
            Self::Other => "other",
            Self::Computer => "computer",
            Self::Router => "router",
            Self::AccessPoint => "access-point",
        }
    }
}
