//! "I'm restarting this": the question on a page of its own, with the order that works and the caution.

use ledger::DeviceView;
use ratatui::style::Style;
use ratatui::text::{Line, Span};

use crate::starts::watch;
use crate::words::Clock;
use crate::{help, look, text};

/// Columns of the labels on the left.
const LABEL: usize = 11;

/// The lines of the question about `device`.
pub(crate) fn lines(device: &DeviceView, columns: u16) -> Vec<Line<'static>> {
    let room = usize::from(columns.saturating_sub(2));
    let mut out = Vec::new();
    let mut say = |lead: &str, words: &str, style: Style| {
        let lead = Span::styled(text::pad(lead, LABEL), look::BOLD);
        let from = out.len();
        help::hang(&mut out, &[lead], LABEL, words, room);
        for line in &mut out[from..] {
            if let Some(said) = line.spans.last_mut() {
                said.style = style;
            }
        }
    };
    let name = &device.name;
    let within = watch(device.restart.within);
    say(
        "y it",
        &format!(
            "I am restarting {name}: no alarm for it within {within}, counted anew from its first frame."
        ),
        look::BOLD,
    );
    match &device.restart.switch {
        Some((switch, devices)) => say(
            "s switch",
            &format!(
                "I am restarting {switch}, and with it {}: no alarm for them within that and the switch's own time.",
                text::count(*devices, "device", "devices")
            ),
            look::BOLD,
        ),
        None => say(
            "s switch",
            "The rig file does not say where it is plugged in, so only the device can be chosen.",
            look::PLAIN,
        ),
    }
    say("", "", look::PLAIN);
    // Common practice, no source; that heads move at power-on stands in makers' manuals.
    say(
        "take care",
        "Heads swing from stop to stop when they start: see that nobody is near. What is on air goes off air. The \
         venue's rules and qualified people come first.",
        look::BOLD,
    );
    say(
        "the order",
        "1 switch, 2 router or DHCP server, 3 cameras, 4 panel; each when the one before answers.",
        look::PLAIN,
    );
    say(
        "nothing",
        "is restarted from here: you do that. What is seen is shown as ever; only bell, title and headline wait. \
         r again ends it.",
        look::PLAIN,
    );
    out
}

/// The question at the foot.
pub(crate) fn question(device: &str, switch: Option<&(String, usize)>) -> String {
    match switch {
        Some((switch, devices)) => {
            format!("I'm restarting {device}, or {switch} with its {devices}?")
        }
        None => format!("I'm restarting {device}?"),
    }
}

/// What is said of a device whose restart is expected.
pub(crate) fn expected(device: &DeviceView, clock: Clock<'_>) -> Option<String> {
    let expected = device.restart.expected.as_ref()?;
    let until = clock(expected.until);
    Some(if expected.overdue {
        format!("was expected back by {until}")
    } else {
        format!("restart expected until {until}")
    })
}
