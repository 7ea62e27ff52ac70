//! What is said of a device: the detail, the finding and its one next step, in plain words.

use rig::{How, Need};
use vocab::{ControlState, Ipv4Net, Moment, Power};

use crate::hosts::claim::HostId;
use crate::judging::judge::Evidence;
use crate::judging::track::Track;
use crate::{Finding, FindingKind, Likely, Severity, Standing};

/// MACs named in one finding.
const MAX_MACS: usize = 8;

/// What is said of a device that stands so.
#[derive(Debug, Default)]
pub(crate) struct Told {
    kind: Option<FindingKind>,
    /// A few words beside the standing.
    pub(crate) detail: String,
    /// One sentence.
    pub(crate) text: String,
    /// The one next step; empty if none.
    pub(crate) advice: String,
}

impl Told {
    /// A trouble of this kind.
    pub(crate) const fn new(kind: FindingKind, detail: String, text: String, advice: String) -> Self {
        Self {
            kind: Some(kind),
            detail,
            text,
            advice,
        }
    }

    /// Whether a restart that is expected explains that the device stands so.
    pub(crate) const fn waits_for_a_restart(&self, standing: Standing) -> bool {
        let explains = !matches!(standing, Standing::Conflict | Standing::Replaced);
        explains && !self.advice.is_empty()
    }

    /// The finding that the standing makes, if it is a trouble.
    pub(crate) fn finding(&self, track: &Track, e: &Evidence, since: Moment) -> Option<Finding> {
        let kind = self.kind?;
        let dozing = match kind {
            FindingKind::Missing => track.device.sleeps && (track.last_heard.is_some() || e.lent.is_some()),
            FindingKind::NoControl => track.dozes(),
            _ => false,
        };
        let severity = match kind {
            FindingKind::AddressConflict => Severity::Fault,
            _ if track.device.need != Need::Show || dozing => Severity::Note,
            _ => Severity::Fault,
        };
        let mut ids: Vec<HostId> = e.clash.clone();
        if ids.is_empty() {
            ids.extend(e.here.or(e.elsewhere).or(e.foreign).map(|(id, _)| id).or(e.other));
        }
        let mut macs: Vec<_> = ids.into_iter().filter_map(HostId::mac).take(MAX_MACS).collect();
        if macs.is_empty() {
            macs.clone_from(&track.device.macs);
        }
        Some(Finding {
            kind,
            severity,
            network: None,
            devices: vec![track.device.name.clone()],
            address: match kind {
                FindingKind::WrongSubnet | FindingKind::Moved => e.elsewhere.or(e.foreign).map(|(_, a)| a),
                _ => e.here.map(|(_, a)| a).or(track.device.fixed_address()),
            },
            macs,
            text: self.text.clone(),
            advice: self.advice.clone(),
            since: e.began.unwrap_or(since),
        })
    }
}

/// Where a device is, in brackets after a blank; empty if the file does not say.
pub(crate) fn place(track: &Track) -> String {
    match (&track.device.position, &track.device.port) {
        (Some(position), _) => format!(" ({position})"),
        (None, Some(port)) => format!(" (at switch port {port})"),
        (None, None) => String::new(),
    }
}

fn failing(e: &Evidence) -> String {
    let word = |s: ControlState| match s {
        ControlState::Refused => "refused",
        ControlState::Answered | ControlState::Silent => "silent",
    };
    let all: Vec<String> = e
        .failing
        .iter()
        .map(|(p, s)| format!("{p} {}", word(*s)))
        .collect();
    all.join(", ")
}

/// The words for device `track` standing so on this evidence. `swapped`: the device that it has changed
/// places with.
pub(crate) fn tell(
    track: &Track,
    standing: Standing,
    e: &Evidence,
    swapped: Option<&Track>,
    me: Option<HostId>,
    subnet: Option<Ipv4Net>,
) -> Told {
    let d = &track.device;
    let name = &d.name;
    let place = place(track);
    let expected = d
        .fixed_address()
        .map_or_else(|| "an address by DHCP".to_owned(), |a| a.to_string());
    let mask = subnet.map_or_else(String::new, |n| format!(", mask {}", n.netmask()));
    let away = e
        .elsewhere
        .or(e.foreign)
        .map(|(_, a)| a.to_string())
        .unwrap_or_default();
    let told = |kind, detail: String, text: String, advice: String| Told {
        kind,
        detail,
        text,
        advice,
    };
    match standing {
        Standing::Unknown => told(
            None,
            String::new(),
            format!("Nothing can be said of {name} now."),
            String::new(),
        ),
        Standing::Present => {
            let at = e.here.map_or(expected, |(_, a)| a.to_string());
            told(
                None,
                String::new(),
                format!("{name} answers at {at}."),
                String::new(),
            )
        }
        Standing::Starting => {
            let wait = format!("Wait: {name} may take {} s to start.", d.boot.as_secs());
            if e.here.is_some() {
                let detail = if e.failing.is_empty() {
                    "asking its control ports".to_owned()
                } else {
                    format!("not taking control yet: {}", failing(e))
                };
                let text = if e.starting {
                    "is starting"
                } else {
                    "answers; its control ports are awaited"
                };
                told(None, detail, format!("{name} {text}."), wait)
            } else if away.is_empty() {
                told(None, String::new(), format!("{name} is starting."), wait)
            } else {
                let text = format!("{name} is starting, for now at {away}.");
                told(None, format!("for now at {away}"), text, wait)
            }
        }
        Standing::NoControl if track.dozes() => {
            let text = format!(
                "{name} may be asleep: its network card answers, and nothing else of it ({}).",
                failing(e)
            );
            let advice = format!("Wake {name}{place} if it is needed.");
            told(
                Some(FindingKind::NoControl),
                "may be asleep".to_owned(),
                text,
                advice,
            )
        }
        Standing::NoControl => {
            let ports: Vec<String> = e.failing.iter().map(|(p, _)| p.to_string()).collect();
            let asleep = track.power == Some(Power::Standby);
            let advice = if asleep {
                format!(
                    "{name} says that it is in standby: switch it on from its panel or remote{place} (its head may move: see \
                 that nobody is near it), then ask its control ports again."
                )
            } else {
                format!(
                    "Switch {} on in the network menu of {name}{place}, then ask its control ports again.",
                    ports.join(" and ")
                )
            };
            let text = format!("{name} is on, but won't take control: {}.", failing(e));
            told(Some(FindingKind::NoControl), failing(e), text, advice)
        }
        Standing::Missing => missing(track, e, &place, &expected),
        Standing::WrongSubnet => {
            let text = format!("{name} is on another subnet, at {away}.");
            let advice = match d.fixed_address() {
                Some(a) if d.how == How::Static => {
                    format!("Set {name} to {a}{mask} in its own network menu{place}.")
                }
                _ => format!(
                    "See in the network menu of {name}{place} that it takes its address by DHCP, \
                     and that the DHCP server is on."
                ),
            };
            told(Some(FindingKind::WrongSubnet), format!("at {away}"), text, advice)
        }
        Standing::Moved if swapped.is_some() => {
            let other = swapped.map(|t| (&t.device.name, self::place(t)));
            let (other, there) = other.map_or(("", String::new()), |(n, p)| (n.as_str(), p));
            let text = format!(
                "{name} and {other} have changed places: {name} is at {away}, {other} at {expected}."
            );
            let advice = format!(
                "If the units stand where they should, exchange the two addresses in the rig file; if not, \
                 exchange them in the network menus of {name}{place} and {other}{there}."
            );
            told(Some(FindingKind::Moved), format!("at {away}"), text, advice)
        }
        Standing::Moved => {
            let text = format!("{name} is at {away}, not at {expected}.");
            let advice = if d.how == How::Reserved {
                format!(
                    "Reserve {expected} for {name}{place} in the DHCP server, then let it take a new lease."
                )
            } else {
                format!("Set {name} to {expected}{mask} in its own network menu{place}.")
            };
            told(Some(FindingKind::Moved), format!("at {away}"), text, advice)
        }
        Standing::Replaced if e.other == me && me.is_some() => {
            let text = format!("This computer itself holds {expected}, the address of {name}.");
            let advice =
                format!("Give this computer another address; {name}{place} is meant to have {expected}.");
            told(
                Some(FindingKind::Replaced),
                "held by this computer".to_owned(),
                text,
                advice,
            )
        }
        Standing::Replaced => {
            let other = e
                .other
                .and_then(HostId::mac)
                .map_or_else(|| "other hardware".into(), |m| m.to_string());
            let text = format!("{expected} is held by {other}, which is not the hardware listed for {name}.");
            let advice = format!(
                "If the unit was swapped{place}, put {other} in the rig file as the mac of {name}; \
                 if not, give {other} another address."
            );
            told(
                Some(FindingKind::Replaced),
                format!("held by {other}"),
                text,
                advice,
            )
        }
        // Told where all that is known of both is at hand.
        Standing::Conflict => Told::default(),
    }
}

fn missing(track: &Track, e: &Evidence, place: &str, expected: &str) -> Told {
    let d = &track.device;
    let name = &d.name;
    let (text, advice) = if d.fixed_address().is_none() && d.macs.is_empty() {
        (
            format!("{name} cannot be told from others: it has {expected}, and the file gives no mac."),
            format!("Read the mac off {name}{place} and put it in the rig file."),
        )
    } else if e.deaf {
        (
            format!(
                "{name} is missing at {expected}, as is everybody: nothing is heard on this computer's port."
            ),
            "Plug this computer into another port of the rig's switch, and look whether that switch is on."
                .to_owned(),
        )
    } else if let Some(proxy) = e.lent.and_then(HostId::mac) {
        (
            format!(
                "{name} does not answer itself; {proxy} answers for it as a sleep proxy, so it is asleep."
            ),
            format!("Wake {name}{place} if it is needed."),
        )
    } else if d.sleeps && track.last_heard.is_some() {
        (
            format!("{name} does not answer any more; it may be asleep."),
            format!("Wake {name}{place} if it is needed."),
        )
    } else {
        let asked = match d.fixed_address() {
            Some(a) => format!("nobody answers at {a}"),
            None => "its hardware answers nowhere in the subnet".to_owned(),
        };
        let route = track.channels.first().map_or_else(String::new, |(panel, n)| {
            format!(" Channel {n} of {panel} points at it.")
        });
        if e.six.is_some() {
            return Told {
                kind: Some(FindingKind::Missing),
                detail: "on the wire, address not known".to_owned(),
                text: format!(
                    "{name} is missing: {asked}. Its hardware is on the wire (IPv6); its IPv4 address is not \
                     known.{route}"
                ),
                advice: format!("Look in the network menu of {name}{place} which IPv4 address it has."),
            };
        }
        if let Some(likely) = &track.likely {
            return probably(
                likely,
                &format!("{name} is missing: {asked}.{route}"),
                name,
                place,
            );
        }
        (
            format!("{name} is missing: {asked}.{route}"),
            format!(
                "Look whether {name}{place} is switched on and its network cable sits firmly at both ends."
            ),
        )
    };
    Told {
        kind: Some(FindingKind::Missing),
        detail: String::new(),
        text,
        advice,
    }
}

/// What is said of a missing device that is probably one of the strangers.
fn probably(likely: &Likely, missing: &str, name: &str, place: &str) -> Told {
    let mac = likely.mac;
    let at = likely
        .address
        .map_or_else(|| mac.to_string(), |a| format!("the host at {a}"));
    Told {
        kind: Some(FindingKind::Missing),
        detail: likely
            .address
            .map_or_else(|| format!("probably {mac}"), |a| format!("probably at {a}")),
        text: format!(
            "{missing} It is probably {at}, because {}.",
            likely.because.join(", and ")
        ),
        advice: format!(
            "See whether {mac} is the unit of {name}{place}; if it is, put {mac} in the rig file as its mac."
        ),
    }
}

/// A small number in words.
pub(crate) fn number(n: usize) -> String {
    match n {
        2 => "Two".to_owned(),
        3 => "Three".to_owned(),
        n => n.to_string(),
    }
}

/// The note on a further address beside the expected one.
pub(crate) fn extra(track: &Track, e: &Evidence, since: Moment) -> Option<Finding> {
    let (_, here) = e.here?;
    let (id, address) = e.elsewhere.or(e.foreign)?;
    let name = &track.device.name;
    let place = place(track);
    let advice = if address.is_link_local() {
        format!("Nothing to do at {name}{place}: a link-local address beside its own is usual.")
    } else {
        format!("If nobody uses it, take {address} out in the network menu of {name}{place}.")
    };
    Some(Finding {
        kind: FindingKind::ExtraAddress,
        severity: Severity::Note,
        network: None,
        devices: vec![name.clone()],
        address: Some(address),
        macs: id.mac().into_iter().collect(),
        text: format!("{name} has {address} as well as {here}."),
        advice,
        since,
    })
}
