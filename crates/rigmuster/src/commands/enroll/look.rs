//! The look at the wire that an enrolment begins with.

use ledger::{Muster, Purpose};
use rig::enroll::{Draft, Wire};
use vocab::{Ipv4Net, Moment};

use super::hosts;
use super::target::Target;
use crate::Failure;
use crate::args::EnrollArgs;
use crate::commands::open::{Run, Tempo, open};
use crate::settings::Expected;

/// How long it listens on after its pass is over; as a survey does.
const LISTEN: std::time::Duration = std::time::Duration::from_secs(3);
/// So long after that at the most it waits for answers that are still out.
const LONGEST: std::time::Duration = std::time::Duration::from_secs(25);

/// Opens the links or the venue for an enrolment.
pub(super) fn begin(args: &EnrollArgs, target: &Target, tempo: Tempo) -> Result<Run, Failure> {
    let expected = Expected {
        rig: target.rig.clone(),
        file: None,
        path: None,
        document: None,
        warnings: Vec::new(),
    };
    open(&expected, &args.link, Purpose::Enroll, tempo)
}

/// When enough was seen: once the pass is over, and 3 s or the answers that are still out.
#[derive(Debug)]
pub(super) struct Enough {
    end: Option<Moment>,
}

impl Enough {
    pub(super) fn new(args: &EnrollArgs, now: Moment) -> Self {
        Self {
            // With nothing to send there is no pass: listening is all.
            end: args.link.listen_only.then(|| now + LISTEN),
        }
    }

    /// When the look ends, as far as that can be told now.
    pub(super) fn at(&mut self, ledger: &Muster, now: Moment) -> Option<Moment> {
        if self.end.is_none() && ledger.pass_complete() {
            self.end = Some(now + LISTEN);
        }
        self.end.map(|at| {
            let waits = ledger.awaits_offers(now) || ledger.awaits_ports(now, at);
            if waits { at + LONGEST } else { at }
        })
    }
}

/// A draft of what was seen up to now.
pub(super) fn draft(run: &Run, target: &Target) -> Draft {
    let snapshot = run.ledger.snapshot(run.source.now());
    let wire = hosts::wire(&snapshot, run.ledger.offers()).unwrap_or_else(nowhere);
    let mut draft = Draft::new(target.rig.clone(), wire);
    draft.take_in(hosts::all(&snapshot));
    draft
}

/// Before the link has reported nothing is known of what surrounds the hosts.
pub(super) fn nowhere() -> Wire {
    Wire {
        subnet: Ipv4Net::default(),
        gateway: None,
        own_macs: std::collections::BTreeSet::new(),
        own_addresses: std::collections::BTreeSet::new(),
        servers: std::collections::BTreeSet::new(),
    }
}
