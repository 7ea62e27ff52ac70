//! The values that have a form of their own: names, addresses, ranges, ports, durations.

use std::net::{Ipv4Addr, Ipv6Addr};
use std::ops::Range;
use std::time::Duration;

use vocab::{AddressRange, ControlParseError, ControlPort, ControlWord, Mac, RangeParseError};

use super::faults::Faults;
use super::fields::{Entry, clean};
use super::words::{one_of, quoted};
use crate::{Login, SwitchPort};

/// The longest name, in characters.
pub(crate) const NAME: usize = 60;
/// The longest free text, in characters.
pub(super) const FREE_TEXT: usize = 500;
/// The highest number of a port of a switch: more than any stack of switches has.
pub(super) const PORTS: u32 = 1_024;
/// The longest boot time that is believed.
const LONGEST_BOOT: Duration = Duration::from_hours(1);

/// A text that is a fixed part of a message's advice.
pub(super) const MAC_EXAMPLE: &str = "mac = \"02:52:43:00:00:21\"";

pub(super) fn name(entry: &Entry<'_>, faults: &mut Faults) -> Option<String> {
    let text = entry.text("name = \"Organ loft\"", faults)?;
    name_text(entry.key, text, &entry.at, faults)
}

fn name_text(key: &str, text: &str, at: &Range<usize>, faults: &mut Faults) -> Option<String> {
    if text.trim().is_empty() {
        faults.error(
            at,
            format!("`{key}` is empty"),
            "Give it the name that stands on the device's label.",
        );
        return None;
    }
    if !clean(key, text, at, NAME, faults) {
        return None;
    }
    if text.trim() != text || text.contains("  ") {
        faults.error(
            at,
            format!("`{key}` begins or ends with a blank, or has two in a row"),
            "Take out the blanks that cannot be told apart on a label.",
        );
        return None;
    }
    Some(text.to_owned())
}

/// What is wrong with a name, in a few words; `None` if a device may bear it.
pub(crate) fn name_problem(text: &str) -> Option<String> {
    let mut faults = Faults::new();
    let name = name_text("name", text, &(0..0), &mut faults);
    let said = faults.errors.into_iter().next().map(|fault| fault.message);
    said.filter(|_| name.is_none())
}

pub(super) fn macs(entry: &Entry<'_>, faults: &mut Faults) -> Vec<(Mac, Range<usize>)> {
    let mut macs = Vec::new();
    for (text, at) in entry.texts(true, MAC_EXAMPLE, faults) {
        match text.parse::<Mac>() {
            Ok(mac) if mac == Mac::ZERO => faults.error(
                &at,
                format!("{mac} is nobody's hardware address"),
                "Read the address off the device's label or menu, or leave `mac` out.",
            ),
            Ok(mac) if mac.is_group() => faults.error(
                &at,
                format!("{mac} is the address of a group, not of one device"),
                "Check the first pair: its second digit is even for a device (0, 2, 4, 6, 8, a, c or e).",
            ),
            Ok(mac) => macs.push((mac, at)),
            Err(_) => faults.error(
                &at,
                format!("{} is no hardware address", quoted(text)),
                format!("Write six pairs of hexadecimal digits, such as {MAC_EXAMPLE}."),
            ),
        }
    }
    macs
}

/// One IPv4 address; the mend names the other words that could stand there.
pub(super) fn address(
    key: &str,
    text: &str,
    at: &Range<usize>,
    others: &str,
    faults: &mut Faults,
) -> Option<Ipv4Addr> {
    let fault = match text.parse::<Ipv4Addr>() {
        Ok(address) => return Some(address),
        Err(_) if text.parse::<Ipv6Addr>().is_ok() => {
            format!("{} is IPv6; `{key}` takes IPv4 only", quoted(text))
        }
        Err(_)
            if text
                .split_once('/')
                .is_some_and(|(a, _)| a.parse::<Ipv4Addr>().is_ok()) =>
        {
            format!(
                "{} has a prefix length; `{key}` takes the address alone",
                quoted(text)
            )
        }
        Err(_) => format!("{} is no IPv4 address", quoted(text)),
    };
    faults.error(
        at,
        fault,
        format!("Write four numbers from 0 to 255 without leading zeros, such as \"10.40.8.21\"{others}."),
    );
    None
}

pub(super) fn range(text: &str, at: &Range<usize>, faults: &mut Faults) -> Option<AddressRange> {
    match text.parse::<AddressRange>() {
        Ok(range) => Some(range),
        Err(RangeParseError::Form) => {
            faults.error(
                at,
                format!("{} is no range of addresses", quoted(text)),
                "Write the first and the last, such as \"10.40.8.100-10.40.8.180\" or \"10.40.8.100-180\".",
            );
            None
        }
        Err(RangeParseError::Backwards) => {
            faults.error(
                at,
                format!("{} ends below its beginning", quoted(text)),
                "Write the lower address first.",
            );
            None
        }
    }
}

pub(super) fn control(key: &str, text: &str, at: &Range<usize>, faults: &mut Faults) -> Option<ControlPort> {
    let words = || ControlWord::ALL.into_iter().map(ControlWord::as_str);
    match text.parse::<ControlPort>() {
        Ok(port) => return Some(port),
        Err(ControlParseError::UnknownWord(word)) => {
            let mend = match faults.nearest(&word, words()) {
                Some(near) => format!("Did you mean \"{near}\"? The words are {}.", one_of(words())),
                None => format!(
                    "The words are {}, each with :PORT where it is not the usual one.",
                    one_of(words())
                ),
            };
            faults.error(at, format!("{} is no word for `{key}`", quoted(&word)), mend);
        }
        Err(ControlParseError::BadPort(port)) => faults.error(
            at,
            format!("{} is no port", quoted(&port)),
            "Ports are whole numbers from 1 to 65535, such as \"http:8080\".",
        ),
        Err(ControlParseError::PortMissing) => {
            faults.error(
                at,
                "`tcp` needs a port",
                "Write it after a colon, such as \"tcp:9000\".",
            );
        }
    }
    None
}

/// `S1/3`: all before the last slash is the switch's name.
pub(super) fn switch_port(entry: &Entry<'_>, faults: &mut Faults) -> Option<SwitchPort> {
    let example = format!("{} = \"S1/3\"", entry.key);
    let text = entry.text(&example, faults)?;
    let parts = text.rsplit_once('/').and_then(|(switch, port)| {
        let digits = !port.is_empty() && port.bytes().all(|b| b.is_ascii_digit());
        let port = digits.then(|| port.parse().ok())??;
        (1..=PORTS).contains(&port).then_some((switch, port))
    });
    let Some((switch, port)) = parts else {
        faults.error(
            &entry.at,
            format!("{} is no port of a switch", quoted(text)),
            format!("Write the switch's name, a slash and a port from 1 to {PORTS}: {example}."),
        );
        return None;
    };
    name_text(entry.key, switch, &entry.at, faults).map(|switch| SwitchPort { switch, port })
}

/// `env:NAME`. What stands there otherwise is never said again: it may be a password.
pub(super) fn login(entry: &Entry<'_>, faults: &mut Faults) -> Option<Login> {
    let example = "login = \"env:HALL_CAMERAS\"";
    let text = entry.text(example, faults)?;
    let login = text.parse().ok();
    if login.is_none() {
        faults.error(
            &entry.at,
            "`login` takes the name of an environment variable and nothing else; no password stands in a rig file",
            format!(
                "Write {example}, delete what stood there, and set HALL_CAMERAS to user:password where rigmuster runs; \
                 or leave `login` out and be asked."
            ),
        );
    }
    login
}

/// `75s`, `2m` or `1m30s`, from 1 second to 1 hour.
pub(super) fn boot(entry: &Entry<'_>, faults: &mut Faults) -> Option<Duration> {
    let text = entry.text("boot = \"75s\"", faults)?;
    let time = duration(text).filter(|time| *time >= Duration::from_secs(1) && *time <= LONGEST_BOOT);
    if time.is_none() {
        faults.error(
            &entry.at,
            format!("{} is no boot time", quoted(text)),
            "Write seconds or minutes, such as \"75s\", \"2m\" or \"1m30s\", up to an hour (\"60m\").",
        );
    }
    time
}

fn duration(text: &str) -> Option<Duration> {
    let number = |digits: &str| {
        (!digits.is_empty() && digits.len() <= 5 && digits.bytes().all(|b| b.is_ascii_digit()))
            .then(|| digits.parse::<u64>().ok())
            .flatten()
    };
    let (minutes, rest) = match text.split_once('m') {
        Some((minutes, rest)) => (number(minutes)?, rest),
        None => (0, text),
    };
    let seconds = match rest {
        "" if text.ends_with('m') => 0,
        _ => number(rest.strip_suffix('s')?)?,
    };
    Some(Duration::from_secs(minutes * 60 + seconds))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations() {
        for (text, seconds) in [
            ("75s", 75),
            ("2m", 120),
            ("1m30s", 90),
            ("90s", 90),
            ("60m", 3_600),
        ] {
            assert_eq!(duration(text), Some(Duration::from_secs(seconds)), "{text}");
        }
        for bad in [
            "",
            "s",
            "m",
            "75",
            "1h",
            "-5s",
            "+5s",
            "1.5m",
            "2m ",
            "1m30",
            "99999999999s",
            "1mm",
            "5s5s",
        ] {
            assert_eq!(duration(bad), None, "{bad}");
        }
    }
}
