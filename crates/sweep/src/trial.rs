//! Echoes: those of a cable check, and what replies to either sort are told as.

use core::net::Ipv4Addr;

use vocab::{Fact, Mac, Mode, Moment, Trial, Tried};
use wire::Path;
use wire::icmp::{self, Echo};

use crate::Scanner;
use crate::echo::Reply;

impl Scanner {
    /// Whether an echo of a cable check can go there: inside a subnet of our own only, since behind a
    /// router it would try the whole way and no cable.
    pub(crate) fn can_try(&self, address: Ipv4Addr, mac: Option<Mac>) -> bool {
        self.sender_to(address).is_some()
            && match self.config.mode {
                Mode::Raw | Mode::Simulated => mac.is_some(),
                Mode::Unprivileged => self.can_ping,
                Mode::Routed => false,
            }
    }

    /// A frame with an echo request; `None` where we have no address to send it from.
    pub(crate) fn echo_frame(
        &self,
        (to, to_mac): (Ipv4Addr, Option<Mac>),
        sequence: u16,
        data: &[u8],
    ) -> Option<Vec<u8>> {
        let path = Path {
            from_mac: self.here.mac()?,
            from: self.here.sender_for(to)?,
            to_mac: to_mac?,
            to,
        };
        let echo = Echo {
            identifier: self.echoes.identifier(),
            sequence,
            data,
        };
        Some(icmp::echo_request_frame(path, &echo))
    }

    /// Tells what became of an echo of a cable check.
    pub(crate) fn tell_trial(&mut self, now: Moment, address: Ipv4Addr, trial: Trial, what: Tried) {
        self.say(now, Fact::Trial { address, trial, what });
    }

    /// Tells of a reply, and where frames are seen whose frame it was and how many hops it had left.
    pub(crate) fn tell_reply(
        &mut self,
        now: Moment,
        address: Ipv4Addr,
        reply: &Reply,
        frame: Option<(Mac, u8)>,
    ) {
        let rtt = reply.rtt;
        match reply.trial {
            Some(trial) => self.tell_trial(now, address, trial, Tried::Answered(rtt)),
            None => self.say(
                now,
                Fact::Echo {
                    address,
                    mac: frame.map(|(mac, _)| mac),
                    asked: reply.asked,
                    ttl: frame.map(|(_, ttl)| ttl),
                    rtt,
                },
            ),
        }
    }
}
