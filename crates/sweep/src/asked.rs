//! Taking a question: where it goes, and which are not possible.

use vocab::{ArpForm, Ask, Budget, Fact, Mode, Moment, Rank, Tried};

use crate::busy::Way;
use crate::here::is_askable;
use crate::job::Target;
use crate::queue::{Item, Lane};
use crate::scanner::{Dialing, Scanner};
use crate::sparing::Sparing;

impl Scanner {
    /// Takes one question. It is dropped without a word under listen-only, while the link does
    /// not carry, where the same waits already, and where it is not possible: an echo to foreign
    /// addresses, a roll call without an address of our own, and in the unprivileged mode that,
    /// anything foreign, and anything in nobody's name, DHCP included. A control
    /// port that cannot be reached is told of as [`Fact::ControlNotAsked`], and an echo of a cable
    /// check as [`Tried::NotSent`].
    pub fn ask(&mut self, now: Moment, ask: Ask) {
        let lets = |sparing: &mut Sparing| sparing.lets(now, &ask, self.config.mode);
        if !self.may_send() || !self.sparing.as_mut().is_none_or(lets) {
            return;
        }
        self.stir(now);
        match ask {
            Ask::Arp {
                address,
                form,
                rank,
                budget,
            } => {
                let plain = self.config.mode == Mode::Unprivileged;
                let form = self.here.form(address, form);
                let routed = self.config.mode == Mode::Routed;
                if !is_askable(address) || routed || plain && !self.can_poke(address, form) {
                    return;
                }
                let form = if plain { ArpForm::Broadcast } else { form };
                let lane = match (form, budget) {
                    (ArpForm::Broadcast | ArpForm::Nobody, Budget::Watch) => Lane::Watch,
                    _ => Lane::Plain,
                };
                self.queue.push(Item::Arp(address, form), rank, lane);
            }
            Ask::Pass { .. } if self.config.mode == Mode::Routed => {}
            Ask::Pass { id, range, except } => self.passes.begin(now, id, range, except),
            Ask::Dhcp { by_hand } => {
                if self.config.mode.sees_frames() && self.discovery.want(by_hand) {
                    self.queue.release(Item::Discover);
                    self.queue.push_always(Item::Discover, Rank::Rig, Lane::Plain);
                }
            }
            Ask::Echo { address, mac, rank } => {
                let framed = self.config.mode.sees_frames();
                if self.sender_to(address).is_some() && (!framed || mac.is_some()) {
                    let mac = mac.filter(|_| framed);
                    self.queue.push(Item::Echo(address, mac), rank, Lane::Plain);
                }
            }
            Ask::Trial { address, mac, trial } => {
                let mac = mac.filter(|_| self.config.mode.sees_frames());
                if self.can_try(address, mac) {
                    self.queue
                        .push_always(Item::Trial(address, mac, trial), Rank::Rig, Lane::Plain);
                } else {
                    self.tell_trial(now, address, trial, Tried::NotSent);
                }
            }
            Ask::RollCall(which) => self.roll_call(which),
            Ask::Control { address, mac, port } => {
                let from = self.sender_to(address);
                let (bound, way) = match self.config.dialing {
                    Dialing::Os => (Some(None), Way::System),
                    Dialing::User if !self.config.mode.sees_frames() => (None, Way::Stack),
                    Dialing::User => (mac.map(Some), Way::Stack),
                };
                if let (Some(from), Some(bound)) = (from, bound) {
                    let target = Target {
                        address,
                        mac: bound,
                        port,
                    };
                    if !self.controls.ask(target, mac, from, way) {
                        self.say(now, Fact::ControlNotAsked { address, port });
                    }
                    self.carry_out(now);
                } else {
                    self.say(now, Fact::ControlNotAsked { address, port });
                }
            }
            Ask::ControlAway {
                address,
                mac,
                port,
                ranges,
            } => self.ask_away(now, (address, mac, port), ranges),
        }
    }
}
