//! Where the rig is to live, by what the user names.

use std::net::Ipv4Addr;

use rig::plan::{Dhcp, Hall, Held, Planned, Trouble, plan};
use rig::{Rig, Role};
use vocab::{AddressRange, DhcpOffer, Ipv4Net};

use super::look::Look;
use crate::args::PlanArgs;
use crate::settings::Expected;
use crate::{Failure, files};

/// A hall, and what the reader should know of it.
#[derive(Debug)]
pub(super) struct Target {
    pub(super) hall: Hall,
    /// What DHCP servers offered us: whoever gets it next, it is none for a device.
    pub(super) offered: Vec<Held>,
    pub(super) notes: Vec<String>,
}

impl Target {
    /// The venue's, the subnet's, the DHCP server's, or the rig's own. `None` when interrupted.
    pub(super) async fn find(
        args: &PlanArgs,
        expected: &Expected,
        rig: &Rig,
    ) -> Result<Option<Self>, Failure> {
        let (mut notes, mut held) = (Vec::new(), Vec::new());
        let hall = if let Some(path) = &args.venue {
            let venue = files::load_venue(path).map_err(Failure::usage)?;
            for theirs in venue
                .networks
                .iter()
                .filter(|n| rig.networks().all(|ours| ours.name != n.name))
            {
                notes.push(format!(
                    "the rig has no device on the venue's network {}.",
                    theirs.name
                ));
            }
            Hall::moved(rig, &venue)
        } else if let Some(subnet) = args.subnet {
            if let Some(gateway) = args.gateway.filter(|gateway| !is_host(subnet, *gateway)) {
                return Err(Failure::usage(format_args!(
                    "the gateway {gateway} is no host of {subnet}\nnext step: correct --gateway or --subnet"
                )));
            }
            Hall::renumbered(rig, subnet, args.gateway)
        } else if args.from_offer {
            let Some(look) = Look::around(&args.link, expected, rig.clone()).await? else {
                return Ok(None);
            };
            let (subnet, gateway) = offered(look.offers())?;
            notes.push(format!(
                "a DHCP server offers {subnet}, but not which addresses it gives out: ask for its pool and \
                 write it as leases, or plan with --venue."
            ));
            let offers = look.offers().iter();
            held.extend(offers.map(|offer| Held {
                address: offer.offered,
                mac: None,
            }));
            Hall::renumbered(rig, subnet, gateway)
        } else {
            Hall::of(rig)
        };
        for (role, block) in hall.lost_blocks(rig) {
            notes.push(left_out(role, block));
        }
        Ok(Some(Self {
            hall,
            offered: held,
            notes,
        }))
    }

    /// Plans for it. Blocks that were only carried over and have too little room here are left out.
    pub(super) fn plan(&mut self, rig: &Rig, held: &[Held], dhcp: Dhcp) -> Result<Planned, Failure> {
        let held: Vec<Held> = held.iter().chain(&self.offered).copied().collect();
        loop {
            let troubles = match plan(rig, &self.hall, &held, dhcp) {
                Ok(planned) => return Ok(planned),
                Err(troubles) => troubles,
            };
            let full = |trouble: &Trouble| match trouble {
                Trouble::BlocksFull { blocks, .. } if self.hall.carried => blocks.clone(),
                _ => Vec::new(),
            };
            let full: Vec<(Role, AddressRange)> = troubles.iter().flat_map(full).collect();
            if full.is_empty() {
                return Err(super::refused(&troubles));
            }
            for (role, block) in full {
                self.hall.plan.blocks.remove(&role);
                self.notes.push(left_out(role.as_str(), block));
            }
        }
    }
}

fn left_out(role: &str, block: AddressRange) -> String {
    format!("the block {role} = \"{block}\" has no place here and is left out.")
}

fn is_host(subnet: Ipv4Net, address: Ipv4Addr) -> bool {
    subnet.contains(&address) && address != subnet.network() && address != subnet.broadcast()
}

/// The one subnet that is offered, with its router.
fn offered(offers: &[DhcpOffer]) -> Result<(Ipv4Net, Option<Ipv4Addr>), Failure> {
    let mut all: Vec<(Ipv4Net, Option<Ipv4Addr>)> = offers
        .iter()
        .filter_map(|offer| {
            let subnet = Ipv4Net::with_netmask(offer.offered, offer.mask?).ok()?.trunc();
            let router = offer.router.filter(|router| is_host(subnet, *router));
            (16..=30)
                .contains(&subnet.prefix_len())
                .then_some((subnet, router))
        })
        .collect();
    all.dedup();
    match all.as_slice() {
        [one] => Ok(*one),
        [] => Err(Failure::usage(
            "no DHCP server offers a subnet that a rig can have (/16 to /30)\n\
             next step: ask for the subnet and name it: --subnet 10.40.8.0/24 --gateway 10.40.8.1",
        )),
        several => {
            let names: Vec<String> = several.iter().map(|(subnet, _)| subnet.to_string()).collect();
            Err(Failure::usage(format_args!(
                "DHCP servers offer several subnets: {}\n\
                 next step: find out which one is right (rigmuster survey) and name it with --subnet",
                names.join(", ")
            )))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use vocab::Mac;

    fn offer(offered: [u8; 4], mask: [u8; 4], router: [u8; 4]) -> DhcpOffer {
        DhcpOffer {
            server: router.into(),
            mac: Mac::new([2, 0x52, 0x43, 0, 0, router[3]]),
            offered: offered.into(),
            mask: Some(mask.into()),
            router: Some(router.into()),
            lease_s: None,
        }
    }

    #[test]
    fn one_subnet_is_taken_and_several_are_not() {
        let house = offer([10, 40, 8, 101], [255, 255, 255, 0], [10, 40, 8, 1]);
        let (subnet, gateway) = offered(std::slice::from_ref(&house)).unwrap();
        assert_eq!(
            (subnet.to_string(), gateway),
            ("10.40.8.0/24".to_owned(), Some([10, 40, 8, 1].into()))
        );
        let other = offer([192, 168, 0, 7], [255, 255, 255, 0], [192, 168, 0, 1]);
        let several = offered(&[house.clone(), other]).unwrap_err().message;
        assert!(several.contains("10.40.8.0/24, 192.168.0.0/24") && several.contains("next step"));
        let wide = offer([10, 1, 2, 3], [255, 0, 0, 0], [10, 0, 0, 1]);
        for none in [&[][..], &[wide]] {
            assert!(offered(none).unwrap_err().message.contains("next step"));
        }
        let odd = DhcpOffer {
            mask: Some([255, 0, 255, 0].into()),
            ..house
        };
        assert!(offered(&[odd]).is_err(), "no mask at all");
    }
}
