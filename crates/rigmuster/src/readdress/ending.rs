//! What is told at the end: what was seen, what was sent, what comes next, and how to go back.

use board::span;
use vocab::{ControlState, Mac};
use wire::onvif::{Question, Refusal};

use super::course::Course;
use super::follow::Verdict;
use super::step::{Now, Outcome, Ports, Told, Trouble, Why};
use super::words::{self, Who, fold, settings, settings_after};
use crate::hands::Host;

/// What is told of an outcome.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Ending {
    /// Whether the device is now where it should be, and works.
    pub well: bool,
    /// Whether all that is left is to set it by hand, on its own page.
    pub by_hand: bool,
    /// For the screen: several lines, the last of a trouble being the next step.
    pub text: String,
    /// For the journal: one sentence.
    pub note: String,
    /// For the journal: how it is now.
    pub after: String,
}

/// What is told. `pointers` are those who are to be told the new address.
pub(crate) fn ending(course: &Course, outcome: &Outcome, who: &Who, pointers: &[String]) -> Ending {
    let (well, first) = first(course, outcome, who);
    let mut text = fold(&first, "") + "\n";
    let note = first
        .lines()
        .next()
        .unwrap_or_default()
        .trim_end_matches('.')
        .to_owned();
    if let Outcome::Arrived {
        ports, gateway, now, ..
    } = outcome
    {
        for (port, state) in ports {
            text += &(words::port(*port, *state) + "\n");
        }
        if let Some(trouble) = gateway {
            text += &(fold(&format!("Its gateway is not set: {}.", said(trouble)), "") + "\n");
        }
        text += &(fold(&read_back(course, now), "") + "\n");
        for line in pointers {
            text += &(line.clone() + "\n");
        }
    }
    if by_hand(outcome) {
        text += &words::by_hand(who, course.job().at, course.job().to);
    } else if !course.sent().nothing() && !matches!(outcome, Outcome::Arrived { .. }) {
        text += &(fold(&state(course), "") + "\n");
        text += &words::way_back(course, who);
    }
    if let Some(step) = step(course, outcome, who) {
        text += &(fold(&format!("next step: {step}"), "") + "\n");
    }
    Ending {
        well,
        by_hand: by_hand(outcome),
        text,
        note,
        after: after(course, outcome),
    }
}

/// Whether all that is left is to do it by hand.
fn by_hand(outcome: &Outcome) -> bool {
    match outcome {
        Outcome::NoService | Outcome::Unclear(_) | Outcome::Elsewhere => true,
        Outcome::Failed(Question::Restart, _) => false,
        Outcome::Failed(_, Trouble::Says(refusal)) => {
            !matches!(refusal, Refusal::NotAuthorized | Refusal::Cut)
        }
        _ => false,
    }
}

/// What happened, in one paragraph, and whether that is well.
fn first(course: &Course, outcome: &Outcome, who: &Who) -> (bool, String) {
    let (job, name) = (course.job(), &who.short);
    let (old, new) = (job.at, job.to.address());
    let nothing = "Nothing was changed on the device.";
    match outcome {
        Outcome::Arrived {
            took,
            ports,
            gateway,
            now,
        } => {
            let well = gateway.is_none() && all_answer(ports) && differences(course, now).is_empty();
            let text = match took {
                Some(took) if took.as_secs() == 0 => format!("{name} answers at {new} already."),
                Some(took) => format!("{name} answers at {new}, {} after it was told.", span(*took)),
                None => format!("{name} took its new gateway, and is at {new} as before."),
            };
            (well, text)
        }
        Outcome::Already => (true, format!("{name} is set like that already: nothing to do.")),
        Outcome::Astray(verdict) => (false, astray(*verdict, course, who)),
        Outcome::Held(mac) => (false, format!("{new} is in use: {mac} answers there. {nothing}")),
        Outcome::NotProbed => (
            false,
            format!(
                "It could not be found out whether {new} is free: no question left this computer. {nothing}"
            ),
        ),
        Outcome::NoService => (
            false,
            format!(
                "{name} does not offer ONVIF where it was asked, so it cannot be set from here. {nothing}"
            ),
        ),
        Outcome::NoLogin => (
            false,
            format!("{name} wants a login, and none was given. {nothing}"),
        ),
        Outcome::LoginRefused => (
            false,
            format!(
                "{name} does not take this login. It was tried once and is not tried again, since many devices \
                 lock an account after a few tries. {nothing}"
            ),
        ),
        Outcome::Unclear(why) => (
            false,
            format!("Which of the interfaces of {name} this is, is not clear: {why}. {nothing}"),
        ),
        Outcome::Elsewhere => (
            false,
            format!(
                "{name} does not say that it has the address {old}, at which it answers: it is not touched. {nothing}"
            ),
        ),
        Outcome::NotConfirmed => (false, format!("Not confirmed. {nothing}")),
        Outcome::Failed(question, trouble) => (false, failed(course, question, trouble, who)),
        Outcome::Interrupted => (false, interrupted(course)),
    }
}

/// What it says now that it was not told.
fn differences(course: &Course, now: &Now) -> Vec<String> {
    match now {
        Now::Told(now) => words::differences(now, course.job().to),
        Now::Untold(_) | Now::NotAsked => Vec::new(),
    }
}

/// What it says of its settings once it has moved.
fn read_back(course: &Course, now: &Now) -> String {
    let to = course.job().to;
    let unread = "Mask and gateway could not be read back";
    match now {
        Now::Told(says) => {
            let line = settings(Some(says), to.address());
            match differences(course, now).as_slice() {
                [] => format!("It says that it is set to {line}."),
                all => format!(
                    "It says that it is set to {line}. That is not what it was told: {}.",
                    all.join("; ")
                ),
            }
        }
        Now::Untold(trouble) => format!("{unread}: {}.", said(trouble)),
        Now::NotAsked => format!("{unread}: ONVIF does not answer at the new address."),
    }
}

fn all_answer(ports: &Ports) -> bool {
    ports
        .iter()
        .all(|(_, state)| matches!(state, Some(ControlState::Answered) | None))
}

fn astray(verdict: Verdict, course: &Course, who: &Who) -> String {
    let job = course.job();
    let (name, old, new) = (&who.short, job.at, job.to.address());
    let beside = |mac: Mac| format!("{mac} answers at {new}");
    match verdict {
        // Told as an arrival.
        Verdict::Arrived(_) => format!("{name} answers at {new}."),
        Verdict::Old => format!("{name} still answers at {old}, and nobody answers at {new}."),
        Verdict::Third(address) => {
            format!("{name} turned up at {address}, which is neither its old address nor the new one.")
        }
        Verdict::Other(mac) => format!(
            "{}, which is not {name}; {name} does not answer there.",
            beside(mac)
        ),
        Verdict::Both(mac) => format!(
            "Two are on one address: {name} answers at {new}, and {} too.",
            beside(mac)
        ),
        Verdict::Silent => format!("{name} was not heard again, neither at {new} nor at {old}."),
    }
}

fn failed(course: &Course, question: &Question, trouble: &Trouble, who: &Who) -> String {
    let name = &who.short;
    let what = match question {
        Question::Clock => format!("{name} could not be asked"),
        Question::Interfaces => format!("{name} does not tell how its network is set"),
        Question::Gateway => format!("{name} does not tell its gateway"),
        Question::SetInterface(..) => format!("{name} does not take the new address"),
        Question::SetGateway(_) => format!("{name} does not take the new gateway"),
        Question::Restart => format!("{name} took its new settings, and does not restart when asked"),
    };
    let still = if course.sent().nothing() {
        " Nothing was changed on the device."
    } else {
        ""
    };
    format!("{what}: {}.{still}", said(trouble))
}

/// Why something came to nothing.
fn said(trouble: &Trouble) -> String {
    match trouble {
        Trouble::Says(Refusal::Fault(fault)) => format!("it says {}", words::quoted(&fault.text)),
        Trouble::Says(Refusal::Cut) => "its answer broke off before it was whole".to_owned(),
        Trouble::Says(refusal) => refusal.to_string(),
        Trouble::Mute { why, .. } => match why {
            Why::Refused => "it takes no connection",
            Why::Silent => "it says nothing",
            Why::Cut => "the connection broke",
            Why::NoWay => "no free address could be borrowed to speak to it, or the link is down",
            Why::NoChance => "this computer gives no random numbers, which a login needs",
        }
        .to_owned(),
    }
}

fn interrupted(course: &Course) -> String {
    if course.sent().nothing() {
        "Ended. Nothing was changed on the device: it was only asked.".to_owned()
    } else {
        "Ended in the middle.".to_owned()
    }
}

/// What was sent, and what state the device may be in.
fn state(course: &Course) -> String {
    let (job, sent) = (course.job(), course.sent());
    let (old, new) = (job.at, job.to.address());
    let address = match sent.address {
        Told::No | Told::Refused => String::new(),
        Told::Unsure => format!(
            "The new address was sent, and no answer to it was heard: the device may be at {old} or at {new}, \
             and may change over at its next start."
        ),
        Told::Yes => match sent.restart {
            Told::No | Told::Refused => {
                format!("The device took the new address, and may go over to {new} only at its next start.")
            }
            Told::Unsure => format!(
                "The device took the new address and was told to restart, and no answer to that was heard: it should \
                 come up at {new}."
            ),
            Told::Yes => format!(
                "The device took the new address and said that it restarts: it should come up at {new}."
            ),
        },
    };
    let gateway = match (sent.gateway, job.to.gateway) {
        (Told::Yes, Some(gateway)) => format!(" It took the gateway {gateway}."),
        (Told::Unsure, Some(gateway)) => {
            format!(" The gateway {gateway} was sent, and no answer to it was heard.")
        }
        _ => String::new(),
    };
    format!("{address}{gateway}").trim().to_owned()
}

/// The one next step.
fn step(course: &Course, outcome: &Outcome, who: &Who) -> Option<String> {
    let new = course.job().to.address();
    let (name, mac) = (&who.short, &who.mac);
    let look = words::command(who.host.far()) + " finds where it is";
    Some(match outcome {
        Outcome::Arrived {
            ports, gateway, now, ..
        } => {
            if !all_answer(ports) {
                let check = words::command(who.host.check());
                let page = words::reach(who);
                format!("give it a minute, then look again: {check}; its page opens with {page}")
            } else if gateway.is_some() {
                format!("set the gateway on its own page: {}", words::reach(who))
            } else if !differences(course, now).is_empty() {
                format!("set that on its own page: {}", words::reach(who))
            } else if !matches!(now, Now::Told(_)) {
                format!("look at both on its own page: {}", words::reach(who))
            } else {
                return None;
            }
        }
        Outcome::Held(holder) => format!(
            "look what it is, and give that unit or {name} another address: {}",
            words::page(who.host, *holder)
        ),
        Outcome::NotProbed => {
            "look whether this computer's network cable is plugged in, then try again".to_owned()
        }
        Outcome::NoLogin => {
            let again = match who.host {
                Host::Terminal => "run it again on a terminal",
                Host::Board => who.host.again(),
            };
            format!(
                "{again}, or name the variable that holds the login in the rig file: login = \"env:NAME\""
            )
        }
        Outcome::LoginRefused => format!(
            "find out user and password (its label, or whoever set it up), wait some minutes, and run it once more; \
             or set it by hand: {}",
            words::reach(who)
        ),
        Outcome::Astray(verdict) => match verdict {
            Verdict::Old | Verdict::Arrived(_) => {
                format!(
                    "switch {name} off and on, give it two minutes, then {}",
                    who.host.again()
                )
            }
            Verdict::Third(_) => format!(
                "open its page where it is now and set it there: {}",
                words::reach(who)
            ),
            Verdict::Other(other) | Verdict::Both(other) => {
                let page = words::page(who.host, *other);
                format!("unplug {other} or give it another address; its page opens with {page}")
            }
            Verdict::Silent => {
                format!("look whether {name} has power and its network light is on; then {look}")
            }
        },
        Outcome::Failed(Question::Restart, _) => {
            format!(
                "switch {name} off and on; it should come up at {new}: {}",
                words::command(who.host.check())
            )
        }
        Outcome::Failed(_, Trouble::Mute { .. } | Trouble::Says(Refusal::Cut)) => {
            format!("look whether {name} is still there ({look}), then try again")
        }
        Outcome::Interrupted if !course.sent().nothing() => format!("{look}: it is {mac}"),
        Outcome::NoService
        | Outcome::Unclear(_)
        | Outcome::Elsewhere
        | Outcome::Failed(..)
        | Outcome::Already
        | Outcome::NotConfirmed
        | Outcome::Interrupted => return None,
    })
}

/// How the device is now, as far as is known.
fn after(course: &Course, outcome: &Outcome) -> String {
    let job = course.job();
    let before = || settings(course.before(), job.at);
    match outcome {
        Outcome::Arrived { gateway, now, .. } => {
            let gateway = if gateway.is_some() {
                ", but not its gateway"
            } else {
                ""
            };
            let says = match now {
                Now::Told(now) => format!("; says {}", settings(Some(now), job.to.address())),
                Now::Untold(_) | Now::NotAsked => "; does not say how it is set now".to_owned(),
            };
            format!(
                "answers at {}; was told {}{gateway}{says}",
                job.to.address(),
                settings_after(job.to)
            )
        }
        Outcome::Astray(Verdict::Third(address)) => format!("at {address}, mask and gateway not known"),
        _ if course.sent().nothing() => format!("as before ({})", before()),
        _ => "not known".to_owned(),
    }
}
