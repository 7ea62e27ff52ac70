//! The lines above the rows: which file, what was looked at, and what would be written.

use std::collections::BTreeMap;

use rig::Role;
use rig::enroll::{Draft, Fate};

use super::plan::Plan;
use super::{Around, EnrollSheet, LookState, Page};
use crate::pen::Pen;
use crate::text::count;
use crate::{look, text};

pub(super) fn draw(sheet: &EnrollSheet, pen: &mut Pen<'_>, plan: &Plan, draft: &Draft, around: &Around) {
    let kind = if draft.rig().is_some() {
        "adds to it"
    } else {
        "a new file"
    };
    let page = match &sheet.page {
        Some(Page::Help) => "help".to_owned(),
        Some(Page::Preview(_)) => "what would be written".to_owned(),
        None if plan.shown.len() > plan.visible => format!(
            "{}-{} of {}",
            plan.top + 1,
            (plan.top + plan.visible).min(plan.shown.len()),
            plan.shown.len()
        ),
        None => count(plan.shown.len(), "host", "hosts"),
    };
    let mut title = pen.within(plan.areas.title);
    let room = title.area().width.saturating_sub(text::width(&page) as u16 + 4);
    title.put(
        1,
        0,
        room,
        &format!("Enrolment into {} ({kind})", around.file),
        look::BOLD,
    );
    title.put_right(1, 0, &page, look::PLAIN);
    let network = draft.main();
    let gateway = network.gateway.map_or_else(
        || "gateway not known".to_owned(),
        |gateway| format!("gateway {gateway}"),
    );
    let line = format!(
        "{} · {} · {gateway} · {}",
        looking(around),
        network.subnet,
        around.seen_by
    );
    pen.within(plan.areas.link)
        .put(1, 0, u16::MAX, &line, look::PLAIN);
    let mut sum = pen.within(plan.areas.sum);
    sum.rule(0);
    let room = sum.area().width.saturating_sub(4);
    let (words, style) = match draft.fault() {
        Some(fault) => (format!(" Cannot be written yet: {fault} "), look::MARKED),
        None => (
            format!(" {} ", self::sum(draft, usize::from(room.saturating_sub(2)))),
            look::BOLD,
        ),
    };
    sum.put(2, 0, room, &words, style);
    if !sheet.filter.is_empty() {
        let filter = format!(" filter: {} ", sheet.filter.text());
        sum.put_right(2, 0, &filter, look::MARKED);
    }
}

fn looking(around: &Around) -> String {
    match around.look {
        LookState::Asking(asked, of) => format!("looking: {asked} of {of} addresses asked"),
        LookState::Waiting => "looking: waiting for answers".to_owned(),
        LookState::Over if around.may_sweep => "looked; s looks once more".to_owned(),
        LookState::Over => "looked".to_owned(),
        LookState::Saved => "a saved survey".to_owned(),
    }
}

/// What would be written, in one line of so many columns.
fn sum(draft: &Draft, room: usize) -> String {
    let mut roles: BTreeMap<Role, usize> = BTreeMap::new();
    for row in draft.rows().iter().filter(|row| row.is_taken()) {
        *roles.entry(row.role).or_default() += 1;
    }
    let taken: usize = roles.values().sum();
    let adds = |fate: &Fate| matches!(fate, Fate::Nameless { add: true, .. });
    let added = draft.rows().iter().filter(|row| adds(&row.fate)).count();
    let channels = draft.rows().iter().filter(|row| row.channel.is_some()).count();
    let mut parts = Vec::new();
    if taken > 0 {
        parts.push(count(taken, "device", "devices"));
    }
    if added > 0 {
        parts.push(format!("{added} mac"));
    }
    match draft.panel() {
        Some(panel) if channels > 0 => parts.push(format!(
            "{} on {}",
            count(channels, "channel", "channels"),
            draft.panel_name(&panel)
        )),
        None if draft.panels().len() > 1 => parts.push("no panel chosen (p)".to_owned()),
        _ => {}
    }
    if parts.is_empty() {
        return "Nothing is taken yet".to_owned();
    }
    let short = format!("To write: {}", parts.join(", "));
    let roles: Vec<String> = roles
        .iter()
        .map(|(role, n)| format!("{n} {}", role.as_str()))
        .collect();
    let long = format!("{short} ({})", roles.join(", "));
    if roles.len() > 1 && text::width(&long) <= room {
        long
    } else {
        short
    }
}
