//! Findings about DHCP servers: none, one that does not fit the rig file, or more than one.

use std::net::Ipv4Addr;

use rig::{AddressSpec, How, Role};
use vocab::{DhcpOffer, Ipv4Net, Mac};

use crate::find::made;
use crate::judging::words::{number, place};
use crate::ledger::Ledger;
use crate::{Finding, FindingKind, Severity};

/// Servers described in one finding, and hardware named.
const MAX_TOLD: usize = 3;
const MAX_MACS: usize = 8;

/// How an offer compares with the rig file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Fit {
    /// Nothing speaks against it, or there is no file to compare with.
    Fits,
    /// The offered address lies outside the file's lease pools; it may be reserved for us.
    Outside,
    /// Another subnet or another gateway.
    Unlike,
}

/// The subnet in which an offer lies; `None` without a mask that makes sense.
fn subnet(offer: &DhcpOffer) -> Option<Ipv4Net> {
    let net = Ipv4Net::with_netmask(offer.offered, offer.mask?).ok()?;
    (net.prefix_len() > 0).then(|| net.trunc())
}

/// A time of so many seconds in words. All ones is "for ever" (RFC 2131 section 3.3, from memory).
fn span(seconds: u32) -> String {
    match seconds {
        u32::MAX => "for ever".to_owned(),
        s if s >= 172_800 && s.is_multiple_of(86_400) => format!("for {} days", s / 86_400),
        s if s >= 3_600 && s.is_multiple_of(3_600) => format!("for {} h", s / 3_600),
        s if s >= 60 && s.is_multiple_of(60) => format!("for {} min", s / 60),
        s => format!("for {s} s"),
    }
}

fn gives(offer: &DhcpOffer) -> String {
    let what = subnet(offer).map_or_else(
        || format!("gives addresses such as {} without a mask", offer.offered),
        |net| format!("gives addresses in {net}"),
    );
    let router = offer
        .router
        .map_or_else(|| "no gateway".to_owned(), |r| format!("the gateway {r}"));
    let lease = offer.lease_s.map(span).unwrap_or_default();
    format!("{what} with {router} {lease}").trim_end().to_owned()
}

impl Ledger {
    pub(crate) fn find_servers(&self, all: &mut Vec<Finding>) {
        match self.servers.known() {
            [] if self.servers.silent() && self.takes_leases() && !self.port.deaf() => {
                all.push(self.no_server());
            }
            [] => {}
            [one] => all.extend(self.one_server(one)),
            many => {
                let finding = self.many_servers(many);
                // Agreeing is no comfort where none of them fits the rig.
                if finding.severity == Severity::Note && many.iter().all(|o| self.fit(o).0 == Fit::Unlike) {
                    all.extend(many.first().and_then(|o| self.one_server(o)));
                }
                all.push(finding);
            }
        }
    }

    fn no_server(&self) -> Finding {
        let names: Vec<String> = self
            .tracks
            .iter()
            .filter(|t| t.device.address == AddressSpec::Dhcp || t.device.how == How::Reserved)
            .map(|t| t.device.name.clone())
            .collect();
        let whom = match names.as_slice() {
            [one] => format!("{one} gets"),
            [first, ..] => format!("{} devices, {first} first, get", names.len()),
            [] => "nobody gets".to_owned(),
        };
        Finding {
            devices: names,
            ..made(
                FindingKind::NoDhcpAnswer,
                Severity::Risk,
                format!("No DHCP server answers, asked twice: {whom} no address from one."),
                "Look whether the router or server that gives out the addresses is switched on and plugged \
                 into the rig's switch.",
            )
        }
    }

    fn one_server(&self, offer: &DhcpOffer) -> Option<Finding> {
        let (fit, unlike) = self.fit(offer);
        let device = self.odd_device(offer);
        if fit == Fit::Fits && device.is_none() && !self.settings.purpose.surveys() {
            return None;
        }
        let risk = fit == Fit::Unlike && self.takes_leases();
        let advice = match device {
            Some(i) => self.switch_off(i),
            None if fit == Fit::Unlike && self.factory.contains(&offer.server) => leave_factory(offer),
            None if fit != Fit::Fits => format!(
                "Compare the leases of {} with the rig file, and ask the venue's network keeper before \
                 anything is changed there.",
                offer.server
            ),
            None => format!("Nothing to do at {}: no lease was taken.", offer.server),
        };
        Some(Finding {
            devices: device
                .map(|i| self.tracks[i].device.name.clone())
                .into_iter()
                .collect(),
            address: Some(offer.server),
            macs: vec![offer.mac],
            ..made(
                FindingKind::DhcpServer,
                if risk { Severity::Risk } else { Severity::Note },
                format!(
                    "The DHCP server {} {}.{unlike}",
                    self.who_serves(offer),
                    gives(offer)
                ),
                advice,
            )
        })
    }

    fn many_servers(&self, offers: &[DhcpOffer]) -> Finding {
        let sort = |o: &DhcpOffer| (subnet(o), o.router);
        let agree = offers.windows(2).all(|w| sort(&w[0]) == sort(&w[1]));
        let by_dhcp = self.tracks.iter().any(|t| t.device.address == AddressSpec::Dhcp);
        let severity = match (agree, by_dhcp) {
            (true, _) => Severity::Note,
            (false, true) => Severity::Fault,
            (false, false) => Severity::Risk,
        };
        let mut told: Vec<String> = offers
            .iter()
            .take(MAX_TOLD)
            .map(|o| format!("{} {}", self.who_serves(o), gives(o)))
            .collect();
        if offers.len() > MAX_TOLD {
            told.push(format!("and {} more answer", offers.len() - MAX_TOLD));
        }
        let mut unlike: Vec<String> = offers.iter().take(MAX_TOLD).map(|o| self.fit(o).1).collect();
        unlike.dedup();
        let mut devices: Vec<usize> = offers.iter().filter_map(|o| self.odd_device(o)).collect();
        devices.dedup();
        let macs: Vec<Mac> = offers.iter().map(|o| o.mac).take(MAX_MACS).collect();
        Finding {
            devices: devices
                .iter()
                .map(|i| self.tracks[*i].device.name.clone())
                .collect(),
            macs,
            ..made(
                FindingKind::SecondDhcpServer,
                severity,
                format!(
                    "{} DHCP servers answer and {}. {}.{}",
                    number(offers.len()),
                    if agree { "agree" } else { "differ" },
                    told.join("; "),
                    unlike.concat()
                ),
                self.which_to_switch_off(offers, devices.first().copied(), agree),
            )
        }
    }

    fn which_to_switch_off(&self, offers: &[DhcpOffer], device: Option<usize>, agree: bool) -> String {
        if let Some(i) = device {
            return self.switch_off(i);
        }
        if agree {
            return "Ask the venue's network keeper whether all of them are meant to be on this switch."
                .to_owned();
        }
        let (unlike, like): (Vec<_>, Vec<_>) = offers.iter().partition(|o| self.fit(o).0 == Fit::Unlike);
        match (unlike.as_slice(), like.as_slice()) {
            ([one], [_, ..]) if self.factory.contains(&one.server) => leave_factory(one),
            ([one], [_, ..]) => format!(
                "Find {} on the switch, and ask the venue's network keeper before its DHCP server is \
                 switched off or it is unplugged.",
                one.mac
            ),
            _ => "Ask the venue's network keeper which of them belongs to this switch before one of them is \
                  switched off."
                .to_owned(),
        }
    }

    fn switch_off(&self, i: usize) -> String {
        let track = &self.tracks[i];
        format!(
            "Switch the DHCP server off in the network menu of {}{}, once the venue's network keeper agrees.",
            track.device.name,
            place(track)
        )
    }

    /// Who a server is, in words.
    fn who_serves(&self, offer: &DhcpOffer) -> String {
        let (server, mac) = (offer.server, offer.mac);
        let is = match self.serving_device(offer) {
            Some(i) => {
                let device = &self.tracks[i].device;
                match device.role {
                    Role::Camera => format!(", {}, a camera", device.name),
                    _ => format!(", {}", device.name),
                }
            }
            None if self.gateway() == Some(server) => ", the gateway".to_owned(),
            None if self.factory.contains(&server) => ", a factory address".to_owned(),
            None => String::new(),
        };
        format!("{server} ({mac}{is})")
    }

    /// The listed device that answers as a server: by its hardware, or, where the file lists
    /// none, by its address.
    fn serving_device(&self, offer: &DhcpOffer) -> Option<usize> {
        let by_address = || {
            let i = *self.by_address.get(&offer.server)?;
            self.tracks[i].device.macs.is_empty().then_some(i)
        };
        self.by_mac.get(&offer.mac).copied().or_else(by_address)
    }

    /// The same if it is no thing that is meant to give out addresses.
    fn odd_device(&self, offer: &DhcpOffer) -> Option<usize> {
        self.serving_device(offer).filter(|i| {
            let device = &self.tracks[*i].device;
            let usual = matches!(
                device.role,
                Role::Router | Role::AccessPoint | Role::Computer | Role::Other
            );
            !usual && self.gateway() != Some(offer.server)
        })
    }

    /// How an offer compares with the rig file, and what is to be said of it: sentences that each
    /// begin with a blank.
    fn fit(&self, offer: &DhcpOffer) -> (Fit, String) {
        let Some(rig) = &self.settings.rig else {
            return (Fit::Fits, String::new());
        };
        let network = &rig.network;
        let (server, offered) = (offer.server, offer.offered);
        if subnet(offer) != Some(network.subnet) {
            let text = format!(
                " What {server} gives does not fit the rig's subnet {}.",
                network.subnet
            );
            return (Fit::Unlike, text);
        }
        if let Some(gateway) = network.gateway
            && offer.router != Some(gateway)
        {
            let text = format!(" The rig's gateway is {gateway}, not what {server} gives.");
            return (Fit::Unlike, text);
        }
        let pools = &network.leases;
        let known = |a: Ipv4Addr| pools.iter().any(|p| p.contains(a)) || self.by_address.contains_key(&a);
        if !pools.is_empty() && !known(offered) && !self.is_ours(offered) {
            let text = format!(" {server} offers {offered}, outside the lease pools of the rig file.");
            return (Fit::Outside, text);
        }
        (Fit::Fits, String::new())
    }
}

fn leave_factory(offer: &DhcpOffer) -> String {
    format!(
        "Find {} on the switch, perhaps a camera with factory settings, and switch its DHCP server off or \
         unplug it, once the venue's network keeper agrees.",
        offer.mac
    )
}
