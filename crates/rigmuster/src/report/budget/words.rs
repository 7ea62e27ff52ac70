//! What `budget` says of its figures, and how it writes them.

use rig::{Cable, Load, Move, PoeType, PortTrouble, PortUse, Power, SwitchBudget, Uplink};

/// How the figures come about, one line each.
pub(super) const ASSUMPTIONS: [&str; 6] = [
    "Set aside: what IEEE 802.3 gives a port for the device's class; watts count as the class that covers them.",
    "Drawn: what the device itself takes at the most, and the heat of its cable (100 m where none is given).",
    "A switch goes by one or the other: look in its settings. Nothing here is measured.",
    "Dropped first: the highest port, if all have one priority (common practice, no source).",
    "Streams: all from below go up; where a switcher, decoder, recorder, display or computer is below, all others \
     come down. A stream sent to several receivers one by one takes more. Above 75 % counts as tight (our choice).",
    "Cables: 100 m with patch cords; from 90 m on little is left for cords (from memory).",
];

/// Watts as a person reads them.
pub(super) fn watts(watts: f64) -> String {
    format!("{} W", short(watts))
}

/// Mb/s as a person reads them.
pub(super) fn mbps(mbps: f64) -> String {
    format!("{} Mb/s", short(mbps))
}

/// One decimal at the most, unless nothing would be left of it.
pub(super) fn short(value: f64) -> String {
    let text = if value != 0.0 && value.abs() < 0.1 {
        format!("{value:.3}")
    } else {
        format!("{value:.1}")
    };
    match text.strip_suffix(".0") {
        Some(whole) => whole.to_owned(),
        None => text,
    }
}

/// Ports as ranges: `1, 2, 5-8`.
pub(super) fn ranges(ports: &[u32]) -> String {
    let runs = ports.chunk_by(|a, b| a.saturating_add(1) == *b);
    let said = runs.map(|run| match run {
        [one] => one.to_string(),
        [first, second] => format!("{first}, {second}"),
        [first, .., last] => format!("{first}-{last}"),
        [] => String::new(),
    });
    said.collect::<Vec<_>>().join(", ")
}

/// Why a device cannot be on its port.
pub(super) fn trouble(switch: &str, used: &PortUse, trouble: &PortTrouble) -> String {
    let port = used.port;
    match trouble {
        PortTrouble::TooWeak { poe, class } => format!(
            "class {class} needs Type {} or higher; {switch}/{port} is Type {} and gives {}",
            PoeType::for_class(*class).number(),
            poe.number(),
            watts(poe.watts())
        ),
        PortTrouble::Unpowered { last: 0 } => format!("{switch} has no powered port"),
        PortTrouble::Unpowered { last } => format!("only ports 1 to {last} of {switch} are powered"),
        PortTrouble::TooHungry { watts: wants } => format!(
            "no port gives a device {}; the most is {}",
            watts(*wants),
            watts(Power::Class(8).at_device())
        ),
        PortTrouble::Shared { with } => format!("the file has {} on {switch}/{port} too", with.join(", ")),
    }
}

/// What to do about a port that the file gives to several.
pub(super) fn shared_step(switch: &str, port: u32) -> String {
    format!("Look at {switch}/{port}, and write in the rig file what is plugged in there.")
}

/// What to do with a device that has to move.
pub(super) fn step(step: &Move) -> String {
    let Move {
        device,
        from,
        to,
        watts: w,
        ..
    } = step;
    match (to, w) {
        (Some(to), _) => format!("Move {device} from {from} to {to}."),
        (None, Some(_)) => format!(
            "Take {device} off {from}: no listed switch has a free port with the power and the room. Give it the \
             supply that its maker names for it, or bring another switch."
        ),
        (None, None) => format!(
            "Take {device} off {from}: no listed switch has a free port and room on its way up. Bring another switch, \
             or a faster uplink."
        ),
    }
}

/// What to do about a cable.
pub(super) fn cable(cable: &Cable) -> String {
    let Cable { device, port, metres } = cable;
    let from = port
        .as_ref()
        .map_or_else(String::new, |port| format!(" from {port}"));
    let metres = short(*metres);
    if cable.too_long() {
        format!(
            "{device} hangs on {metres} m of cable{from}, and 100 m is the most: put a switch in between."
        )
    } else {
        format!("{device} hangs on {metres} m of cable{from}: keep its patch cords short.")
    }
}

/// How full an uplink is.
pub(super) fn load(uplink: &Uplink) -> String {
    let to = uplink
        .to
        .as_ref()
        .map_or_else(|| "up".to_owned(), |to| format!("to {to}"));
    if uplink.ring {
        return format!("{to}: the uplinks of the file close to a ring, so nothing is summed");
    }
    let ways = format!(
        "{to}: at most {} up and {} down",
        mbps(uplink.up),
        mbps(uplink.down)
    );
    match (uplink.capacity, uplink.load()) {
        (None, _) | (_, Load::Unknown) => format!("{ways}; the file gives no uplink_mbps"),
        (Some(capacity), Load::Fits) => format!("{ways}, of {}", mbps(capacity)),
        (Some(capacity), Load::Tight) => format!("{ways}, of {}: tight", mbps(capacity)),
        (Some(capacity), Load::Over) => {
            let over = uplink.over().map_or_else(String::new, mbps);
            format!("{ways}, of {}: OVER by {over}", mbps(capacity))
        }
    }
}

/// The one line that says how a switch stands, if something does not fit.
pub(super) fn verdict(switch: &SwitchBudget) -> Vec<String> {
    let name = &switch.name;
    let mut said = Vec::new();
    if let Some(power) = &switch.power
        && let (Some(over), Some(budget)) = (power.over(), power.budget)
    {
        let drawn = match power.drawn_over() {
            Some(over) => format!("what is drawn may be {} over too", watts(over)),
            None => "what is drawn still fits".to_owned(),
        };
        said.push(format!(
            "{name} is over its {} by {}: {drawn}",
            watts(budget),
            watts(over)
        ));
    }
    if let Some(uplink) = &switch.uplink
        && let Some(over) = uplink.over().filter(|_| !uplink.ring)
    {
        said.push(format!("the uplink of {name} may be over by {}", mbps(over)));
    }
    let bad = switch.uses.iter().filter(|u| !u.troubles.is_empty());
    let bad: Vec<&str> = bad.map(|u| u.name.as_str()).collect();
    if !bad.is_empty() {
        said.push(format!("on {name}, the port does not suit {}", bad.join(", ")));
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_short_and_never_nothing() {
        let said: Vec<String> = [15.4, 30.0, 0.0, 0.001, -10.4, 57.743, 1000.0]
            .map(short)
            .to_vec();
        assert_eq!(said, ["15.4", "30", "0", "0.001", "-10.4", "57.7", "1000"]);
    }

    #[test]
    fn ports_stand_as_ranges() {
        assert_eq!(ranges(&[1, 2, 5, 6, 7, 8, 10]), "1, 2, 5-8, 10");
        assert_eq!(ranges(&[]), "");
    }
}
