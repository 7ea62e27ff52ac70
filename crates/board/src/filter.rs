//! What the `/` filter lets through.

use std::fmt::{Display, Write as _};

use ledger::{DeviceView, HostView};
use rig::AddressSpec;

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

    /// The places of the things that it lets through, in order; `words` says by what one is found.
    pub(crate) fn places<T>(&self, all: &[T], words: impl Fn(&T, &mut Words)) -> Vec<usize> {
        if self.is_empty() {
            return (0..all.len()).collect();
        }
        let text = self.text.to_lowercase();
        let wanted: Vec<&str> = text.split_whitespace().collect();
        // One buffer for all, since a filter is applied to every device on every drawing.
        let mut hay = Words::default();
        all.iter()
            .enumerate()
            .filter(|(_, one)| {
                hay.0.clear();
                words(one, &mut hay);
                hay.lower();
                wanted.iter().all(|word| hay.0.contains(word))
            })
            .map(|(at, _)| at)
            .collect()
    }
}

/// What the words of a filter are looked for in, a line for each thing.
#[derive(Default)]
pub(crate) struct Words(String);

impl Words {
    /// One word.
    pub(crate) fn add(&mut self, one: impl Display) {
        // Writing to a string cannot fail.
        let _ = writeln!(self.0, "{one}");
    }

    /// Several.
    pub(crate) fn add_all<T: Display>(&mut self, all: impl IntoIterator<Item = T>) {
        all.into_iter().for_each(|one| self.add(one));
    }

    fn lower(&mut self) {
        if self.0.is_ascii() {
            self.0.make_ascii_lowercase();
        } else {
            self.0 = self.0.to_lowercase();
        }
    }
}

fn device_words(device: &DeviceView, out: &mut Words) {
    out.add(&device.name);
    out.add_all([
        device.role.as_str(),
        device.standing.words(),
        device.need.as_str(),
    ]);
    match device.expected_address {
        AddressSpec::Fixed(address) => out.add(address),
        AddressSpec::Dhcp => out.add("dhcp"),
        AddressSpec::None => {}
    }
    out.add_all(&device.expected_macs);
    for (panel, number) in &device.channels {
        out.add(format_args!("{panel} {number}"));
    }
    out.add_all(device.position.iter().chain(&device.port).chain(&device.network));
    if let Some(seen) = &device.seen {
        out.add_all(seen.mac);
        out.add_all(&seen.addresses);
        out.add_all(seen.vendor.iter().chain(seen.names.iter().map(|n| &n.text)));
    }
}

fn host_words(host: &HostView, out: &mut Words) {
    out.add("not on the list");
    out.add_all(host.mac);
    out.add_all(&host.network);
    out.add_all(&host.addresses);
    out.add_all(host.vendor.iter().chain(host.names.iter().map(|n| &n.text)));
    out.add_all(host.resembles.iter().map(|r| &r.device));
}
