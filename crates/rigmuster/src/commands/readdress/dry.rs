//! What `--dry-run` says: all that would be asked and sent, and nothing is.

use std::fmt::Write as _;
use std::time::Duration;

use board::span;
use rig::Rig;
use rig::plan::{Kind, Task};
use wire::onvif::{Question, Setting, Token};

use super::named;
use crate::Failure;
use crate::hands::Whom;
use crate::readdress::{CAUTION, Target, Wish, check, fold, pointers, settings_after};

/// In place of what only the device can say.
const TOKEN: &str = "as the device calls it";

/// One device.
///
/// # Errors
/// It cannot have these settings.
pub(super) fn one(whom: &Whom, rig: Option<&Rig>, wish: Wish, within: Duration) -> Result<String, Failure> {
    let device = named(rig, whom.name());
    let to = check(rig, device, wish, &[]).map_err(Failure::usage)?;
    let mut out = format!("A dry run: nothing is sent. readdress {whom} would\n");
    let login = device.and_then(|d| d.login.as_ref()).map_or_else(
        || "asked for on the terminal".to_owned(),
        |login| format!("taken from the variable {}", login.variable()),
    );
    let steps = [
        format!("look for it for up to {}: by ARP, and by questions to everybody", span(within)),
        format!(
            "ask three times by ARP whether {} is free; in use: stop",
            to.address()
        ),
        "borrow a free address beside the device, checked by three ARP probes, ask it from there where its ONVIF \
         service is (WS-Discovery), and there (HTTP), else at port 80, for its time"
            .to_owned(),
        format!("ask how its network is set; if it wants a login, that is {login} and tried once"),
        "show old and new settings, and ask for a typed yes; else stop".to_owned(),
        format!("ask once more whether {} is free", to.address()),
        "tell it, each once:".to_owned(),
    ];
    for (n, step) in steps.iter().enumerate() {
        let text = fold(step, "   ");
        let _ = writeln!(out, "{}. {}", n + 1, text.trim_start());
    }
    bodies(&mut out, to);
    let rest = [
        "look for it at its old and new address by ARP every 3 s, until it is there, for as long as its start may \
         take and a minute",
        "ask its control ports there for a sign of life, from a borrowed address",
        "ask once more how its network is set, with the same login",
    ];
    for (n, step) in rest.iter().enumerate() {
        let text = fold(step, "   ");
        let _ = writeln!(out, "{}. {}", steps.len() + 1 + n, text.trim_start());
    }
    for line in pointers(rig, device, to.address()) {
        let _ = writeln!(out, "{line}");
    }
    let _ = writeln!(out, "{CAUTION}");
    Ok(out)
}

/// What it would be told, without any login.
fn bodies(out: &mut String, to: Target) {
    let mut questions = Vec::new();
    if let Some(token) = Token::new(TOKEN) {
        questions.push(("", Question::SetInterface(token, Setting::Manual(to.net))));
    }
    if let Some(gateway) = to.gateway {
        questions.push(("if it has another: ", Question::SetGateway(gateway)));
    }
    questions.push(("if it asks for it: ", Question::Restart));
    for (when, question) in questions {
        let _ = writeln!(out, "   {when}{}", question.name());
        for line in lines(&question.body()) {
            let _ = writeln!(out, "     {line}");
        }
    }
}

/// XML in lines that can be read at 80 columns, parted between its tags.
fn lines(xml: &str) -> Vec<String> {
    const WIDE: usize = 75;
    let mut lines: Vec<String> = Vec::new();
    for part in xml.replace("><", ">\n<").lines() {
        match lines.last_mut() {
            Some(line) if line.len() + part.len() <= WIDE => line.push_str(part),
            _ => lines.push(part.to_owned()),
        }
    }
    lines
}

/// A work list.
pub(super) fn list(rig: &Rig, tasks: &[(Task, bool)]) -> String {
    let mut out = "A dry run: nothing is sent. One after the other, each with its own question:\n".to_owned();
    for (nth, (task, done)) in tasks.iter().enumerate() {
        let text = fold(&task.to_string(), "   ");
        let _ = writeln!(out, "{}. {}", nth + 1, text.trim_start());
        if *done {
            out.push_str("   done already\n");
            continue;
        }
        match task.kind {
            Kind::Reserve => out.push_str("   in the DHCP server, by hand\n"),
            Kind::Set | Kind::Park | Kind::Adjust => {
                match check(
                    Some(rig),
                    rig.device(&task.device),
                    crate::readdress::wish(task),
                    &[],
                ) {
                    Ok(to) => {
                        let _ = writeln!(out, "   by ONVIF: {}", settings_after(to));
                    }
                    Err(refused) => {
                        let _ = writeln!(out, "   refused: {refused}");
                    }
                }
            }
        }
    }
    out.push_str("What is sent to one: rigmuster readdress DEVICE --dry-run\n");
    out
}
