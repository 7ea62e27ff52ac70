//! The columns of the table, and by which headings people know them.

use std::collections::HashMap;
use std::sync::LazyLock;

/// A column that is understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) enum Column {
    Kind,
    Name,
    Role,
    Position,
    Channel,
    Mac,
    Address,
    Mask,
    Gateway,
    Network,
    How,
    Port,
    /// The switch alone, where `port` is but a number.
    SwitchName,
    CableM,
    PoeClass,
    Watts,
    Control,
    StreamMbps,
    UsedBy,
    Need,
    Ask,
    Sleeps,
    Boot,
    Login,
    Note,
    Ports,
    BudgetW,
    PoeType,
    UplinkMbps,
    Uplink,
    Subnet,
    Reach,
    Pace,
    Shared,
}

/// Every column in the order of an export, with its heading there and what else it may be called
/// (common practice, no source). Headings are compared in lower case, with one blank for whatever
/// parts words, and without what stands in brackets.
const COLUMNS: &[(Column, &str, &[&str])] = &[
    (Column::Kind, "kind", &["row", "row kind"]),
    (
        Column::Name,
        "name",
        &[
            "device",
            "device name",
            "label",
            "unit",
            "item",
            "host",
            "hostname",
            "host name",
        ],
    ),
    (
        Column::Role,
        "role",
        &["type", "device type", "function", "category", "what"],
    ),
    (
        Column::Position,
        "position",
        &["location", "place", "where", "room"],
    ),
    (
        Column::Channel,
        "channel",
        &["channels", "ch", "panel channel", "controller channel"],
    ),
    (
        Column::Mac,
        "mac",
        &[
            "macs",
            "mac address",
            "mac addresses",
            "hardware",
            "hardware address",
            "physical address",
            "ethernet address",
        ],
    ),
    (
        Column::Address,
        "address",
        &[
            "ip",
            "ip address",
            "ips",
            "ipv4",
            "ipv4 address",
            "addr",
            "static ip",
            "ip addr",
        ],
    ),
    (
        Column::Mask,
        "mask",
        &["netmask", "subnet mask", "network mask", "net mask"],
    ),
    (Column::Gateway, "gateway", &["default gateway", "gw", "router"]),
    (Column::Network, "network", &["net", "network name"]),
    (Column::How, "how", &["addressing", "ip assignment", "assignment"]),
    (
        Column::Port,
        "port",
        &[
            "switch port",
            "plugged into",
            "patch",
            "patch port",
            "switch and port",
        ],
    ),
    (Column::SwitchName, "switch", &["switch name"]),
    (
        Column::CableM,
        "cable_m",
        &["cable", "cable length", "cable length m", "length", "length m"],
    ),
    (Column::PoeClass, "poe_class", &["class", "power class"]),
    (
        Column::Watts,
        "watts",
        &["watt", "w", "power", "power w", "draw", "draw w"],
    ),
    (
        Column::Control,
        "control",
        &[
            "controls",
            "control port",
            "control ports",
            "protocol",
            "protocols",
            "control protocol",
        ],
    ),
    (
        Column::StreamMbps,
        "stream_mbps",
        &["stream", "bitrate", "bit rate", "mbps", "mb s", "stream mb s"],
    ),
    (
        Column::UsedBy,
        "used_by",
        &["used for", "feeds", "goes to", "destination"],
    ),
    (Column::Need, "need", &["needed", "needed for"]),
    (Column::Ask, "ask", &["asked"]),
    (Column::Sleeps, "sleeps", &["may sleep"]),
    (Column::Boot, "boot", &["boot time", "start time"]),
    // By no other name: what people call "login" or "password" is not for us to read.
    (Column::Login, "login_from", &[]),
    (
        Column::Note,
        "note",
        &["notes", "remark", "remarks", "comment", "comments", "info"],
    ),
    (Column::Ports, "ports", &["powered ports", "poe ports"]),
    (
        Column::BudgetW,
        "budget_w",
        &[
            "budget",
            "power budget",
            "poe budget",
            "power budget w",
            "poe budget w",
        ],
    ),
    (Column::PoeType, "poe_type", &["poe"]),
    (
        Column::UplinkMbps,
        "uplink_mbps",
        &["uplink speed", "uplink speed mbps"],
    ),
    (Column::Uplink, "uplink", &["uplink port"]),
    (Column::Subnet, "subnet", &["cidr"]),
    (Column::Reach, "reach", &[]),
    (Column::Pace, "pace", &[]),
    (Column::Shared, "shared", &[]),
];

/// Every column, in the order of an export.
pub(super) fn all() -> impl Iterator<Item = Column> {
    COLUMNS.iter().map(|(column, _, _)| *column)
}

impl Column {
    /// The column that a heading stands for.
    pub(super) fn of(heading: &str) -> Option<Self> {
        // Every heading there is, once.
        static KNOWN: LazyLock<HashMap<String, Column>> = LazyLock::new(|| {
            let all = COLUMNS.iter();
            all.flat_map(|(column, key, others)| {
                std::iter::once(key)
                    .chain(*others)
                    .map(|heading| (plain(heading), *column))
            })
            .collect()
        });
        if heading.is_empty() {
            return None;
        }
        KNOWN.get(&plain(heading)).copied()
    }

    /// Its heading in an export: the key of the rig file where it has one.
    pub(super) fn heading(self) -> &'static str {
        COLUMNS
            .iter()
            .find(|(column, _, _)| *column == self)
            .map_or("", |(_, heading, _)| heading)
    }
}

/// Words in a heading below which people keep what opens a device (common practice, no source).
const SECRETS: [&str; 20] = [
    "contraseña",
    "credential",
    "credentials",
    "kennwort",
    "login",
    "pass",
    "passcode",
    "passe",
    "passphrase",
    "passwd",
    "password",
    "passwords",
    "passwort",
    "pin",
    "psk",
    "pw",
    "pwd",
    "secret",
    "token",
    "wachtwoord",
];

/// Whether what stands below the heading may be a password or the like, which belongs in no rig file.
pub(super) fn is_secret(heading: &str) -> bool {
    Column::of(heading).is_none() && plain(heading).split(' ').any(|word| SECRETS.contains(&word))
}

/// Lower case, one blank between words, nothing in brackets.
fn plain(heading: &str) -> String {
    let heading = heading
        .split(['(', '['])
        .next()
        .unwrap_or_default()
        .to_lowercase();
    let words = heading
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty());
    words.collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn no_heading_stands_for_two_columns_and_each_for_its_own() {
        let mut seen = HashSet::new();
        for (column, key, others) in COLUMNS {
            for heading in std::iter::once(key).chain(*others) {
                assert!(seen.insert(plain(heading)), "{heading}");
                assert_eq!(Column::of(heading), Some(*column), "{heading}");
            }
        }
    }

    #[test]
    fn what_opens_a_device_is_known_by_its_heading() {
        for heading in [
            "Password",
            "WEB-Login",
            "admin pw",
            "PIN (menu)",
            "Passwort Kamera",
        ] {
            assert!(is_secret(heading), "{heading}");
        }
        for heading in [
            "login_from",
            "Passage",
            "Shelf",
            "Pinned",
            "Notes",
            "Serial number",
        ] {
            assert!(!is_secret(heading), "{heading}");
        }
    }

    #[test]
    fn headings_are_known_however_they_are_written() {
        for (heading, column) in [
            ("  IP-Address ", Column::Address),
            ("MAC", Column::Mac),
            ("Cable (m)", Column::CableM),
            ("CABLE_M", Column::CableM),
            ("Stream [Mb/s]", Column::StreamMbps),
            ("Switch / Port", Column::Port),
            ("Device Name:", Column::Name),
        ] {
            assert_eq!(Column::of(heading), Some(column), "{heading}");
        }
        assert_eq!(Column::of("Serial number"), None);
        assert_eq!(Column::of(""), None);
    }
}
