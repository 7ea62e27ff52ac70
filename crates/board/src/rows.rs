//! What is shown, in which order, and which of it is selected.

use std::cmp::Ordering;
use std::collections::BTreeSet;
use std::net::Ipv4Addr;

use ledger::{DeviceView, Finding, FindingKind, HostView, Snapshot};
use vocab::Mac;

use crate::filter::Filter;

/// Who is selected: by name, so that a new order or filter does not change it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Who {
    /// The device of this name.
    Device(String),
    /// The host of this hardware, or of this address where no hardware is known.
    Host(Option<Mac>, Option<Ipv4Addr>),
}

impl Who {
    fn host(host: &HostView) -> Self {
        match host.mac {
            Some(mac) => Self::Host(Some(mac), None),
            None => Self::Host(None, host.addresses.first().copied()),
        }
    }

    /// Finds it in a snapshot, whether the filter shows it or not.
    pub(crate) fn find<'a>(&self, snapshot: &'a Snapshot) -> Option<One<'a>> {
        match self {
            Self::Device(name) => snapshot.devices.iter().find(|d| d.name == *name).map(One::Device),
            Self::Host(..) => snapshot
                .unlisted
                .iter()
                .find(|h| Self::host(h) == *self)
                .map(One::Host),
        }
    }
}

/// A device or an unlisted host of a snapshot.
#[derive(Debug, Clone, Copy)]
pub(crate) enum One<'a> {
    /// A device of the rig.
    Device(&'a DeviceView),
    /// A host that is not on the list.
    Host(&'a HostView),
}

impl One<'_> {
    /// Its lasting name.
    pub(crate) fn who(self) -> Who {
        match self {
            Self::Device(device) => Who::Device(device.name.clone()),
            Self::Host(host) => Who::host(host),
        }
    }
}

/// A line of the list.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Line<'a> {
    /// A device or host, and its place among the items.
    Item(usize, One<'a>),
    /// Above the devices of a common outage.
    Outage(&'a Finding),
    /// Between those and the other devices.
    Others,
    /// Between the devices and the hosts that are not on the list.
    Divider,
}

/// What parts the items of the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Head {
    /// The place of a common outage among the findings.
    Outage(usize),
    Others,
    Hosts,
}

/// The items that the filter lets through: on the list those of common outages first, then devices in file
/// order, then hosts.
#[derive(Debug, Clone)]
pub(crate) struct Shown {
    devices: Vec<usize>,
    hosts: Vec<usize>,
    /// Before which item each head stands, in order.
    heads: Vec<(usize, Head)>,
}

impl Shown {
    /// What `filter` lets through; hosts, and devices gathered under their outage, only on the list.
    pub(crate) fn new(snapshot: &Snapshot, filter: &Filter, list: bool) -> Self {
        let mut rest = filter.devices(&snapshot.devices);
        let (mut devices, mut hosts, mut heads) = (Vec::new(), Vec::new(), Vec::new());
        if list {
            let outages = snapshot.findings.iter().enumerate();
            for (n, outage) in outages.filter(|(_, f)| f.kind == FindingKind::CommonOutage) {
                let names: BTreeSet<&str> = outage.devices.iter().map(String::as_str).collect();
                let part = |at: &usize| {
                    snapshot
                        .devices
                        .get(*at)
                        .is_some_and(|d| names.contains(d.name.as_str()))
                };
                let (members, others): (Vec<usize>, Vec<usize>) = rest.iter().partition(|at| part(at));
                if !members.is_empty() {
                    heads.push((devices.len(), Head::Outage(n)));
                    devices.extend(members);
                    rest = others;
                }
            }
            if !heads.is_empty() && !rest.is_empty() {
                heads.push((devices.len(), Head::Others));
            }
            hosts = filter.hosts(&snapshot.unlisted);
        }
        devices.extend(rest);
        if !hosts.is_empty() {
            heads.push((devices.len(), Head::Hosts));
        }
        Self {
            devices,
            hosts,
            heads,
        }
    }

    /// How many items.
    pub(crate) const fn len(&self) -> usize {
        self.devices.len() + self.hosts.len()
    }

    /// Item `at`.
    pub(crate) fn get<'a>(&self, at: usize, snapshot: &'a Snapshot) -> Option<One<'a>> {
        if let Some(place) = self.devices.get(at) {
            return snapshot.devices.get(*place).map(One::Device);
        }
        let place = self.hosts.get(at.checked_sub(self.devices.len())?)?;
        snapshot.unlisted.get(*place).map(One::Host)
    }

    /// The place of `who` among the items.
    pub(crate) fn place(&self, who: &Who, snapshot: &Snapshot) -> Option<usize> {
        match who {
            Who::Device(name) => self
                .devices
                .iter()
                .position(|at| snapshot.devices.get(*at).is_some_and(|d| d.name == *name)),
            Who::Host(..) => self
                .hosts
                .iter()
                .position(|at| snapshot.unlisted.get(*at).is_some_and(|h| Who::host(h) == *who))
                .map(|at| at + self.devices.len()),
        }
    }

    /// How many lines the list has.
    pub(crate) const fn lines(&self) -> usize {
        self.len() + self.heads.len()
    }

    /// The line of item `at`.
    pub(crate) fn line_of(&self, at: usize) -> usize {
        at + self.heads.iter().filter(|(before, _)| *before <= at).count()
    }

    /// What stands in line `line`.
    pub(crate) fn line<'a>(&self, line: usize, snapshot: &'a Snapshot) -> Option<Line<'a>> {
        for (n, (before, head)) in self.heads.iter().enumerate() {
            match line.cmp(&(before + n)) {
                Ordering::Less => return self.item(line - n, snapshot),
                Ordering::Equal => {
                    return match head {
                        Head::Outage(at) => snapshot.findings.get(*at).map(Line::Outage),
                        Head::Others => Some(Line::Others),
                        Head::Hosts => Some(Line::Divider),
                    };
                }
                Ordering::Greater => {}
            }
        }
        self.item(line.checked_sub(self.heads.len())?, snapshot)
    }

    fn item<'a>(&self, at: usize, snapshot: &'a Snapshot) -> Option<Line<'a>> {
        self.get(at, snapshot).map(|one| Line::Item(at, one))
    }
}

/// The first line to show so that `chosen` is among `visible` lines, moving `top` no further than needed.
pub(crate) fn scroll(top: usize, chosen: usize, visible: usize, total: usize) -> usize {
    let visible = visible.max(1);
    let lowest = (chosen + 1).saturating_sub(visible);
    top.clamp(lowest, chosen.max(lowest))
        .min(total.saturating_sub(visible))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scrolling_moves_no_further_than_needed() {
        assert_eq!(scroll(0, 5, 10, 100), 0);
        assert_eq!(scroll(0, 10, 10, 100), 1);
        assert_eq!(scroll(50, 10, 10, 100), 10);
        assert_eq!(scroll(95, 99, 10, 100), 90);
        assert_eq!(scroll(7, 0, 0, 0), 0);
    }
}
