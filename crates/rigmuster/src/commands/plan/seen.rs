//! Addresses in use, from a saved `survey --json` or `check --json`.

use std::path::Path;

use rig::plan::Held;
use vocab::Text;

use crate::Failure;
use crate::files::load_if_saved;
use crate::report::Report;

/// Reads the file. What the reader should know goes to `notes`.
pub(super) fn read(path: &Path, notes: &mut Vec<String>) -> Result<Vec<Held>, Failure> {
    let shown = Text::clean(&path.display().to_string());
    let Some(report) = load_if_saved(path).map_err(Failure::usage)? else {
        return Err(Failure::usage(format_args!(
            "{shown} is no saved survey\nnext step: make one with rigmuster survey --json > survey.json, and name that file"
        )));
    };
    if report.unlisted_total > report.unlisted.len() {
        notes.push(format!(
            "{shown} lists {} of {} hosts that are not in the rig; the addresses of the others are unknown.",
            report.unlisted.len(),
            report.unlisted_total
        ));
    }
    Ok(held(&report))
}

fn held(report: &Report) -> Vec<Held> {
    let devices = report.devices.iter().filter_map(|device| device.seen.as_ref());
    let devices = devices.map(|seen| (seen.mac, &seen.addresses));
    let hosts = report.unlisted.iter().map(|host| (host.mac, &host.addresses));
    let all = devices.chain(hosts);
    let all = all.flat_map(|(mac, addresses)| addresses.iter().map(move |address| (*address, mac)));
    let own = report.link.iter().flat_map(|link| {
        let addresses = link.addresses.iter();
        addresses.map(|net| (net.0.addr(), Some(link.mac)))
    });
    let gateway = report.gateway.iter().filter(|gateway| gateway.mac.is_some());
    let gateway = gateway.map(|gateway| (gateway.address, gateway.mac));
    let all = all.chain(own).chain(gateway);
    all.map(|(address, mac)| Held {
        address,
        mac: mac.map(|mac| mac.0),
    })
    .collect()
}
