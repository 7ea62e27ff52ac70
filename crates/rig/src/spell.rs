//! How values are spelt, wherever one is written as text: in a rig file, in a spreadsheet, in a
//! comparison. What is spelt here is read back by `read`.

use std::fmt::Write as _;
use std::time::Duration;

use vocab::Pace;

use crate::PoeTypes;

/// Any text as a TOML basic string, on one line (TOML 1.0, "String").
pub(crate) fn quote(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 2);
    out.push('"');
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            // Writing to a String does not fail.
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// A time in whole seconds, such as `75s`; boot times have no smaller parts.
pub(crate) fn time(time: Duration) -> String {
    format!("{}s", time.as_secs())
}

/// `own`, `house`, `max`, or frames per second.
pub(crate) fn pace(pace: Pace) -> String {
    match pace {
        Pace::Own => "own".into(),
        Pace::House => "house".into(),
        Pace::PerSecond(n) => n.to_string(),
        Pace::Max => "max".into(),
    }
}

/// `2`, or `1-4 = 3; 5-8 = 2`; `None` if the file says nothing.
pub(crate) fn poe_types(types: &PoeTypes) -> Option<String> {
    match types {
        PoeTypes::Unsaid => None,
        PoeTypes::All(kind) => Some(kind.number().to_string()),
        PoeTypes::Ranges(ranges) => {
            let parts = ranges
                .iter()
                .map(|(first, last, kind)| format!("{} = {}", ports(*first, *last), kind.number()));
            Some(parts.collect::<Vec<_>>().join("; "))
        }
    }
}

/// `1-4`, or one port alone.
pub(crate) fn ports(first: u32, last: u32) -> String {
    if first == last {
        first.to_string()
    } else {
        format!("{first}-{last}")
    }
}

/// `yes` or `no`, as a person writes it in a cell.
pub(crate) const fn flag(flag: bool) -> &'static str {
    if flag { "yes" } else { "no" }
}

/// All of them with `separator` between.
pub(crate) fn joined<T: ToString>(items: impl IntoIterator<Item = T>, separator: &str) -> String {
    let items: Vec<String> = items.into_iter().map(|item| item.to_string()).collect();
    items.join(separator)
}
