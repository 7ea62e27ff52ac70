//! Masks that devices tell of themselves, beside the rig's.

use std::net::Ipv4Addr;

use vocab::{Mac, Moment};

use crate::find::made;
use crate::hosts::claim::HostId;
use crate::judging::words::place;
use crate::ledger::Ledger;
use crate::{Finding, FindingKind, Severity};

impl Ledger {
    /// A host told its address and mask.
    pub(crate) fn told_mask(&mut self, at: Moment, mac: Mac, address: Ipv4Addr, mask: Ipv4Addr) {
        let id = HostId::Mac(mac);
        if !mac.is_host() || self.is_our_hardware(mac) {
            return;
        }
        let news = self.hosts.hear(id, at).news;
        self.revision += u64::from(news);
        if let Some(host) = self.hosts.get_mut(id)
            && host.mask != Some((address, mask))
        {
            host.mask = Some((address, mask));
            self.wire_dirty |= self.by_mac.contains_key(&mac);
        }
    }

    /// Devices whose mask is not the rig's, as far as they tell: they may not reach all of the rig.
    pub(crate) fn find_masks(&self, all: &mut Vec<Finding>) {
        let Some(subnet) = self.settings.rig.as_ref().map(|r| r.network.subnet) else {
            return;
        };
        for track in &self.tracks {
            let told = |mac: &Mac| Some((*mac, self.hosts.get(HostId::Mac(*mac))?.mask?));
            let told = track.device.macs.iter().filter_map(told);
            let mut wrong = told.filter(|(_, (a, m))| subnet.contains(a) && *m != subnet.netmask());
            let Some((mac, (address, mask))) = wrong.next() else {
                continue;
            };
            let name = &track.device.name;
            all.push(Finding {
                devices: vec![name.clone()],
                address: Some(address),
                macs: vec![mac],
                ..made(
                    FindingKind::DeviceMask,
                    Severity::Note,
                    format!(
                        "{name} says that its mask is {mask}; the rig's is {}.",
                        subnet.netmask()
                    ),
                    format!(
                        "Set the mask to {} in the network menu of {name}{}.",
                        subnet.netmask(),
                        place(track)
                    ),
                )
            });
        }
    }
}
