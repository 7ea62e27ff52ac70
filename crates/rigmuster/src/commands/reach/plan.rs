//! What `--dry-run` says: all that would be done and sent, and nothing is.

use std::fmt::Write as _;

use board::span;
use rig::AddressSpec;
use vocab::Pace;

use crate::args::ReachArgs;
use crate::hands::Whom;
use crate::settings::Expected;
use crate::tunnel::{CONNECTIONS, Wanted};

/// The whole plan.
pub(super) fn text(args: &ReachArgs, expected: &Expected, whom: &Whom, ports: &[Wanted]) -> String {
    let mut out = format!("A dry run: nothing is sent, nothing is opened. reach {whom} would\n");
    let device = match whom {
        Whom::Device(name) => expected
            .rig
            .as_ref()
            .and_then(|rig| rig.devices.iter().find(|d| d.name == *name)),
        Whom::Address(_) | Whom::Mac(_) => None,
    };
    let known = device.map_or_else(String::new, |d| {
        let macs: Vec<String> = d.macs.iter().map(ToString::to_string).collect();
        let mac = if macs.is_empty() {
            "no MAC in the file".to_owned()
        } else {
            macs.join(", ")
        };
        match d.address {
            AddressSpec::Fixed(address) => format!(" ({mac}; should be at {address})"),
            AddressSpec::Dhcp | AddressSpec::None => format!(" ({mac})"),
        }
    });
    let pace = match expected.pace(&args.deed.link) {
        Pace::Own => "at most 1,488 frames a second".to_owned(),
        Pace::House => "at most 10 frames a second".to_owned(),
        Pace::Max => "as fast as the link takes them".to_owned(),
        Pace::PerSecond(n) => format!("at most {n} frames a second"),
    };
    let _ = writeln!(
        out,
        "1. look for it{known} for up to {}\n   by ARP to each address of the subnet, {pace},\n   \
         and by questions to everybody;",
        span(args.deed.within)
    );
    let _ = writeln!(
        out,
        "2. if it is on another subnet, or shares its address: probe for a free address\n   beside it, three ARP \
         frames from 0.0.0.0 half a second apart, and speak from\n   that with this computer's own MAC;"
    );
    let _ = writeln!(
        out,
        "3. ask each of these control ports for a sign of life, one inquiry, at most\n   three times:"
    );
    for wanted in ports {
        let local = wanted
            .local
            .map_or_else(|| "a free port".to_owned(), |port| format!("port {port}"));
        let _ = writeln!(
            out,
            "   {:14} and listen for it at 127.0.0.1, {local}",
            wanted.port.to_string()
        );
    }
    let _ = writeln!(
        out,
        "4. carry what your own programs say to it there, up to {CONNECTIONS} connections at\n   once, not \
         paced;\n5. end at Ctrl-C: connections are reset and the address is no longer used."
    );
    out.push_str(
        "No setting of the device or of this computer is changed. A page of the device\nmay move its head.\n",
    );
    out
}
