//! What `compare` tells a person.

use std::fmt::Write as _;

use ledger::Standing;

use super::Paint;
use super::differences::{ChannelPart, Differences, SideKind, SidePart, SightPart, UnitPart};
use super::escape::plain;
use super::table::columns;

/// The differences as tables, one a kind; those that are empty are left out.
pub(crate) fn differences(all: &Differences, paint: Paint) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}\n{}", side("from", &all.a), side("to", &all.b));
    let headline = if all.same {
        "No difference.".to_owned()
    } else {
        headline(all)
    };
    let _ = writeln!(out, "\n{}", paint.bold(&headline));
    let mut part = |title: &str, heads: &[&str], rows: Vec<Vec<String>>| {
        if !rows.is_empty() {
            let _ = write!(out, "\n{}\n{}", paint.bold(title), columns(heads, rows));
        }
    };
    let units = ["device", "role", "address", "hardware"];
    part("Added", &units, all.added.iter().map(unit).collect());
    part("Dropped", &units, all.dropped.iter().map(unit).collect());
    part(
        "Renamed",
        &["was", "is"],
        all.renamed
            .iter()
            .map(|one| vec![one.from.clone(), one.to.clone()])
            .collect(),
    );
    part(
        "Moved",
        &["device", "was at", "is at", "network was", "network is"],
        all.moved
            .iter()
            .map(|one| {
                vec![
                    one.name.clone(),
                    one.from.0.to_string(),
                    one.to.0.to_string(),
                    one.from_network.clone().unwrap_or_default(),
                    one.to_network.clone().unwrap_or_default(),
                ]
            })
            .collect(),
    );
    part(
        "Re-channelled",
        &["panel", "channel", "was", "is"],
        all.rechannelled
            .iter()
            .map(|one| {
                let channel = one.channel.to_string();
                vec![
                    one.panel.clone(),
                    channel,
                    target(one.from.as_ref()),
                    target(one.to.as_ref()),
                ]
            })
            .collect(),
    );
    part(
        "Changed",
        &["device", "key", "was", "is"],
        all.changed
            .iter()
            .map(|one| {
                vec![
                    one.name.clone(),
                    one.key.clone(),
                    value(one.from.as_ref()),
                    value(one.to.as_ref()),
                ]
            })
            .collect(),
    );
    part(
        "Changed for the whole rig",
        &["part", "key", "was", "is"],
        all.settings
            .iter()
            .map(|one| {
                vec![
                    one.part.clone(),
                    one.key.clone(),
                    value(one.from.as_ref()),
                    value(one.to.as_ref()),
                ]
            })
            .collect(),
    );
    let (title, head_a, head_b) = found_heads(all);
    part(
        title,
        &["device", "standing", head_a, head_b, "hardware"],
        all.found
            .iter()
            .map(|one| {
                let standings = [&one.a, &one.b].map(standing);
                let mut standings: Vec<String> = standings.into_iter().flatten().collect();
                standings.dedup();
                vec![
                    one.name.clone(),
                    standings.join(" -> "),
                    address(&one.a),
                    address(&one.b),
                    hardware(&one.a, &one.b),
                ]
            })
            .collect(),
    );
    if !all.found.is_empty() {
        let _ = writeln!(
            out,
            "next: run rigmuster check with the rig file: it tells what is on the wire now."
        );
    }
    if !all.not_compared.is_empty() {
        let _ = writeln!(
            out,
            "\nA saved check does not tell these, so they were not compared: {}.",
            all.not_compared.join(", ")
        );
    }
    out
}

fn side(word: &str, side: &SidePart) -> String {
    let what = match (side.kind, &side.taken_at) {
        (SideKind::Check, Some(at)) => format!("  check of {}", plain(at)),
        _ => String::new(),
    };
    let title = if side.title.is_empty() {
        String::new()
    } else {
        format!("  {}", plain(&side.title))
    };
    format!("{word:4}  {}{what}{title}", plain(&side.file))
}

fn headline(all: &Differences) -> String {
    let counts = [
        (all.added.len(), "added"),
        (all.dropped.len(), "dropped"),
        (all.renamed.len(), "renamed"),
        (all.moved.len(), "moved"),
        (all.rechannelled.len(), "re-channelled"),
        (all.changed.len() + all.settings.len(), "changed"),
        (all.found.len(), "seen otherwise"),
    ];
    let said = counts.iter().filter(|(n, _)| *n > 0);
    let said: Vec<String> = said.map(|(n, what)| format!("{n} {what}")).collect();
    format!("{}.", said.join(", "))
}

fn unit(unit: &UnitPart) -> Vec<String> {
    let macs: Vec<String> = unit.mac.iter().map(|mac| mac.0.to_string()).collect();
    vec![
        unit.name.clone(),
        unit.role.0.as_str().to_owned(),
        unit.address.0.to_string(),
        macs.join(" "),
    ]
}

fn target(channel: Option<&ChannelPart>) -> String {
    match channel {
        None => "-".to_owned(),
        Some(ChannelPart {
            device,
            control: None,
        }) => device.clone(),
        Some(ChannelPart {
            device,
            control: Some(control),
        }) => format!("{device} by {}", control.0),
    }
}

fn value(value: Option<&String>) -> String {
    value.map_or_else(|| "-".to_owned(), Clone::clone)
}

/// What stands above the table of what a check saw, and above its two addresses.
fn found_heads(all: &Differences) -> (&'static str, &'static str, &'static str) {
    const BY_CHECK: &str = "Seen by the check otherwise than the rig file has it";
    match (all.a.kind, all.b.kind) {
        (SideKind::Check, SideKind::Check) => (
            "Seen by the second check otherwise than by the first",
            "was seen at",
            "is seen at",
        ),
        (SideKind::Check, SideKind::Rig) => (BY_CHECK, "was seen at", "should be at"),
        _ => (BY_CHECK, "should be at", "was seen at"),
    }
}

fn standing(sight: &SightPart) -> Option<String> {
    sight
        .standing
        .map(|standing| Standing::words(standing.0).to_owned())
}

fn address(sight: &SightPart) -> String {
    sight
        .address
        .map_or_else(|| "-".to_owned(), |address| address.0.to_string())
}

/// The hardware where it is another than that of the other side.
fn hardware(a: &SightPart, b: &SightPart) -> String {
    let other = !a.mac.is_empty() && b.mac.iter().any(|mac| !a.mac.contains(mac));
    if !other {
        return String::new();
    }
    let macs = |sight: &SightPart| {
        let macs: Vec<String> = sight.mac.iter().map(|mac| mac.0.to_string()).collect();
        macs.join(" ")
    };
    format!("{} -> {}", macs(a), macs(b))
}
