//! Hosts out of a saved `survey --json`. What is in it came off a wire once, and is cleaned again.

use std::fs;
use std::io::Read;
use std::net::Ipv4Addr;
use std::path::Path;

use rig::enroll::{Draft, Found, Source, Wire, Word};
use serde_json::Value;
use vocab::{ControlState, Ipv4Net, Mac, Text};

use super::target::Target;
use crate::Failure;

/// The largest survey that is read. One of 500 strangers and 5,000 devices has less than 8 MiB.
const LARGEST: u64 = 32 * 1024 * 1024;

/// A draft of what a saved survey shows.
pub(super) fn draft(path: &Path, target: &Target) -> Result<Draft, Failure> {
    let shown = Text::clean(&path.display().to_string());
    let refused = |why: &dyn std::fmt::Display| {
        Failure::usage(format_args!(
            "{shown} cannot be used as a survey: {why}\n\
             next step: save one with rigmuster survey --json > survey.json, and name that file"
        ))
    };
    let text = read(path).map_err(|e| refused(&e))?;
    let survey: Value = serde_json::from_slice(&text).map_err(|e| refused(&e))?;
    if survey["format"] != 1 || !survey["unlisted"].is_array() || !survey["devices"].is_array() {
        return Err(refused(&"it is no survey of format 1"));
    }
    let wire = wire(&survey, target).ok_or_else(|| {
        refused(&"it does not tell the address of the computer that took it, and so no subnet")
    })?;
    let mut draft = Draft::new(target.rig.clone(), wire);
    let listed = list(&survey["devices"]).filter_map(|device| {
        let seen = device.get("seen").filter(|seen| !seen.is_null())?;
        Some(host(seen, &device["network"]))
    });
    let strangers = list(&survey["unlisted"]).map(|one| host(one, &one["network"]));
    draft.take_in(listed.chain(strangers));
    Ok(draft)
}

fn read(path: &Path) -> std::io::Result<Vec<u8>> {
    let kind = fs::metadata(path)?;
    let unfit = |why| std::io::Error::new(std::io::ErrorKind::InvalidInput, why);
    if !kind.is_file() {
        return Err(unfit("it is no regular file"));
    }
    let mut text = Vec::new();
    fs::File::open(path)?.take(LARGEST + 1).read_to_end(&mut text)?;
    if text.len() as u64 > LARGEST {
        return Err(unfit("it has more than 32 MiB"));
    }
    Ok(text)
}

fn list(value: &Value) -> impl Iterator<Item = &Value> {
    value.as_array().into_iter().flatten()
}

fn parsed<T: std::str::FromStr>(value: &Value) -> Option<T> {
    value.as_str()?.parse().ok()
}

/// What surrounded the hosts. The subnet is that of the computer, or of the file that is added to.
fn wire(survey: &Value, target: &Target) -> Option<Wire> {
    let link = &survey["link"];
    let own: Vec<Ipv4Net> = list(&link["addresses"]).filter_map(parsed).collect();
    let subnet = match &target.rig {
        Some(rig) => rig.network.subnet,
        None => own.first()?.trunc(),
    };
    Some(Wire {
        subnet,
        gateway: parsed(&survey["gateway"]["address"]),
        own_macs: parsed::<Mac>(&link["mac"]).into_iter().collect(),
        own_addresses: own.iter().map(Ipv4Net::addr).collect(),
        servers: std::collections::BTreeSet::new(),
    })
}

fn host(value: &Value, network: &Value) -> Found {
    let control = value["control"].as_object().into_iter().flatten();
    let control = control.filter_map(|(port, state)| {
        let state = match state.as_str()? {
            "answered" => ControlState::Answered,
            "refused" => ControlState::Refused,
            "silent" => ControlState::Silent,
            _ => return None,
        };
        Some((port.parse().ok()?, state))
    });
    let mut control: Vec<_> = control.collect();
    control.sort_unstable();
    let words = list(&value["names"]).filter_map(Value::as_str).map(|text| Word {
        text: Text::clean(text),
        source: Source::Survey,
    });
    Found {
        mac: parsed::<Mac>(&value["mac"]).filter(|mac| mac.is_host()),
        network: network.as_str().map(ToOwned::to_owned),
        addresses: list(&value["addresses"]).filter_map(parsed::<Ipv4Addr>).collect(),
        words: words.collect(),
        vendor: value["vendor"].as_str().map(Text::clean),
        control,
        lease: None,
        calls: Vec::new(),
    }
}
