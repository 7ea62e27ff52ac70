//! The first lines of a new rig file.

use std::net::Ipv4Addr;

use vocab::Ipv4Net;

use super::RigDocument;
use super::splice::quote;
use crate::{Problem, read};

impl RigDocument {
    /// A new file without a device.
    ///
    /// # Errors
    /// What is wrong with it: a subnet that no rig can have, for instance.
    pub fn begin(title: &str, subnet: Ipv4Net, gateway: Option<Ipv4Addr>) -> Result<Self, Vec<Problem>> {
        let mut text = format!(
            "format = 1\ntitle  = {}\n\n[network]\nsubnet  = {}\n",
            quote(title),
            quote(&subnet.to_string())
        );
        if let Some(gateway) = gateway {
            text.extend(["gateway = ", &quote(&gateway.to_string()), "\n"]);
        }
        let reading = read("the new file", text.as_bytes());
        reading.document.ok_or(reading.errors)
    }
}
