//! What is remembered of one device from verdict to verdict.

use std::collections::VecDeque;
use std::net::Ipv4Addr;
use std::time::Duration;

use rig::{AskWhen, Device};
use vocab::{ControlPort, ControlState, Moment, Power, Text};

use crate::hosts::claim::HostId;
use crate::judging::detect::Pulse;
use crate::judging::judge::{Evidence, Ports};
use crate::starts::ladder::Starts;
use crate::{EchoSample, Finding, Likely, Standing};

/// The time that the control ports of a device get which answered the first sweep, if its boot
/// time is not shorter (the contract of the standings).
const GRACE: Duration = Duration::from_secs(20);
/// Echoes kept.
const ECHOES: usize = 60;
/// A sign of starting within this time of the last belongs to the same start: a host sends three
/// ARP probes within about 6 s (RFC 5227 section 1.1) and DHCP discovery again after 4 and 8 s
/// (RFC 2131 section 4.1).
const SAME_START: Duration = Duration::from_secs(10);

/// What is known of a control port.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum PortState {
    /// To be asked, or asked and not told yet.
    Waiting,
    /// It told.
    Told(ControlState),
    /// It told on the wrong subnet, where it decides nothing.
    Away(ControlState),
    /// There is no way to ask it, or the file says never.
    NoWay,
}

/// A listed control port.
#[derive(Debug, Clone)]
pub(crate) struct Port {
    /// Which.
    pub(crate) which: ControlPort,
    /// How it stands in the verdict.
    pub(crate) state: PortState,
    /// What it said of itself.
    pub(crate) detail: Option<Text>,
    /// When it was last asked.
    pub(crate) asked: Option<Moment>,
    /// When it was first asked of the times in a row that it kept silent; or when that was told, if the device itself
    /// kept silent then, too.
    pub(crate) silent: Option<Moment>,
    /// It answered before, and kept silent once since.
    pub(crate) doubted: bool,
    /// Somebody wants it asked now.
    pub(crate) wanted: bool,
}

impl Port {
    /// Whether that it told `state` is to be heard twice before it counts: a silence after an answer. All three tries of
    /// a question went unanswered then, which on a wire that loses one frame in twenty happens to a port that speaks.
    pub(crate) fn doubts(&mut self, state: ControlState) -> bool {
        let silent = state == ControlState::Silent;
        self.doubted = silent && !self.doubted && self.state == PortState::Told(ControlState::Answered);
        self.doubted
    }

    /// It told `state` when it was asked at `asked`; if it kept silent, it does so since `since`.
    pub(crate) fn tells(&mut self, state: PortState, asked: Moment, since: Moment) {
        // One that refused before takes nothing of that back by keeping silent.
        let before = match self.state {
            PortState::Told(ControlState::Silent) => self.silent,
            PortState::Told(ControlState::Refused) => self.asked,
            _ => None,
        };
        let silent = state == PortState::Told(ControlState::Silent);
        self.silent = silent.then(|| before.unwrap_or(since));
        self.state = state;
        self.asked = Some(asked);
    }

    /// Whether it keeps silent since a time at which the device itself, last heard at `heard`, may have done so.
    pub(crate) fn fell_silent_after(&self, heard: Option<Moment>) -> bool {
        let silent = matches!(self.state, PortState::Told(ControlState::Silent));
        silent && heard.is_some_and(|heard| self.silent.is_some_and(|since| since > heard))
    }
}

/// A device and what became of it.
#[derive(Debug, Clone)]
pub(crate) struct Track {
    /// How it stands.
    pub(crate) standing: Standing,
    /// The host that stands for it.
    pub(crate) who: Option<HostId>,
    /// When anything was last heard of it.
    pub(crate) last_heard: Option<Moment>,
    /// Seen to appear or return, then, and not settled since.
    pub(crate) appeared: Option<Moment>,
    /// How it answers.
    pub(crate) pulse: Pulse,
    /// The evidence of that verdict.
    pub(crate) evidence: Evidence,
    /// How it starts.
    pub(crate) starts: Starts,
    /// The latest echoes.
    pub(crate) echoes: VecDeque<EchoSample>,
    /// Addresses beside the expected one that its hardware is asked for at.
    pub(crate) floating: Vec<Ipv4Addr>,
    /// Its control ports.
    pub(crate) ports: Vec<Port>,
    /// What the file says.
    pub(crate) device: Device,
    /// The channels that point at it: (panel, number).
    pub(crate) channels: Vec<(String, u32)>,
    /// Since when.
    pub(crate) since: Moment,
    /// A few words more.
    pub(crate) detail: String,
    /// The one next step.
    pub(crate) advice: String,
    /// Its own finding, if its standing is a trouble.
    pub(crate) finding: Option<Finding>,
    /// The note on a further address, if it has one.
    pub(crate) extra: Option<Finding>,
    /// The standing last put on record.
    pub(crate) said: Option<Standing>,
    /// While it is missing: the stranger that it probably is.
    pub(crate) likely: Option<Likely>,
    /// What is said of it is to be said anew.
    pub(crate) retell: bool,
    /// The last sign of starting.
    pub(crate) woke: Option<Moment>,
    /// When it was found at its address without being seen to appear.
    pub(crate) found: Option<Moment>,
    /// Answers of control ports from before count no more.
    pub(crate) reset: Moment,
    /// Our own link had a gap: ports that answered before need not be asked again.
    pub(crate) keep_ports: bool,
    /// Whether it is on, as it said when it was last asked.
    pub(crate) power: Option<Power>,
    /// Its restart is expected.
    pub(crate) expected: Option<crate::starts::expected::Announced>,
    /// The lanes of its control ports.
    pub(crate) port_lanes: Option<(Ipv4Addr, HostId)>,
}

impl Track {
    /// A device of which nothing is known at `now`.
    pub(crate) fn new(device: Device, channels: Vec<(String, u32)>, now: Moment) -> Self {
        let state = if device.ask == AskWhen::Never {
            PortState::NoWay
        } else {
            PortState::Waiting
        };
        let ports = device
            .control
            .iter()
            .map(|&which| Port {
                which,
                state,
                detail: None,
                asked: None,
                silent: None,
                doubted: false,
                wanted: false,
            })
            .collect();
        Self {
            device,
            channels,
            standing: Standing::Unknown,
            since: now,
            detail: String::new(),
            advice: String::new(),
            finding: None,
            extra: None,
            evidence: Evidence::default(),
            said: None,
            likely: None,
            retell: false,
            who: None,
            appeared: None,
            woke: None,
            found: None,
            reset: Moment::ZERO,
            keep_ports: false,
            ports,
            pulse: Pulse::default(),
            power: None,
            echoes: VecDeque::new(),
            last_heard: None,
            expected: None,
            starts: Starts::default(),
            port_lanes: None,
            floating: Vec::new(),
        }
    }

    /// Adds an echo, or the lack of one.
    pub(crate) fn echo(&mut self, rtt: Option<Duration>) {
        if self.echoes.len() == ECHOES {
            self.echoes.pop_front();
        }
        self.echoes.push_back(EchoSample(rtt));
        self.retell |= self.device.sleeps;
    }

    /// It starts: its boot time runs from now, and what its ports said is past.
    pub(crate) fn appear(&mut self, at: Moment) {
        self.appeared = Some(at);
        self.found = None;
        self.keep_ports = false;
        self.reset_ports(at);
    }

    /// A sign of starting was heard. Returns whether it begins a new start.
    pub(crate) fn wake(&mut self, at: Moment) -> bool {
        let same = self.woke.is_some_and(|w| at.since(w) < SAME_START);
        self.woke = Some(at);
        if !same {
            self.appear(at);
        }
        !same
    }

    /// Its ports are to be asked anew.
    pub(crate) fn reset_ports(&mut self, at: Moment) {
        self.reset = at;
        self.power = self.power.filter(|_| self.keep_ports);
        for port in &mut self.ports {
            let keep = self.keep_ports && port.state == PortState::Told(ControlState::Answered);
            if self.device.ask != AskWhen::Never && !keep {
                port.state = PortState::Waiting;
            }
        }
        self.keep_ports = false;
    }

    /// How its ports stand together, of a device that was last heard at `heard`.
    pub(crate) fn ports_say(&self, heard: Option<Moment>) -> Ports {
        let mut say = Ports::Fine;
        for port in &self.ports {
            match port.state {
                PortState::Told(ControlState::Answered) | PortState::NoWay => {}
                PortState::Told(_) if port.fell_silent_after(heard) => say = Ports::Waiting,
                PortState::Told(_) => return Ports::Failing,
                PortState::Waiting | PortState::Away(_) => say = Ports::Waiting,
            }
        }
        say
    }

    /// It was away while those of its ports were asked that fell silent with it: they are to be asked anew.
    pub(crate) fn forget_unheard(&mut self) {
        let told = &self.evidence.failing;
        for port in &mut self.ports {
            let silent = port.state == PortState::Told(ControlState::Silent);
            if silent && told.iter().all(|(which, _)| *which != port.which) {
                port.state = PortState::Waiting;
            }
        }
    }

    /// Those of its ports that are refused or silent, of a device that was last heard at `heard`.
    pub(crate) fn failing(&self, heard: Option<Moment>) -> Vec<(ControlPort, ControlState)> {
        let told = |p: &Port| match p.state {
            PortState::Told(state) if state != ControlState::Answered && !p.fell_silent_after(heard) => {
                Some((p.which, state))
            }
            _ => None,
        };
        self.ports.iter().filter_map(told).collect()
    }

    /// Until when its ports have time, if it was found and not seen to appear.
    pub(crate) fn grace_end(&self) -> Option<Moment> {
        self.found.map(|at| at + self.device.boot.min(GRACE))
    }

    /// Until when it may be starting.
    pub(crate) fn boot_end(&self) -> Option<Moment> {
        self.appeared.map(|at| at + self.device.boot)
    }
}
