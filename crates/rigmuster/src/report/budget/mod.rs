//! What `budget` prints: a table for each switch, what does not fit, and how it was counted.

mod json;
mod words;

use std::fmt::Write as _;

use rig::{Budget, Power, PowerSums, SwitchBudget};

use super::Paint;
use super::escape::plain;
use super::table::{columns, wrapped};

pub(crate) use json::BudgetReport;

/// How wide running text may be.
const WIDE: usize = 80;

/// The result as text.
pub(crate) fn budget(title: &str, budget: &Budget, paint: Paint) -> String {
    let mut out = String::new();
    if !title.is_empty() {
        let _ = writeln!(out, "{}\n", plain(title));
    }
    out.push_str(&headline(budget, paint));
    for switch in &budget.switches {
        let _ = writeln!(out, "\n{}", paint.bold(&plain(&heading(switch))));
        out.push_str(&one(switch));
    }
    let notes = notes(budget);
    if !notes.is_empty() {
        let _ = writeln!(out, "\n{}", paint.bold("Besides"));
        for note in notes {
            out.push_str(&wrapped("  ", &plain(&note), WIDE));
        }
    }
    let _ = writeln!(out, "\n{}", paint.bold("How this is counted"));
    for line in words::ASSUMPTIONS {
        out.push_str(&wrapped("  ", line, WIDE));
    }
    out
}

/// What does not fit, first.
fn headline(budget: &Budget, paint: Paint) -> String {
    let mut said: Vec<String> = budget.switches.iter().flat_map(words::verdict).collect();
    let long = budget.cables.iter().filter(|c| c.too_long());
    said.extend(long.map(|c| format!("the cable of {} is too long", c.device)));
    if budget.switches.is_empty() {
        return "The rig file lists no switch, so there is nothing to sum up.\n\
                next: Write [[switch]] tables and the port of each device in the rig file.\n"
            .to_owned();
    }
    if said.is_empty() {
        return paint.bold("All fits, by what the rig file says.") + "\n";
    }
    let first = paint.bold("Does not fit:");
    let mut out = format!("{first}\n");
    for line in said {
        out.push_str(&wrapped("  ", &plain(&line), WIDE));
    }
    out
}

fn heading(switch: &SwitchBudget) -> String {
    let mut parts = vec![switch.name.clone()];
    parts.extend(switch.ports.map(|ports| format!("{ports} powered ports")));
    let budget = switch.power.as_ref().and_then(|p| p.budget);
    parts.extend(budget.map(|watts| format!("{} in all", words::watts(watts))));
    parts.join("  ·  ")
}

fn one(switch: &SwitchBudget) -> String {
    let mut out = String::new();
    let dash = || "-".to_owned();
    let rows: Vec<Vec<String>> = switch
        .uses
        .iter()
        .map(|used| {
            vec![
                used.port.to_string(),
                used.name.clone(),
                used.poe.map_or_else(dash, |poe| poe.number().to_string()),
                used.power.map_or_else(dash, class),
                used.set_aside().map_or_else(dash, words::watts),
                used.drawn().map_or_else(dash, words::watts),
                used.cable_m
                    .map_or_else(dash, |m| format!("{} m", words::short(m))),
                used.mbps.map_or_else(dash, words::mbps),
            ]
        })
        .collect();
    if rows.is_empty() {
        out.push_str("  The rig file plugs nothing into it.\n");
    } else {
        let heads = [
            "port",
            "device",
            "Type",
            "class",
            "set aside",
            "drawn",
            "cable",
            "stream",
        ];
        for line in columns(&heads, rows).lines() {
            let _ = writeln!(out, "  {line}");
        }
    }
    for (what, line) in lines(switch) {
        out.push_str(&wrapped(&format!("  {what:<13}"), &plain(&line), WIDE));
    }
    for used in &switch.uses {
        for trouble in &used.troubles {
            let line = format!("{}: {}", used.name, words::trouble(&switch.name, used, trouble));
            out.push_str(&wrapped("  ", &plain(&line), WIDE));
            if matches!(trouble, rig::PortTrouble::Shared { .. }) {
                let step = words::shared_step(&switch.name, used.port);
                out.push_str(&wrapped("    next: ", &plain(&step), WIDE));
            }
        }
    }
    out.push_str(&moves(switch));
    out
}

/// Watts stand in brackets behind the class that covers them.
fn class(power: Power) -> String {
    match power {
        Power::Class(class) => class.to_string(),
        Power::Watts(watts) => format!("{} ({})", power.class(), words::watts(watts)),
    }
}

fn lines(switch: &SwitchBudget) -> Vec<(&'static str, String)> {
    let mut lines = Vec::new();
    let used = switch.used();
    lines.push((
        "ports",
        match switch.ports {
            None => format!("{used} used; the file gives no number of ports"),
            Some(ports) if switch.free.is_empty() => format!("{used} of {ports} used, none free"),
            Some(ports) => format!("{used} of {ports} used, free: {}", words::ranges(&switch.free)),
        },
    ));
    if let Some(power) = &switch.power {
        lines.push(("set aside", set_aside(power)));
        lines.push(("drawn", drawn(power)));
        if power.dropped > 0 {
            let dropped = &power.drops[..power.dropped];
            lines.push((
                "drops first",
                format!(
                    "{}, unless its own priorities say otherwise",
                    dropped.join(", then ")
                ),
            ));
        } else if let Some(first) = power.drops.first() {
            lines.push(("drops first", format!("{first}, should power run short")));
        }
    }
    if let Some(uplink) = &switch.uplink {
        lines.push(("uplink", words::load(uplink)));
    }
    lines
}

fn set_aside(power: &PowerSums) -> String {
    let asked = words::watts(power.set_aside);
    let Some(budget) = power.budget else {
        return format!("{asked}; the file gives no budget_w");
    };
    let of = format!("{asked} of {}", words::watts(budget));
    match (power.over(), power.reserve_percent()) {
        (Some(over), _) => format!("{of}: OVER by {}", words::watts(over)),
        (None, Some(percent)) => format!("{of}, {percent:.0} % in reserve"),
        (None, None) => of,
    }
}

fn drawn(power: &PowerSums) -> String {
    let drawn = format!("{} at the most, cables included", words::watts(power.drawn));
    match (power.drawn_over(), power.over()) {
        (Some(over), _) => format!("{drawn}: OVER by {}", words::watts(over)),
        (None, Some(_)) => format!("{drawn}: fits, if the switch goes by it"),
        (None, None) => drawn,
    }
}

fn moves(switch: &SwitchBudget) -> String {
    let mut out = String::new();
    let Some(moves) = &switch.moves else {
        return out;
    };
    if moves.list.len() > 1 {
        let line = if moves.smallest {
            format!("{} devices have to move; fewer are not enough:", moves.list.len())
        } else {
            format!("{} devices have to move; fewer may be enough:", moves.list.len())
        };
        let _ = writeln!(out, "  {line}");
    }
    for step in &moves.list {
        out.push_str(&wrapped("    next: ", &plain(&words::step(step)), WIDE));
    }
    out
}

/// What concerns no switch of the list.
fn notes(budget: &Budget) -> Vec<String> {
    let mut notes: Vec<String> = budget.cables.iter().map(words::cable).collect();
    if !budget.unlisted.is_empty() {
        notes.push(format!(
            "Nothing is known of {}: write a [[switch]] table for it in the rig file.",
            budget.unlisted.join(", ")
        ));
    }
    if !budget.nowhere.is_empty() {
        notes.push(format!(
            "In no sum, because plugged into no listed switch: {}. Write the port of each in the rig file.",
            budget.nowhere.join(", ")
        ));
    }
    notes
}
