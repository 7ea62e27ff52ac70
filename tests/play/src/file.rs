//! The rig file of a course, as its reader takes it.

use std::fmt::Write as _;

use crate::course::{Address, Ask, Course, Listed, Net, Pace};
use crate::draw::POOL;

/// The text of the file.
pub fn text(course: &Course) -> String {
    let mut out = format!("format = 1\ntitle = \"Course {}\"\n", course.seed);
    for (place, net) in course.nets.iter().enumerate() {
        network(&mut out, course, place, net);
    }
    for (place, net) in course.nets.iter().enumerate() {
        for n in 0..net.switches.len() {
            let _ = write!(out, "\n[[switch]]\nname = \"{}\"\nports = 64\n", switch(place, n));
            if n > 0 {
                let _ = writeln!(out, "uplink = \"{}/{}\"", switch(place, n - 1), 63);
            }
            if place > 0 {
                let _ = writeln!(out, "network = \"{}\"", Net::name(place));
            }
        }
    }
    for listed in &course.listed {
        device(&mut out, course, listed);
    }
    out
}

/// The name of a switch of a network.
pub fn switch(place: usize, n: usize) -> String {
    format!("S{place}{n}")
}

fn network(out: &mut String, course: &Course, place: usize, net: &Net) {
    let table = match place {
        0 => "network".to_owned(),
        _ => format!("networks.{}", Net::name(place)),
    };
    let _ = writeln!(
        out,
        "\n[{table}]\nsubnet = \"{}\"\ngateway = \"{}\"",
        net.subnet(),
        net.address(1)
    );
    let _ = match course.pace {
        Pace::Own => Ok(()),
        Pace::House => writeln!(out, "pace = \"house\""),
        Pace::Number(n) => writeln!(out, "pace = {n}"),
    };
    if net.leases {
        let _ = writeln!(
            out,
            "leases = [\"{}-{}\"]",
            net.address(POOL),
            net.address(POOL + 59)
        );
    }
}

fn device(out: &mut String, course: &Course, listed: &Listed) {
    let _ = write!(
        out,
        "\n[[device]]\nname = \"{}\"\nrole = \"{}\"\n",
        listed.name, listed.role
    );
    if let Some(mac) = listed.mac {
        let _ = writeln!(out, "mac = \"{mac}\"");
    }
    let _ = match listed.address {
        Address::Fixed(address) => writeln!(out, "address = \"{address}\""),
        Address::Dhcp => writeln!(out, "address = \"dhcp\""),
        Address::None => writeln!(out, "address = \"none\""),
    };
    if listed.reserved {
        out.push_str("how = \"reserved\"\n");
    }
    if listed.net > 0 {
        let _ = writeln!(out, "network = \"{}\"", Net::name(listed.net));
    }
    if !listed.control.is_empty() {
        let words: Vec<String> = listed.control.iter().map(|p| format!("\"{p}\"")).collect();
        let _ = writeln!(out, "control = [{}]", words.join(", "));
    }
    match listed.ask {
        Ask::Once => {}
        Ask::Watch => out.push_str("ask = \"watch\"\n"),
        Ask::Never => out.push_str("ask = \"never\"\n"),
    }
    let _ = writeln!(out, "need = \"{}\"", listed.need);
    if listed.sleeps {
        out.push_str("sleeps = true\n");
    }
    let _ = writeln!(out, "boot = \"{}s\"", listed.boot.as_secs());
    if let Some((n, port)) = listed.port {
        let _ = writeln!(out, "port = \"{}/{port}\"", switch(listed.net, n));
    }
    if !listed.channels.is_empty() {
        let channels: Vec<String> = listed
            .channels
            .iter()
            .zip(1..)
            .map(|(n, channel)| format!("{channel} = \"{}\"", course.listed[*n].name))
            .collect();
        let _ = writeln!(out, "channels = {{ {} }}", channels.join(", "));
    }
}
