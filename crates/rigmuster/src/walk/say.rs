//! What a walk tells. What is said of a channel stands in the journal too, from where the sign-off takes it.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::time::Duration;

use rig::sheet::walked;

use super::map::{Channel, Map};
use super::proof::{Basis, Verdict};
use super::watch::pause;
use crate::hands::Host;

/// Said before anything moves.
pub(super) const CAUTION: &str = "\
caution: heads move when a stick is pushed. Keep people clear of them, follow
the rules of the venue, and do this only while no camera is on air. Some
cameras answer only whoever asked last: if the panel or a picture behaves
oddly, end this (Ctrl-C; on the board Esc), and the questions end.";

/// Said where it ends because nothing can be seen.
pub(super) const NO_LINK: &str = "\
This computer's network link is down, so no head can be read: the walk ends.
next step: look at this computer's cable and the switch, then walk the channels
that are left";

/// What it does, in short.
pub(super) fn plan(map: &Map, rate: &str) -> String {
    let heads = map.heads.iter().filter(|h| h.port.is_some()).count();
    let asked = if heads == 1 {
        "1 head is asked where it points".to_owned()
    } else {
        format!("{heads} heads are asked where they point")
    };
    let mut out = format!(
        "Walk of {}: {}{}.\n{asked}, {rate}.\n\
         Nothing else is sent to them, and no setting is changed.",
        map.panel,
        count(map.channels.len(), "channel"),
        if map.channels.len() > 1 {
            ", one after the other"
        } else {
            ""
        },
    );
    if map.left_out > 0 {
        let _ = write!(out, "\nToo many cameras: {} are not asked.", map.left_out);
    }
    out
}

/// How often heads are asked.
pub(super) fn rate(pause: Duration) -> String {
    let ms = pause.as_millis();
    if ms <= 250 {
        "4 times a second at each push".to_owned()
    } else {
        format!("every {}.{} s at each push", ms / 1000, ms % 1000 / 100)
    }
}

/// A number of things.
pub(super) fn count(many: usize, what: &str) -> String {
    if many == 1 {
        format!("1 {what}")
    } else {
        format!("{many} {what}s")
    }
}

/// Names in a row: "A", "A and B", "A, B and C".
pub(super) fn names(map: &Map, heads: &BTreeSet<usize>) -> String {
    let names: Vec<&str> = heads.iter().map(|head| map.name(*head)).collect();
    match names.as_slice() {
        [] => "nobody".to_owned(),
        [one] => (*one).to_owned(),
        [all @ .., last] => format!("{} and {last}", all.join(", ")),
    }
}

/// What came of a channel, in a few words.
pub(super) fn result(map: &Map, channel: &Channel, verdict: &Verdict) -> String {
    let expected = map.name(channel.head);
    match verdict {
        Verdict::Proven(Basis::Read) => walked::proven(expected),
        Verdict::Proven(Basis::Word) => walked::proven_by_eye(expected),
        Verdict::Other(head, _) => format!("wrong: {} moved, not {expected}", map.name(*head)),
        Verdict::Several(heads) => format!("wrong: {} moved", names(map, heads)),
        Verdict::Nothing(Basis::Read) => "dead: no head moved".to_owned(),
        Verdict::Nothing(Basis::Word) => "dead: no head was seen to move".to_owned(),
        Verdict::Unclear => "not proven: it could not be told".to_owned(),
        Verdict::Skipped => "not walked: left out".to_owned(),
    }
}

/// The same for somebody who stands at the panel.
pub(super) fn from_afar(channel: &Channel, verdict: &Verdict) -> String {
    let word = match verdict {
        Verdict::Proven(_) => "is right",
        Verdict::Other(..) | Verdict::Several(_) => "is wrong",
        Verdict::Nothing(_) => "is dead",
        Verdict::Unclear => "is unclear",
        Verdict::Skipped => "is left out",
    };
    format!("Channel {}\n{word}", channel.number)
}

/// What is to be changed for a channel; nothing where it is proven or was left out.
pub(super) fn advice(map: &Map, channel: &Channel, verdict: &Verdict, host: Host) -> Vec<String> {
    let number = channel.number;
    let Some(head) = map.heads.get(channel.head) else {
        return Vec::new();
    };
    let at = match (head.address, head.port) {
        (Some(address), Some(port)) => format!(": {address}, {} {}", port.word.as_str(), port.port),
        (Some(address), None) => format!(": {address}"),
        (None, _) => String::new(),
    };
    let panel = format!("on {}: point channel {number} at {}", map.panel, head.name);
    match verdict {
        Verdict::Proven(_) | Verdict::Skipped => Vec::new(),
        Verdict::Other(other, _) => {
            let line = channel
                .line
                .map_or_else(String::new, |line| format!(" line {line}"));
            vec![
                panel + &at,
                format!("or, if the panel is right, in {}{line}:", map.file),
                format!("  {number} = {:?}", map.name(*other)),
            ]
        }
        Verdict::Several(heads) => {
            let others: BTreeSet<usize> = heads.iter().copied().filter(|h| *h != channel.head).collect();
            vec![
                format!("{panel} alone{at},"),
                format!(
                    "and see in their menus whether {} follows it",
                    names(map, &others)
                ),
            ]
        }
        Verdict::Nothing(_) => vec![
            panel + &at,
            format!(
                "and see whether {} is on and takes control: {}",
                head.name,
                host.check()
            ),
        ],
        Verdict::Unclear => vec![match host {
            Host::Terminal => format!("walk it again: rigmuster walk {:?} --channel {number}", map.panel),
            Host::Board => format!("walk it again: key p, and {number}"),
        }],
    }
}

/// All results, and what to change.
pub(super) fn sheet(map: &Map, results: &[(usize, Verdict)], host: Host) -> String {
    let proven = results
        .iter()
        .filter(|(_, verdict)| matches!(verdict, Verdict::Proven(_)))
        .count();
    let mut out = format!(
        "\n{}: {proven} of {} proven.\n",
        map.panel,
        count(map.channels.len(), "channel")
    );
    let of = |place: usize| {
        results
            .iter()
            .find(|(n, _)| *n == place)
            .map(|(_, verdict)| verdict)
    };
    let wide = map
        .channels
        .iter()
        .map(|c| map.name(c.head).chars().count())
        .max();
    let wide = wide.unwrap_or(0).min(24);
    for (place, channel) in map.channels.iter().enumerate() {
        let said = of(place).map_or_else(|| "not walked".to_owned(), |v| result(map, channel, v));
        let sign = if matches!(of(place), Some(Verdict::Proven(_))) {
            "ok"
        } else {
            "--"
        };
        let name: String = map.name(channel.head).chars().take(24).collect();
        let _ = writeln!(out, " {sign} {:>3}  {name:wide$}  {said}", channel.number);
    }
    let mut any = false;
    for (place, channel) in map.channels.iter().enumerate() {
        for (n, line) in of(place)
            .map(|v| advice(map, channel, v, host))
            .unwrap_or_default()
            .into_iter()
            .enumerate()
        {
            if !std::mem::replace(&mut any, true) {
                out.push_str("What to change:\n");
            }
            let before = if n == 0 {
                format!("{:>3}", channel.number)
            } else {
                "   ".to_owned()
            };
            let _ = writeln!(out, "    {before}  {line}");
        }
    }
    out
}

/// What `--dry-run` says: all that would be done and asked, and nothing is.
pub(crate) fn plan_on_paper(map: &Map) -> String {
    let mut out = format!(
        "A dry run: nothing is sent. walk {} would\n\
         1. ask whether everybody is clear of the heads;\n\
         2. look for the heads by ARP and by questions to everybody, and borrow a free\n   \
         address beside each (three ARP probes half a second apart), to speak from\n   \
         that with this computer's own MAC;\n\
         3. ask where they point, {}:\n",
        map.panel,
        rate(pause(map.heads.len()))
    );
    for head in &map.heads {
        let by = head.port.map_or_else(
            || "no VISCA port in the rig file: you will be asked".to_owned(),
            |port| format!("{} {}, 81 09 06 12 FF", port.word.as_str(), port.port),
        );
        let _ = writeln!(out, "   {}: {by}", head.name);
    }
    out.push_str("4. have these sticks pushed, and tell which head moved:\n");
    for channel in &map.channels {
        let _ = writeln!(out, "   channel {}: {}", channel.number, map.name(channel.head));
    }
    out.push_str("Only that inquiry is sent; nothing is moved or set by it.\n");
    out
}
