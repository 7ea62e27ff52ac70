//! What a host is for, by what it answers, whom it calls, and what it calls itself.

use std::collections::BTreeSet;
use std::net::Ipv4Addr;

use vocab::{ControlWord, Text};

use super::found::Found;
use crate::Role;

/// Addresses that one host asks for from which on it looks around and calls nobody. Panels have fewer
/// channels in use than that (common practice, no source).
const ROAMS: usize = 16;

/// What others' answers make of a host.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Beside {
    /// So many of the addresses that it asks for answer VISCA.
    pub(super) calls_heads: usize,
    /// It hands out addresses.
    pub(super) serves_leases: bool,
}

/// Words of the trade by which devices are called (common practice, no source), and their roles. The
/// first that fits counts, so what is said in two words stands before what is said in one.
const WORDS: &[(&[&str], Role)] = &[
    (&["vision", "mixer"], Role::Switcher),
    (&["video", "mixer"], Role::Switcher),
    (&["audio", "mixer"], Role::Audio),
    (&["access", "point"], Role::AccessPoint),
    (&["camera", "control"], Role::Panel),
    (&["switcher"], Role::Switcher),
    (&["panel"], Role::Panel),
    (&["joystick"], Role::Panel),
    (&["encoder"], Role::Encoder),
    (&["enc"], Role::Encoder),
    (&["decoder"], Role::Decoder),
    (&["dec"], Role::Decoder),
    (&["recorder"], Role::Recorder),
    (&["intercom"], Role::Intercom),
    (&["beltpack"], Role::Intercom),
    (&["tally"], Role::Tally),
    (&["projector"], Role::Display),
    (&["display"], Role::Display),
    (&["monitor"], Role::Display),
    (&["multiviewer"], Role::Display),
    (&["microphone"], Role::Audio),
    (&["loudspeaker"], Role::Audio),
    (&["audio"], Role::Audio),
    (&["laptop"], Role::Computer),
    (&["notebook"], Role::Computer),
    (&["computer"], Role::Computer),
    (&["desktop"], Role::Computer),
    (&["pc"], Role::Computer),
    (&["tablet"], Role::Computer),
    (&["router"], Role::Router),
    (&["gateway"], Role::Router),
    (&["camera"], Role::Camera),
    (&["ptz"], Role::Camera),
    (&["cam"], Role::Camera),
];

/// The role to propose, and what speaks for it.
pub(super) fn role(found: &Found, beside: Beside) -> (Role, String) {
    let answers = |words: &[ControlWord]| found.answered().find(|port| words.contains(&port.word));
    if let Some(port) = answers(&[
        ControlWord::ViscaUdp,
        ControlWord::ViscaRawUdp,
        ControlWord::ViscaTcp,
    ]) {
        return (Role::Camera, format!("answered {port}"));
    }
    let said = found
        .words
        .iter()
        .find_map(|word| Some((of_words(&word.text)?, word)));
    if let Some((role, word)) = said {
        return (
            role,
            format!("calls itself \"{}\" ({})", word.text, word.source.as_str()),
        );
    }
    if beside.serves_leases {
        return (Role::Router, "hands out addresses by DHCP".to_owned());
    }
    if let Some(port) = answers(&[ControlWord::Onvif, ControlWord::Rtsp]) {
        return (Role::Camera, format!("answered {port}"));
    }
    if beside.calls_heads > 0 && found.calls.len() < ROAMS {
        let heads = match beside.calls_heads {
            1 => "an address that answers".to_owned(),
            n => format!("{n} addresses that answer"),
        };
        return (Role::Panel, format!("keeps asking for {heads} VISCA"));
    }
    (Role::Other, "nothing tells".to_owned())
}

/// Whether a control panel can steer it, by what it answered.
pub(super) fn is_steered(found: &Found) -> bool {
    found
        .answered()
        .any(|port| speaks_visca(port.word) || port.word == ControlWord::Onvif)
}

pub(super) const fn speaks_visca(word: ControlWord) -> bool {
    matches!(
        word,
        ControlWord::ViscaUdp | ControlWord::ViscaRawUdp | ControlWord::ViscaTcp
    )
}

/// The role that a word names, if it names one.
fn of_words(text: &Text) -> Option<Role> {
    let lower = text.as_str().to_lowercase();
    let tokens: Vec<&str> = lower
        .split(|c: char| !c.is_alphanumeric())
        .map(|token| token.trim_matches(|c: char| c.is_ascii_digit()))
        .filter(|token| !token.is_empty())
        .collect();
    let stands = |words: &[&str]| tokens.windows(words.len()).any(|window| window == words);
    WORDS
        .iter()
        .find(|(words, _)| stands(words))
        .map(|(_, role)| *role)
}

/// The word that a device without a name of its own is called by.
pub(super) const fn title(role: Role) -> &'static str {
    match role {
        Role::Camera => "Camera",
        Role::Panel => "Panel",
        Role::Switcher => "Switcher",
        Role::Encoder => "Encoder",
        Role::Decoder => "Decoder",
        Role::Recorder => "Recorder",
        Role::Display => "Display",
        Role::Audio => "Audio",
        Role::Intercom => "Intercom",
        Role::Tally => "Tally",
        Role::Computer => "Computer",
        Role::Router => "Router",
        Role::AccessPoint => "Access point",
        Role::Switch | Role::Other => "Device",
    }
}

/// The addresses of hosts that answer VISCA.
pub(super) fn heads<'f>(all: impl Iterator<Item = &'f Found>) -> BTreeSet<Ipv4Addr> {
    all.filter(|found| found.answered().any(|port| speaks_visca(port.word)))
        .flat_map(|found| found.addresses.iter().copied())
        .collect()
}

impl Beside {
    /// What the others make of `found`.
    pub(super) fn of(found: &Found, heads: &BTreeSet<Ipv4Addr>, servers: &BTreeSet<Ipv4Addr>) -> Self {
        Self {
            calls_heads: found
                .calls
                .iter()
                .filter(|address| heads.contains(address))
                .count(),
            serves_leases: found.addresses.iter().any(|address| servers.contains(address)),
        }
    }
}

#[cfg(test)]
mod tests {
    use vocab::{ControlState, NameSource};

    use super::super::found::{Source, Word};
    use super::*;

    fn found(ports: &[&str], words: &[&str]) -> Found {
        Found {
            control: ports
                .iter()
                .map(|port| (port.parse().unwrap(), ControlState::Answered))
                .collect(),
            words: words
                .iter()
                .map(|word| Word {
                    text: Text::clean(word),
                    source: Source::Name(NameSource::Mdns),
                })
                .collect(),
            ..Found::default()
        }
    }

    #[test]
    fn what_it_answers_and_what_it_says_make_its_role() {
        for (ports, words, wanted) in [
            (&["visca-udp"][..], &[][..], Role::Camera),
            (&["visca-tcp:5679"], &["Encoder"], Role::Camera),
            (&["rtsp"], &[], Role::Camera),
            (&["rtsp"], &["Stream encoder"], Role::Encoder),
            (&["onvif", "http"], &["dec02"], Role::Decoder),
            (&["http"], &["Vision mixer"], Role::Switcher),
            (&["http"], &["mixer"], Role::Other),
            (&["http"], &["desk-panel-1"], Role::Panel),
            (&["http"], &["Decorum"], Role::Other),
            (&[], &["guest-tablet"], Role::Computer),
            (&["http"], &[], Role::Other),
            (&[], &["\u{202e}\u{1b}[31m", "PTZ-CAM-03"], Role::Camera),
        ] {
            assert_eq!(
                role(&found(ports, words), Beside::default()).0,
                wanted,
                "{ports:?} {words:?}"
            );
        }
    }

    #[test]
    fn whoever_calls_heads_is_a_panel_unless_it_calls_everybody() {
        let mut panel = found(&["http"], &[]);
        let calls = |n: u8| {
            (1..=n)
                .map(|last| std::net::Ipv4Addr::new(10, 40, 8, last))
                .collect()
        };
        panel.calls = calls(6);
        let six = Beside {
            calls_heads: 6,
            ..Beside::default()
        };
        assert_eq!(
            role(&panel, six),
            (
                Role::Panel,
                "keeps asking for 6 addresses that answer VISCA".to_owned()
            )
        );
        panel.calls = calls(16);
        assert_eq!(role(&panel, six).0, Role::Other);
        assert_eq!(
            role(
                &found(&["http"], &[]),
                Beside {
                    serves_leases: true,
                    ..Beside::default()
                }
            )
            .0,
            Role::Router
        );
    }
}
