//! The verdict on one device: a pure function of the evidence, in the order of the contract.

use std::net::{Ipv4Addr, Ipv6Addr};

use vocab::{ControlPort, ControlState, Moment};

use crate::Standing;
use crate::hosts::claim::HostId;

/// How a device's control ports stand together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Ports {
    /// None is listed, or none that can be asked stayed away: nothing speaks against the device.
    #[default]
    Fine,
    /// Some are asked and have not told yet.
    Waiting,
    /// One at least is refused or silent.
    Failing,
}

/// What speaks for and against a device now.
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is one independent piece of evidence"
)]
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Evidence {
    /// Nothing can be said: no link, or silence by the user's word.
    pub(crate) blind: bool,
    /// Nothing at all came in on our own port.
    pub(crate) deaf: bool,
    /// Those who hold the address at the same time; empty unless there are two.
    pub(crate) clash: Vec<HostId>,
    /// Since when.
    pub(crate) began: Option<Moment>,
    /// It holds the expected address (or, by DHCP, one in the subnet): who, and which.
    pub(crate) here: Option<(HostId, Ipv4Addr)>,
    /// The expected address was asked, provably sent, and it did not answer there.
    pub(crate) unanswered: bool,
    /// Its hardware holds another address in the subnet.
    pub(crate) elsewhere: Option<(HostId, Ipv4Addr)>,
    /// Its hardware holds an address of another subnet.
    pub(crate) foreign: Option<(HostId, Ipv4Addr)>,
    /// Other hardware, proven to be an owner, holds its address.
    pub(crate) other: Option<HostId>,
    /// Where its hardware was heard over IPv6. It decides nothing.
    pub(crate) six: Option<Ipv6Addr>,
    /// One that answers at its address for whoever sleeps.
    pub(crate) lent: Option<HostId>,
    /// The device that holds its address while its own hardware holds that one's.
    pub(crate) swapped: Option<usize>,
    /// Somebody holds its address of whom it is not known yet whether as an owner.
    pub(crate) pending: bool,
    /// How its control ports stand.
    pub(crate) ports: Ports,
    /// Those of them that are refused or silent.
    pub(crate) failing: Vec<(ControlPort, ControlState)>,
    /// Some kept silent to what left after the device itself was last heard: that may be its own silence.
    pub(crate) unheard: bool,
    /// Its ports still have time.
    pub(crate) grace: bool,
    /// Seen to appear or return, within its boot time, not settled.
    pub(crate) starting: bool,
}

/// The standing that follows.
pub(crate) fn judge(e: &Evidence) -> Standing {
    if e.blind {
        return Standing::Unknown;
    }
    if !e.clash.is_empty() {
        return Standing::Conflict;
    }
    if e.starting {
        return Standing::Starting;
    }
    if e.here.is_some() {
        return match e.ports {
            Ports::Fine => Standing::Present,
            Ports::Waiting | Ports::Failing if e.grace => Standing::Starting,
            Ports::Failing => Standing::NoControl,
            Ports::Waiting => Standing::Present,
        };
    }
    if !e.unanswered {
        return Standing::Unknown;
    }
    if e.elsewhere.is_some() {
        Standing::Moved
    } else if e.foreign.is_some() {
        Standing::WrongSubnet
    } else if e.other.is_some() {
        Standing::Replaced
    } else if e.pending {
        Standing::Unknown
    } else {
        Standing::Missing
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use vocab::Mac;

    const A: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);

    fn id(n: u8) -> HostId {
        HostId::Mac(Mac::new([2, 0x52, 0x43, 0, 0, n]))
    }

    /// One step of evidence: what it sets, and what it alone leads to.
    type Step = (Standing, fn(&mut Evidence));

    /// From the strongest to the weakest, each on top of an unanswered address.
    const ORDER: [Step; 6] = [
        (Standing::Unknown, |e| e.blind = true),
        (Standing::Conflict, |e| e.clash = vec![id(1), id(2)]),
        (Standing::Starting, |e| e.starting = true),
        (Standing::Moved, |e| e.elsewhere = Some((id(1), A))),
        (Standing::WrongSubnet, |e| e.foreign = Some((id(1), A))),
        (Standing::Replaced, |e| e.other = Some(id(9))),
    ];

    #[test]
    fn of_every_pair_the_stronger_wins() {
        for (i, (strong, set_strong)) in ORDER.iter().enumerate() {
            for (_, set_weak) in &ORDER[i..] {
                let mut e = Evidence {
                    unanswered: true,
                    ..Evidence::default()
                };
                set_weak(&mut e);
                set_strong(&mut e);
                assert_eq!(judge(&e), *strong, "{e:?}");
            }
        }
        let nothing = Evidence {
            unanswered: true,
            ..Evidence::default()
        };
        assert_eq!(judge(&nothing), Standing::Missing);
    }

    #[test]
    fn ipv6_decides_nothing() {
        for (standing, set) in ORDER {
            let mut e = Evidence {
                unanswered: true,
                six: Some(Ipv6Addr::LOCALHOST),
                ..Evidence::default()
            };
            assert_eq!(judge(&e), Standing::Missing);
            set(&mut e);
            assert_eq!(judge(&e), standing);
        }
    }

    #[test]
    fn the_stronger_three_also_win_over_a_held_address() {
        for ports in [Ports::Fine, Ports::Waiting, Ports::Failing] {
            for grace in [false, true] {
                for (standing, set) in &ORDER[..3] {
                    let mut e = Evidence {
                        here: Some((id(1), A)),
                        ports,
                        grace,
                        ..Evidence::default()
                    };
                    set(&mut e);
                    assert_eq!(judge(&e), *standing);
                }
            }
        }
    }

    #[test]
    fn control_ports_decide_only_where_the_address_is_held() {
        let at = |ports, grace| {
            judge(&Evidence {
                here: Some((id(1), A)),
                ports,
                grace,
                ..Evidence::default()
            })
        };
        assert_eq!(at(Ports::Fine, true), Standing::Present);
        assert_eq!(at(Ports::Waiting, true), Standing::Starting);
        assert_eq!(at(Ports::Failing, true), Standing::Starting);
        assert_eq!(at(Ports::Failing, false), Standing::NoControl);
        assert_eq!(at(Ports::Waiting, false), Standing::Present);
        let away = Evidence {
            ports: Ports::Failing,
            unanswered: true,
            ..Evidence::default()
        };
        assert_eq!(judge(&away), Standing::Missing);
    }

    #[test]
    fn nothing_is_said_before_the_address_was_asked_in_vain() {
        for (_, set) in &ORDER[3..] {
            let mut e = Evidence::default();
            set(&mut e);
            assert_eq!(judge(&e), Standing::Unknown);
        }
        let pending = Evidence {
            unanswered: true,
            pending: true,
            ..Evidence::default()
        };
        assert_eq!(judge(&pending), Standing::Unknown);
    }
}
