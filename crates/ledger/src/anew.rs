//! Looking anew: after the computer slept, the program stood still, or the interface became another, what
//! was known says nothing about now, and nobody is missing because of it.

use std::time::Duration;

use vocab::{Gap, LinkState, Mode, Moment, Station};

use crate::ledger::Ledger;
use crate::port::OwnPort;
use crate::{Change, Subject};

/// A span of time in its two largest parts.
fn span(time: Duration) -> String {
    let seconds = time.as_secs();
    match (seconds / 3600, seconds / 60 % 60, seconds % 60) {
        (0, 0, s) => format!("{s} s"),
        (0, m, 0) => format!("{m} min"),
        (0, m, s) => format!("{m} min {s} s"),
        (h, 0, _) => format!("{h} h"),
        (h, m, _) => format!("{h} h {m} min"),
    }
}

/// That the time of day was set, for the record: by so much, `ahead` or back.
pub(crate) fn clock_set(at: Moment, ahead: bool, by: Duration) -> Change {
    let way = if ahead { "ahead" } else { "back" };
    // As exactly as it is said: it was read a moment later, and nobody sets a clock by 1 h 59 min 59.7 s.
    let step = if by.as_secs() < 3_599 { 1 } else { 60 };
    let by = Duration::from_secs((by + Duration::from_millis(step * 500)).as_secs() / step * step);
    note(
        at,
        format!("This computer's clock was set {way} by {}.", span(by)),
    )
}

/// A change that concerns no device.
fn note(at: Moment, text: String) -> Change {
    Change {
        at,
        subject: Subject::Anew,
        text,
        basis: String::new(),
        worse: false,
        folded: false,
    }
}

impl Ledger {
    /// The program knows nothing of a while: all is asked anew, and our own port is to be heard on again
    /// before a silence counts.
    pub(crate) fn gap(&mut self, at: Moment, gap: Gap) {
        let text = match gap {
            Gap::Slept(time) => format!("This computer slept for {}: looking anew.", span(time)),
            Gap::Stood(time) => format!("This program stood still for {}: looking anew.", span(time)),
        };
        self.changes.push(note(at, text));
        self.revision += 1;
        // It may have been carried elsewhere.
        self.unplug();
        if self.blind().is_some() {
            return;
        }
        self.port = if self.routed() {
            OwnPort::to_routers(at)
        } else {
            OwnPort::new(at)
        };
        self.learn(at);
        self.wire_dirty = true;
        self.touched.extend(0..self.tracks.len());
    }

    /// Our own interface is called otherwise, or was gone and one of its name is there again.
    pub(crate) fn note_other_name(&mut self, at: Moment, old: &Station) {
        let Some(new) = self.station.as_ref().filter(|new| new.mode != Mode::Routed) else {
            return;
        };
        let text = if old.state == LinkState::Gone && new.state != LinkState::Gone {
            if old.mac == new.mac {
                format!(
                    "This computer's interface {} was gone and is there again: looking anew.",
                    new.name
                )
            } else {
                format!(
                    "This computer's interface {} was gone, and another of that name is there now ({}): looking anew.",
                    new.name, new.mac
                )
            }
        } else if old.index == new.index && old.name != new.name {
            format!(
                "This computer's interface {} is called {} from now on; the head count goes on there.",
                old.name, new.name
            )
        } else {
            return;
        };
        self.changes.push(note(at, text));
    }

    /// Our own interface is not what it was, though its link was up all the while.
    pub(crate) fn note_other_station(&mut self, at: Moment, old: &Station) {
        let Some(new) = &self.station else { return };
        let text = if (old.mac, old.index) != (new.mac, new.index) {
            format!(
                "This computer's interface {} is another one now ({}): looking anew.",
                new.name, new.mac
            )
        } else if old.addresses != new.addresses {
            let addresses: Vec<String> = new.addresses.iter().map(ToString::to_string).collect();
            let now = if addresses.is_empty() {
                "none".to_owned()
            } else {
                addresses.join(" and ")
            };
            format!(
                "This computer's address on {} is {now} from now on: looking anew.",
                new.name
            )
        } else {
            return;
        };
        self.changes.push(note(at, text));
    }
}
