//! The arguments of `readdress`.

use std::net::Ipv4Addr;
use std::path::PathBuf;
use std::str::FromStr;

use clap::Args;

use super::DeedArgs;

/// Which device gets which address.
#[derive(Debug, Args)]
pub struct ReaddressArgs {
    /// The device's name in the rig file, its address, or its MAC; where two hold one address, only
    /// the MAC will do
    #[arg(
        value_name = "DEVICE",
        required_unless_present = "moves",
        conflicts_with = "moves"
    )]
    pub device: Option<String>,
    /// The address that it gets, and its mask where the rig file does not say it, such as 10.40.8.30 or
    /// 10.40.8.30/24. Default: its address in the rig file
    #[arg(long, value_name = "ADDRESS[/MASK]", conflicts_with = "moves")]
    pub to: Option<ToChoice>,
    /// The gateway that it gets. Default: the one of its network in the rig file; without one it keeps its own
    #[arg(long, value_name = "ADDRESS", conflicts_with = "moves")]
    pub gateway: Option<Ipv4Addr>,
    /// Go through this work list of `plan --moves-to FILE`, one device at a time, each with its own question;
    /// stops at the first surprise. What is done is kept in the file
    #[arg(long, value_name = "FILE")]
    pub moves: Option<PathBuf>,
    #[command(flatten)]
    pub deed: DeedArgs,
}

/// An address, with or without a mask.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ToChoice {
    /// The address.
    pub address: Ipv4Addr,
    /// The prefix length.
    pub prefix: Option<u8>,
}

impl FromStr for ToChoice {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let (address, mask) = match text.split_once('/') {
            None => (text, None),
            Some((address, mask)) => (address, Some(mask)),
        };
        let address = address
            .parse()
            .map_err(|_| format!("{address:?} is no IPv4 address; write one such as 10.40.8.30"))?;
        let prefix = |mask: &str| {
            let dotted = |mask: Ipv4Addr| vocab::Ipv4Net::with_netmask(address, mask).ok();
            let short = mask.parse::<u8>().ok().filter(|prefix| *prefix <= 32);
            let long = || Some(dotted(mask.parse().ok()?)?.prefix_len());
            short
                .or_else(long)
                .ok_or_else(|| format!("{mask:?} is no mask; write 24 or 255.255.255.0"))
        };
        Ok(Self {
            address,
            prefix: mask.map(prefix).transpose()?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_comes_with_or_without_its_mask() {
        let read = |text: &str| text.parse::<ToChoice>().map(|to| to.prefix);
        assert_eq!(read("10.40.8.30"), Ok(None));
        assert_eq!(read("10.40.8.30/24"), Ok(Some(24)));
        assert_eq!(read("10.40.8.30/255.255.255.0"), Ok(Some(24)));
        for bad in [
            "",
            "10.40.8",
            "10.40.8.30/",
            "10.40.8.30/33",
            "10.40.8.30/255.0.255.0",
            "loft",
        ] {
            assert!(read(bad).is_err(), "{bad}");
        }
    }
}
