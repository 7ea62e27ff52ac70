//! Faults: SOAP 1.2 part 1 section 5.4, SOAP 1.1 section 4.4, and the codes of ONVIF Core Specification
//! (faults of the device service).

use core::fmt;

use vocab::Text;

use super::answer::Refusal;
use super::tree::Node;

/// Codes that say that a login is wrong or missing: ONVIF Core, and Web Services Security 1.1 section 12.
const LOGIN: [&str; 5] = [
    "NotAuthorized",
    "SenderNotAuthorized",
    "FailedAuthentication",
    "FailedCheck",
    "InvalidSecurityToken",
];
/// Codes that say that the device does not do this.
const NOT_OFFERED: [&str; 2] = ["ActionNotSupported", "OptionalActionNotImplemented"];

/// What a device finds wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Wrong {
    /// It has no interface of that token.
    Interface,
    /// It does not take the address.
    Address,
    /// It does not take the gateway.
    Gateway,
    /// Something else.
    Other,
}

/// A fault that is neither about the login nor about what the device offers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// What is wrong.
    pub wrong: Wrong,
    /// The device's own words, or its code if it has no words; may be empty.
    pub text: Text,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let what = match self.wrong {
            Wrong::Interface => "it has no such interface",
            Wrong::Address => "it does not take the address",
            Wrong::Gateway => "it does not take the gateway",
            Wrong::Other if self.text.is_empty() => "it does not say why",
            Wrong::Other => return write!(f, "\"{}\"", self.text),
        };
        f.write_str(what)?;
        if self.text.is_empty() {
            return Ok(());
        }
        write!(f, " (\"{}\")", self.text)
    }
}

/// What the fault `node` says.
pub(super) fn refusal(node: &Node) -> Refusal {
    let mut codes: Vec<&str> = Vec::new();
    let mut words = "";
    node.each(&mut |name, text| match name {
        "Value" | "faultcode" => codes.push(text.rsplit_once(':').map_or(text, |(_, local)| local)),
        "Text" | "faultstring" if words.is_empty() => words = text,
        _ => {}
    });
    let has = |wanted: &[&str]| codes.iter().any(|code| wanted.contains(code));
    // Older servers have no codes of their own, only words (common practice, no source).
    if has(&LOGIN) || words.to_ascii_lowercase().contains("not authorized") {
        return Refusal::NotAuthorized;
    }
    if has(&NOT_OFFERED) {
        return Refusal::NotOffered;
    }
    let wrong = if has(&["InvalidNetworkInterface"]) {
        Wrong::Interface
    } else if has(&["InvalidIPv4Address"]) {
        Wrong::Address
    } else if has(&["InvalidGatewayAddress"]) {
        Wrong::Gateway
    } else {
        Wrong::Other
    };
    let code = codes.last().copied().unwrap_or_default();
    Refusal::Fault(Fault {
        wrong,
        text: Text::clean(if words.is_empty() { code } else { words }),
    })
}
