//! The one sentence on top: ready or not, why not, and no more than was seen.

use rig::{AskWhen, Need};
use vocab::LinkState;

use crate::ledger::{Blind, Ledger};
use crate::track::PortState;
use crate::{Finding, FindingKind, Severity, Standing};

impl Ledger {
    /// The headline.
    pub(crate) fn headline(&self) -> String {
        match self.blind() {
            Some(Blind::NoReport) => return "Looking: waiting for the network interface.".to_owned(),
            Some(Blind::Link(state)) => {
                let what = link_words(state);
                return format!("Nothing can be said: {what}.");
            }
            Some(Blind::ListenOnly) => {
                return "Listening only: nothing is asked, so nothing can be said of what stays silent."
                    .to_owned();
            }
            None => {}
        }
        if self.settings.rig.is_none() {
            let n = self.hosts.len();
            let hosts = if n == 1 { "host" } else { "hosts" };
            let so_far = if self.pass_complete() { "" } else { " so far" };
            return format!("{n} {hosts} heard{so_far}. There is no rig file to compare with.");
        }
        if self.ready {
            self.good_news()
        } else {
            self.bad_news()
        }
    }

    fn good_news(&self) -> String {
        let show = self.tracks.iter().filter(|t| t.device.need == Need::Show).count();
        let all = self.tracks.len();
        let amiss = self
            .tracks
            .iter()
            .filter(|t| t.device.need != Need::Show && t.standing != Standing::Present)
            .count();
        let mut text = match (show, all) {
            (_, 0) => "Ready. The rig file lists nothing to count.".to_owned(),
            (1, 1) => "Ready. The one device answers on the network.".to_owned(),
            (s, a) if s == a || amiss == 0 => format!("Ready. All {a} answer on the network."),
            (s, _) => format!("Ready. All {s} that the show needs answer on the network."),
        };
        match amiss {
            0 => {}
            1 => text.push_str(" 1 spare or later one does not."),
            n => text = format!("{text} {n} spare or later ones do not."),
        }
        if !self.sees_frames() {
            text.push_str(" Clashes and other hardware cannot be seen in this mode.");
        }
        let unasked = |t: &crate::track::Track| {
            t.standing == Standing::Present
                && (t.device.ask == AskWhen::Never && !t.ports.is_empty()
                    || t.ports.iter().any(|p| !matches!(p.state, PortState::Told(_))))
        };
        let with_ports = self.tracks.iter().filter(|t| !t.ports.is_empty()).count();
        match self.tracks.iter().filter(|t| unasked(t)).count() {
            0 => {}
            n if n == with_ports => text.push_str(" Control ports not asked."),
            n => text = format!("{text} Control ports of {n} not asked."),
        }
        text.push_str(" Pictures not checked.");
        text
    }

    fn bad_news(&self) -> String {
        let total = self.tracks.len();
        let mut faults: Vec<_> = self
            .wire_findings
            .iter()
            .chain(self.tracks.iter().filter_map(|t| t.finding.as_ref()))
            .filter(|f| f.severity == Severity::Fault)
            .collect();
        faults.sort_by_key(|f| crate::find::weight(f.kind));
        let amiss = self.tracks.iter().filter(|t| {
            t.device.need == Need::Show
                && !matches!(
                    t.standing,
                    Standing::Present | Standing::Unknown | Standing::Starting
                )
        });
        let amiss: Vec<_> = amiss.collect();
        match (faults.as_slice(), amiss.as_slice()) {
            ([], []) => self.waiting(),
            ([] | [_], [one]) => {
                let words = one.standing.words();
                match one.standing {
                    Standing::Missing => format!("Not ready: {} is missing.", one.device.name),
                    _ => format!("Not ready: {}: {words}.", one.device.name),
                }
            }
            ([first, ..], few) if few.len() < 2 => format!("Not ready: {}", short(first)),
            ([first, ..], many) => {
                format!(
                    "Not ready: {} of {total} are not as they should be. First: {}",
                    many.len(),
                    short(first)
                )
            }
            ([], many) => format!("Not ready: {} of {total} are not as they should be.", many.len()),
        }
    }

    fn waiting(&self) -> String {
        let total = self.tracks.len();
        let of = |s| {
            self.tracks
                .iter()
                .filter(move |t| t.device.need == Need::Show && t.standing == s)
        };
        if let Some(unknown) = of(Standing::Unknown).next() {
            let heard = self
                .tracks
                .iter()
                .filter(|t| t.standing != Standing::Unknown)
                .count();
            if heard + 1 == total && total > 1 {
                return format!(
                    "Looking: {heard} of {total} heard so far; {} not yet.",
                    unknown.device.name
                );
            }
            return format!("Looking: {heard} of {total} heard so far.");
        }
        let starting: Vec<_> = of(Standing::Starting).collect();
        match starting.as_slice() {
            [] => format!("Looking: all {total} heard, asking again to be sure."),
            [one] if one.appeared.is_some() => format!("Not ready yet: {} is starting.", one.device.name),
            [one] => format!(
                "Not ready yet: the control ports of {} are awaited.",
                one.device.name
            ),
            many => format!(
                "Not ready yet: {} of {total} are starting or awaited.",
                many.len()
            ),
        }
    }
}

/// A fault in one short sentence. Only what is said of DHCP servers goes on with their particulars.
fn short(finding: &Finding) -> &str {
    let text = finding.text.as_str();
    match finding.kind {
        FindingKind::SecondDhcpServer => text.split_inclusive(". ").next().unwrap_or(text).trim_end(),
        _ => text,
    }
}

/// What is wrong with our link, as the start of a sentence's second half.
pub(crate) const fn link_words(state: LinkState) -> &'static str {
    match state {
        LinkState::Up => "the link is up",
        LinkState::NoCarrier => "this computer's network cable carries nothing",
        LinkState::Down => "this computer's network interface is switched off",
        LinkState::Gone => "this computer's network interface is gone",
    }
}
