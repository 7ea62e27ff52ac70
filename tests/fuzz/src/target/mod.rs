//! The targets, each file with those of one room.

mod answers;
mod frames;
mod messages;
mod onvif;
mod program;
mod rigs;
mod snapshot;

use crate::Target;

/// All of them.
pub const TARGETS: &[Target] = &[
    frames::FRAME,
    frames::PACKET,
    messages::DHCP,
    messages::MDNS,
    messages::DISCOVERY,
    messages::ENQUIRY,
    messages::LLDP,
    answers::CONTROL,
    answers::HEADS,
    answers::VISCA,
    onvif::ONVIF,
    rigs::RIG_FILE,
    rigs::VENUE_FILE,
    rigs::CSV,
    program::TUNNEL_HTTP,
    program::TUNNEL_RTSP,
    program::SAVED,
    program::JOURNAL,
    program::REGISTRY,
    snapshot::SNAPSHOT,
];
