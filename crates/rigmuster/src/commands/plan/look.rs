//! One look at the wire, to see which addresses are in use.

use std::time::Duration;

use ledger::{Muster, Purpose, Standing};
use rig::Rig;
use rig::plan::Held;
use vocab::{DhcpOffer, Moment};

use super::super::check::{count, interrupted};
use super::super::open::{Run, Tempo, open};
use crate::Failure;
use crate::args::LinkArgs;
use crate::settings::Expected;

/// How long it listens on after its pass is over.
const LISTEN: Duration = Duration::from_secs(3);
/// So long it waits for DHCP offers and for silent devices to be told from slow ones.
const LONGEST: Duration = Duration::from_secs(40);

/// A look, and the run that it was made in.
#[derive(Debug)]
pub(super) struct Look {
    pub(super) run: Run,
}

impl Look {
    /// Goes through the subnets of `rig` once. `None` when interrupted.
    pub(super) async fn around(
        link: &LinkArgs,
        expected: &Expected,
        rig: Rig,
    ) -> Result<Option<Self>, Failure> {
        let there = Expected {
            rig: Some(rig),
            ..expected.clone()
        };
        let mut run = open(&there, link, Purpose::Survey, Tempo::Jump)?;
        let mut end: Option<Moment> = link.listen_only.then(|| run.source.now() + LISTEN);
        let whole = count(&mut run, None, |ledger, now| {
            if end.is_none() && ledger.pass_complete() {
                end = Some(now + LISTEN);
            }
            end.map(|at| {
                if ledger.awaits_offers(now) {
                    at + LONGEST
                } else {
                    at
                }
            })
        })
        .await?;
        if !whole {
            interrupted(&run, "nothing was planned");
            return Ok(None);
        }
        Ok(Some(Self { run }))
    }

    /// Every address that somebody holds. The gateway that answers is among them.
    pub(super) fn held(&self) -> Vec<Held> {
        let held = self.run.ledger.held().into_iter();
        held.map(|(address, mac)| Held { address, mac }).collect()
    }

    /// What DHCP servers offer.
    pub(super) fn offers(&self) -> &[DhcpOffer] {
        self.run.ledger.offers()
    }

    /// What could not be seen.
    pub(super) fn notes(&self) -> Vec<String> {
        self.run.ledger.snapshot(self.run.source.now()).unseen
    }

    /// Goes on with `rig` until it is known how these devices stand, and tells the first that is missing:
    /// nobody answers at its address. The outer `None` when interrupted.
    pub(super) async fn first_missing(
        &mut self,
        rig: &Rig,
        devices: &[String],
    ) -> Result<Option<Option<usize>>, Failure> {
        let now = self.run.source.now();
        self.run.ledger.take_rig(rig, now);
        let open = |ledger: &Muster| {
            devices.iter().any(|name| {
                matches!(
                    ledger.standing(name),
                    None | Some(Standing::Unknown | Standing::Starting)
                )
            })
        };
        let deadline = now + LONGEST;
        let whole = count(&mut self.run, Some(deadline), |ledger, now| {
            (!open(ledger)).then_some(now)
        })
        .await?;
        if !whole {
            interrupted(&self.run, "no address was checked");
            return Ok(None);
        }
        let missing = |name: &String| self.run.ledger.standing(name) == Some(Standing::Missing);
        Ok(Some(devices.iter().position(missing)))
    }
}
