//! The arguments of `reach`.

use std::str::FromStr;
use std::time::Duration;

use clap::Args;
use vocab::ControlPort;

use super::{DeedArgs, parse_span};

/// Whom to reach, and how.
#[derive(Debug, Args)]
pub struct ReachArgs {
    /// The device's name in the rig file, its address, or its MAC; where two hold one address, only
    /// the MAC will do
    #[arg(value_name = "HOST")]
    pub host: String,
    #[command(flatten)]
    pub deed: DeedArgs,
    /// Carry this control port, such as visca-udp or tcp:9000, and with =PORT listen at that port of
    /// this computer; may be repeated. Default: those that the rig file lists, http and https
    #[arg(long, value_name = "WORD[:PORT][=PORT]")]
    pub control: Vec<ControlChoice>,
    /// Open the device's page in the browser as soon as it works
    #[arg(long)]
    pub open: bool,
    /// End by itself after this long, such as 10m; without it, when it is interrupted
    #[arg(long = "for", value_name = "TIME", value_parser = parse_span)]
    pub span: Option<Duration>,
}

/// A control port to carry, and the loopback port to listen at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ControlChoice {
    /// The device's.
    pub port: ControlPort,
    /// Ours; `None`: any that is free.
    pub local: Option<u16>,
}

impl FromStr for ControlChoice {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let (port, local) = match text.split_once('=') {
            None => (text, None),
            Some((port, local)) => (port, Some(local)),
        };
        let port = port
            .parse()
            .map_err(|e| format!("{e}; write a word of the rig file's control list, such as http:8080"))?;
        let local = local.map(|text| match text.parse::<u16>() {
            Ok(n) if n != 0 => Ok(n),
            _ => Err(format!(
                "{text:?} is no port of this computer; ports run from 1 to 65535"
            )),
        });
        Ok(Self {
            port,
            local: local.transpose()?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_control_port_and_where_to_listen_for_it() {
        let read = |text: &str| {
            text.parse::<ControlChoice>()
                .map(|c| (c.port.to_string(), c.local))
        };
        assert_eq!(read("http"), Ok(("http".to_owned(), None)));
        assert_eq!(read("http:8080=9000"), Ok(("http:8080".to_owned(), Some(9000))));
        assert_eq!(read("visca-udp=52381"), Ok(("visca-udp".to_owned(), Some(52381))));
        for bad in ["", "tcp", "http=", "http=0", "http=x", "=80", "http=80=81", "web"] {
            assert!(read(bad).is_err(), "{bad}");
        }
    }
}
