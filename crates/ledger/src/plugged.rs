//! What this computer is plugged into, by the word of the switch, for as long as that holds.

use vocab::{Moment, Plugged};

use crate::ledger::{Ledger, Timer};

/// Switches kept: one is usual, and behind a simple switch that passes such frames on there are few.
const MAX_KEPT: usize = 4;

/// Who says so, and until when.
#[derive(Debug, Default)]
pub(crate) struct Plug(Vec<(Plugged, Moment)>);

impl Plug {
    /// A switch's word. True if what holds now is another than before.
    fn hear(&mut self, at: Moment, plugged: &Plugged) -> bool {
        let same = |p: &Plugged| (p.mac, &p.port) == (plugged.mac, &plugged.port);
        let old = self.0.iter().position(|(p, _)| same(p)).map(|i| self.0.remove(i));
        if plugged.holds.is_zero() {
            return old.is_some();
        }
        let until = at + plugged.holds;
        self.0.retain(|(_, until)| *until > at);
        if self.0.len() >= MAX_KEPT {
            // Whoever comes later and says the same pushes out nobody who said it first.
            return old.is_some();
        }
        let said = |p: &Plugged| (p.switch.clone(), p.address);
        let news = old.is_none_or(|(p, _)| said(&p) != said(plugged));
        self.0.push((plugged.clone(), until));
        self.0.sort_by_key(|(p, _)| (p.switch.clone(), p.port.clone()));
        news
    }

    /// What holds at `now`.
    pub(crate) fn now(&self, now: Moment) -> Vec<Plugged> {
        let held = self.0.iter().filter(|(_, until)| *until > now);
        held.map(|(p, _)| p.clone()).collect()
    }
}

impl Ledger {
    pub(crate) fn plugged_is(&mut self, at: Moment, plugged: &Plugged) {
        if !plugged.mac.is_host() || self.is_our_hardware(plugged.mac) {
            return;
        }
        self.revision += u64::from(self.plug.hear(at, plugged));
        self.time_plug();
    }

    /// A switch's word may have run out.
    pub(crate) fn plug_due(&mut self, now: Moment) {
        let before = self.plug.0.len();
        self.plug.0.retain(|(_, until)| *until > now);
        self.revision += u64::from(self.plug.0.len() != before);
        self.time_plug();
    }

    /// The cable may be in another port from now on.
    pub(crate) fn unplug(&mut self) {
        self.plug = Plug::default();
        self.time_plug();
    }

    pub(crate) fn time_plug(&mut self) {
        let first = self.plug.0.iter().map(|(_, until)| *until).min();
        self.timers.set(Timer::Plug, first);
    }
}
