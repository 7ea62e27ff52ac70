//! How much a stranger is like a missing device: evidence, each piece weighed and said in words.
//!
//! The weights are points of a hundred and our own judgement; no source gives them. Two or three
//! independent pieces make a guess, none alone does. A guess is always shown as one.

use std::net::Ipv4Addr;

use rig::Role;
use vocab::{ControlPort, ControlState, ControlWord, Text};

/// Below this many points nothing is said.
pub(crate) const TELL: u32 = 50;
/// No more than this: a guess stays one.
const MOST: u32 = 95;

/// Every listed control port answered; of fewer, their share.
const SERVICES: u32 = 40;
/// Every listed control port that was asked stayed away; of fewer, their share.
const NO_SERVICES: u32 = 30;
/// It answers VISCA, as cameras do, and the file lists no ports of the camera.
const VISCA: u32 = 15;
/// It announces a service that the file lists and that was not asked.
const ANNOUNCED: u32 = 15;
/// It announces a service that has to do with pictures or sound, as such a device would.
const VIDEO: u32 = 10;
/// Its maker is that of the device's own listed hardware.
const OWN_MAKER: u32 = 30;
/// Its maker is that of other devices of the same role.
const ROLE_MAKER: u32 = 25;
/// Its address is one that devices leave the factory with.
const FACTORY: u32 = 20;
/// It has no address in the rig's subnet.
const FOREIGN: u32 = 15;
/// It calls itself as the device is called, or nearly so.
const NAME: u32 = 40;
/// A word of its name is one of the device's.
const NAME_WORD: u32 = 20;
/// It appeared soon after the device was last heard.
const APPEARED: u32 = 20;

/// What is known of a missing device.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Wanted {
    /// Its name.
    pub(crate) name: String,
    /// What it is for.
    pub(crate) role: Option<Role>,
    /// The control ports that the file lists.
    pub(crate) control: Vec<ControlPort>,
    /// The makers of its listed hardware.
    pub(crate) makers: Vec<Text>,
    /// The makers of the rig's other devices of that role.
    pub(crate) role_makers: Vec<Text>,
}

/// What is known of a stranger.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Stranger {
    /// Who made it.
    pub(crate) maker: Option<Text>,
    /// What it calls itself.
    pub(crate) names: Vec<Text>,
    /// Its control ports that were asked, and what came of it.
    pub(crate) control: Vec<(ControlPort, ControlState)>,
    /// Services that it announces.
    pub(crate) announced: Vec<ControlPort>,
    /// It announces one that has to do with pictures or sound.
    pub(crate) video: bool,
    /// An address of it outside the subnet, if it has none inside.
    pub(crate) foreign: Option<Ipv4Addr>,
    /// An address of it that devices leave the factory with.
    pub(crate) factory: Option<Ipv4Addr>,
}

/// The points that a likeness has, and why.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Likeness {
    /// 0 to [`MOST`].
    pub(crate) points: u32,
    /// What speaks for it, in words that go on from "because".
    pub(crate) because: Vec<String>,
}

/// How much `stranger` is like the device `wanted`. `appeared`: it was first heard soon after the
/// device was last heard.
pub(crate) fn weigh(wanted: &Wanted, stranger: &Stranger, appeared: bool) -> Likeness {
    let mut sum = Sum::default();
    services(wanted, stranger, &mut sum);
    announced(wanted, stranger, &mut sum);
    maker(wanted, stranger, &mut sum);
    names(wanted, stranger, &mut sum);
    if let Some(address) = stranger.factory {
        sum.add(FACTORY, || {
            format!("{address} is an address that devices leave the factory with")
        });
    }
    if let Some(address) = stranger.foreign {
        sum.add(FOREIGN, || format!("it is on another subnet, at {address}"));
    }
    if appeared {
        sum.add(APPEARED, || {
            format!("it appeared after {} was last heard", wanted.name)
        });
    }
    Likeness {
        points: sum.plus.saturating_sub(sum.minus).min(MOST),
        because: sum.because,
    }
}

#[derive(Default)]
struct Sum {
    plus: u32,
    minus: u32,
    because: Vec<String>,
}

impl Sum {
    fn add(&mut self, points: u32, why: impl FnOnce() -> String) {
        self.plus += points;
        self.because.push(why());
    }
}

fn services(wanted: &Wanted, stranger: &Stranger, sum: &mut Sum) {
    let all = u32::try_from(wanted.control.len()).unwrap_or(u32::MAX).max(1);
    let told = |port: &ControlPort| stranger.control.iter().find(|(p, _)| p == port).map(|(_, s)| *s);
    let answered: Vec<String> = wanted
        .control
        .iter()
        .filter(|p| told(p) == Some(ControlState::Answered))
        .map(ToString::to_string)
        .collect();
    let away = wanted
        .control
        .iter()
        .filter(|p| told(p).is_some_and(|s| s != ControlState::Answered))
        .count();
    sum.minus += NO_SERVICES * u32::try_from(away).unwrap_or(all).min(all) / all;
    if !answered.is_empty() {
        let share = u32::try_from(answered.len()).unwrap_or(all).min(all);
        sum.add(SERVICES * share / all, || {
            format!("it answers {}, as the file lists", answered.join(" and "))
        });
    }
    let visca = stranger.control.iter().any(|(p, s)| {
        *s == ControlState::Answered
            && matches!(
                p.word,
                ControlWord::ViscaUdp | ControlWord::ViscaRawUdp | ControlWord::ViscaTcp
            )
    });
    if visca && wanted.control.is_empty() && wanted.role == Some(Role::Camera) {
        sum.add(VISCA, || "it answers VISCA, as cameras do".to_owned());
    }
}

/// What it says of itself counts less than what it answered, and nothing beside that.
fn announced(wanted: &Wanted, stranger: &Stranger, sum: &mut Sum) {
    let asked = |port: &ControlPort| stranger.control.iter().any(|(p, _)| p == port);
    let says = |port: &&ControlPort| {
        !asked(port)
            && stranger
                .announced
                .iter()
                .any(|p| p.word == port.word && (p.port == port.port || p.word == ControlWord::Onvif))
    };
    if let Some(port) = wanted.control.iter().find(says) {
        sum.add(ANNOUNCED, || format!("it announces {port}, as the file lists"));
    } else if stranger.video && stranger.control.is_empty() && wanted.role.is_some_and(has_video) {
        sum.add(VIDEO, || "it announces a video service".to_owned());
    }
}

/// Whether devices of this role announce pictures or sound.
const fn has_video(role: Role) -> bool {
    matches!(
        role,
        Role::Camera | Role::Encoder | Role::Decoder | Role::Switcher | Role::Recorder | Role::Display
    )
}

fn maker(wanted: &Wanted, stranger: &Stranger, sum: &mut Sum) {
    let Some(maker) = &stranger.maker else { return };
    if wanted.makers.contains(maker) {
        sum.add(OWN_MAKER, || {
            format!("it is made by {maker}, as the listed hardware is")
        });
    } else if wanted.role_makers.contains(maker) {
        let role = wanted.role.map_or("device", Role::as_str);
        sum.add(ROLE_MAKER, || {
            format!("it is made by {maker}, as another {role} of the rig is")
        });
    }
}

fn names(wanted: &Wanted, stranger: &Stranger, sum: &mut Sum) {
    let words = words_of(&wanted.name);
    let whole: String = words.concat();
    let best = stranger
        .names
        .iter()
        .map(|name| {
            let theirs = words_of(name.as_str());
            let same = !whole.is_empty() && theirs.concat().contains(&whole);
            // A word that only says what a thing is tells two of the kind not apart.
            let shared = theirs
                .iter()
                .any(|w| w.chars().count() >= 4 && words.contains(w) && !is_kind(w));
            let points = if same {
                NAME
            } else if shared {
                NAME_WORD
            } else {
                0
            };
            (points, name)
        })
        .max_by_key(|(points, _)| *points);
    if let Some((points, name)) = best.filter(|(points, _)| *points > 0) {
        sum.add(points, || format!("it calls itself {name}"));
    }
}

/// The words of a name in small letters, parted by anything that is neither letter nor digit.
fn words_of(name: &str) -> Vec<String> {
    name.to_lowercase()
        .split(|c: char| !c.is_alphanumeric())
        .filter(|w| !w.is_empty())
        .map(str::to_owned)
        .collect()
}

fn is_kind(word: &str) -> bool {
    Role::LISTED.iter().any(|r| r.as_str() == word)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn port(word: &str) -> ControlPort {
        word.parse().unwrap()
    }

    fn wanted() -> Wanted {
        Wanted {
            name: "Organ loft".to_owned(),
            role: Some(Role::Camera),
            control: vec![port("visca-udp"), port("rtsp")],
            makers: vec!["Quay Optics".into()],
            role_makers: vec!["Ropewalk Works".into()],
        }
    }

    fn points(stranger: &Stranger) -> u32 {
        weigh(&wanted(), stranger, false).points
    }

    fn answers(states: [ControlState; 2]) -> Stranger {
        Stranger {
            control: vec![(port("visca-udp"), states[0]), (port("rtsp"), states[1])],
            ..Stranger::default()
        }
    }

    #[test]
    fn each_piece_weighs_what_the_table_says() {
        use ControlState::{Answered, Refused, Silent};
        assert_eq!(points(&Stranger::default()), 0);
        assert_eq!(points(&answers([Answered, Answered])), 40);
        assert_eq!(points(&answers([Answered, Refused])), 5);
        assert_eq!(points(&answers([Silent, Refused])), 0);
        let made_by = |maker: &str| Stranger {
            maker: Some(maker.into()),
            ..Stranger::default()
        };
        assert_eq!(points(&made_by("Quay Optics")), 30);
        assert_eq!(points(&made_by("Ropewalk Works")), 25);
        assert_eq!(points(&made_by("Somebody")), 0);
        let called = |name: &str| Stranger {
            names: vec!["x".into(), name.into()],
            ..Stranger::default()
        };
        for (name, want) in [
            ("organ-loft", 40),
            ("PTZ OrganLoft.local", 40),
            ("organ", 20),
            ("camera", 0),
            ("loft 2", 20),
            ("", 0),
        ] {
            assert_eq!(points(&called(name)), want, "{name}");
        }
        let away = Stranger {
            factory: Some([192, 168, 0, 20].into()),
            foreign: Some([192, 168, 0, 20].into()),
            ..Stranger::default()
        };
        assert_eq!(points(&away), 35);
        assert_eq!(weigh(&wanted(), &away, true).points, 55);
    }

    #[test]
    fn what_it_announces_counts_until_it_was_asked() {
        let announces = |ports: &[&str], video: bool| Stranger {
            announced: ports.iter().map(|p| port(p)).collect(),
            video,
            ..Stranger::default()
        };
        assert_eq!(points(&announces(&["rtsp"], true)), ANNOUNCED);
        assert_eq!(
            points(&announces(&["rtsp:8554"], true)),
            VIDEO,
            "at another port than listed"
        );
        assert_eq!(points(&announces(&["http"], false)), 0);
        let asked = Stranger {
            control: vec![(port("rtsp"), ControlState::Refused)],
            ..announces(&["rtsp"], true)
        };
        assert_eq!(points(&asked), 0, "what was asked is known better");
        let panel = Wanted {
            role: Some(Role::Panel),
            control: Vec::new(),
            ..wanted()
        };
        assert_eq!(weigh(&panel, &announces(&[], true), false).points, 0);
        let far = Stranger {
            foreign: Some([172, 20, 5, 9].into()),
            names: vec!["organ".into()],
            ..announces(&["rtsp"], true)
        };
        let likeness = weigh(&wanted(), &far, false);
        assert_eq!(likeness.points, TELL);
        assert!(
            likeness.because[0].contains("announces rtsp"),
            "{:?}",
            likeness.because
        );
    }

    #[test]
    fn nothing_alone_is_told_and_no_guess_is_certain() {
        assert!(
            [
                SERVICES,
                ANNOUNCED,
                VIDEO,
                OWN_MAKER,
                NAME,
                FACTORY + FOREIGN,
                APPEARED
            ]
            .iter()
            .all(|p| *p < TELL)
        );
        let all = Stranger {
            maker: Some("Quay Optics".into()),
            names: vec!["Organ loft".into()],
            factory: Some([192, 168, 0, 20].into()),
            ..answers([ControlState::Answered; 2])
        };
        let likeness = weigh(&wanted(), &all, true);
        assert_eq!(likeness.points, MOST);
        assert_eq!(likeness.because.len(), 5);
    }

    #[test]
    fn a_camera_without_listed_ports_is_known_by_visca() {
        let bare = Wanted {
            control: Vec::new(),
            ..wanted()
        };
        let speaks = answers([ControlState::Answered, ControlState::Refused]);
        assert_eq!(weigh(&bare, &speaks, false).points, VISCA);
    }
}
