//! What a watcher is told of all that happens on the scripted wire, and how bad that wire is.

use vocab::{Ask, Moment, Sighting};

/// One thing that the ledger was told, or said.
#[derive(Debug, Clone)]
pub(in crate::tests) enum Noted {
    /// It was told so.
    Saw(Sighting),
    /// It wanted this asked.
    Wanted(Moment, Ask),
}

/// The course of things, where somebody keeps it, and the wire's losses.
#[derive(Debug, Default)]
pub(in crate::tests) struct Tap {
    kept: Option<Vec<Noted>>,
    percent: u64,
    chance: u64,
}

impl Tap {
    /// One that keeps all, and whose losses follow from `seed`.
    pub(in crate::tests) fn keeping(seed: u64) -> Self {
        Self {
            kept: Some(Vec::new()),
            percent: 0,
            chance: seed | 1,
        }
    }

    /// So many in a hundred answers are lost from now on; of a hundred nothing at all comes in.
    pub(in crate::tests) const fn lose(&mut self, percent: u64) {
        self.percent = percent;
    }

    /// Whether nothing comes in.
    pub(in crate::tests) const fn deaf(&self) -> bool {
        self.percent >= 100
    }

    /// Takes what was kept since the last time.
    pub(in crate::tests) fn drain(&mut self) -> Vec<Noted> {
        self.kept.as_mut().map(std::mem::take).unwrap_or_default()
    }

    pub(super) fn write(&mut self, sighting: &Sighting) {
        if let Some(kept) = &mut self.kept {
            kept.push(Noted::Saw(sighting.clone()));
        }
    }

    pub(super) fn hand_out(&mut self, now: Moment, ask: &Ask) {
        if let Some(kept) = &mut self.kept {
            kept.push(Noted::Wanted(now, ask.clone()));
        }
    }

    /// Whether the next answer is lost.
    pub(super) const fn loses(&mut self) -> bool {
        if self.percent == 0 {
            return false;
        }
        // Marsaglia's xorshift (Journal of Statistical Software 8(14), 2003; the shifts from memory).
        self.chance ^= self.chance << 13;
        self.chance ^= self.chance >> 7;
        self.chance ^= self.chance << 17;
        (self.chance >> 11) % 100 < self.percent
    }
}
