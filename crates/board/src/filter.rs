//! What the `/` filter lets through.

use ledger::{DeviceView, HostView};
use rig::AddressSpec;
use vocab::Mac;

/// The longest filter that can be typed, in characters.
const MOST: usize = 60;

/// The filter: every word of it must occur somewhere, in upper or lower case alike.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Filter {
    text: String,
    /// Whether keys go to it now.
    pub(crate) typing: bool,
}

impl Filter {
    /// Lets everything through.
    pub(crate) const NONE: Self = Self {
        text: String::new(),
        typing: false,
    };

    /// What was typed.
    pub(crate) fn text(&self) -> &str {
        &self.text
    }

    /// Whether it lets everything through.
    pub(crate) fn is_empty(&self) -> bool {
        self.text.trim().is_empty()
    }

    /// One character more.
    pub(crate) fn push(&mut self, c: char) {
        if self.text.chars().count() < MOST && !c.is_control() {
            self.text.push(c);
        }
    }

    /// One character less.
    pub(crate) fn pop(&mut self) {
        self.text.pop();
    }

    /// Lets everything through again.
    pub(crate) fn clear(&mut self) {
        self.text.clear();
        self.typing = false;
    }

    /// The places of the devices that it lets through, in order.
    pub(crate) fn devices(&self, all: &[DeviceView]) -> Vec<usize> {
        self.places(all, device_words)
    }

    /// The places of the hosts that it lets through, in order.
    pub(crate) fn hosts(&self, all: &[HostView]) -> Vec<usize> {
        self.places(all, host_words)
    }

    fn places<T>(&self, all: &[T], words: impl Fn(&T) -> String) -> Vec<usize> {
        if self.is_empty() {
            return (0..all.len()).collect();
        }
        let wanted = self.text.to_lowercase();
        all.iter()
            .enumerate()
            .filter(|(_, one)| {
                let hay = words(one).to_lowercase();
                wanted.split_whitespace().all(|word| hay.contains(word))
            })
            .map(|(at, _)| at)
            .collect()
    }
}

fn device_words(device: &DeviceView) -> String {
    let mut out = vec![
        device.name.clone(),
        device.role.as_str().to_owned(),
        device.standing.words().to_owned(),
        device.need.as_str().to_owned(),
    ];
    match device.expected_address {
        AddressSpec::Fixed(address) => out.push(address.to_string()),
        AddressSpec::Dhcp => out.push("dhcp".to_owned()),
        AddressSpec::None => {}
    }
    out.extend(device.expected_macs.iter().map(Mac::to_string));
    out.extend(device.channels.iter().map(|(panel, n)| format!("{panel} {n}")));
    out.extend(device.position.clone());
    out.extend(device.port.clone());
    if let Some(seen) = &device.seen {
        out.extend(seen.mac.map(|mac| mac.to_string()));
        out.extend(seen.addresses.iter().map(ToString::to_string));
        out.extend(seen.vendor.iter().chain(&seen.names).map(ToString::to_string));
    }
    out.join("\n")
}

fn host_words(host: &HostView) -> String {
    let mut out = vec!["not on the list".to_owned()];
    out.extend(host.mac.map(|mac| mac.to_string()));
    out.extend(host.addresses.iter().map(ToString::to_string));
    out.extend(host.vendor.iter().chain(&host.names).map(ToString::to_string));
    out.extend(host.resembles.iter().map(|r| r.device.clone()));
    out.join("\n")
}
