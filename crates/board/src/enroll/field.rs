//! A value of the selected host, as it is typed.

use std::net::Ipv4Addr;

use rig::enroll::{Draft, HostId, Row, name_fault};
use rig::{AddressSpec, Role};

/// The longest that is typed: one character more than a name may have, so that its fault is said.
const MOST: usize = 61;
/// The highest number of a channel (the rig file's contract).
const CHANNELS: u32 = 9_999;

/// Which value it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Which {
    Name,
    Role,
    Address,
    Channel,
}

/// A value that is being typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Field {
    pub(super) which: Which,
    pub(super) host: HostId,
    pub(super) text: String,
    /// Why what was typed is not taken.
    pub(super) fault: Option<String>,
}

impl Field {
    /// Begins to type, with what stands there now.
    pub(super) fn begin(which: Which, row: &Row) -> Self {
        let text = match which {
            Which::Name => row.name.clone(),
            // A role is chosen by its first letters, so the old one would only be in the way.
            Which::Role => String::new(),
            Which::Address => spec(row.address),
            Which::Channel => row.channel.map(|number| number.to_string()).unwrap_or_default(),
        };
        Self {
            which,
            host: row.id,
            text,
            fault: None,
        }
    }

    pub(super) fn push(&mut self, c: char) {
        if self.text.chars().count() < MOST && !c.is_control() {
            self.text.push(c);
            self.fault = None;
        }
    }

    pub(super) fn pop(&mut self) {
        self.text.pop();
        self.fault = None;
    }

    /// What is asked for.
    pub(super) fn title(&self) -> &'static str {
        match self.which {
            Which::Name => "Name",
            Which::Role => "Role",
            Which::Address => "Address",
            Which::Channel => "Channel",
        }
    }

    /// What may be typed, or what it comes to.
    pub(super) fn help(&self) -> String {
        match self.which {
            Which::Name => "up to 60 characters; nothing for the proposed one; Ctrl-U clears".to_owned(),
            Which::Role => match roles(&self.text).as_slice() {
                [only] => format!("it is {}", only.as_str()),
                [] => "no role begins so".to_owned(),
                several => several
                    .iter()
                    .map(|role| role.as_str())
                    .collect::<Vec<_>>()
                    .join(" "),
            },
            Which::Address => {
                "an address of the rig's network, dhcp, or none if it takes no part in the count; Ctrl-U clears".to_owned()
            }
            Which::Channel => "the number of the panel's channel, or nothing for none; Ctrl-U clears".to_owned(),
        }
    }

    /// Takes what was typed into the draft.
    ///
    /// # Errors
    /// Why it cannot be.
    pub(super) fn take(&self, draft: &mut Draft) -> Result<(), String> {
        let Some(n) = draft.place(self.host) else {
            return Ok(());
        };
        let text = self.text.trim();
        match self.which {
            Which::Name if text.is_empty() => draft.rename(n, ""),
            Which::Name => match name_fault(text) {
                Some(fault) => return Err(fault),
                None => draft.rename(n, text),
            },
            Which::Role => match roles(text).as_slice() {
                [role] => draft.cast(n, *role),
                [] => return Err(format!("no role begins with {text:?}")),
                _ if text.is_empty() => {}
                _ => return Err("type one letter more".to_owned()),
            },
            Which::Address => {
                let spec = match text {
                    "dhcp" => AddressSpec::Dhcp,
                    "none" => AddressSpec::None,
                    _ => match text.parse::<Ipv4Addr>() {
                        Ok(address) => AddressSpec::Fixed(address),
                        Err(_) => return Err("write an address such as 10.40.8.21, dhcp, or none".to_owned()),
                    },
                };
                draft.readdress(n, spec)?;
            }
            Which::Channel if text.is_empty() => draft.tune(n, None),
            Which::Channel => match text.parse() {
                Ok(number) if number <= CHANNELS => draft.tune(n, Some(number)),
                _ => return Err(format!("a channel is a number from 0 to {CHANNELS}")),
            },
        }
        Ok(())
    }
}

/// An address as it stands in the file.
pub(super) fn spec(address: AddressSpec) -> String {
    match address {
        AddressSpec::Fixed(address) => address.to_string(),
        AddressSpec::Dhcp => "dhcp".to_owned(),
        AddressSpec::None => "none".to_owned(),
    }
}

/// The roles that begin with `text`; one that is typed whole stands alone.
fn roles(text: &str) -> Vec<Role> {
    let text = text.trim().to_lowercase();
    let all = Role::LISTED;
    match all.iter().find(|role| role.as_str() == text) {
        Some(whole) => vec![*whole],
        None => all
            .into_iter()
            .filter(|role| role.as_str().starts_with(&text))
            .collect(),
    }
}
