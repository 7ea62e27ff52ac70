//! Doing what the control jobs want, by the system's sockets or by the stack inside the scanner.

use link::{DialEvent, UserDialer};
use vocab::{Moment, Rank};

use crate::Order;
use crate::busy::Way;
use crate::job::Act;
use crate::queue::{Item, Lane};
use crate::scanner::Scanner;

impl Scanner {
    /// Does what the control jobs want.
    pub(crate) fn carry_out(&mut self, now: Moment) {
        while let Some(act) = self.controls.act() {
            match act {
                Act::Queue(job) => {
                    // As urgent as the rig, in its turn: jobs are few, and asked only on occasion.
                    self.queue.push_always(Item::Control(job), Rank::Rig, Lane::Plain);
                    self.stir(now);
                }
                Act::Tell(fact) => self.say(now, fact),
                Act::Over(target) => self.loans.over(&target),
                Act::Dial(dial, Way::System) => self.orders.push_back(Order::Dial(dial)),
                Act::Send(id, bytes, Way::System) => self.orders.push_back(Order::DialSend(id, bytes)),
                Act::Close(id, Way::System) => self.orders.push_back(Order::DialClose(id)),
                Act::Dial(dial, Way::Stack | Way::Borrowed) => {
                    let id = dial.id;
                    let opened = self.here.mac().is_some_and(|mac| {
                        let seed = self.config.seed;
                        self.dialer
                            .get_or_insert_with(|| UserDialer::new(mac, seed))
                            .open(now, dial)
                    });
                    if !opened {
                        self.controls.event(now, id, &DialEvent::NoWay);
                    }
                }
                Act::Send(id, bytes, Way::Stack | Way::Borrowed) => {
                    // A full buffer loses one try; the next one is due anyway.
                    if let Some(dialer) = &mut self.dialer {
                        dialer.send(now, id, &bytes);
                    }
                }
                Act::Close(id, Way::Stack | Way::Borrowed) => {
                    if let Some(dialer) = &mut self.dialer {
                        dialer.close(now, id);
                    }
                }
            }
            self.stir(now);
        }
    }

    /// Hands what became of the dialer's connections to the control jobs. True if there was anything.
    pub(crate) fn collect_dials(&mut self, now: Moment) -> bool {
        let mut any = false;
        while let Some((id, event)) = self.dialer.as_mut().and_then(UserDialer::event) {
            any = true;
            self.controls.event(now, id, &event);
            self.carry_out(now);
        }
        any
    }
}
