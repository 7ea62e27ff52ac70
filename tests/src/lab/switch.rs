//! What the lab's switch does at its ports.

use serde_json::Value;

use super::{Lab, MAIN, run, until};

impl Lab {
    /// Lets the switch pass on what is meant for the neighbour on the cable alone (LLDP), as simple
    /// switches do and a kernel's bridge does not by itself.
    pub fn passes_on_lldp(&self) {
        run(
            "ip",
            &[
                "link",
                "set",
                "dev",
                "switch",
                "type",
                "bridge",
                "group_fwd_mask",
                "0x4000",
            ],
        );
    }

    /// Waits until the switch passes frames on at this port.
    pub(super) fn forwards(port: &str) {
        until(&format!("{port} forwards"), || Self::state(port) == "forwarding");
    }

    /// What the switch does at this port: `forwarding`, or `listening` or `learning`, when it passes nothing.
    pub fn state(port: &str) -> String {
        let out = run("bridge", &["-j", "-d", "link", "show", "dev", port]);
        let ports: Value = serde_json::from_slice(&out.stdout).unwrap_or_default();
        ports[0]["state"].as_str().unwrap_or_default().to_owned()
    }

    /// From now on the switch runs classic spanning tree and holds a new port back for twice `delay`
    /// hundredths of a second; waits until it passes frames again at the ports that it has.
    pub fn spanning_tree(&self, delay: &str, ports: &[&str]) {
        let words = ["link", "set", "dev", "switch", "type", "bridge"];
        run(
            "ip",
            &[&words[..], &["stp_state", "1", "forward_delay", delay]].concat(),
        );
        for port in ports {
            Self::forwards(port);
        }
    }

    /// Keeps this port apart, or no longer: it then hears only ports that are not, and only they hear it.
    pub fn isolate(&self, port: &str, apart: bool) {
        let word = if apart { "on" } else { "off" };
        run("bridge", &["link", "set", "dev", port, "isolated", word]);
    }

    /// Passes nothing more at this port, though its link stays up, until that goes down and comes up again.
    pub fn block(&self, port: &str) {
        // 0 is disabled (linux/if_bridge.h).
        run("bridge", &["link", "set", "dev", port, "state", "0"]);
    }

    /// The switch asks who listens to which group, as an IGMP querier does.
    pub fn asks_for_groups(&self) {
        let words = ["link", "set", "dev", MAIN, "type", "bridge"];
        run(
            "ip",
            &[&words[..], &["mcast_snooping", "1", "mcast_querier", "1"]].concat(),
        );
    }

    /// The switch does not learn who is at this port, so that what is for him goes out everywhere.
    pub fn learn_nothing(&self, port: &str) {
        run("bridge", &["link", "set", "dev", port, "learning", "off"]);
    }

    /// Puts the cable back without waiting for the switch.
    pub fn plug(&self, port: &str) {
        run("ip", &["link", "set", "dev", port, "up"]);
    }

    /// Cuts the cable of a port in two: from now on `spliced` is the end that leads to the switch, and the
    /// port itself the one that leads to its host. Nothing passes between them by itself.
    pub fn splice(&self, port: &str) {
        run(
            "ip",
            &[
                "link", "add", "name", "splice", "type", "veth", "peer", "name", "spliced",
            ],
        );
        run("ip", &["link", "set", "dev", port, "nomaster"]);
        run("ip", &["link", "set", "dev", "spliced", "up"]);
        run("ip", &["link", "set", "dev", "splice", "master", MAIN, "up"]);
        Self::forwards("splice");
    }

    /// Pulls the cable.
    pub fn pull(&self, port: &str) {
        run("ip", &["link", "set", "dev", port, "down"]);
    }

    /// Puts the cable back.
    pub fn put_back(&self, port: &str) {
        run("ip", &["link", "set", "dev", port, "up"]);
        Self::forwards(port);
    }

    /// Takes an interface away altogether.
    pub fn delete(&self, port: &str) {
        run("ip", &["link", "delete", "dev", port]);
    }
}
