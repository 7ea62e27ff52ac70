//! What is said of a common outage: the probable cause, no surer than the evidence, and one next step.

use std::collections::BTreeSet;

use vocab::Moment;

use super::{Outage, Place, Tree};
use crate::Standing;
use crate::judging::track::Track;
use crate::judging::words::{number, place};
use crate::ledger::Ledger;

/// What the switch that all hang on does itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Itself {
    /// It has no address in the file, so it cannot be asked.
    Unasked,
    /// It fell silent as well.
    Silent,
    /// It answers.
    Answers,
}

impl Ledger {
    /// The sentence and the next step.
    pub(super) fn words_of(&self, outage: &Outage, now: Moment) -> (String, String) {
        let tracks = |like: &dyn Fn(usize) -> bool| -> Vec<&Track> {
            let which = outage.members.iter().filter(|i| like(**i));
            which.filter_map(|i| self.tracks.get(*i)).collect()
        };
        let all = tracks(&|_| true);
        let (Some(first), n) = (all.first(), all.len()) else {
            return (String::new(), String::new());
        };
        if outage.back.is_some() {
            let away = tracks(&|i| self.is_folded(i));
            return rest(&away, n, &outage.place);
        }
        if let Some(server) = outage.server {
            return (
                format!(
                    "{} devices by DHCP lost their addresses, and the DHCP server {server} answers no more: it \
                     probably stopped or is cut off.",
                    number(n)
                ),
                format!("Look whether the DHCP server {server} is on and plugged into the rig's switch."),
            );
        }
        let silent = |who: &str| match outage.window {
            Some(_) => format!("All {n} devices {who} fell silent at the same time"),
            None => format!("None of the {n} devices {who} answers"),
        };
        match &outage.place {
            Place::Below(switch) => self.below(switch, &all, &silent),
            Place::Beyond(switch) => {
                let uplink = self.uplink_of(switch);
                (
                    format!(
                        "{}, and what hangs on {switch} answers: the uplink of {switch}{} is probably unplugged, or the \
                         switch there is off.",
                        silent(&format!("beyond switch {switch}")),
                        at(uplink.as_deref())
                    ),
                    format!(
                        "Look whether the uplink cable of {switch} sits firmly at both ends{}, and whether the switch \
                         there is on.",
                        at(uplink.as_deref())
                    ),
                )
            }
            Place::All => self.everybody(first, n, outage.window.is_some(), now),
            Place::Some => (
                format!(
                    "{} devices fell silent at the same time{}: they probably have one cause, such as power or a \
                     cable that they share.",
                    number(n),
                    switches_of(&all)
                ),
                format!(
                    "Look what feeds {}{}{}: a power strip, an injector, a cable.",
                    first.device.name,
                    place(first),
                    all.get(1)
                        .map_or_else(String::new, |t| format!(" and {}{}", t.device.name, place(t)))
                ),
            ),
        }
    }

    fn below(&self, switch: &str, all: &[&Track], silent: &dyn Fn(&str) -> String) -> (String, String) {
        let tree = Tree::of(self.settings.rig.as_ref());
        let itself = match self
            .tracks
            .iter()
            .find(|t| t.device.name == switch)
            .map(|t| t.standing)
        {
            None | Some(Standing::Unknown) => Itself::Unasked,
            Some(Standing::Missing) => Itself::Silent,
            Some(_) => Itself::Answers,
        };
        let chained: BTreeSet<&str> = all
            .iter()
            .filter_map(|t| tree.chain(&t.device).first().copied())
            .filter(|s| *s != switch)
            .collect();
        let behind: Vec<&str> = chained.into_iter().collect();
        let mut who = format!("on switch {switch}");
        if !behind.is_empty() {
            who = format!("{who} and behind it ({})", behind.join(", "));
        }
        let uplink = self.uplink_of(switch);
        let said = silent(&who);
        if itself == Itself::Answers {
            return (
                format!(
                    "{said}, and {switch} itself answers: its ports probably give no power any more, or pass \
                     nothing on."
                ),
                format!("Look at {switch} whether its ports are on and give power (PoE)."),
            );
        }
        let too = if itself == Itself::Silent {
            ", and so does the switch itself"
        } else {
            ""
        };
        let too = if said.starts_with("All") {
            too.replace("does", "did")
        } else {
            too.to_owned()
        };
        let place = at(uplink.as_deref());
        (
            format!("{said}{too}: {switch} probably has no power, or its uplink{place} is unplugged."),
            format!("Look whether {switch} has power and its uplink cable{place} sits firmly at both ends."),
        )
    }

    fn everybody(&self, first: &Track, n: usize, fell: bool, now: Moment) -> (String, String) {
        let port = self.station.as_ref().map_or("", |s| s.name.as_str());
        let next: Vec<String> = self.plug.now(now).iter().map(ToString::to_string).collect();
        let there = if next.is_empty() {
            String::new()
        } else {
            format!(" ({})", next.join(" or "))
        };
        let who = if fell {
            format!("All {n} devices fell silent at the same time")
        } else {
            format!("None of the {n} devices is heard")
        };
        let vouched = self.routed() || !self.port.silent_for(now);
        if vouched {
            return (
                format!(
                    "{who}, though others are still heard: they probably have one cause, such as a switch without \
                     power or a cable between."
                ),
                format!(
                    "Look whether the switch that {}{} is plugged into is on, and its uplink.",
                    first.device.name,
                    place(first)
                ),
            );
        }
        (
            format!(
                "{who}, and nothing at all is heard on this computer's port {port}{there}, though its link is up: it \
                 is probably this computer's cable or the switch next to it."
            ),
            format!(
                "Look at this computer's cable, and at the switch at its other end{there}: is it on, and its uplink \
                 plugged in?"
            ),
        )
    }

    fn uplink_of(&self, switch: &str) -> Option<String> {
        let tree = Tree::of(self.settings.rig.as_ref());
        tree.uplink(switch).map(ToString::to_string)
    }
}

/// What is said while some are back and others not.
fn rest(away: &[&Track], n: usize, of: &Place) -> (String, String) {
    let of = match of {
        Place::Below(switch) | Place::Beyond(switch) => format!(" (switch {switch})"),
        Place::All | Place::Some => String::new(),
    };
    let Some(first) = away.first() else {
        return (String::new(), String::new());
    };
    (
        format!(
            "{} of the {n} that were silent together{of} are not back yet.",
            away.len()
        ),
        format!(
            "Wait for their start; if {}{} stays away, look at its own power and cable.",
            first.device.name,
            place(first)
        ),
    )
}

fn at(uplink: Option<&str>) -> String {
    uplink.map_or_else(String::new, |port| format!(" ({port})"))
}

/// What is said when all are back.
pub(super) fn words_of_return(outage: &Outage) -> String {
    let n = outage.members.len();
    let of = match &outage.place {
        Place::Below(switch) => format!(" (switch {switch})"),
        Place::Beyond(switch) => format!(" (beyond switch {switch})"),
        Place::All | Place::Some => String::new(),
    };
    match (outage.server, outage.window) {
        (Some(server), _) => {
            format!("All {n} that lost their addresses by DHCP have one again (server {server}).")
        }
        (None, Some(_)) => format!("All {n} that fell silent together are back{of}."),
        (None, None) => format!("All {n} that did not answer are there now{of}."),
    }
}

fn switches_of(all: &[&Track]) -> String {
    let ports = all.iter().filter_map(|t| t.device.port.as_ref());
    let switches: BTreeSet<&str> = ports.map(|p| p.switch.as_str()).collect();
    if switches.is_empty() {
        return String::new();
    }
    format!(" (on {})", switches.into_iter().collect::<Vec<_>>().join(", "))
}
