//! Asks the device itself where its service is: a probe of WS-Discovery to it alone.
//!
//! The standard sends probes to everybody; most devices take one that comes to their port alone too. So it goes from
//! the borrowed address, and its answer makes no neighbour of this computer's kernel.

use std::time::Duration;

use sweep::Peer;
use wire::onvif::Place as Service;
use wire::wsd::{self, Version};

use crate::hands::{Desk, Reached};

/// Tries, and how long each may take; a device waits half a second at most before it answers (WS-Discovery 1.1,
/// `APP_MAX_DELAY`).
const TRIES: u64 = 2;
const PATIENCE: Duration = Duration::from_secs(1);
/// Places that are kept of what a device says.
const MOST: usize = 4;

/// Where the device says that its service is; nothing where it says nothing. Only its own address counts.
pub(super) async fn whereabouts(desk: &Desk, way: &Reached, peer: Peer) -> Vec<Service> {
    let mut port = way.exchange(wsd::PORT).await;
    for nth in 0..TRIES {
        for version in Version::ALL {
            // Any number does that no other message has.
            let id = (u128::from(desk.now().as_micros()) << 64) | u128::from(nth);
            port.send(&wsd::probe(version, id)).await;
        }
        let answer = async {
            loop {
                if let Ok(Some(message)) = wsd::Message::parse(&port.next().await) {
                    let all = message.services_of(peer.mac, peer.address);
                    if !all.is_empty() {
                        return all;
                    }
                }
            }
        };
        if let Some(mut all) = desk.within(PATIENCE, answer).await {
            all.truncate(MOST);
            return all;
        }
    }
    Vec::new()
}
