//! Key `p`: which panel is walked, and which of its channels.

use std::fmt::Write as _;
use std::time::Duration;

use rig::{Device, Rig};

use super::wanted::Seat;
use crate::hands::{Doing, End, Host, Talk};
use crate::settings::Expected;
use crate::walk::{Map, walk};

/// So long heads that are not seen yet are waited for.
const WITHIN: Duration = Duration::from_secs(20);

/// The panel that is selected, or those that the selected device hangs on; never empty.
///
/// # Errors
/// There is none: what to tell.
pub(super) fn panels(who: &str, rig: Option<&Rig>) -> Result<Vec<String>, String> {
    let devices = rig.map_or(&[][..], |rig| &rig.devices);
    let names = |wanted: &dyn Fn(&Device) -> bool| -> Vec<String> {
        let panels = devices.iter().filter(|d| !d.channels.is_empty() && wanted(d));
        panels.map(|d| d.name.clone()).collect()
    };
    let own = names(&|d| d.name == who);
    let hangs = names(&|d| d.channels.values().any(|channel| channel.device == who));
    match (own.is_empty(), hangs.is_empty(), names(&|_| true).first()) {
        (false, ..) => Ok(own),
        (true, false, _) => Ok(hangs),
        (true, true, Some(panel)) => Err(format!(
            "{who} is on no panel's channel in the rig file -> select {panel}, or a camera of it."
        )),
        (true, true, None) => Err("No panel of the rig file has channels -> write them there.".to_owned()),
    }
}

/// Asks which of the panels, and which of its channels, and walks them. `played`: somebody pushes the sticks by
/// himself.
pub(super) fn begin(
    seat: &Seat,
    who: &str,
    panels: Vec<String>,
    expected: Expected,
    played: bool,
) -> Doing<'static> {
    let who = who.to_owned();
    Doing::begin(seat.now(), Host::Board, |desk, talk| async move {
        match map(&talk, &who, &panels, &expected).await {
            Ok(map) => walk(desk, talk, map, WITHIN, played).await,
            Err(end) => end,
        }
    })
}

/// What is to be walked.
async fn map(talk: &Talk, who: &str, panels: &[String], expected: &Expected) -> Result<Map, End> {
    let panel = which(talk, who, panels).await?;
    let Some(rig) = &expected.rig else {
        return Err(End::Failed);
    };
    let file = expected.file.as_deref().unwrap_or("the rig file");
    let of = |only| Map::of(rig, expected.document.as_ref(), file, panel, only);
    let Ok(all) = of(None) else {
        return Err(End::Failed);
    };
    let [_, _, ..] = &all.channels[..] else {
        return Ok(all);
    };
    let on: Vec<String> = all
        .channels
        .iter()
        .filter(|channel| all.name(channel.head) == who)
        .map(|channel| channel.number.to_string())
        .collect();
    let own = if on.is_empty() {
        String::new()
    } else {
        format!(" ({who}: {})", on.join(", "))
    };
    let question = format!(
        "Enter for all {} channels of {panel}, or one's number{own}:",
        all.channels.len()
    );
    let line = talk.line(question).await.map_err(End::Stopped)?;
    let line = line.trim();
    if line.is_empty() {
        return Ok(all);
    }
    line.parse()
        .ok()
        .and_then(|number| of(Some(number)).ok())
        .ok_or_else(|| {
            let numbers: Vec<String> = all.channels.iter().map(|c| c.number.to_string()).collect();
            talk.aside(format!(
                "{panel} has no channel {line:?}: nothing was asked.\nnext step: take one of {}",
                numbers.join(", ")
            ));
            End::Failed
        })
}

/// One of several panels.
async fn which<'p>(talk: &Talk, who: &str, panels: &'p [String]) -> Result<&'p str, End> {
    if let [panel] = panels {
        return Ok(panel);
    }
    let mut text = format!("{who} hangs on {} panels:\n", panels.len());
    for (n, panel) in panels.iter().enumerate() {
        let _ = writeln!(text, "  {}  {panel}", n + 1);
    }
    text.push_str("Type the number of the one to walk; Enter leaves it:");
    let line = talk.line(text).await.map_err(End::Stopped)?;
    let number = line.trim().parse::<usize>().ok();
    let panel = number.and_then(|n| panels.get(n.checked_sub(1)?));
    panel.map(String::as_str).ok_or_else(|| {
        talk.aside("No panel was named: nothing was asked.");
        End::Declined
    })
}
