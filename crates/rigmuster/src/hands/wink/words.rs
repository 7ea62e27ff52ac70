//! What `wink` tells: cautions where it asks, troubles with their next step, and the plan of a dry run.

use std::fmt::Write as _;
use std::time::Duration;

use vocab::ControlPort;
use wire::visca::{Command, Digits, Exchange, Framing, Inquiry, Position, Speed};

use super::By;
use super::nudge;
use crate::hands::host::Host;
use crate::hands::visca::Trouble;
use crate::hands::whom::Place;
use crate::hands::wish::NoWay;

/// Asked before numbering is begun anew.
pub(super) const RESET: &str = "\
The device waits for the next number of somebody else's count. Beginning its numbering anew \
(VISCA's RESET) may make a panel that drives it lose a command or two. Do it?";

/// The lamp in a word, as it is.
pub(super) const fn lit(lit: bool) -> &'static str {
    if lit { "lit" } else { "dark" }
}

/// The lamp in a word, as it is told to be.
pub(super) const fn on(lit: bool) -> &'static str {
    if lit { "on" } else { "off" }
}

/// Where a head points.
pub(super) fn at(position: Position) -> String {
    format!("pan {} tilt {}", position.pan, position.tilt)
}

/// Said before the lamp is switched.
pub(super) fn lamp_caution(place: &Place, span: Duration, back: bool, known: bool) -> String {
    let now = if known { "It is" } else { "It will be left" };
    format!(
        "The tally lamp of {} would go on and off for {} s, then be as before.\n\
         {now} {} (some makers: 02 and 03 are two colours).\n\
         caution: performers and camera crew may take this lamp for \"on air\". Some devices answer the last \
         peer only: a panel that drives this one may miss answers.",
        place.called(),
        span.as_secs(),
        lit(back),
    )
}

/// Said before the head is moved.
pub(super) fn head_caution(place: &Place) -> String {
    format!(
        "The head of {} would turn a degree or two aside at its slowest speed, and back to where it points now.\n\
         caution: the head MOVES, and the picture with it. Keep people, hands and cables clear of it, and be sure \
         that its picture is not on air.",
        place.called()
    )
}

/// It does not tell whether its lamp is lit.
pub(super) fn unread(place: &Place, why: Trouble) -> String {
    format!(
        "{} does not tell whether its lamp is lit: {}.\n\
         It can be switched all the same, but nobody can read how it was, nor prove that it is so again.",
        place.called(),
        reason(why)
    )
}

/// Why, as the end of a sentence.
fn reason(why: Trouble) -> String {
    match why {
        Trouble::Closed => "nobody takes connections at its port".to_owned(),
        Trouble::Silent => "nothing was heard from it".to_owned(),
        Trouble::Lost => "this computer lost its link, or the address that it spoke from".to_owned(),
        Trouble::Refused(why) => why.to_string(),
        Trouble::Sequence => "it waits for another packet number".to_owned(),
        Trouble::Odd => "its answer makes no sense here".to_owned(),
    }
}

fn step(place: &Place, host: Host, why: Trouble) -> String {
    match why {
        Trouble::Closed => "next step: look whether VISCA is switched on, on its own page or menu".to_owned(),
        Trouble::Lost => {
            "next step: look whether this computer's network cable is plugged in, then try again".to_owned()
        }
        Trouble::Silent => format!(
            "next step: look whether VISCA over IP is switched on, and at which port: {}",
            host.ports(&place.mac.to_string(), &short(place))
        ),
        Trouble::Refused(wire::visca::Refusal::NotExecutable) => {
            "next step: wake it from standby, or wait until it has started, and try again".to_owned()
        }
        Trouble::Refused(wire::visca::Refusal::BufferFull) => {
            "next step: wait until the panel that drives it is still, and try again".to_owned()
        }
        Trouble::Refused(_) | Trouble::Odd => {
            let page = host.ports(&place.mac.to_string(), &short(place));
            format!("next step: its own page may do it: {page}")
        }
        Trouble::Sequence => {
            "next step: try again and answer yes when it asks about the numbering".to_owned()
        }
    }
}

/// It has no port for it.
pub(super) fn no_port(place: &Place, host: Host) -> String {
    let port = match host {
        Host::Terminal => "name its port: --control visca-udp",
        Host::Board => "list its port in the rig file: control = [\"visca-udp\"]",
    };
    format!(
        "rigmuster: the rig file lists no VISCA port of {}: nothing was sent\n\
         next step: if it speaks VISCA, {port}",
        place.called()
    )
}

/// There is no address to speak from.
pub(super) fn no_way(place: &Place, why: NoWay) -> String {
    let what = match why {
        NoWay::NoAddress => format!("no free address could be borrowed to speak to {}", place.address),
        NoWay::Taken => "every address that was borrowed is taken by somebody else".to_owned(),
        NoWay::Locked => "the show lock is on".to_owned(),
    };
    format!(
        "rigmuster: {what}: nothing was sent to the device\n\
         next step: wait a minute and try again; if it stays so, ask who runs this network"
    )
}

/// By what it stands in a row of the board.
fn short(place: &Place) -> String {
    place.name.clone().unwrap_or_else(|| place.mac.to_string())
}

/// None of its ports answered.
pub(super) fn no_answer(place: &Place, host: Host, tried: &[(ControlPort, Trouble)]) -> String {
    let mut out = format!(
        "rigmuster: {} did not answer by VISCA: nothing was changed\n",
        place.called()
    );
    for (port, why) in tried {
        let _ = writeln!(out, "  {:14} {}", port.to_string(), reason(*why));
    }
    out + &step(place, host, tried.last().map_or(Trouble::Silent, |(_, why)| *why))
}

/// It would not, or could not be heard, in the middle.
pub(super) fn refused(place: &Place, host: Host, what: &str, why: Trouble) -> String {
    format!(
        "rigmuster: {what} did not do as told: {}\n{}",
        reason(why),
        step(place, host, why)
    )
}

/// What state the lamp may be in: `last` it was told to be so, and `sure` whether that is the last that was sent, and
/// was answered.
pub(super) fn lamp_left(last: Option<bool>, sure: bool) -> String {
    match last {
        None => "as it was: it was told nothing".to_owned(),
        Some(last) if sure => format!("{}, as far as it said last", lit(last)),
        Some(_) => "lit or dark: what it was told last was not answered".to_owned(),
    }
}

/// The lamp may not be as it was.
pub(super) fn not_put_back(
    place: &Place,
    host: Host,
    back: bool,
    why: Trouble,
    locked: bool,
    state: &str,
) -> String {
    let why = if locked {
        "the show lock is on, so nothing is sent any more".to_owned()
    } else {
        reason(why)
    };
    format!(
        "rigmuster: the lamp of {} was NOT put back to {}: {why}\n\
         It is now {state}.\n\
         next step: set it to {} by hand: at the switcher that drives it, on its own page ({}), or by \
         switching the device off and on",
        place.called(),
        lit(back),
        on(back),
        host.ports(&place.mac.to_string(), &short(place))
    )
}

/// Where it points cannot be read.
pub(super) fn no_position(place: &Place, host: Host, why: Trouble) -> String {
    format!(
        "rigmuster: {} does not tell where its head points ({}), so it could not be brought back: nothing was \
         moved\n\
         next step: let its lamp show it: {}",
        place.called(),
        reason(why),
        host.lamp(&place.mac.to_string(), &short(place))
    )
}

/// It moves already.
pub(super) fn drives(place: &Place) -> String {
    format!(
        "rigmuster: the head of {} moves already: somebody drives it, or it follows a person.\n\
         Nothing was sent\n\
         next step: try again when it stands still",
        place.called()
    )
}

/// It took the commands and stood still.
pub(super) fn did_not_move(place: &Place) -> String {
    format!(
        "rigmuster: {} took the commands, but its head did not move\n\
         next step: look whether its head is locked or in standby",
        place.called()
    )
}

/// It is not where it was.
pub(super) fn not_back(place: &Place, home: Position, now: Position) -> String {
    format!(
        "rigmuster: the head of {} is NOT back: it pointed at {}, and is now at {}\n\
         next step: bring it back by its panel or a preset",
        place.called(),
        at(home),
        at(now)
    )
}

/// It could not be stopped.
pub(super) fn not_stopped(place: &Place, home: Position, why: Trouble, locked: bool) -> String {
    let why = if locked {
        "the show lock is on, so nothing is sent any more".to_owned()
    } else {
        reason(why)
    };
    format!(
        "rigmuster: the head of {} could not be told to stop: {why}.\n\
         It stops by itself between {} and {}\n\
         next step: look at it, and bring it back by its panel or a preset",
        place.called(),
        at(home),
        at(nudge::aside(home))
    )
}

/// What a dry run says: the packets of each port, byte by byte.
pub(crate) fn plan(whom: &str, ports: &[ControlPort], by: By) -> String {
    let mut out = format!("A dry run: nothing is sent. wink {whom} would\n");
    out.push_str(
        "1. look for it by ARP and by questions to everybody, and borrow a free address\n   \
         beside it (three ARP probes);\n\
         2. from there, with this computer's own MAC, send to the first of these that answers:\n",
    );
    for port in ports {
        let _ = writeln!(out, "   {port}");
        let Some(framing) = Framing::of(port.word) else {
            continue;
        };
        let mut packets = Exchange::new(framing, 1);
        let mut line = |bytes: Vec<u8>, what: &str| {
            let hex: Vec<String> = bytes.iter().map(|b| format!("{b:02x}")).collect();
            let _ = writeln!(out, "     {}\n       {what}", hex.join(" "));
        };
        match by {
            By::Lamp(span) => {
                line(
                    packets.inquire(Inquiry::Tally).bytes,
                    "is the tally lamp lit? (a question, before anything is asked of you)",
                );
                let what = format!(
                    "lamp on, and a second later off, in turn, for {} s",
                    span.as_secs()
                );
                line(packets.command(Command::Tally(true)).bytes, &what);
                line(
                    packets.command(Command::Tally(false)).bytes,
                    "lamp off; at last whichever it was, and the question again",
                );
            }
            By::Head => {
                let home = Position {
                    pan: 0,
                    tilt: 0,
                    digits: Digits::Four,
                };
                line(
                    packets.inquire(Inquiry::Position).bytes,
                    "where does the head point? (here: pan 0 tilt 0)",
                );
                line(
                    packets
                        .command(Command::Absolute(Speed::SLOWEST, nudge::aside(home)))
                        .bytes,
                    "turn aside at the slowest speed; the question again until it stands",
                );
                line(
                    packets.command(Command::Absolute(Speed::SLOWEST, home)).bytes,
                    "and back; the question again",
                );
                line(
                    packets.command(Command::Stop).bytes,
                    "stop: only if it is interrupted or fails",
                );
            }
        }
    }
    out.push_str(
        "The numbers in the headers (bytes 5 to 8) will be others. VISCA's RESET is not sent,\n\
         unless the device refuses the numbers and you agree to it.\n",
    );
    out.push_str(match by {
        By::Lamp(_) => "3. ask you before the first switching, and put the lamp back as it was.\n",
        By::Head => "3. ask you to type yes before the first move, and see that the head is back.\n",
    });
    out
}
