//! How each device should stand once the wire has been left alone for long enough: a few lines on what is
//! really there, by the contract.

use std::net::Ipv4Addr;

use rig::Device;
use vocab::{ControlState, Mac};

use super::stage::Stage;
use crate::Standing;

/// How `device` may stand. A device by DHCP that has several addresses in the subnet is judged by one of them.
pub(super) fn standings(stage: &Stage, device: &Device) -> Vec<Standing> {
    let inside = |a: &Ipv4Addr| stage.rig.network.subnet.contains(a);
    let own = stage.places(&device.macs);
    let here: Vec<Ipv4Addr> = match device.fixed_address() {
        Some(address) => vec![address],
        None => own.iter().copied().filter(inside).collect(),
    };
    if here.is_empty() {
        let nowhere = own.is_empty();
        return vec![if nowhere {
            Standing::Missing
        } else {
            Standing::WrongSubnet
        }];
    }
    here.into_iter()
        .map(|at| at_address(stage, device, at, &own))
        .collect()
}

fn at_address(stage: &Stage, device: &Device, address: Ipv4Addr, own: &[Ipv4Addr]) -> Standing {
    let holders = stage.holders(address);
    let (mine, others): (Vec<Mac>, Vec<Mac>) = holders.into_iter().partition(|m| device.macs.contains(m));
    let inside = |a: &Ipv4Addr| stage.rig.network.subnet.contains(a);
    match (mine.len().min(1), others.len()) {
        (mine, others) if mine + others > 1 => Standing::Conflict,
        (0, 0) if own.is_empty() => Standing::Missing,
        (0, 1) if device.macs.is_empty() => Standing::Present,
        (0, _) if own.iter().any(inside) => Standing::Moved,
        (0, _) if !own.is_empty() => Standing::WrongSubnet,
        (0, _) => Standing::Replaced,
        _ if device.control.is_empty() => Standing::Present,
        _ if stage.port(&device.macs) == Some(ControlState::Answered) => Standing::Present,
        _ => Standing::NoControl,
    }
}
