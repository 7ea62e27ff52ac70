//! The one sentence on top: ready or not, why not, and no more than was seen.

use rig::{AskWhen, Need};
use vocab::LinkState;

use crate::judging::track::{PortState, Track};
use crate::ledger::{Blind, Ledger};
use crate::{Finding, FindingKind, Severity, Standing};

impl Ledger {
    /// The headline.
    pub(crate) fn headline(&self) -> String {
        headline(&[self])
    }
}

/// The headline of one rig that these ledgers judge, a network each.
pub(crate) fn headline(legs: &[&Ledger]) -> String {
    let blind = |like: fn(Blind) -> bool| legs.iter().any(|leg| leg.blind().is_some_and(like));
    if blind(|b| b == Blind::NoReport) {
        return "Looking: waiting for the network interface.".to_owned();
    }
    if let [only] = legs
        && let Some(Blind::Link(state)) = only.blind()
    {
        return format!("Nothing can be said: {}.", link_words(state));
    }
    if blind(|b| b == Blind::ListenOnly) {
        return "Listening only: nothing is asked, so nothing can be said of what stays silent.".to_owned();
    }
    if let [only] = legs
        && only.settings.rig.is_none()
    {
        let n = only.hosts.len();
        let hosts = if n == 1 { "host" } else { "hosts" };
        let so_far = if only.pass_complete() { "" } else { " so far" };
        return format!("{n} {hosts} heard{so_far}. There is no rig file to compare with.");
    }
    let all = All(legs);
    if legs.iter().all(|leg| leg.ready) {
        all.good_news()
    } else {
        all.bad_news()
    }
}

/// Who answers when all that the show needs do: `show` of the `all` that are listed are needed, and `amiss` of the
/// others do not stand as they should.
fn who_answers(show: usize, all: usize, amiss: usize) -> String {
    let others = match (show, amiss) {
        (_, 0) => String::new(),
        (0, 1) if all == 1 => " It does not answer as listed.".to_owned(),
        (0, 1) => " 1 does not answer as listed.".to_owned(),
        (0, n) => format!(" {n} do not answer as listed."),
        (_, 1) => " 1 spare or later one does not.".to_owned(),
        (_, n) => format!(" {n} spare or later ones do not."),
    };
    let needed = match (show, all) {
        (_, 0) => "The rig file lists nothing to count.".to_owned(),
        (_, 1) if amiss == 0 => "The one device answers on the network.".to_owned(),
        (0, 1) => "The show does not need the one device that is listed.".to_owned(),
        (_, a) if amiss == 0 => format!("All {a} answer on the network."),
        (0, a) => format!("The show needs none of the {a} devices that are listed."),
        (1, _) => "The one that the show needs answers on the network.".to_owned(),
        (s, _) => format!("All {s} that the show needs answer on the network."),
    };
    format!("Ready. {needed}{others}")
}

/// All networks of a rig together.
struct All<'a>(&'a [&'a Ledger]);

impl All<'_> {
    fn tracks(&self) -> impl Iterator<Item = &Track> + Clone {
        self.0.iter().flat_map(|leg| &leg.tracks)
    }

    fn good_news(&self) -> String {
        let show = self.tracks().filter(|t| t.device.need == Need::Show).count();
        let all = self.tracks().count();
        let amiss = self
            .tracks()
            .filter(|t| t.device.need != Need::Show && t.standing != Standing::Present)
            .count();
        let mut text = who_answers(show, all, amiss);
        if self.0.iter().any(|leg| !leg.sees_frames() && !leg.routed()) {
            text.push_str(" Clashes and other hardware cannot be seen in this mode.");
        }
        let routed = self.0.iter().filter(|leg| leg.routed() && !leg.tracks.is_empty());
        let names: Vec<&str> = routed
            .filter_map(|leg| leg.settings.rig.as_ref())
            .map(|rig| rig.network.name.as_str())
            .collect();
        if !names.is_empty() {
            text = format!("{text} Clashes and hardware not seen on {}.", names.join(", "));
        }
        let unasked = |t: &&Track| {
            t.standing == Standing::Present
                && (t.device.ask == AskWhen::Never && !t.ports.is_empty()
                    || t.ports.iter().any(|p| !matches!(p.state, PortState::Told(_))))
        };
        let with_ports = self.tracks().filter(|t| !t.ports.is_empty()).count();
        match self.tracks().filter(unasked).count() {
            0 => {}
            n if n == with_ports => text.push_str(" Control ports not asked."),
            n => text = format!("{text} Control ports of {n} not asked."),
        }
        text.push_str(" Pictures not checked.");
        text
    }

    /// Every fault with the ledger that found it, the gravest first.
    fn faults(&self) -> Vec<(&Ledger, &Finding)> {
        let mut faults = Vec::new();
        for leg in self.0 {
            let own = leg.own_findings().filter(|f| !leg.is_expected(f));
            let all = leg.wire_findings.iter().chain(own);
            faults.extend(all.filter(|f| f.severity == Severity::Fault).map(|f| (*leg, f)));
        }
        faults.sort_by_key(|(_, f)| crate::find::weight(f.kind));
        faults
    }

    /// A fault in one short sentence. One that is no device's says in which network, where there
    /// are several.
    fn say(&self, (leg, finding): (&Ledger, &Finding)) -> String {
        match &leg.settings.rig {
            Some(rig) if self.0.len() > 1 && finding.devices.is_empty() => {
                format!("{}: {}", rig.network.name, short(finding))
            }
            _ => short(finding).to_owned(),
        }
    }

    fn bad_news(&self) -> String {
        let away = |t: &&Track| t.is_held() && t.standing != Standing::Present;
        let held: Vec<&str> = self
            .tracks()
            .filter(away)
            .map(|t| t.device.name.as_str())
            .collect();
        let alone = self.0.iter().all(|leg| leg.only_expected());
        match held.as_slice() {
            [] => self.worse_news(),
            [one] if alone => format!("Not ready: {one} is being restarted, as you said."),
            many if alone => format!("Not ready: {} are being restarted, as you said.", many.len()),
            [_] => format!("{} 1 is being restarted, as you said.", self.worse_news()),
            many => format!(
                "{} {} are being restarted, as you said.",
                self.worse_news(),
                many.len()
            ),
        }
    }

    fn worse_news(&self) -> String {
        let total = self.tracks().count();
        let faults = self.faults();
        let amiss = self.tracks().filter(|t| {
            t.device.need == Need::Show
                && !t.is_held()
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
            ([first, ..], few) if few.len() < 2 => format!("Not ready: {}", self.say(*first)),
            ([first, ..], many) => {
                format!(
                    "Not ready: {} of {total} are not as they should be. First: {}",
                    many.len(),
                    self.say(*first)
                )
            }
            ([], many) => format!("Not ready: {} of {total} are not as they should be.", many.len()),
        }
    }

    fn waiting(&self) -> String {
        let held = |leg: &&Ledger| {
            let mut kinds = leg.wire_findings.iter().map(|f| f.kind);
            kinds.any(|k| k == FindingKind::PortNotPassing)
        };
        if self.0.iter().any(held) {
            return "Looking: nothing is heard yet on this computer's port; the switch may still hold it back."
                .to_owned();
        }
        let total = self.tracks().count();
        let of = |s| {
            self.tracks()
                .filter(move |t| t.device.need == Need::Show && t.standing == s && !t.is_held())
        };
        if let Some(unknown) = of(Standing::Unknown).next() {
            let heard = self.tracks().filter(|t| t.standing != Standing::Unknown).count();
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_answers_is_said_in_words_that_fit_the_number() {
        for (show, all, amiss, said) in [
            (12, 12, 0, "All 12 answer on the network."),
            (1, 1, 0, "The one device answers on the network."),
            (0, 1, 0, "The one device answers on the network."),
            (2, 3, 0, "All 3 answer on the network."),
            (
                2,
                4,
                2,
                "All 2 that the show needs answer on the network. 2 spare or later ones do not.",
            ),
            (
                1,
                2,
                1,
                "The one that the show needs answers on the network. 1 spare or later one does not.",
            ),
            (0, 0, 0, "The rig file lists nothing to count."),
            (
                0,
                1,
                1,
                "The show does not need the one device that is listed. It does not answer as listed.",
            ),
            (
                0,
                3,
                2,
                "The show needs none of the 3 devices that are listed. 2 do not answer as listed.",
            ),
        ] {
            assert_eq!(who_answers(show, all, amiss), format!("Ready. {said}"));
        }
    }
}
