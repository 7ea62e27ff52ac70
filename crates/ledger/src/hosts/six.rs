//! What is heard over IPv6: that hardware is on the wire. It decides no standing.

use std::net::Ipv6Addr;
use std::time::Duration;

use vocab::{Ipv6Source, Mac, Moment};

use crate::hosts::claim::HostId;
use crate::ledger::Ledger;

/// So long it counts: everybody is asked once a minute while somebody is missing, and one answer may
/// be lost.
const HOLDS: Duration = Duration::from_secs(150);

impl Ledger {
    /// Hardware was heard over IPv6.
    pub(crate) fn heard_six(&mut self, at: Moment, mac: Mac, address: Ipv6Addr, source: Ipv6Source) {
        let id = HostId::Mac(mac);
        if !mac.is_host() || self.is_our_hardware(mac) {
            return;
        }
        let mut news = self.hosts.hear(id, at).news;
        if let Some(host) = self.hosts.get_mut(id) {
            // A link-local address is the one that stays.
            let stays = |a: &Ipv6Addr| a.is_unicast_link_local();
            let kept = host.six.map(|(old, by, _)| (old, by));
            // It keeps the source by which it was first heard.
            let shown = kept
                .filter(|(old, _)| *old == address || stays(old) && !stays(&address))
                .unwrap_or((address, source));
            news |= kept != Some(shown);
            host.six = Some((shown.0, shown.1, at));
        }
        self.revision += u64::from(news);
        self.soft = true;
        // What still stands as it stood leads to no other words.
        self.touched.extend(
            self.by_mac
                .get(&mac)
                .filter(|i| self.tracks[**i].evidence.six.is_none()),
        );
    }

    /// Where the listed hardware of device `i` was heard over IPv6 lately, and since it was last silent on IPv4: what it
    /// said before that says nothing of where it is now.
    pub(crate) fn six_of(&self, i: usize, now: Moment) -> Option<Ipv6Addr> {
        let heard = |mac: &Mac| self.hosts.get(HostId::Mac(*mac))?.six;
        let silent = self.own_claims(i).filter_map(|(_, c)| c.silent_since()).max();
        let all = self.tracks[i].device.macs.iter().filter_map(heard);
        all.filter(|(.., at)| now.since(*at) < HOLDS && silent.is_none_or(|since| *at > since))
            .max_by_key(|(.., at)| *at)
            .map(|(address, ..)| address)
    }
}
