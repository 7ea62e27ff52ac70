//! The keys of the format, table by table, as DESIGN.md's contract lists them.

/// A table of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Root,
    /// A venue file's top level.
    Venue,
    Network,
    /// A `[networks.NAME]`.
    Beside,
    Switch,
    Device,
    Channel,
    Plan,
}

impl Kind {
    const ALL: [Self; 8] = [
        Self::Root,
        Self::Venue,
        Self::Network,
        Self::Beside,
        Self::Switch,
        Self::Device,
        Self::Channel,
        Self::Plan,
    ];

    /// Its keys, in the order of the contract.
    pub(super) const fn keys(self) -> &'static [&'static str] {
        match self {
            Self::Root => &[
                "format", "title", "network", "networks", "switch", "device", "plan",
            ],
            Self::Venue => &["format", "title", "network", "networks", "plan"],
            Self::Network => &["subnet", "gateway", "leases", "pace", "shared"],
            Self::Beside => &["subnet", "reach", "gateway", "leases", "pace", "shared"],
            Self::Switch => &[
                "name",
                "ports",
                "budget_w",
                "poe_type",
                "uplink_mbps",
                "uplink",
                "address",
                "mac",
                "network",
            ],
            Self::Device => &[
                "name",
                "role",
                "mac",
                "address",
                "network",
                "how",
                "control",
                "ask",
                "need",
                "sleeps",
                "port",
                "cable_m",
                "poe_class",
                "watts",
                "stream_mbps",
                "boot",
                "login",
                "position",
                "note",
                "used_by",
                "channels",
            ],
            Self::Channel => &["device", "control"],
            Self::Plan => &["reserved", "blocks"],
        }
    }

    /// What it is called in messages.
    pub(super) const fn title(self) -> &'static str {
        match self {
            Self::Root => "the file",
            Self::Venue => "a venue file",
            Self::Network => "[network]",
            Self::Beside => "[networks.NAME]",
            Self::Switch => "[[switch]]",
            Self::Device => "[[device]]",
            Self::Channel => "a channel",
            Self::Plan => "[plan]",
        }
    }
}

/// The keys of a table of the file, by what the table is called in messages, such as `[[device]]`;
/// none if there is no such table.
pub fn keys_of(table: &str) -> &'static [&'static str] {
    let found = Kind::ALL.into_iter().find(|kind| kind.title() == table);
    found.map_or(&[], Kind::keys)
}

/// The table that a key belongs to, the most likely one first.
pub(super) fn home(key: &str) -> Option<Kind> {
    // `network` is a header before it is a key of a device.
    [
        Kind::Root,
        Kind::Device,
        Kind::Network,
        Kind::Beside,
        Kind::Plan,
        Kind::Switch,
    ]
    .into_iter()
    .find(|kind| kind.keys().contains(&key))
}

/// Whether a header may bear the name.
pub(super) fn is_top_level(name: &str) -> bool {
    ["network", "switch", "device", "plan"].contains(&name) || name.starts_with("networks.")
}

/// Whether any table of the file has the key.
pub(super) fn is_known(key: &str) -> bool {
    Kind::ALL.into_iter().any(|kind| kind.keys().contains(&key))
}

/// Whether the key also stands in inline tables.
pub(super) fn is_inline(key: &str) -> bool {
    Kind::Channel.keys().contains(&key) || key == "switch"
}
