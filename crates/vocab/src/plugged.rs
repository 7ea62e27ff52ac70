//! What we are plugged into, by the word of the switch.

use core::fmt;
use core::net::Ipv4Addr;
use core::time::Duration;

use crate::{Mac, Text};

/// A switch and its port at the other end of our cable, as its LLDP frame (IEEE 802.1AB) says. Behind
/// a simple switch that passes such frames on it may be one further away.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Plugged {
    /// Source of the frame: the switch's hardware at that port.
    pub mac: Mac,
    /// What the switch is called; where it gives no name, what it is known by.
    pub switch: Text,
    /// What the port is called.
    pub port: Text,
    /// Where the switch is managed.
    pub address: Option<Ipv4Addr>,
    /// For how long it holds without being said again, at most 65,535 s; zero takes it back.
    pub holds: Duration,
}

impl fmt::Display for Plugged {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let port = self.port.as_str();
        let says_so = port
            .get(..4)
            .is_some_and(|start| start.eq_ignore_ascii_case("port"));
        let word = if says_so { "" } else { "port " };
        write!(f, "{}, {word}{port}", self.switch)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_port_is_called_one_once() {
        let of = |port: &str| {
            Plugged {
                mac: Mac::ZERO,
                switch: "S1".into(),
                port: port.into(),
                address: None,
                holds: Duration::ZERO,
            }
            .to_string()
        };
        assert_eq!(of("3"), "S1, port 3");
        assert_eq!(of("Port 3"), "S1, Port 3");
        assert_eq!(of("é3"), "S1, port é3");
    }
}
