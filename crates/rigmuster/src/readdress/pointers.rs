//! Who points at a device, and so has to learn of its new address.

use std::net::Ipv4Addr;

use rig::{Device, Rig};
use vocab::{ControlPort, ControlWord};

/// The channels of panels and the other users that the rig file names, each as a line.
fn all(rig: &Rig, device: &Device) -> Vec<String> {
    let visca = |port: &&ControlPort| {
        matches!(
            port.word,
            ControlWord::ViscaUdp | ControlWord::ViscaRawUdp | ControlWord::ViscaTcp
        )
    };
    let usual = device.control.iter().find(visca).copied();
    let channels = rig.channels_of(&device.name).map(|(panel, number)| {
        let own = panel.channels.get(&number).and_then(|c| c.control);
        match own.or(usual) {
            Some(port) => format!(
                "{} channel {number}, by {} {}",
                panel.name,
                port.word.as_str(),
                port.port
            ),
            None => format!("{} channel {number}", panel.name),
        }
    });
    channels.chain(device.used_by.iter().cloned()).collect()
}

/// Those who point at the device, under a line that says what is to be done with them; nothing where the
/// rig file names nobody.
pub(crate) fn pointers(rig: Option<&Rig>, device: Option<&Device>, to: Ipv4Addr) -> Vec<String> {
    let Some((rig, device)) = rig.zip(device) else {
        return Vec::new();
    };
    let mut lines = Vec::new();
    let all = all(rig, device);
    let listed = device.fixed_address() == Some(to);
    if !all.is_empty() {
        lines.push(if listed {
            format!("Who points at it, by the rig file: look whether they already say {to}.")
        } else {
            format!("Who points at it, and must be changed to {to} afterwards:")
        });
        lines.extend(all.into_iter().map(|line| format!("  {line}")));
    }
    if !listed {
        lines.push(format!(
            "The rig file has another address: write {to} there afterwards."
        ));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    const HALL: &str = r#"
        format = 1
        [network]
        subnet = "10.40.8.0/24"
        [[device]]
        name = "Organ loft"
        role = "camera"
        address = "10.40.8.21"
        control = ["http", "visca-udp"]
        used_by = ["Mixer input 4"]
        [[device]]
        name = "West door"
        role = "camera"
        address = "10.40.8.22"
        [[device]]
        name = "Desk panel"
        role = "panel"
        address = "10.40.8.60"
        channels = { 1 = "Organ loft", 7 = { device = "Organ loft", control = "visca-tcp:5679" } }
    "#;

    fn told(name: &str, to: &str) -> Vec<String> {
        let rig = rig::read("hall.rig.toml", HALL.as_bytes()).rig.unwrap();
        pointers(Some(&rig), rig.device(name), to.parse().unwrap())
    }

    #[test]
    fn channels_and_users_are_told_what_to_do() {
        assert_eq!(
            told("Organ loft", "10.40.8.21"),
            [
                "Who points at it, by the rig file: look whether they already say 10.40.8.21.",
                "  Desk panel channel 1, by visca-udp 52381",
                "  Desk panel channel 7, by visca-tcp 5679",
                "  Mixer input 4",
            ]
        );
        let moved = told("Organ loft", "10.40.8.30");
        assert_eq!(
            moved[0],
            "Who points at it, and must be changed to 10.40.8.30 afterwards:"
        );
        assert_eq!(
            moved[4],
            "The rig file has another address: write 10.40.8.30 there afterwards."
        );
    }

    #[test]
    fn where_nobody_points_nothing_is_said() {
        assert!(told("West door", "10.40.8.22").is_empty());
        assert!(pointers(None, None, Ipv4Addr::LOCALHOST).is_empty());
    }
}
