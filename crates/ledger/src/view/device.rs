//! One device as the head count sees it.

use std::net::Ipv4Addr;
use std::time::Duration;

use rig::{AddressSpec, Need, Role};
use vocab::{ControlPort, ControlState, Mac, Moment, Name, Power, Text};

use super::{CableOffer, HeardView, NoCheck, Restart, Standing, StartView};

/// A device of the rig: expected beside seen.
#[derive(Debug, Clone, PartialEq)]
pub struct DeviceView {
    /// Its name.
    pub name: String,
    /// The network it is on, where the rig has more than one.
    pub network: Option<String>,
    /// What it is for.
    pub role: Role,
    /// Whether the show waits for it.
    pub need: Need,
    /// How it stands.
    pub standing: Standing,
    /// Since when it stands so.
    pub since: Moment,
    /// A few words more where the standing alone does not say enough, such as
    /// "for now at 169.254.3.7" or "at 192.168.0.20"; empty otherwise.
    pub detail: String,
    /// The one next step; empty when there is nothing to do.
    pub advice: String,
    /// The hardware that the file gives.
    pub expected_macs: Vec<Mac>,
    /// The address that the file gives.
    pub expected_address: AddressSpec,
    /// The channels that point at it: (panel, number).
    pub channels: Vec<(String, u32)>,
    /// Where it is plugged in, as the file says ("S1/3").
    pub port: Option<String>,
    /// Where it stands, as the file says.
    pub position: Option<String>,
    /// The file's note.
    pub note: Option<String>,
    /// Who else points at it.
    pub used_by: Vec<String>,
    /// What is seen of it; `None` if nothing ever was.
    pub seen: Option<SeenView>,
    /// Whether it is on, as it said when it was last asked; `None` where it did not say.
    pub power: Option<Power>,
    /// Its control ports as the file lists them.
    pub control: Vec<ControlView>,
    /// The latest echoes, oldest first, at most 60.
    pub echoes: Vec<EchoSample>,
    /// How it answers; `None` until it did.
    pub answers: Option<AnswerView>,
    /// When anything was last heard from it.
    pub last_heard: Option<Moment>,
    /// Its latest start in this run; `None` if it was not seen to start.
    pub start: Option<StartView>,
    /// What may be said of restarting it, and whether that is expected.
    pub restart: Restart,
    /// What a check of its cable would send, or why it cannot be.
    pub cable: Result<CableOffer, NoCheck>,
    /// When its cable was last checked in this run, and what that said; `None` if it was not.
    pub checked: Option<(Moment, String)>,
    /// While it is missing: the stranger that it probably is. A guess, never a fact.
    pub likely: Option<Likely>,
}

/// How a device answers the questions for its address. docs/detector.md says how the numbers come
/// about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AnswerView {
    /// Its smoothed response time (RFC 6298's SRTT).
    pub time: Duration,
    /// Usually it answers within this (SRTT and four times RTTVAR, at least 1 ms more).
    pub usual: Duration,
    /// The jitter of the response time (RFC 3550's J, of round trips).
    pub jitter: Duration,
    /// What share the wire to it loses at the most, with 95 % confidence: 0.01 to 0.9.
    pub loss_at_most: f64,
    /// So many unanswered questions in a row make it missing.
    pub run: u8,
}

/// The stranger that a missing device probably is.
#[derive(Debug, Clone, PartialEq)]
pub struct Likely {
    /// Its hardware.
    pub mac: Mac,
    /// Where it is.
    pub address: Option<Ipv4Addr>,
    /// How much speaks for it, 0 to 1.
    pub score: f64,
    /// What does, in words that go on from "because".
    pub because: Vec<String>,
}

/// The host that stands for a device: the file's hardware if it is there, else the claimant that
/// answered first.
#[derive(Debug, Clone, PartialEq)]
pub struct SeenView {
    /// Its hardware; `None` where no hardware is known.
    pub mac: Option<Mac>,
    /// The address that matters: the expected one if it holds it, else the latest heard.
    pub address: Option<Ipv4Addr>,
    /// Its addresses, the one that matters first, at most 32.
    pub addresses: Vec<Ipv4Addr>,
    /// What it is known by besides.
    pub heard: HeardView,
    /// Who made it, from the registries.
    pub vendor: Option<Text>,
    /// What it calls itself, what people gave it first.
    pub names: Vec<Name>,
    /// The latest round-trip time.
    pub rtt: Option<Duration>,
    /// The mask that it told for the address that matters.
    pub mask: Option<Ipv4Addr>,
    /// When it was first heard.
    pub first_seen: Moment,
}

/// A listed control port of a device.
#[derive(Debug, Clone, PartialEq)]
pub struct ControlView {
    /// Which port.
    pub port: ControlPort,
    /// What came of asking; `None` when not asked, or no way there.
    pub state: Option<ControlState>,
    /// What it said of itself.
    pub detail: Option<Text>,
    /// When it was last asked.
    pub asked: Option<Moment>,
}

/// One echo: its round-trip time, or `None` if no reply came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EchoSample(pub Option<Duration>);
