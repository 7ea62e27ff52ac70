//! Hardware of one network that is heard on another: plugged in at the wrong place, or a cable that
//! joins the two.

use std::collections::BTreeMap;

use vocab::Mac;

use crate::{DeviceView, Finding, FindingKind, HostView, Severity, Snapshot, Standing};

/// Who is listed with which hardware.
fn listed(parts: &[Snapshot]) -> BTreeMap<Mac, &DeviceView> {
    let devices = parts.iter().flat_map(|part| &part.devices);
    devices
        .flat_map(|device| device.expected_macs.iter().map(move |mac| (*mac, device)))
        .collect()
}

/// A finding for each device that is heard on a network which is not its own.
pub(super) fn astray(parts: &[Snapshot]) -> Vec<Finding> {
    let listed = listed(parts);
    parts
        .iter()
        .flat_map(|part| &part.unlisted)
        .filter_map(|host| {
            let mac = host.mac?;
            told(listed.get(&mac)?, host, mac)
        })
        .collect()
}

fn told(device: &DeviceView, host: &HostView, mac: Mac) -> Option<Finding> {
    let (name, home, here) = (&device.name, device.network.as_ref()?, host.network.as_ref()?);
    let address = host.addresses.first().copied();
    let at = address.map_or_else(String::new, |address| format!(", at {address}"));
    let place = match (&device.position, &device.port) {
        (Some(position), _) => format!(" ({position})"),
        (None, Some(port)) => format!(" (at switch port {port})"),
        (None, None) => String::new(),
    };
    let away = matches!(device.standing, Standing::Missing | Standing::Replaced);
    let (text, advice) = if away {
        (
            format!("{name} belongs to the network {home}, and its hardware is heard on {here}{at}."),
            format!("Plug {name}{place} into a switch port of {home}, not of {here}."),
        )
    } else {
        (
            format!("{name} of the network {home} is heard on {here} as well: a cable joins the two."),
            format!(
                "Look at the switches of {home} and {here} for a cable from one to the other, and ask before you pull it."
            ),
        )
    };
    Some(Finding {
        kind: FindingKind::WrongNetwork,
        severity: Severity::Risk,
        network: Some(here.clone()),
        devices: vec![name.clone()],
        address,
        macs: vec![mac],
        text,
        advice,
        since: host.first_seen,
    })
}
