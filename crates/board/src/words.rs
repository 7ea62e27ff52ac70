//! Phrases that several pages share.

use std::net::Ipv4Addr;
use std::time::Duration;

use ledger::{DeviceView, HostView, Standing};
use rig::{AddressSpec, Need};
use vocab::{Moment, Name, Power};

use crate::text;

/// Turns a moment into the time of day.
pub(crate) type Clock<'a> = &'a dyn Fn(Moment) -> String;

/// The channels that point at a device: "Desk panel 1, 4; Booth panel 2", or in short "ch 1, 4, 2".
pub(crate) fn channels(device: &DeviceView, short: bool) -> Option<String> {
    let mut out = String::new();
    let mut last: Option<&str> = None;
    for (panel, number) in &device.channels {
        match last {
            None if short => out.push_str("ch "),
            None => {
                out.push_str(panel);
                out.push(' ');
            }
            Some(before) if short || before == panel => out.push_str(", "),
            Some(_) => {
                out.push_str("; ");
                out.push_str(panel);
                out.push(' ');
            }
        }
        out.push_str(&number.to_string());
        last = Some(panel);
    }
    last.map(|_| out)
}

/// "spare" or "later" for a device that the show does not wait for.
pub(crate) const fn need(device: &DeviceView) -> Option<&'static str> {
    match device.need {
        Need::Show => None,
        Need::Spare => Some("spare"),
        Need::Later => Some("comes later"),
    }
}

/// The address that the file gives, in words.
pub(crate) fn expected_address(device: &DeviceView) -> String {
    match device.expected_address {
        AddressSpec::Fixed(address) => address.to_string(),
        AddressSpec::Dhcp => "by DHCP".to_owned(),
        AddressSpec::None => "none".to_owned(),
    }
}

/// Where the device should be, said beside where it is.
pub(crate) fn should_be(device: &DeviceView) -> String {
    match device.expected_address {
        AddressSpec::Fixed(address) => format!("should be at {address}"),
        AddressSpec::Dhcp | AddressSpec::None => "should have one by DHCP".to_owned(),
    }
}

/// The address that the device answers at now; `None` if it does not.
pub(crate) fn seen_address(device: &DeviceView) -> Option<Ipv4Addr> {
    match device.standing {
        Standing::Missing | Standing::Unknown => None,
        _ => device.seen.as_ref().and_then(|seen| seen.address),
    }
}

/// Where the device is, if that is not where it should be.
pub(crate) fn elsewhere(device: &DeviceView) -> Option<Ipv4Addr> {
    let seen = seen_address(device)?;
    match device.expected_address {
        AddressSpec::Fixed(expected) if expected != seen => Some(seen),
        AddressSpec::Dhcp if device.standing == Standing::WrongSubnet => Some(seen),
        _ => None,
    }
}

/// The address for a tile or a report, in the longest form that takes no more than `columns`; with
/// its network, where the rig has more than one.
pub(crate) fn address(device: &DeviceView, columns: usize) -> String {
    let address = bare_address(device, columns);
    match &device.network {
        Some(network) if text::width(&address) + 3 + text::width(network) <= columns => {
            format!("{address} · {network}")
        }
        _ => address,
    }
}

fn bare_address(device: &DeviceView, columns: usize) -> String {
    let expected = expected_address(device);
    if let Some(at) = elsewhere(device) {
        let long = match device.expected_address {
            AddressSpec::Fixed(_) => format!("{at}, not {expected}"),
            _ => format!("{at}"),
        };
        return if long.len() <= columns {
            long
        } else {
            at.to_string()
        };
    }
    match (device.expected_address, seen_address(device)) {
        (AddressSpec::Dhcp, Some(at)) => {
            let long = format!("{at} by DHCP");
            if long.len() <= columns {
                long
            } else {
                at.to_string()
            }
        }
        _ => expected,
    }
}

/// What follows the standing words: when an unknown device was last heard, else the detail.
pub(crate) fn detail(device: &DeviceView, clock: Clock<'_>) -> String {
    if device.standing == Standing::Unknown {
        return match device.last_heard {
            Some(at) => format!("last heard {}", clock(at)),
            None => "not heard yet".to_owned(),
        };
    }
    if let Some(words) = crate::restart::expected(device, clock) {
        return match crate::starts::stopwatch(device).filter(|_| device.standing == Standing::Starting) {
            Some(watch) => format!("{watch}; {words}"),
            None => words,
        };
    }
    // What it waits for stands on its ladder; where it is meanwhile does not.
    match crate::starts::stopwatch(device).filter(|_| device.standing == Standing::Starting) {
        Some(watch) if device.detail.starts_with("for now") => format!("{watch}; {}", device.detail),
        Some(watch) => watch,
        None => device.detail.clone(),
    }
}

/// The standing in full: "not asked, last heard 18:42".
pub(crate) fn standing(device: &DeviceView, clock: Clock<'_>) -> String {
    let detail = detail(device, clock);
    if detail.is_empty() {
        device.standing.words().to_owned()
    } else {
        format!("{}, {detail}", device.standing.words())
    }
}

/// The standing where there is no room for the detail.
pub(crate) fn brief(device: &DeviceView, columns: usize) -> String {
    let fits = |words: &String| text::width(words) <= columns;
    let waits = device.restart.expected.as_ref().is_some_and(|e| !e.overdue);
    let expected = || {
        let away = waits && device.standing != Standing::Present;
        away.then(|| format!("{}, expected", device.standing.words()))
    };
    let brief = crate::starts::brief(device).or_else(expected).filter(fits);
    brief.unwrap_or_else(|| device.standing.words().to_owned())
}

/// A round-trip time: "0.4 ms", "12 ms", "1.2 s".
pub(crate) fn rtt(time: Duration) -> String {
    let micros = time.as_micros();
    match micros {
        0..10_000 => format!("{}.{} ms", micros / 1_000, micros / 100 % 10),
        10_000..1_000_000 => format!("{} ms", micros / 1_000),
        _ => format!("{}.{} s", micros / 1_000_000, micros / 100_000 % 10),
    }
}

/// A span of time in its two largest parts: "44 s", "1 min 28 s", "3 h 8 min".
pub fn span(time: Duration) -> String {
    let seconds = time.as_secs();
    match (seconds / 3600, seconds / 60 % 60, seconds % 60) {
        (0, 0, s) => format!("{s} s"),
        (0, m, s) => format!("{m} min {s} s"),
        (h, m, _) => format!("{h} h {m} min"),
    }
}

/// A number with its thousands set apart: "131,068".
pub(crate) fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let mut out = String::new();
    for (n, digit) in digits.chars().enumerate() {
        if n > 0 && (digits.len() - n).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

/// What to call a host that is not on the list: its own name, its maker, its address, its hardware.
pub(crate) fn host_name(host: &HostView) -> String {
    // Where it stands is not who it is.
    let named = |n: &&Name| !n.text.is_empty() && n.source.is_who();
    if let Some(name) = host.names.iter().find(named) {
        return name.text.to_string();
    }
    match (&host.vendor, host.addresses.first(), host.mac) {
        (Some(vendor), ..) => format!("made by {vendor}"),
        (None, Some(address), _) => format!("host at {address}"),
        (None, None, Some(mac)) => format!("host {mac}"),
        (None, None, None) => "host".to_owned(),
    }
}

/// What a device says of its power, if that is worth a line: one that is on need not say so.
pub(crate) const fn power(power: Option<Power>) -> Option<&'static str> {
    match power {
        None | Some(Power::On) => None,
        Some(Power::Standby) => Some("it says that it is in standby"),
        Some(Power::Fault) => Some("it says that it has a fault inside"),
    }
}

/// Which missing device a stranger probably is.
pub(crate) fn likeness(host: &HostView) -> Option<String> {
    host.resembles
        .first()
        .map(|best| format!("probably {}", best.device))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_and_large_numbers_read_at_a_glance() {
        for (secs, words) in [
            (0, "0 s"),
            (44, "44 s"),
            (88, "1 min 28 s"),
            (11_280, "3 h 8 min"),
        ] {
            assert_eq!(span(Duration::from_secs(secs)), words);
        }
        for (number, words) in [
            (0, "0"),
            (999, "999"),
            (1_000, "1,000"),
            (16_777_214, "16,777,214"),
        ] {
            assert_eq!(grouped(number), words);
        }
    }

    #[test]
    fn round_trip_times_keep_two_digits_or_so() {
        assert_eq!(rtt(Duration::from_micros(420)), "0.4 ms");
        assert_eq!(rtt(Duration::from_micros(9_990)), "9.9 ms");
        assert_eq!(rtt(Duration::from_micros(12_700)), "12 ms");
        assert_eq!(rtt(Duration::from_millis(1_250)), "1.2 s");
    }
}
