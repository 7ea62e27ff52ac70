//! Rig files for the tests: our hall, with as many devices as a test needs.

use std::fmt::Write as _;

/// Text of a rig file in the making.
#[derive(Debug, Clone)]
pub struct RigText(String);

impl RigText {
    /// A rig on this subnet, with further lines for `[network]`.
    pub fn on(subnet: &str, network: &[&str]) -> Self {
        let mut text =
            format!("format = 1\ntitle = \"Harbour Hall, lab\"\n\n[network]\nsubnet = \"{subnet}\"\n");
        for line in network {
            let _ = writeln!(text, "{line}");
        }
        Self(text)
    }

    /// The hall's own subnet.
    pub fn hall() -> Self {
        Self::on("10.40.8.0/24", &[])
    }

    /// One more network, with further lines for its table.
    #[must_use]
    pub fn network(mut self, name: &str, subnet: &str, more: &[&str]) -> Self {
        let _ = write!(self.0, "\n[networks.{name}]\nsubnet = \"{subnet}\"\n");
        for line in more {
            let _ = writeln!(self.0, "{line}");
        }
        self
    }

    /// One more device; an empty `mac` is left out. `more` are further lines.
    #[must_use]
    pub fn device(mut self, name: &str, mac: &str, address: &str, more: &[&str]) -> Self {
        let _ = write!(
            self.0,
            "\n[[device]]\nname = \"{name}\"\nrole = \"camera\"\naddress = \"{address}\"\n"
        );
        if !mac.is_empty() {
            let _ = writeln!(self.0, "mac = \"{mac}\"");
        }
        for line in more {
            let _ = writeln!(self.0, "{line}");
        }
        self
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}
