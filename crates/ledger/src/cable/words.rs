//! What a check says, in words: one or two sentences and one next step, with its place.

use std::time::Duration;

use vocab::FrameSize;

use super::course::{Course, End, KNOCKS};
use super::verdict::Verdict;

/// The longest fixed cable of a channel that is 100 m long at the most (ISO/IEC 11801: 90 m, and 10 m of
/// cords at its ends; from memory).
const FIXED_M: f64 = 90.0;
/// The longest channel over twisted pair (IEEE 802.3, 100BASE-TX and 1000BASE-T; from memory).
const CHANNEL_M: f64 = 100.0;

/// Whose cable it is, as the file says.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Whose {
    /// The device.
    pub(crate) device: String,
    /// The switch, and the port there.
    pub(crate) port: Option<(String, String)>,
    /// How long the cable is, in metres.
    pub(crate) cable_m: Option<f64>,
    /// The interface of ours.
    pub(crate) ours: String,
}

/// What an earlier check of another device's cable tells of this one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Besides {
    /// None was checked lately, or none that tells anything.
    Nothing,
    /// That of this device, on the same switch, passed everything.
    Passed(String),
    /// It was the same with this device.
    Same(String),
}

impl Whose {
    fn place(&self) -> String {
        match &self.port {
            Some((_, port)) => port.clone(),
            None => format!("the port of {}", self.device),
        }
    }

    fn second(&self) -> String {
        match &self.port {
            Some((switch, _)) => format!("a second device on {switch}"),
            None => "a second device on the same switch".to_owned(),
        }
    }

    fn uplink(&self) -> String {
        match &self.port {
            Some((switch, _)) => format!("the uplink of {switch}"),
            None => "the uplink of its switch".to_owned(),
        }
    }

    /// That the cable is too long, if the file says so.
    pub(crate) fn length(&self) -> Option<String> {
        let m = self.cable_m.filter(|m| *m > FIXED_M)?;
        Some(if m > CHANNEL_M {
            format!(
                "By the file its cable is {m} m long, and Ethernet on twisted pair reaches {CHANNEL_M} m."
            )
        } else {
            format!(
                "By the file its cable is {m} m long: {FIXED_M} m is the most where cords at both ends come on top."
            )
        })
    }
}

/// "0", "2.5", "12": a share in per cent, rounded outwards.
fn percent(share: f64, up: bool) -> String {
    let tenths = if up {
        (share * 1e3).ceil()
    } else {
        (share * 1e3).floor()
    };
    let text = format!("{:.1}", tenths / 10.0);
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

/// A frame size as people write it.
fn bytes(size: FrameSize) -> String {
    match size.bytes() {
        n if n >= 1_000 => format!("{},{:03}", n / 1_000, n % 1_000),
        n => n.to_string(),
    }
}

/// A frame size and all above it.
fn from_on(size: FrameSize) -> String {
    let more = if size == FrameSize::Full { "" } else { " or more" };
    format!("{} bytes{more}", bytes(size))
}

/// The sentences.
pub(crate) fn said(whose: &Whose, course: &Course, verdict: Verdict) -> String {
    let device = &whose.device;
    let told: u32 = course.tallies().iter().map(super::course::Tally::told).sum();
    let share = |lost, told| {
        let (low, high) = super::interval::interval(lost, told);
        format!(
            "{lost} of {told} frames were lost ({} to {} %)",
            percent(low, false),
            percent(high, true)
        )
    };
    let found = match verdict {
        Verdict::Clean { below } => format!(
            "All {told} frames came back whole: no size loses more than {} %.",
            percent(below, true)
        ),
        Verdict::Few { lost, told } => format!("{}: too few to blame a cable for.", share(lost, told)),
        Verdict::Unclear { lost, told } => format!(
            "{}: too few to tell whether it depends on the size.",
            share(lost, told)
        ),
        Verdict::AllSizes { lost, told } => format!(
            "Loss at all sizes: {}. A loose plug does that, a busy or wireless way, or a limit on echoes.",
            share(lost, told)
        ),
        Verdict::Larger { small } => {
            let full = &course.tallies()[FrameSize::Full as usize];
            let up_to = match small.up_to {
                FrameSize::Least => "at",
                _ => "up to",
            };
            format!(
                "Small frames pass, full-size ones do not: lost were {} of {} {up_to} {} bytes, and {} of {} at {}. A bad \
                 cable or plug does that, or two ends that differ in duplex; a limit on echoes mostly lets none pass.",
                small.lost,
                small.told,
                bytes(small.up_to),
                full.lost(),
                full.told(),
                bytes(FrameSize::Full)
            )
        }
        Verdict::Edge { from } => {
            let from_on = from_on(from);
            let below = FrameSize::ALL.into_iter().filter(|s| *s < from);
            let below: u32 = below.map(|s| course.tallies()[s as usize].lost()).sum();
            let below = if below == 0 {
                "none".to_owned()
            } else {
                below.to_string()
            };
            format!(
                "Cannot tell: no frame of {from_on} came back, and of the smaller ones {below} got lost. That \
                 is rather a limit on large echoes, in {device} or on the way, than a cable, which lets some pass."
            )
        }
        Verdict::OwnEdge { from } => format!(
            "Cannot tell: this computer itself sends no frames of {} on {}.",
            from_on(from),
            whose.ours
        ),
        Verdict::NoEcho => {
            format!("Cannot tell: {device} answered none of {KNOCKS} small echoes, so no more were sent.")
        }
        Verdict::NotSent => {
            "Cannot tell: this computer's system lets this program send no echoes.".to_owned()
        }
        Verdict::TooFew => format!("Cannot tell: only {told} frames were sent and waited for."),
    };
    let early = match course.end() {
        Some(End::Stopped) => Some("it was ended".to_owned()),
        Some(End::Vanished) => Some(format!("{device} was gone")),
        Some(End::Level) => Some("less is to be sent now".to_owned()),
        Some(End::Interrupted) => Some("the link or this computer was interrupted".to_owned()),
        Some(End::TimeUp) => Some("the pace left too little room".to_owned()),
        Some(End::Through | End::NoEcho | End::NotSent) | None => None,
    };
    let early = early.map(|why| format!("Not all was sent: {why}."));
    let blames = matches!(
        verdict,
        Verdict::Larger { .. } | Verdict::AllSizes { .. } | Verdict::Unclear { .. }
    );
    let length = whose.length().filter(|_| blames);
    let parts = [Some(found), early, length].into_iter().flatten();
    parts.collect::<Vec<_>>().join(" ")
}

/// The one next step.
pub(crate) fn advice(whose: &Whose, verdict: Verdict, besides: &Besides, end: End) -> String {
    let (place, second, device) = (whose.place(), whose.second(), &whose.device);
    match (verdict, besides) {
        (Verdict::Clean { .. }, _) => {
            format!("Nothing to do at {place}; if pictures still break up, check again while they do.")
        }
        (Verdict::Few { .. } | Verdict::Unclear { .. }, _) => {
            format!("Check {device} again while the trouble shows.")
        }
        (Verdict::TooFew, _) if end == End::TimeUp => {
            format!("Check {device} again when less else is asked, or with a quicker pace in the rig file.")
        }
        (Verdict::TooFew, _) => format!("Check {device} again, to the end."),
        (Verdict::AllSizes { .. } | Verdict::Larger { .. } | Verdict::Edge { .. }, Besides::Same(other)) => format!(
            "It was the same with {other}: look at what both share, this computer's own cable and port first, then {}.",
            whose.uplink()
        ),
        (Verdict::Larger { .. }, Besides::Passed(other)) => format!(
            "{other} on the same switch lost nothing: put another cable into {place}, let both ends negotiate \
             speed and duplex by themselves, and check again."
        ),
        (Verdict::Larger { .. }, Besides::Nothing) => format!(
            "Look at the cable and duplex of {place}: put another cable in, let both ends negotiate by themselves, \
             and check again; if it stays, check {second}."
        ),
        (Verdict::AllSizes { .. }, Besides::Passed(other)) => {
            format!("{other} on the same switch lost nothing: look at the plugs of {place}, then put another cable in.")
        }
        (Verdict::AllSizes { .. }, Besides::Nothing) => format!(
            "Check {second}: if it loses too, look at {}, else at the cable of {place}.",
            whose.uplink()
        ),
        (Verdict::Edge { .. }, Besides::Passed(other)) => format!(
            "Large frames to {other} on the same switch do pass: put another cable into {place} and check again; if it \
             stays, {device} limits echoes."
        ),
        (Verdict::Edge { .. }, Besides::Nothing) => format!(
            "Check {second}: if large frames pass there, put another cable into {place} and check again; if not, look \
             at what limits them on the way."
        ),
        (Verdict::OwnEdge { .. }, _) => {
            format!("Give {0} an MTU of 1,500 bytes (ip link set {0} mtu 1500) and check again.", whose.ours)
        }
        (Verdict::NoEcho, _) => {
            format!("Let {device} answer echoes (ICMP, ping) in its settings, or check {second}.")
        }
        (Verdict::NotSent, _) => {
            "Let an administrator allow it (sysctl net.ipv4.ping_group_range=\"0 2147483647\"), or start with the \
             permission for whole frames."
                .to_owned()
        }
    }
}

/// The numbers, for the record: "64 B 0/100, 256 B 0/100, …; 0.41 ms, jitter 0.03 ms at 64 B".
pub(crate) fn numbers(course: &Course) -> String {
    let sizes = course.sizes();
    let counts: Vec<String> = sizes
        .iter()
        .map(|s| format!("{} B {}/{}", s.size.bytes(), s.lost, s.answered + s.lost))
        .collect();
    let ms = |time: Duration| format!("{:.2} ms", time.as_secs_f64() * 1e3);
    let times = sizes.iter().filter_map(|s| {
        let (time, jitter) = (s.time?, s.jitter?);
        Some(format!(
            "{} B in {}, jitter {}",
            s.size.bytes(),
            ms(time),
            ms(jitter)
        ))
    });
    let ends: Vec<String> = times.collect();
    let ends = match ends.as_slice() {
        [] => String::new(),
        [only] => format!("; {only}"),
        [first, .., last] => format!("; {first}; {last}"),
    };
    format!("lost of sent: {}{ends}", counts.join(", "))
}
