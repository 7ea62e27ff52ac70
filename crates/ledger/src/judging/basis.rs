//! What a change of a device's standing is based on, for the record.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::Moment;

use crate::hosts::claim::{HostId, Misses};
use crate::ledger::Ledger;
use crate::{AnswerView, Standing};

impl Ledger {
    /// What the present standing of device `i` rests on: a few words, or none where its text says all.
    pub(crate) fn basis(&self, i: usize) -> String {
        let track = &self.tracks[i];
        let e = &track.evidence;
        match track.standing {
            Standing::Unknown | Standing::Starting => String::new(),
            Standing::Missing => self.silence(i).map_or_else(String::new, |(count, span)| {
                format!(
                    "{count} questions in {} s unanswered; this wire loses at most {:.1} %",
                    tenths(span),
                    self.loss_bound(Some(i)) * 100.0
                )
            }),
            Standing::Present => self.heard_how(e.here),
            Standing::WrongSubnet | Standing::Moved => self.heard_how(e.elsewhere.or(e.foreign)),
            Standing::Replaced => match (e.other, track.device.fixed_address()) {
                (Some(other), Some(address)) => self.heard_how(Some((other, address))),
                _ => String::new(),
            },
            Standing::Conflict => format!("{} hosts answered for it at the same time", e.clash.len()),
            Standing::NoControl => {
                "its address answers; each refused or silent port was asked up to three times".to_owned()
            }
        }
    }

    /// How device `i` answers the questions for its address.
    pub(crate) fn answers(&self, i: usize) -> Option<AnswerView> {
        let pulse = &self.tracks[i].pulse;
        let (time, usual, jitter) = pulse.times()?;
        Some(AnswerView {
            time,
            usual,
            jitter,
            loss_at_most: self.loss_bound(Some(i)),
            run: self.run_of(Some(i)),
        })
    }

    /// The run of unanswered questions that speaks against device `i`.
    fn silence(&self, i: usize) -> Option<(u8, Duration)> {
        self.silences(i).map(Misses::run).max()
    }

    /// When the first of the questions left that device `i` did not answer.
    pub(crate) fn silent_since(&self, i: usize) -> Option<Moment> {
        self.silences(i).map(Misses::began).min()
    }

    fn silences(&self, i: usize) -> impl Iterator<Item = &Misses> {
        let track = &self.tracks[i];
        let address = track.device.fixed_address();
        let own = |m: &vocab::Mac| self.hosts.get(HostId::Mac(*m));
        let claims = track.device.macs.iter().filter_map(own).flat_map(|h| &h.claims);
        let claimed = claims
            .filter(move |c| address.is_none_or(|a| c.address == a))
            .map(|c| &c.misses);
        let nameless = address
            .filter(|_| track.device.macs.is_empty())
            .into_iter()
            .flat_map(|a| self.hosts.holders(a).map(|(_, c)| &c.misses));
        let target = address.and_then(|a| self.targets.get(&a)).map(|t| &t.misses);
        claimed.chain(nameless).chain(target).filter(|m| m.any())
    }

    fn heard_how(&self, who: Option<(HostId, Ipv4Addr)>) -> String {
        let claim = who.and_then(|(id, a)| self.hosts.get(id).and_then(|h| h.claim(a)));
        match claim.map(|c| c.rtt.filter(|_| c.question.is_some())) {
            Some(Some(rtt)) => format!("answered after {:.1} ms", rtt.as_secs_f64() * 1e3),
            Some(None) => "spoke of itself".to_owned(),
            None => String::new(),
        }
    }
}

fn tenths(span: Duration) -> String {
    format!("{:.1}", span.as_secs_f64())
}
