//! Hosts out of a saved `survey --json`. What is in it came off a wire once, and is cleaned again.

use std::collections::BTreeSet;
use std::net::Ipv4Addr;
use std::path::Path;

use rig::enroll::{Draft, Found, Source, Wire, Word};
use vocab::{Ipv4Net, Mac, Text};

use super::target::Target;
use crate::Failure;
use crate::files;
use crate::report::Report;
use crate::report::json::ControlPart;
use crate::report::word::Printed;

/// A draft of what a saved survey shows.
pub(super) fn draft(path: &Path, target: &Target) -> Result<Draft, Failure> {
    let survey = files::load_saved(path).map_err(Failure::usage)?;
    let wire = wire(&survey, target).ok_or_else(|| {
        Failure::usage(format_args!(
            "{} does not tell an address of the computer that took it, and so no subnet for a new file\n\
             next step: take the survey again with an address on the rig's network, or add to a file that is there",
            Text::clean(&path.display().to_string())
        ))
    })?;
    let mut draft = Draft::new(target.rig.clone(), wire);
    let listed = survey.devices.iter().filter_map(|device| {
        let seen = device.seen.as_ref()?;
        let network = device.network.as_ref();
        Some(host(
            seen.mac,
            network,
            &seen.addresses,
            seen.vendor.as_ref(),
            &seen.names,
            &seen.control,
        ))
    });
    let strangers = survey.unlisted.iter().map(|one| {
        let network = one.network.as_ref();
        host(
            one.mac,
            network,
            &one.addresses,
            one.vendor.as_ref(),
            &one.names,
            &one.control,
        )
    });
    draft.take_in(listed.chain(strangers));
    Ok(draft)
}

/// What surrounded the hosts. The subnet is that of the file that is added to, or of the computer.
fn wire(survey: &Report, target: &Target) -> Option<Wire> {
    let own: Vec<Ipv4Net> = survey
        .link
        .iter()
        .flat_map(|link| &link.addresses)
        .map(|net| net.0)
        .collect();
    let subnet = match &target.rig {
        Some(rig) => rig.network.subnet,
        None => own.first()?.trunc(),
    };
    Some(Wire {
        subnet,
        gateway: survey.gateway.as_ref().map(|gateway| gateway.address),
        own_macs: survey.link.iter().map(|link| link.mac.0).collect(),
        own_addresses: own.iter().map(Ipv4Net::addr).collect(),
        servers: BTreeSet::new(),
    })
}

fn host(
    mac: Option<Printed<Mac>>,
    network: Option<&String>,
    addresses: &[Ipv4Addr],
    vendor: Option<&String>,
    names: &[String],
    control: &ControlPart,
) -> Found {
    let words = names.iter().map(|text| Word {
        text: Text::clean(text),
        source: Source::Survey,
    });
    let mut control: Vec<_> = control
        .iter()
        .filter_map(|(port, state)| Some((port.0, state.as_ref()?.0)))
        .collect();
    control.sort_unstable();
    Found {
        mac: mac.map(|mac| mac.0).filter(|mac| mac.is_host()),
        network: network.cloned(),
        addresses: addresses.to_vec(),
        words: words.collect(),
        vendor: vendor.map(|maker| Text::clean(maker)),
        control,
        lease: None,
        calls: Vec::new(),
    }
}
