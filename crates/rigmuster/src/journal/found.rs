//! The state in which each device was first found, for putting borrowed units back.

use std::net::Ipv4Addr;

use ledger::{DeviceView, Standing};
use rusqlite::{Transaction, params};
use vocab::Mac;

use super::Stamp;
use super::page::RunHead;

/// What a device had when it was first found. What is not known stays so, and is filled in only
/// while the device still has that address.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AsFound {
    /// Its name in the rig file.
    pub device: String,
    /// Its hardware, where known. Another unit of the same name is found anew.
    pub mac: Option<Mac>,
    /// When.
    pub wall: Stamp,
    /// Its address.
    pub address: Ipv4Addr,
    /// Its mask, where it told.
    pub mask: Option<Ipv4Addr>,
    /// `Some(true)`: it asks a DHCP server for its address. That a device was not heard asking
    /// proves nothing: many switches keep such questions from other ports.
    pub dhcp: Option<bool>,
}

impl AsFound {
    /// What `device` has now; `None` while it is not settled, and where what is seen in its place
    /// may be another unit.
    pub(crate) fn of(device: &DeviceView, wall: Stamp) -> Option<Self> {
        let seen = device.seen.as_ref()?;
        let listed = seen.mac.is_some_and(|mac| device.expected_macs.contains(&mac));
        let own = match device.standing {
            Standing::Present | Standing::NoControl | Standing::WrongSubnet | Standing::Moved => {
                listed || device.expected_macs.is_empty() || seen.mac.is_none()
            }
            Standing::Conflict => listed,
            Standing::Replaced | Standing::Starting | Standing::Missing | Standing::Unknown => false,
        };
        own.then_some(Self {
            device: device.name.clone(),
            mac: seen.mac,
            wall,
            address: seen.address?,
            mask: seen.mask,
            dhcp: seen.heard.asks_dhcp.then_some(true),
        })
    }

    /// Writes it, unless an earlier one stands there.
    pub(super) fn put(&self, begun: &Transaction<'_>, head: &RunHead) -> rusqlite::Result<()> {
        begun.execute(
            "INSERT INTO found (file, rehearsal, device, mac, title, wall_ms, offset_s, address, mask, dhcp)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)
             ON CONFLICT DO UPDATE
             SET mask = coalesce(mask, excluded.mask), dhcp = coalesce(dhcp, excluded.dhcp)
             WHERE address = excluded.address",
            params![
                head.file,
                head.rehearsal,
                self.device,
                self.mac.map_or_else(String::new, |m| m.to_string()),
                head.title,
                self.wall.ms,
                self.wall.offset_s,
                self.address.to_string(),
                self.mask.map(|m| m.to_string()),
                self.dhcp,
            ],
        )?;
        Ok(())
    }
}
