//! Subnet arithmetic against Python's `ipaddress` (standard library, 3.11.7): the table and the
//! script that made it are kept in fixtures/subnets.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::net::Ipv4Addr;

use rig::{Reading, read};
use serde_json::Value;

const TABLE: &str = include_str!("../../../fixtures/subnets/subnets.json");

fn rows() -> Vec<Value> {
    let rows: Vec<Value> = serde_json::from_str(TABLE).unwrap();
    assert!(rows.len() >= 900);
    rows
}

fn text<'r>(row: &'r Value, key: &str) -> &'r str {
    row[key].as_str().unwrap()
}

fn prefix(row: &Value) -> u8 {
    text(row, "subnet").split_once('/').unwrap().1.parse().unwrap()
}

fn is_loopback(row: &Value) -> bool {
    text(row, "subnet").starts_with("127.")
}

fn with(subnet: &str, more: &str) -> Reading {
    read(
        "table",
        format!("format = 1\n[network]\nsubnet = \"{subnet}\"\n{more}").as_bytes(),
    )
}

#[test]
fn host_ranges_and_their_sizes() {
    let mut checked = 0;
    for row in rows() {
        let reading = with(text(&row, "subnet"), "");
        assert_eq!(
            reading.rig.is_some(),
            (16..=30).contains(&prefix(&row)) && !is_loopback(&row),
            "{row}"
        );
        let Some(rig) = reading.rig else { continue };
        let (network, hosts) = (&rig.network, rig.network.hosts());
        assert_eq!(network.subnet.to_string(), text(&row, "subnet"));
        assert_eq!(network.subnet.netmask().to_string(), text(&row, "netmask"));
        assert_eq!(network.subnet.network().to_string(), text(&row, "network"));
        assert_eq!(network.subnet.broadcast().to_string(), text(&row, "broadcast"));
        assert_eq!(hosts.first().to_string(), text(&row, "first_host"));
        assert_eq!(hosts.last().to_string(), text(&row, "last_host"));
        assert_eq!(hosts.count(), row["hosts"].as_u64().unwrap());
        checked += 1;
    }
    assert!(checked > 400, "{checked}");
}

#[test]
fn host_bits_are_found_and_the_network_is_named() {
    let mut checked = 0;
    for row in rows()
        .iter()
        .filter(|row| (16..=30).contains(&prefix(row)) && !is_loopback(row))
    {
        let reading = with(text(row, "written"), "");
        let has_host_bits = row["has_host_bits"].as_bool().unwrap();
        assert_eq!(reading.errors.is_empty(), !has_host_bits, "{row}");
        if has_host_bits {
            assert_eq!(
                reading.errors[0].mend,
                format!("Write subnet = \"{}\".", text(row, "subnet"))
            );
            checked += 1;
        }
    }
    assert!(checked > 400, "{checked}");
}

#[test]
fn devices_outside_and_on_the_edges_are_refused() {
    let mut outside = 0;
    for row in rows()
        .iter()
        .filter(|row| (16..=30).contains(&prefix(row)) && !is_loopback(row))
    {
        for probe in row["probes"].as_array().unwrap() {
            let (address, inside) = (probe[0].as_str().unwrap(), probe[1].as_bool().unwrap());
            let edge = [text(row, "network"), text(row, "broadcast")].contains(&address);
            let device = format!("[[device]]\nname = \"A\"\nrole = \"other\"\naddress = \"{address}\"\n");
            let reading = with(text(row, "subnet"), &device);
            assert_eq!(reading.errors.is_empty(), inside && !edge, "{address} {row}");
            let said = reading.errors.first().map_or("", |error| error.message.as_str());
            assert_eq!(said.contains("lies outside"), !inside, "{said}");
            assert_eq!(
                said.contains("of the network"),
                inside && address == text(row, "network"),
                "{said}"
            );
            assert_eq!(
                said.contains("broadcast"),
                inside && address == text(row, "broadcast"),
                "{said}"
            );
            if let Some(rig) = reading.rig {
                assert!(rig.network.is_host(address.parse::<Ipv4Addr>().unwrap()));
            }
            outside += usize::from(!inside);
        }
    }
    assert!(outside > 1_000, "{outside}");
}
