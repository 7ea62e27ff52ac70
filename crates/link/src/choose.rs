//! Which interface to use when none is named.

use std::fmt;

use vocab::{Ipv4Net, Mac, Medium};

/// An interface that could be chosen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Interface {
    /// Its name in the operating system.
    pub name: String,
    /// Its hardware address; `None` where it has none (loopback, tunnels), so that it is no choice.
    pub mac: Option<Mac>,
    /// Its IPv4 addresses with their masks.
    pub addresses: Vec<Ipv4Net>,
    /// Whether it is switched on.
    pub up: bool,
    /// Whether something is plugged in at the other end.
    pub carrier: bool,
    /// What kind of interface it is.
    pub medium: Medium,
    /// Whether the default route leads through it.
    pub default_route: bool,
}

impl Interface {
    /// Whether one of its addresses lies in `net`.
    pub fn is_within(&self, net: Ipv4Net) -> bool {
        self.addresses.iter().any(|own| net.contains(&own.addr()))
    }
}

impl fmt::Display for Interface {
    /// As a list of choices shows it: `eth0 (10.40.8.5/24)`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} (", self.name)?;
        if self.addresses.is_empty() {
            f.write_str("no address")?;
        }
        for (i, net) in self.addresses.iter().enumerate() {
            write!(f, "{}{net}", if i == 0 { "" } else { ", " })?;
        }
        if self.medium == Medium::Wireless {
            f.write_str(", Wi-Fi")?;
        }
        if !self.up {
            f.write_str(", off")?;
        } else if !self.carrier {
            f.write_str(", no cable")?;
        }
        f.write_str(")")
    }
}

/// Why no interface could be chosen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ChooseError {
    /// The wanted one does not exist.
    NotFound {
        /// The name that was asked for.
        wanted: String,
        /// What there is.
        choices: Vec<Interface>,
    },
    /// Several fit equally well.
    Ambiguous {
        /// Those that fit.
        choices: Vec<Interface>,
    },
    /// None fits the rule.
    NoneFits {
        /// What there is.
        choices: Vec<Interface>,
    },
}

impl fmt::Display for ChooseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let choices = match self {
            Self::NotFound { wanted, choices } => {
                write!(f, "there is no interface {wanted:?}")?;
                choices
            }
            Self::Ambiguous { choices } => {
                f.write_str("more than one interface fits")?;
                choices
            }
            Self::NoneFits { choices } => {
                f.write_str("no interface is plainly the one to use")?;
                choices
            }
        };
        if choices.is_empty() {
            return f.write_str("; this computer has no network adapter that could serve, so plug one in");
        }
        f.write_str("; choose one with --link: ")?;
        for (i, choice) in choices.iter().enumerate() {
            write!(f, "{}{choice}", if i == 0 { "" } else { ", " })?;
        }
        Ok(())
    }
}

impl std::error::Error for ChooseError {}

/// The name of the interface to use: the wanted one; else the one with an address in the rig's
/// subnet; else the wired one with the default route; else, where a network leads nowhere, the
/// only wired one that carries.
///
/// Interfaces without a hardware address are no choice unless wanted by name.
///
/// # Errors
/// Where none or several fit, with the list of them.
pub fn choose(
    interfaces: &[Interface],
    rig_subnet: Option<Ipv4Net>,
    wanted: Option<&str>,
) -> Result<String, ChooseError> {
    let usable: Vec<&Interface> = interfaces.iter().filter(|i| i.mac.is_some()).collect();
    let copied = |some: &[&Interface]| some.iter().map(|i| (*i).clone()).collect::<Vec<_>>();
    if let Some(wanted) = wanted {
        return if interfaces.iter().any(|i| i.name == wanted) {
            Ok(wanted.to_owned())
        } else {
            Err(ChooseError::NotFound {
                wanted: wanted.to_owned(),
                choices: copied(&usable),
            })
        };
    }
    let in_subnet = |i: &Interface| rig_subnet.is_some_and(|net| i.is_within(net));
    let rules: [&dyn Fn(&Interface) -> bool; 3] = [
        &in_subnet,
        &|i| i.medium == Medium::Wired && i.default_route,
        &|i| i.medium == Medium::Wired && i.up && i.carrier,
    ];
    for rule in rules {
        let fitting: Vec<&Interface> = usable.iter().copied().filter(|i| rule(i)).collect();
        match fitting.as_slice() {
            [] => {}
            [one] => return Ok(one.name.clone()),
            several => {
                return Err(ChooseError::Ambiguous {
                    choices: copied(several),
                });
            }
        }
    }
    Err(ChooseError::NoneFits {
        choices: copied(&usable),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

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

    fn rig() -> Ipv4Net {
        "10.40.8.0/24".parse().unwrap()
    }

    #[test]
    fn the_wanted_one_wins_or_is_reported_missing() {
        let all = [
            interface("eth0", "10.40.8.5/24"),
            interface("eth1", "192.168.7.2/24"),
        ];
        assert_eq!(choose(&all, Some(rig()), Some("eth1")).unwrap(), "eth1");
        let error = choose(&all, Some(rig()), Some("eth9")).unwrap_err();
        assert!(matches!(error, ChooseError::NotFound { .. }));
        assert!(
            error
                .to_string()
                .contains("eth0 (10.40.8.5/24), eth1 (192.168.7.2/24)"),
            "{error}"
        );
    }

    #[test]
    fn an_address_in_the_rig_comes_before_the_default_route() {
        let mut office = interface("eth1", "192.168.7.2/24");
        office.default_route = true;
        let mut wifi = interface("wlan0", "10.40.8.9/24");
        wifi.medium = Medium::Wireless;
        assert_eq!(
            choose(&[office.clone(), wifi], Some(rig()), None).unwrap(),
            "wlan0"
        );
        assert_eq!(
            choose(&[office, interface("eth0", "172.16.0.1/16")], Some(rig()), None).unwrap(),
            "eth1"
        );
    }

    #[test]
    fn two_in_the_rig_are_ambiguous_and_listed() {
        let all = [
            interface("eth0", "10.40.8.5/24"),
            interface("eth1", "10.40.8.6/24"),
        ];
        let error = choose(&all, Some(rig()), None).unwrap_err();
        assert_eq!(
            error,
            ChooseError::Ambiguous {
                choices: all.to_vec()
            }
        );
        assert!(error.to_string().contains("--link"));
    }

    #[test]
    fn a_wireless_default_route_is_not_taken_unasked() {
        let mut wifi = interface("wlan0", "192.168.7.2/24");
        wifi.medium = Medium::Wireless;
        wifi.default_route = true;
        assert!(matches!(
            choose(&[wifi], Some(rig()), None),
            Err(ChooseError::NoneFits { .. })
        ));
    }

    #[test]
    fn without_any_route_the_only_wired_one_that_carries_serves() {
        let mut unplugged = interface("eth1", "");
        unplugged.carrier = false;
        let all = [unplugged, interface("eth0", "169.254.3.7/16")];
        assert_eq!(choose(&all, Some(rig()), None).unwrap(), "eth0");
    }

    #[test]
    fn loopback_is_no_choice_even_in_the_subnet() {
        let mut lo = interface("lo", "10.40.8.1/32");
        lo.mac = None;
        let error = choose(std::slice::from_ref(&lo), Some(rig()), None).unwrap_err();
        assert_eq!(error, ChooseError::NoneFits { choices: vec![] });
        assert!(error.to_string().contains("plug one in"));
        assert_eq!(choose(&[lo], None, Some("lo")).unwrap(), "lo");
    }
}
