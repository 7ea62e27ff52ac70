//! Questions that left, and what came of them: closing lanes, and counting who did not answer.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ArpForm, Mode, Moment, SilentTo};

use crate::Standing;
use crate::asking::beat::step_from;
use crate::asking::lanes::Key;
use crate::asking::target::{Kind, Round};
use crate::hosts::claim::{Claim, HostId, Verdict};
use crate::judging::detect::{Bar, enough};
use crate::ledger::{Ledger, Timer};

/// How long after a broadcast question its further answers still belong to it. A Linux proxy
/// answers up to 0.8 s late (measured; `proxy_delay` in the kernel's ip-sysctl).
const ROUND: Duration = Duration::from_secs(1);
/// From so many questions on a device's own losses count beside those of the whole wire.
const KNOWN: usize = 32;
/// Requests that the Linux kernel sends before it gives an address up (`mcast_solicit`, 3 by default, in
/// its ip-sysctl; other systems about as many).
const KERNEL_ASKS: u8 = 3;
/// Questions 10 s apart that are enough where nobody was ever heard.
const NOBODY_ASKS: u8 = 3;

/// Whether our own port vouches for a silence is looked at again so often.
pub(crate) const DOUBT: Duration = Duration::from_millis(250);

impl Ledger {
    /// The lanes that a question of this form about `address` may have come from: a broadcast
    /// goes out in nobody's name where we have no address of our own.
    fn arp_keys(&self, address: Ipv4Addr, form: ArpForm) -> [Option<Key>; 2] {
        match form {
            ArpForm::Broadcast => [Some(Key::Broadcast(address)), None],
            ArpForm::Unicast(mac) => [Some(Key::Unicast(address, mac)), None],
            ArpForm::Nobody if self.near(address) => [Some(Key::Nobody(address)), None],
            ArpForm::Nobody => [Some(Key::Nobody(address)), Some(Key::Broadcast(address))],
        }
    }

    pub(crate) fn sent(&mut self, at: Moment, address: Ipv4Addr, what: SilentTo) {
        if self.blind().is_some() {
            return;
        }
        let form = match what {
            SilentTo::Echo(_) if self.routed() => ArpForm::Broadcast,
            SilentTo::Echo(mac) => {
                self.lanes.sent(Key::Echo(address), at);
                if let Some(mac) = mac {
                    self.lanes.sent(Key::EchoTo(address, mac), at);
                }
                return;
            }
            SilentTo::Arp(form) => form,
        };
        for key in self.arp_keys(address, form).into_iter().flatten() {
            self.lanes.sent(key, at);
        }
        if matches!(form, ArpForm::Unicast(_)) {
            return;
        }
        self.round_over(address, at);
        let rounds = self.targets.change(&address, |target| {
            target.sent(at, form);
            target.rounds
        });
        self.ready_dirty |= rounds.is_some_and(|rounds| rounds <= 2);
    }

    pub(crate) fn silent(&mut self, at: Moment, address: Ipv4Addr, what: SilentTo, sent: Moment) {
        if self.blind().is_some() || sent < self.epoch {
            return;
        }
        // Behind a router an echo request is what a broadcast question is on a wire.
        let what = match what {
            SilentTo::Echo(_) if self.routed() => {
                if let Some(i) = self.device_at(address) {
                    self.tracks[i].echo(None);
                }
                SilentTo::Arp(ArpForm::Broadcast)
            }
            other => other,
        };
        match what {
            SilentTo::Echo(mac) => {
                self.lanes.close(Key::Echo(address), at);
                if let Some(mac) = mac {
                    self.kin_silent(at, address, mac, sent);
                }
                let its = |i: &usize| match (mac, self.tracks[*i].who.and_then(HostId::mac)) {
                    // One to another who holds its address says nothing of the device.
                    (Some(asked), Some(who)) => asked == who,
                    _ => true,
                };
                if let Some(i) = self.device_at(address).filter(its) {
                    self.tracks[i].echo(None);
                    self.start_silent(i, what, sent);
                    self.soft = true;
                    self.wire_dirty |= self.tracks[i].echoes.len() >= 3;
                    self.touched.insert(i);
                }
                self.replan.insert(address);
            }
            SilentTo::Arp(form) => {
                self.close_arp(at, address, form);
                if let ArpForm::Unicast(mac) = form
                    && !self.targets.contains_key(&address)
                {
                    self.suspect_silent(at, address, mac, sent);
                }
                if !matches!(form, ArpForm::Unicast(_)) {
                    self.call_in_vain(address, sent, at);
                }
                let its = |round: &mut Round| round.sent <= sent;
                if !matches!(form, ArpForm::Unicast(_))
                    && let Some(Some(_)) = self.targets.change(&address, |t| t.open.take_if(its))
                {
                    self.timers.set(Timer::Round(address), None);
                }
                self.close_round(
                    address,
                    Round {
                        sent,
                        form,
                        answered: false,
                    },
                    at,
                );
            }
        }
    }

    fn close_arp(&mut self, at: Moment, address: Ipv4Addr, form: ArpForm) {
        for key in self.arp_keys(address, form).into_iter().flatten() {
            self.lanes.close(key, at);
            let kept = self.targets.contains_key(&address) || self.sought.contains(&address);
            if self.confirming.remove(&key) && !kept {
                self.lanes.remove(key);
            }
        }
        self.replan.insert(address);
    }

    /// Somebody answered a question of ours about `address`.
    pub(crate) fn answered(&mut self, at: Moment, address: Ipv4Addr, form: ArpForm) {
        self.close_arp(at, address, form);
        if matches!(form, ArpForm::Unicast(_)) {
            return;
        }
        let first = self.targets.change(&address, |target| {
            let open = target.open.as_mut().filter(|open| !open.answered)?;
            open.answered = true;
            Some(open.sent)
        });
        if let Some(Some(sent)) = first {
            self.timers
                .set(Timer::Round(address), Some(step_from(sent + ROUND)));
        }
    }

    /// The time for further answers to the open question about `address` is over.
    pub(crate) fn round_over(&mut self, address: Ipv4Addr, at: Moment) {
        self.timers.set(Timer::Round(address), None);
        let open = self.targets.change(&address, |t| t.open.take());
        if let Some(Some(round)) = open
            && round.answered
        {
            self.close_round(address, round, at);
        }
    }

    /// Counts who did not answer a question that is over.
    fn close_round(&mut self, address: Ipv4Addr, round: Round, at: Moment) {
        let Some(kind) = self.targets.get(&address).map(|t| t.kind) else {
            return;
        };
        if self.as_before(kind, address, round) {
            return;
        }
        let near = self.near(address);
        let bar = self.bar(self.device_at(address));
        let mut doubtful = false;
        let narrow = matches!(round.form, ArpForm::Unicast(_));
        let wide = !narrow || !self.broadcasts(kind, address);
        let ids: Vec<HostId> = self.hosts.holders(address).map(|(id, _)| id).collect();
        // What a claim here comes to also tells of the device whose hardware makes it.
        let makers = ids.iter().filter_map(|id| self.by_mac.get(&id.mac()?));
        self.touched.extend(makers);
        if round.form == ArpForm::Nobody && kind == Kind::Own && !round.answered {
            self.hosts.nobody_holds_ours(address, round.sent);
            self.ready_dirty = true;
        }
        // One that not even an owner answered was lost, and says nothing of others.
        if round.form == ArpForm::Nobody && !self.probe_over(address, round.answered) {
            self.hosts.nobody_over(address, round.sent);
            self.wire_dirty = true;
        }
        let routed = self.routed();
        let mut fades = false;
        if round.form != ArpForm::Nobody || !near {
            for id in ids {
                let asked = match round.form {
                    ArpForm::Unicast(mac) => id.mac() == Some(mac),
                    ArpForm::Broadcast | ArpForm::Nobody => true,
                };
                if asked && let Some(claim) = self.hosts.get_mut(id).and_then(|h| h.claim_mut(address)) {
                    // Who never answered an echo says nothing by not answering this one.
                    if routed && claim.rtt.is_none() {
                        continue;
                    }
                    let sure = !claim.misses.any();
                    let verdict = claim.miss(round.sent, at, wide, bar);
                    self.wire_dirty |= verdict == Verdict::Gone;
                    doubtful |= verdict == Verdict::Doubtful;
                    fades |= sure && claim.misses.any();
                }
            }
            let held = self.hosts.holders(address).any(|(id, c)| {
                let by_ports = routed && c.rtt.is_none();
                self.accepts(kind, id, c) && (by_ports || c.last >= round.sent)
            });
            let nobody = self.nobody_bar(bar, address);
            if !narrow && !held {
                let verdict = self.targets.change(&address, |target| {
                    target.misses.add(round.sent, at, true, nobody);
                    target.settle(at, nobody)
                });
                self.wire_dirty |= verdict == Some(Verdict::Gone);
                doubtful |= verdict == Some(Verdict::Doubtful);
            }
            if doubtful {
                self.timers.set(Timer::Doubt(address), Some(at + DOUBT));
            }
        }
        if routed && fades {
            self.knock(address);
        }
        self.touch(address);
        self.replan.insert(address);
    }

    /// Whether a question to everybody about `address` was answered by the one who holds it and may, so that nothing
    /// stands otherwise than it did: of nearly all questions while watching.
    fn as_before(&self, kind: Kind, address: Ipv4Addr, round: Round) -> bool {
        if !round.answered || round.form != ArpForm::Broadcast || self.routed() {
            return false;
        }
        let mut holders = self.hosts.holders(address);
        let (Some((id, claim)), None) = (holders.next(), holders.next()) else {
            return false;
        };
        claim.last >= round.sent && self.accepts(kind, id, claim)
    }

    /// What stayed unanswered about `address` was enough, had our own port vouched for it: perhaps it
    /// does now.
    pub(crate) fn doubt_over(&mut self, address: Ipv4Addr, now: Moment) {
        let bar = self.bar(self.device_at(address));
        let mut verdicts = Vec::new();
        let ids: Vec<HostId> = self.hosts.holders(address).map(|(id, _)| id).collect();
        for id in ids {
            if let Some(claim) = self.hosts.get_mut(id).and_then(|h| h.claim_mut(address)) {
                verdicts.push(claim.settle(now, bar));
            }
        }
        let nobody = self.nobody_bar(bar, address);
        verdicts.extend(self.targets.change(&address, |t| t.settle(now, nobody)));
        if verdicts.contains(&Verdict::Doubtful) {
            self.timers.set(Timer::Doubt(address), Some(now + DOUBT));
        }
        if verdicts.contains(&Verdict::Gone) {
            self.wire_dirty = true;
            let makers = self.hosts.holders(address).filter_map(|(id, _)| id.mac());
            self.touched.extend(makers.filter_map(|m| self.by_mac.get(&m)));
            self.touch(address);
            self.replan.insert(address);
        }
    }

    /// What a silence of device `i`, or of anything else, has to pass.
    pub(crate) fn bar(&self, i: Option<usize>) -> Bar {
        Bar {
            run: self.run_of(i),
            port: self.port,
        }
    }

    /// The same for the silence of an address that nobody was heard to hold. Where the kernel asks for
    /// us, one silence is that of several questions; where questions go in nobody's name, 10 s apart, no
    /// disturbance spans three of them, and nobody is to wait a minute for what was never there.
    fn nobody_bar(&self, bar: Bar, address: Ipv4Addr) -> Bar {
        let run = match self.mode() {
            Mode::Unprivileged => bar.run.div_ceil(KERNEL_ASKS).max(2),
            Mode::Raw | Mode::Simulated if !self.near(address) => bar.run.min(NOBODY_ASKS),
            Mode::Raw | Mode::Simulated | Mode::Routed => bar.run,
        };
        Bar { run, ..bar }
    }

    /// How many unanswered questions in a row are more than loss, for device `i` or for any.
    pub(crate) fn run_of(&self, i: Option<usize>) -> u8 {
        enough(self.loss_bound(i))
    }

    /// What share of the questions about device `i`, or about any, is lost at the most.
    pub(crate) fn loss_bound(&self, i: Option<usize>) -> f64 {
        let own = i.map_or(0.0, |i| self.tracks[i].pulse.loss.bound());
        // What nobody knows yet of one device, the others tell of the wire they share.
        let (asked, _) = i.map_or((0, 0), |i| self.tracks[i].pulse.loss.counts());
        let own = if asked < KNOWN { 0.0 } else { own };
        own.max(self.wire_loss.bound())
    }

    /// Whether `address` is asked for by broadcast again and again.
    pub(crate) fn broadcasts(&self, kind: Kind, address: Ipv4Addr) -> bool {
        match kind {
            Kind::Rig(_) | Kind::Gateway => true,
            Kind::Own => false,
            // One that is missing may be back where it was heard, and say nothing of it.
            Kind::Floating(i) => {
                let track = &self.tracks[i];
                let strays = track.device.fixed_address().is_none() || track.standing == Standing::Missing;
                strays && self.in_subnet(address)
            }
        }
    }

    /// Whether this claimant may rightly hold an address of this kind.
    pub(crate) fn accepts(&self, kind: Kind, id: HostId, claim: &Claim) -> bool {
        claim.alive()
            && match kind {
                Kind::Own => true,
                Kind::Gateway => !claim.proxied(),
                Kind::Rig(i) if self.tracks[i].device.macs.is_empty() => !claim.proxied(),
                Kind::Rig(i) | Kind::Floating(i) => self.is_own(i, id),
            }
    }

    /// Whether `id` is hardware that the file lists for device `i`, or, where the mode shows no
    /// hardware, may be.
    pub(crate) fn is_own(&self, i: usize, id: HostId) -> bool {
        match id {
            HostId::Mac(mac) => self.tracks[i].device.macs.contains(&mac),
            HostId::Only(_) => !self.sees_frames(),
        }
    }

    /// The device that stands at `address` now, or should.
    pub(crate) fn device_at(&self, address: Ipv4Addr) -> Option<usize> {
        self.by_address
            .get(&address)
            .copied()
            .or_else(|| match self.targets.get(&address)?.kind {
                Kind::Floating(i) => Some(i),
                Kind::Rig(_) | Kind::Own | Kind::Gateway => None,
            })
    }

    /// The devices that `address` concerns are to be judged again.
    pub(crate) fn touch(&mut self, address: Ipv4Addr) {
        self.touched.extend(self.by_address.get(&address));
        if let Some(Kind::Floating(i)) = self.targets.get(&address).map(|t| t.kind) {
            self.touched.insert(i);
        }
    }
}
