//! A plan as text.

use std::fmt::Write as _;

use rig::Network;
use rig::plan::{Kind, Placed, Why};

use unicode_width::UnicodeWidthStr;

use super::{Outcome, advice};
use crate::report::Paint;
use crate::report::escape::plain;
use crate::report::table::columns;

/// The narrowest terminal that is thought of.
const COLUMNS: usize = 80;

/// The whole: what changes and why, the advice, the diff, the work list.
pub(crate) fn text(outcome: &Outcome<'_>, paint: Paint) -> String {
    let mut out = String::new();
    if !outcome.rig.title.is_empty() {
        let _ = writeln!(out, "{}", plain(&outcome.rig.title));
    }
    for network in &outcome.hall.networks {
        let _ = writeln!(out, "{}", place(network, outcome.hall.networks.len() > 1));
    }
    let _ = writeln!(out, "\n{}", paint.bold(&headline(outcome)));
    let changed: Vec<&Placed> = outcome
        .planned
        .placed
        .iter()
        .filter(|one| one.was != one.to)
        .collect();
    if !changed.is_empty() {
        let rows = changed.iter().map(|one| row(outcome, one)).collect();
        let _ = write!(
            out,
            "\n{}",
            columns(&["device", "was", "will be", "because"], rows)
        );
    }
    if changed.iter().any(|one| one.why == Why::WasDhcp) {
        out.push_str("--keep-dhcp leaves those with DHCP as they are.\n");
    }
    for note in outcome.notes {
        let _ = writeln!(out, "{}", wrapped(&format!("Note: {}", plain(note))));
    }
    let _ = write!(out, "\n{}", advice::table(outcome));
    if !outcome.diff.is_empty() {
        let _ = writeln!(out, "\n{}", paint.bold("The rig file"));
        for line in outcome.diff.lines() {
            let shown: Vec<String> = line.split('\t').map(plain).collect();
            let _ = writeln!(out, "{}", shown.join("\t"));
        }
    }
    let _ = write!(out, "\n{}", work(outcome, paint));
    out
}

/// "10.40.8.0/24, mask 255.255.255.0, gateway 10.40.8.1".
fn place(network: &Network, named: bool) -> String {
    let name = if named {
        format!("{}: ", network.name)
    } else {
        String::new()
    };
    let gateway = network
        .gateway
        .map_or_else(|| "no gateway".to_owned(), |gateway| format!("gateway {gateway}"));
    format!(
        "{name}{}, mask {}, {gateway}",
        network.subnet,
        network.subnet.netmask()
    )
}

fn headline(outcome: &Outcome<'_>) -> String {
    let all = outcome.planned.placed.len();
    let moves = outcome.planned.moves();
    let devices = if all == 1 { "device" } else { "devices" };
    let gets = if moves == 1 { "gets" } else { "get" };
    match moves {
        0 => format!("Every address fits: all {all} {devices} keep theirs."),
        n if n == all => format!("All {all} {devices} get another address."),
        n => format!("{n} of {all} {devices} {gets} another address; the rest keep theirs."),
    }
}

fn row(outcome: &Outcome<'_>, one: &Placed) -> Vec<String> {
    vec![
        outcome.rig.devices[one.device].name.clone(),
        one.was.to_string(),
        one.to.to_string(),
        one.why.to_string(),
    ]
}

/// In lines of 80 columns, those after the first set in.
fn wrapped(text: &str) -> String {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if line.width() + 1 + word.width() <= COLUMNS => {
                line.push(' ');
                line.push_str(word);
            }
            Some(_) => lines.push(format!("      {word}")),
            None => lines.push(word.to_owned()),
        }
    }
    lines.join("\n")
}

fn work(outcome: &Outcome<'_>, paint: Paint) -> String {
    let tasks = &outcome.planned.work.tasks;
    let mut out = String::new();
    if tasks.is_empty() {
        let _ = writeln!(
            out,
            "{}",
            paint.bold("Nothing has to be set: every device is where it should be.")
        );
        return out;
    }
    let steps = if tasks.len() == 1 {
        "1 step".to_owned()
    } else {
        format!("{} steps", tasks.len())
    };
    let _ = writeln!(
        out,
        "{}",
        paint.bold(&format!("Work list: {steps}, in this order"))
    );
    let width = tasks.len().to_string().len();
    for (n, task) in tasks.iter().enumerate() {
        let _ = writeln!(out, "{:>width$}. {}", n + 1, plain(&task.to_string()));
        if let Some(position) = &task.position {
            let _ = writeln!(out, "{:width$}  where: {}", "", plain(position));
        }
        if task.kind == Kind::Park {
            let _ = writeln!(
                out,
                "{:width$}  (another needs its place; it goes on from there below)",
                ""
            );
        }
        for follow in &task.then {
            let _ = writeln!(out, "{:width$}  then {}", "", plain(&task.follow(follow)));
        }
    }
    let moved = outcome.rig.networks().zip(&outcome.hall.networks);
    let apart = |a: &Network, b: &Network| {
        !a.subnet.contains(&b.subnet.network()) && !b.subnet.contains(&a.subnet.network())
    };
    for (was, now) in moved.filter(|(was, now)| apart(was, now)) {
        let _ = writeln!(
            out,
            "Work from a computer that keeps its address in {} until the last\n\
             device is through; then give it one in {} (rigmuster plan --free).",
            was.subnet, now.subnet
        );
    }
    out
}
