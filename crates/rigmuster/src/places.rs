//! Where a deep search looks, as the command line says it.

use ledger::Places;
use vocab::Ipv4Net;

use crate::Failure;
use crate::args::{FarArgs, LinkArgs};

/// The widest network that can be searched: 16,777,214 addresses, 3 h 8 min at the usual pace.
const WIDEST: u8 = 8;

/// Reads a network such as `172.16.0.0/12`.
pub(crate) fn parse_place(text: &str) -> Result<Ipv4Net, String> {
    const FORM: &str = "a range is written as an IPv4 network, such as 172.16.0.0/12";
    let net: Ipv4Net = match text.parse() {
        Ok(net) => net,
        Err(_) if text.parse::<std::net::Ipv4Addr>().is_ok() => {
            return Err(format!(
                "for this one address write {text}/32, for the network around it {text}/24 with its last number 0"
            ));
        }
        Err(_) if text.contains(':') => {
            return Err(format!("IPv6 networks are too large to go through; {FORM}"));
        }
        Err(_) => return Err(FORM.to_owned()),
    };
    let first = net.network();
    if net.prefix_len() < WIDEST {
        return Err(format!(
            "/{} is too wide to go through: name parts of it, /{WIDEST} or narrower",
            net.prefix_len()
        ));
    }
    if net != net.trunc() {
        return Err(format!(
            "{} is an address inside its network: write {}",
            net.addr(),
            net.trunc()
        ));
    }
    let never = match first.octets()[0] {
        0 => Some("means \"this network\" and is no host's (RFC 1122)"),
        127 => Some("is this computer itself"),
        224..=239 => Some("is for groups, not hosts"),
        240.. => Some("is reserved and no host's (RFC 1112)"),
        _ => None,
    };
    match never {
        Some(why) => Err(format!("{net} {why}")),
        None => Ok(net),
    }
}

/// What to search besides the rig's subnet, if anything.
pub(crate) fn places(far: &FarArgs, link: &LinkArgs) -> Result<Option<Places>, Failure> {
    if !far.far && far.places.is_empty() {
        return Ok(None);
    }
    let option = if far.far { "--far" } else { "--in" };
    if far.far && !far.places.is_empty() {
        return Err(Failure::usage(
            "--far goes through its own list of ranges and --in only through the ones you name, so they do not go together\n\
             next step: leave one of them out; --in may be given several times",
        ));
    }
    if link.listen_only {
        return Err(Failure::usage(format_args!(
            "{option} asks for every address, and --listen-only sends nothing\n\
             next step: leave one of them out"
        )));
    }
    if link.unprivileged {
        return Err(Failure::usage(format_args!(
            "{option} needs whole frames, because other subnets cannot be seen with --unprivileged\n\
             next step: leave --unprivileged out; if permission is missing, the message says how to grant it"
        )));
    }
    Ok(Some(if far.far {
        Places::Usual
    } else {
        Places::Only(far.places.clone())
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn private_networks_of_any_size_down_to_one_address_are_taken() {
        for good in [
            "10.0.0.0/8",
            "172.16.0.0/12",
            "192.168.0.0/16",
            "192.168.77.5/32",
            "100.64.0.0/10",
        ] {
            assert_eq!(parse_place(good).map(|n| n.to_string()), Ok(good.to_owned()));
        }
    }

    #[test]
    fn what_cannot_be_searched_is_refused_with_a_reason() {
        for (bad, why) in [
            ("10.0.0.0/7", "too wide"),
            ("0.0.0.0/0", "too wide"),
            ("192.168.77.5/24", "write 192.168.77.0/24"),
            ("192.168.77.5", "/32"),
            ("fe80::/64", "IPv6"),
            ("224.0.0.0/8", "groups"),
            ("127.0.0.0/8", "itself"),
            ("240.0.0.0/8", "reserved"),
            ("0.0.0.0/8", "RFC 1122"),
            ("10.0.0.0/33", "is written"),
            ("10.0.0.0-10.0.0.9", "is written"),
            ("", "is written"),
        ] {
            let told = parse_place(bad).unwrap_err();
            assert!(told.contains(why), "{bad}: {told}");
        }
    }
}
