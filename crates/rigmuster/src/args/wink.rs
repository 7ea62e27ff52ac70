//! The arguments of `wink`.

use std::time::Duration;

use clap::Args;
use vocab::ControlPort;

use super::{DeedArgs, parse_span};
use crate::hands::wink::{LONGEST, SHORTEST};

/// Which camera is to show itself, and how.
#[derive(Debug, Args)]
pub struct WinkArgs {
    /// The device's name in the rig file, its address, or its MAC; where two hold one address, only
    /// the MAC will do
    #[arg(value_name = "HOST")]
    pub host: String,
    /// Move the head a little and back instead of switching the lamp
    #[arg(long)]
    pub nudge: bool,
    /// Let the lamp wink so long, from 2s to 1m
    #[arg(long = "for", value_name = "TIME", value_parser = parse_wink, default_value = "10s", conflicts_with = "nudge")]
    pub span: Duration,
    /// Speak to this VISCA port instead of those that the rig file lists: visca-udp, visca-tcp or
    /// visca-raw-udp, with :PORT where it is not the usual one
    #[arg(long, value_name = "WORD[:PORT]", value_parser = parse_port)]
    pub control: Option<ControlPort>,
    #[command(flatten)]
    pub deed: DeedArgs,
}

fn parse_wink(text: &str) -> Result<Duration, String> {
    let span = parse_span(text)?;
    if (SHORTEST..=LONGEST).contains(&span) {
        return Ok(span);
    }
    Err("a lamp may wink from 2s to 1m".into())
}

fn parse_port(text: &str) -> Result<ControlPort, String> {
    const HELP: &str =
        "write visca-udp, visca-tcp or visca-raw-udp, with :PORT where it is not the usual one";
    let port: ControlPort = text.parse().map_err(|e| format!("{e}; {HELP}"))?;
    if wire::visca::Framing::of(port.word).is_none() {
        return Err(HELP.into());
    }
    Ok(port)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_and_ports_that_a_wink_takes() {
        assert_eq!(parse_wink("10s"), Ok(Duration::from_secs(10)));
        for bad in ["1s", "61s", "2h", "x"] {
            assert!(parse_wink(bad).is_err(), "{bad}");
        }
        assert!(parse_port("visca-udp:52382").is_ok() && parse_port("visca-tcp").is_ok());
        for bad in ["http", "tcp:5678", "visca", ""] {
            assert!(parse_port(bad).is_err(), "{bad}");
        }
    }
}
