//! How an address is known, and what a host tells DHCP servers of itself, in words.

use ledger::{AddressView, HeardView, Known};
use vocab::{ClientId, Mac};

use crate::words::Clock;

/// How an address is known: proven, likely (who answers for others would do the same), or only told.
pub(crate) fn how(known: Known, clock: Clock<'_>) -> String {
    match known {
        Known::Held { by } if by.is_owners() => format!("proven: {}", by.words()),
        Known::Held { by } => format!("likely: {}", by.words()),
        Known::Was { by, last } => format!("not there now, last {}: {}", clock(last), by.words()),
        Known::Told { by, at } => format!("only told, {}: {}", clock(at), by.words()),
    }
}

/// An address and how it is known.
pub(crate) fn address(view: &AddressView, clock: Clock<'_>) -> String {
    format!("{}, {}", view.address, how(view.known, clock))
}

/// What a host of that hardware tells DHCP servers, as labels and words.
pub(crate) fn dhcp(heard: &HeardView, own: Option<Mac>) -> Vec<(&'static str, String)> {
    let mut out = Vec::new();
    if let Some(class) = &heard.dhcp_class {
        out.push(("DHCP class", format!("{class} (its own word)")));
    }
    if let Some(id) = &heard.dhcp_id {
        let mut words = match id {
            ClientId::Hardware(mac) if Some(*mac) == own => "its own hardware".to_owned(),
            other => other.to_string(),
        };
        if !heard.same_unit.is_empty() {
            words = format!(
                "{words}: by its own word one unit with {}",
                heard.same_unit.join(", ")
            );
        }
        out.push(("DHCP id", words));
    }
    out
}
