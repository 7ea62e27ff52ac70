//! What is told of giving a device a new address. Every line fits into 80 columns unless a name does not.

use std::fmt::Write as _;
use std::net::Ipv4Addr;
use std::time::Duration;

use board::span;
use unicode_width::UnicodeWidthStr;
use vocab::{ControlPort, ControlState, Ipv4Net, Mac, Text};

use super::course::Course;
use super::step::Settings;
use super::target::Target;
use crate::hands::Host;

/// Said where the question is put.
pub(crate) const CAUTION: &str = "\
Caution: never during a show. A pan-tilt head may move when the device starts:
keep people clear of it. Ask whoever runs this network before you change
addresses on it.";

/// The widest line: the board's page has a margin on a screen of 80.
const COLUMNS: usize = 78;

/// Who is spoken of, and by whom it is told.
#[derive(Debug, Clone)]
pub(crate) struct Who {
    /// Its name, else its MAC.
    pub short: String,
    /// Its name and its MAC.
    pub called: String,
    /// Its MAC, by which it is found again wherever it is.
    pub mac: String,
    /// Who carries out what is told.
    pub host: Host,
}

/// The settings side by side, what will happen, who points at it, and the cautions.
pub(crate) fn review(course: &Course, who: &Who, pointers: &[String], cautions: &[String]) -> String {
    let job = course.job();
    let before = course.before();
    let mut out = format!("{}\n\n", who.called);
    out.push_str(&table(before, job.at, job.to));
    out.push('\n');
    let will = if course.changes_address() {
        format!(
            "What will happen: {} is told its new address, and to restart if it says that it must. Then its \
             picture is gone for a while: a start may take {}.",
            who.short,
            short(job.boot)
        )
    } else {
        format!(
            "What will happen: {} is told its new gateway. Its picture should stay.",
            who.short
        )
    };
    let _ = writeln!(out, "{}", fold(&will, ""));
    for line in pointers {
        let _ = writeln!(out, "{line}");
    }
    for caution in cautions {
        let _ = writeln!(out, "{}", fold(&format!("Caution: {caution}."), ""));
    }
    let _ = writeln!(out, "{CAUTION}");
    out
}

/// A time without what is zero in it.
pub(super) fn short(time: Duration) -> String {
    let text = span(time);
    text.strip_suffix(" 0 s").map_or(text.clone(), str::to_owned)
}

/// Old and new settings side by side.
fn table(before: Option<&Settings>, at: Ipv4Addr, to: Target) -> String {
    let net = before.and_then(|b| own(b, at));
    let unknown = || "not told".to_owned();
    let old_mask = net.map_or_else(unknown, |net| net.netmask().to_string());
    let gateways = before.and_then(|b| b.gateways.as_ref());
    let old_gateway = match gateways {
        None => unknown(),
        Some(all) if all.is_empty() => "none".to_owned(),
        Some(all) => list(all),
    };
    let new_gateway = to
        .gateway
        .map_or_else(|| old_gateway.clone() + " (stays)", |g| g.to_string());
    let dhcp = before.map_or_else(unknown, |b| {
        if b.interface.dhcp { "yes" } else { "no" }.to_owned()
    });
    let mut out = format!("  {:12}{:20}{}\n", "", "now", "new");
    for (what, old, new) in [
        ("address", at.to_string(), to.address().to_string()),
        ("mask", old_mask, to.net.netmask().to_string()),
        ("gateway", old_gateway, new_gateway),
        ("asks DHCP", dhcp, "no".to_owned()),
    ] {
        let _ = writeln!(out, "  {what:12}{old:20}{new}");
    }
    for net in before.map(|b| others(b, at)).unwrap_or_default() {
        let net = net.to_string();
        let _ = writeln!(out, "  {:12}{net:20}goes, unless the device keeps it", "also");
    }
    out
}

/// The addresses that were typed in beside the one at which it answers.
fn others(settings: &Settings, at: Ipv4Addr) -> Vec<Ipv4Net> {
    let typed = settings.interface.manual.iter().copied();
    typed.filter(|net| net.addr() != at).collect()
}

/// The address at which it answers, with its mask, as far as the device says.
fn own(before: &Settings, at: Ipv4Addr) -> Option<Ipv4Net> {
    super::course::addresses(&before.interface).find(|net| net.addr() == at)
}

fn list<T: ToString>(all: &[T]) -> String {
    let all: Vec<String> = all.iter().map(T::to_string).collect();
    all.join(", ")
}

/// Its settings in one line, as far as it says them: "192.168.0.100/24, gateway 192.168.0.1, no DHCP".
pub(crate) fn settings(before: Option<&Settings>, at: Ipv4Addr) -> String {
    let Some(before) = before else {
        return format!("{at}, mask and gateway not told");
    };
    let mut net = own(before, at).map_or_else(|| at.to_string(), |net| net.to_string());
    for other in others(before, at) {
        let _ = write!(net, " and {other}");
    }
    let gateway = match &before.gateways {
        None => "gateway not told".to_owned(),
        Some(all) if all.is_empty() => "no gateway".to_owned(),
        Some(all) => format!("gateway {}", list(all)),
    };
    let dhcp = if before.interface.dhcp {
        "by DHCP"
    } else {
        "no DHCP"
    };
    format!("{net}, {gateway}, {dhcp}")
}

/// In what the device's own word differs from what it was told.
pub(crate) fn differences(now: &Settings, to: Target) -> Vec<String> {
    let mut all = Vec::new();
    match own(now, to.address()) {
        Some(net) if net.prefix_len() == to.net.prefix_len() => {}
        Some(net) => all.push(format!("mask {}, not {}", net.netmask(), to.net.netmask())),
        None => all.push(format!("another address than {}", to.address())),
    }
    if let (Some(has), Some(gateway)) = (&now.gateways, to.gateway)
        && !has.contains(&gateway)
    {
        let has = if has.is_empty() {
            "none".to_owned()
        } else {
            list(has)
        };
        all.push(format!("gateway {has}, not {gateway}"));
    }
    if now.interface.dhcp {
        all.push("DHCP on, not off".to_owned());
    }
    all
}

/// The settings that it gets, in one line.
pub(crate) fn settings_after(to: Target) -> String {
    let gateway = to
        .gateway
        .map_or_else(|| "gateway as it was".to_owned(), |g| format!("gateway {g}"));
    format!("{}, {gateway}, no DHCP", to.net)
}

/// How it is done by hand, in the device's own page or on its menu.
pub(crate) fn by_hand(who: &Who, at: Ipv4Addr, to: Target) -> String {
    let mut out = "Set it by hand, on its own page or in its on-screen menu:\n".to_owned();
    let gateway = to
        .gateway
        .map_or_else(|| "as it is".to_owned(), |g| g.to_string());
    for (what, value) in [
        ("DHCP", "off".to_owned()),
        ("address", format!("{} (now {at})", to.address())),
        ("mask", format!("{} (/{})", to.net.netmask(), to.net.prefix_len())),
        ("gateway", gateway),
    ] {
        let _ = writeln!(out, "  {what:9}{value}");
    }
    out.push_str("Save it there, and restart the device if its page or menu says so.\n");
    let _ = writeln!(
        out,
        "To open its page from here, wherever its address is:\n{}",
        fold(&reach(who), "  ")
    );
    out
}

/// How its page is opened.
pub(crate) fn reach(who: &Who) -> String {
    command(&who.host.page(&who.mac, &who.short))
}

/// How the page of hardware that nobody has named is opened.
pub(super) fn page(host: Host, mac: Mac) -> String {
    let mac = mac.to_string();
    command(&host.page(&mac, &mac))
}

/// How to go back to what it was.
pub(crate) fn way_back(course: &Course, who: &Who) -> String {
    let at = course.job().at;
    let before = course.before();
    let mask = before
        .and_then(|b| own(b, at))
        .map(|net| net.netmask().to_string());
    let gateway = before.and_then(|b| b.gateways.as_deref()).map(list);
    let dhcp = before.is_some_and(|b| b.interface.dhcp);
    let mut out = "To go back to what it was:\n".to_owned();
    let _ = writeln!(out, "{}", fold(&format!("1. {}", reach(who)), "  "));
    let values = if dhcp {
        "set DHCP on".to_owned()
    } else {
        let mask = mask.map_or_else(String::new, |mask| format!(", mask {mask}"));
        let gateway = match gateway {
            Some(gateway) if !gateway.is_empty() => format!(", gateway {gateway}"),
            _ => String::new(),
        };
        let others = before.map(|b| others(b, at)).filter(|all| !all.is_empty());
        let others = others.map_or_else(String::new, |all| format!("; beside it {}", list(&all)));
        format!("set DHCP off, address {at}{mask}{gateway}{others}")
    };
    let _ = writeln!(out, "{}", fold(&format!("2. on its page: {values}"), "  "));
    out.push_str("  If no page opens: the same in its on-screen menu, or its reset button.\n");
    out
}

/// What a control port said.
pub(crate) fn port(port: ControlPort, state: Option<ControlState>) -> String {
    let said = match state {
        Some(ControlState::Answered) => "answers",
        Some(ControlState::Refused) => "refuses the connection",
        Some(ControlState::Silent) => "says nothing",
        None => "could not be asked from here",
    };
    format!("  {port:14} {said}")
}

/// A command or a key as a word that [`fold`] does not part.
pub(super) fn command(text: &str) -> String {
    text.replace(' ', "\u{a0}")
}

/// Text in lines of 80 columns, each set in.
pub(crate) fn fold(text: &str, indent: &str) -> String {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split([' ', '\n']).filter(|word| !word.is_empty()) {
        match lines.last_mut() {
            Some(line) if line.width() + 1 + word.width() <= COLUMNS => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(format!("{indent}{word}")),
        }
    }
    lines.join("\n").replace('\u{a0}', " ")
}

/// A device's own words, in quotes, if it has any.
pub(crate) fn quoted(text: &Text) -> String {
    if text.is_empty() {
        "without a reason".to_owned()
    } else {
        format!("\"{text}\"")
    }
}

/// It was not seen in time.
pub(crate) fn nowhere(who: &str, within: Duration) -> String {
    format!(
        "{who} was not heard within {}: nothing was done\n\
         next step: look whether it is switched on; if it may be on another subnet,\n\
         rigmuster survey --far finds where",
        span(within)
    )
}
