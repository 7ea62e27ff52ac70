//! Which interface serves which network.

use link::Interface;
use rig::{Network, Reach, Rig};

use crate::Failure;
use crate::args::LinkChoice;

/// The interface of each network that is asked over a wire, in the order of the rig's networks:
/// the one that the arguments name; for the main one else as [`link::choose`] says; for another
/// the only one whose address lies in its subnet.
pub(super) fn assign(
    rig: Option<&Rig>,
    wanted: &[LinkChoice],
    interfaces: &[Interface],
) -> Result<Vec<(String, String)>, Failure> {
    fits(rig, wanted)?;
    let of = |name: &str| {
        let choice = wanted.iter().find(|choice| choice.network() == name);
        choice.map(|choice| choice.interface.as_str())
    };
    let subnet = rig.map(|rig| rig.network.subnet);
    let main = link::choose(interfaces, subnet, of(Network::MAIN)).map_err(Failure::link)?;
    let mut assigned = vec![(Network::MAIN.to_owned(), main)];
    let others = rig.into_iter().flat_map(|rig| &rig.others);
    for network in others.filter(|network| network.reach == Reach::Wire) {
        let interface = match of(&network.name) {
            Some(name) => link::choose(interfaces, None, Some(name)).map_err(Failure::link)?,
            None => by_address(network, interfaces)?,
        };
        assigned.push((network.name.clone(), interface));
    }
    apart(&assigned)?;
    Ok(assigned)
}

/// Every `--link` must name a network that is asked over a wire, and each at most once.
fn fits(rig: Option<&Rig>, wanted: &[LinkChoice]) -> Result<(), Failure> {
    for (n, choice) in wanted.iter().enumerate() {
        let name = choice.network();
        if wanted.iter().take(n).any(|before| before.network() == name) {
            return Err(Failure::usage(format_args!(
                "--link names an interface for the network {name} twice\n\
                 next step: keep one; another network's is written --link NAME=INTERFACE"
            )));
        }
        let network = rig.and_then(|rig| rig.networks().find(|network| network.name == name));
        match network {
            Some(network) if network.reach == Reach::Routed => {
                return Err(Failure::usage(format_args!(
                    "the network {name} is routed, so it has no link of its own\n\
                     next step: leave --link {name}={} out, or write reach = \"wire\" in [networks.{name}]",
                    choice.interface
                )));
            }
            None if name != Network::MAIN => {
                let known: Vec<&str> = rig
                    .into_iter()
                    .flat_map(Rig::networks)
                    .filter(|network| network.reach == Reach::Wire)
                    .map(|network| network.name.as_str())
                    .collect();
                let next = if known.is_empty() {
                    "name a rig file that has it, or write --link INTERFACE".to_owned()
                } else {
                    format!("name one of {}", known.join(", "))
                };
                return Err(Failure::usage(format_args!(
                    "--link {name}={}: the rig has no network called {name:?}\nnext step: {next}",
                    choice.interface
                )));
            }
            _ => {}
        }
    }
    Ok(())
}

fn by_address(network: &Network, interfaces: &[Interface]) -> Result<String, Failure> {
    let usable: Vec<&Interface> = interfaces.iter().filter(|i| i.mac.is_some()).collect();
    let inside = |i: &&Interface| i.is_within(network.subnet);
    let fitting: Vec<&Interface> = usable.iter().copied().filter(inside).collect();
    let (name, subnet) = (&network.name, network.subnet);
    let (what, choices) = match fitting.as_slice() {
        [one] => return Ok(one.name.clone()),
        [] => (
            format!("no interface of this computer has an address in {subnet}, the network {name}"),
            usable,
        ),
        several => (
            format!("more than one interface has an address in {subnet}, the network {name}"),
            several.to_vec(),
        ),
    };
    let list: Vec<String> = choices.iter().map(ToString::to_string).collect();
    let list = if list.is_empty() {
        "this computer has no network adapter that could serve, so plug one in".to_owned()
    } else {
        format!("choose one with --link {name}=INTERFACE: {}", list.join(", "))
    };
    Err(Failure::link(format_args!("{what}\nnext step: {list}")))
}

/// Two networks over one interface would ask one wire at twice the pace, and each would take the
/// other's devices for strangers.
fn apart(assigned: &[(String, String)]) -> Result<(), Failure> {
    for (n, (name, interface)) in assigned.iter().enumerate() {
        if let Some((before, _)) = assigned.iter().take(n).find(|(_, other)| other == interface) {
            return Err(Failure::usage(format_args!(
                "the networks {before} and {name} would both be asked over {interface}\n\
                 next step: give each an interface of its own, such as --link {name}=INTERFACE, \
                 or write two rig files and check one after the other"
            )));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use vocab::{Mac, Medium};

    const RIG: &str = "format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n[networks.media]\nsubnet = \"10.40.12.0/24\"\n\
                       [networks.office]\nsubnet = \"10.41.0.0/24\"\nreach = \"routed\"\n";

    fn rig() -> Rig {
        rig::read("three.rig.toml", RIG.as_bytes()).rig.unwrap()
    }

    fn interface(name: &str, address: &str) -> Interface {
        Interface {
            name: name.to_owned(),
            mac: Some(Mac::new([0x02, 0x52, 0x43, 0, 0, 1])),
            addresses: address.parse().into_iter().collect(),
            up: true,
            carrier: true,
            medium: Medium::Wired,
            default_route: false,
        }
    }

    fn seat() -> [Interface; 3] {
        [
            interface("eth0", "10.40.8.5/24"),
            interface("eth1", "10.40.12.5/24"),
            interface("eth2", ""),
        ]
    }

    fn wanted(texts: &[&str]) -> Vec<LinkChoice> {
        texts.iter().map(|text| text.parse().unwrap()).collect()
    }

    fn pairs(texts: &[&str]) -> Vec<(String, String)> {
        let all = assign(Some(&rig()), &wanted(texts), &seat());
        all.unwrap_or_else(|e| panic!("{e}"))
    }

    fn refused(texts: &[&str], interfaces: &[Interface]) -> Failure {
        assign(Some(&rig()), &wanted(texts), interfaces).unwrap_err()
    }

    #[test]
    fn addresses_choose_where_nothing_is_named_and_a_routed_network_needs_none() {
        let both = |a: &str, b: &str| {
            vec![
                (Network::MAIN.to_owned(), a.to_owned()),
                ("media".to_owned(), b.to_owned()),
            ]
        };
        assert_eq!(pairs(&[]), both("eth0", "eth1"));
        assert_eq!(pairs(&["media=eth2"]), both("eth0", "eth2"));
        assert_eq!(pairs(&["eth2", "media=eth1"]), both("eth2", "eth1"));
        assert_eq!(pairs(&["main=eth2"]), both("eth2", "eth1"));
    }

    #[test]
    fn what_cannot_be_assigned_is_refused_with_a_next_step() {
        let only = [interface("eth0", "10.40.8.5/24"), interface("eth2", "")];
        let e = refused(&[], &only);
        assert_eq!(e.exit, crate::Exit::Link, "{e}");
        assert!(
            e.message
                .contains("--link media=INTERFACE: eth0 (10.40.8.5/24), eth2 (no address)"),
            "{e}"
        );
        let twins = [seat().to_vec(), vec![interface("eth3", "10.40.12.6/24")]].concat();
        assert!(refused(&[], &twins).message.contains("more than one interface"));
        for (texts, said) in [
            (&["medai=eth1"][..], "name one of main, media"),
            (&["office=eth1"], "routed"),
            (&["eth0", "main=eth1"], "twice"),
            (&["media=eth0"], "both be asked over eth0"),
        ] {
            let e = refused(texts, &seat());
            assert_eq!(e.exit, crate::Exit::Usage, "{e}");
            assert!(e.message.contains(said) && e.message.contains("next step"), "{e}");
        }
        assert_eq!(refused(&["media=eth9"], &seat()).exit, crate::Exit::Link);
        assert!(assign(None, &wanted(&["media=eth1"]), &seat()).is_err());
    }
}
