//! Cells as values of a rig file. What cannot be understood goes on as the text it is, for the
//! reader of rig files to say what is wrong with it; here stand only the mistakes that spreadsheets
//! and their users make.

use crate::spell::quote;

/// What is wrong with a cell, and how to mend it.
pub(super) type Wrong = (String, String);

/// What a spreadsheet program does to it, and what to do against that.
const AS_TEXT: &str = "Set the format of the column to text, then type it again as it stands on the label";

/// A word as the rig file spells it: lower case, a hyphen for blanks and underscores.
pub(super) fn word(text: &str) -> String {
    let parts = text
        .split(|c: char| c.is_whitespace() || c == '_')
        .filter(|part| !part.is_empty());
    parts.collect::<Vec<_>>().join("-").to_lowercase()
}

/// A hardware address with colons, however its digits are parted; else the text as it is.
pub(super) fn mac(text: &str) -> Result<String, Wrong> {
    let text = text.trim();
    let part = |c: char| matches!(c, ':' | '-' | '.' | ' ' | '_');
    let is_hex = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_hexdigit());
    let groups: Vec<&str> = text.split(part).collect();
    if groups.len() == 6 && groups.iter().all(|group| is_hex(group) && group.len() <= 2) {
        let pairs: Vec<String> = groups
            .iter()
            .map(|group| format!("{group:0>2}").to_lowercase())
            .collect();
        return Ok(pairs.join(":"));
    }
    let digits: String = text.split(part).collect();
    if is_number(text) {
        return Err((
            format!(
                "{} is a number that the spreadsheet program made of a hardware address",
                shown(text)
            ),
            format!("{AS_TEXT}, such as 02:52:43:00:00:21."),
        ));
    }
    if is_hex(&digits) && digits.len() == 12 {
        let pairs: Vec<&str> = (0..6).filter_map(|n| digits.get(2 * n..2 * n + 2)).collect();
        return Ok(pairs.join(":").to_lowercase());
    }
    if is_hex(&digits) && (6..12).contains(&digits.len()) && !text.contains(part) {
        return Err((
            format!(
                "{} has {} digits, and a hardware address has 12: zeros in front get lost in spreadsheets",
                shown(text),
                digits.len()
            ),
            format!("{AS_TEXT}, such as 02:52:43:00:00:21."),
        ));
    }
    Ok(text.to_owned())
}

/// `2.52E+11`, `2,52E+11`: a number that had too many digits to be shown.
fn is_number(text: &str) -> bool {
    let text = text.to_ascii_lowercase().replace(',', ".");
    let Some((number, power)) = text.split_once('e') else {
        return false;
    };
    let power = power.strip_prefix('+').unwrap_or_default();
    number.contains('.')
        && number.bytes().all(|b| b.is_ascii_digit() || b == b'.')
        && !power.is_empty()
        && power.bytes().all(|b| b.is_ascii_digit())
}

/// An address, or one of its words.
pub(super) fn address(text: &str) -> Result<String, Wrong> {
    let text = text.trim();
    let numbers: Vec<&str> = text.split([',', '.']).map(str::trim).collect();
    let digits = numbers
        .iter()
        .all(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit()));
    if digits && numbers.len() == 4 && text.contains(',') {
        return Err((
            format!("{} has commas between its numbers", shown(text)),
            format!("Write points: {}.", numbers.join(".")),
        ));
    }
    if digits && numbers.len() < 4 {
        return Err((
            format!(
                "{} is a number, not an address: some points may have got lost in the spreadsheet",
                shown(text)
            ),
            format!("{AS_TEXT} or in the device's menu, such as 10.40.8.21."),
        ));
    }
    let lower = text.to_lowercase();
    Ok(if ["dhcp", "none"].contains(&lower.as_str()) {
        lower
    } else {
        text.to_owned()
    })
}

/// A port of a switch; a bare number is joined with the switch of the next column.
pub(super) fn port(text: &str, switch: Option<&str>) -> Result<String, Wrong> {
    let text = text.trim();
    let whole = text.strip_suffix(".0").unwrap_or(text);
    if let Some(switch) = switch
        && !whole.is_empty()
        && whole.bytes().all(|b| b.is_ascii_digit())
    {
        return Ok(format!("{switch}/{whole}"));
    }
    if is_date(text) {
        return Err((
            format!("{} is a date that the spreadsheet program made of a port", shown(text)),
            "Set the format of the column to text, then type the switch, a slash and the port again, such as S1/3."
                .to_owned(),
        ));
    }
    Ok(text.to_owned())
}

/// `3-Jan`, `Jan-03`, `2026-01-03`, `01/03/2026`: what becomes of `1/3`. None of them is a port.
fn is_date(text: &str) -> bool {
    const MONTHS: [&str; 12] = [
        "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec",
    ];
    let number = |part: &str| !part.is_empty() && part.len() <= 4 && part.bytes().all(|b| b.is_ascii_digit());
    let month = |part: &str| MONTHS.contains(&part.to_lowercase().as_str());
    let dashes: Vec<&str> = text.split(['-', ' ']).collect();
    let slashes: Vec<&str> = text.split(['/', '.']).collect();
    match (dashes.as_slice(), slashes.as_slice()) {
        ([a, b], _) => (number(a) && month(b)) || (month(a) && number(b)),
        ([a, b, c], _) => number(a) && (number(b) || month(b)) && number(c),
        (_, [a, b, c]) => number(a) && number(b) && c.len() == 4 && number(c) && *c > "1900",
        _ => false,
    }
}

/// A number as TOML writes it. A decimal comma is understood; what may be thousands as well as a
/// fraction is not guessed. `unit` may stand behind it.
pub(super) fn number(text: &str, unit: &str, commas: bool) -> Result<String, Wrong> {
    let bare = without_unit(text.trim(), unit);
    let wrong = || {
        (
            format!("{} is no number", shown(text)),
            "Write digits with a point before the fraction, such as 12.5.".to_owned(),
        )
    };
    let Some(mark) = bare.find([',', '.']) else {
        let whole = !bare.is_empty() && bare.len() <= 12 && bare.bytes().all(|b| b.is_ascii_digit());
        return if whole { Ok(plain(bare)) } else { Err(wrong()) };
    };
    let (whole, fraction) = (&bare[..mark], &bare[mark + 1..]);
    let digits = |text: &str| text.len() <= 20 && text.bytes().all(|b| b.is_ascii_digit());
    if !digits(whole) || !digits(fraction) || whole.is_empty() || fraction.is_empty() {
        return Err(wrong());
    }
    let comma = bare[mark..].starts_with(',');
    // In a table with commas between its cells a point is a point; elsewhere it may part thousands.
    let thousands = fraction.len() == 3 && whole.len() <= 3 && !whole.starts_with('0');
    if thousands && (comma || !commas) {
        return Err((
            format!("{} may be {whole}{fraction} or {whole}.{fraction}", shown(text)),
            format!("Write {whole}{fraction}, or {whole}.{fraction}0 for the fraction."),
        ));
    }
    Ok(format!("{}.{fraction}", plain(whole)))
}

/// Without zeros in front, which TOML does not take.
fn plain(digits: &str) -> String {
    let bare = digits.trim_start_matches('0');
    if bare.is_empty() {
        "0".to_owned()
    } else {
        bare.to_owned()
    }
}

fn without_unit<'t>(text: &'t str, unit: &str) -> &'t str {
    let lower = text.to_ascii_lowercase();
    let units: &[&str] = match unit {
        "m" => &["metres", "meters", "m"],
        "W" => &["watts", "watt", "w"],
        "Mb/s" => &["mbit/s", "mb/s", "mbps"],
        _ => &[],
    };
    let cut = units
        .iter()
        .find_map(|unit| lower.strip_suffix(unit).map(str::len));
    cut.and_then(|at| text.get(..at)).unwrap_or(text).trim()
}

/// A whole number; `4.0` is one too.
pub(super) fn whole(text: &str) -> Result<String, Wrong> {
    let bare = text.trim();
    let bare = bare
        .strip_suffix(".0")
        .or_else(|| bare.strip_suffix(",0"))
        .unwrap_or(bare);
    let bare = bare.to_lowercase();
    let bare = bare.strip_prefix("class").map_or(bare.as_str(), str::trim);
    if !bare.is_empty() && bare.len() <= 9 && bare.bytes().all(|b| b.is_ascii_digit()) {
        return Ok(plain(bare));
    }
    Err((
        format!("{} is no whole number", shown(text)),
        "Write digits alone, such as 4.".to_owned(),
    ))
}

/// Yes or no.
pub(super) fn flag(text: &str) -> Result<bool, Wrong> {
    match text.trim().to_lowercase().as_str() {
        "yes" | "y" | "true" | "x" | "1" | "on" => Ok(true),
        "no" | "n" | "false" | "0" | "off" | "-" => Ok(false),
        _ => Err((
            format!("{} is neither yes nor no", shown(text)),
            "Write yes or no.".to_owned(),
        )),
    }
}

/// `2`, or `1-4 = 3; 5-8 = 2` as an inline table.
pub(super) fn poe(text: &str) -> Result<String, Wrong> {
    let wrong = || {
        (
            format!("{} gives no PoE Types", shown(text)),
            "Write one Type for all ports, such as 2, or ranges of ports: 1-4 = 3; 5-8 = 2.".to_owned(),
        )
    };
    if let Ok(kind) = whole(text) {
        return Ok(kind);
    }
    let mut parts: Vec<(String, String)> = Vec::new();
    for part in text
        .split([';', ',', '\n'])
        .map(str::trim)
        .filter(|part| !part.is_empty())
    {
        let (ports, kind) = part.split_once(['=', ':']).ok_or_else(wrong)?;
        let (ports, kind) = (ports.trim(), whole(kind).map_err(|_| wrong())?);
        let fits = |b: u8| b.is_ascii_digit() || b == b'-' || b == b' ';
        if !ports.bytes().all(fits) || parts.iter().any(|(other, _)| other == ports) {
            return Err(wrong());
        }
        parts.push((ports.to_owned(), kind));
    }
    let parts: Vec<String> = parts
        .iter()
        .map(|(ports, kind)| format!("{} = {kind}", quote(ports)))
        .collect();
    if parts.is_empty() {
        Err(wrong())
    } else {
        Ok(format!("{{ {} }}", parts.join(", ")))
    }
}

/// The prefix length of a mask: `255.255.255.0`, `/24` or `24`.
pub(super) fn mask(text: &str) -> Result<u8, Wrong> {
    let text = text.trim();
    let length = text
        .strip_prefix('/')
        .unwrap_or(text)
        .parse::<u8>()
        .ok()
        .filter(|n| *n <= 32);
    let dotted = || ipnet::ipv4_mask_to_prefix(text.parse().ok()?).ok();
    length.or_else(dotted).ok_or_else(|| {
        (
            format!("{} is no mask", shown(text)),
            "Write four numbers such as 255.255.255.0, or the prefix length such as /24.".to_owned(),
        )
    })
}

fn shown(text: &str) -> String {
    crate::read::words::quoted(text.trim())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hardware_addresses_in_all_their_spellings() {
        for text in [
            "02:52:43:00:00:af",
            "02-52-43-00-00-AF",
            "0252.4300.00AF",
            "0252430000af",
            "2:52:43:0:0:af",
            " 02 52 43 00 00 AF ",
        ] {
            assert_eq!(mac(text).as_deref(), Ok("02:52:43:00:00:af"), "{text}");
        }
        for mangled in ["2.52E+11", "2,5243E+11", "25243000021", "52430000af"] {
            assert!(mac(mangled).is_err(), "{mangled}");
        }
        // Twelve digits with an e among them are no number.
        assert_eq!(mac("0252e4000021").as_deref(), Ok("02:52:e4:00:00:21"));
        assert_eq!(mac("kettle").as_deref(), Ok("kettle"));
    }

    #[test]
    fn numbers_with_points_commas_and_units() {
        for (text, unit, wanted) in [
            ("38.5", "m", "38.5"),
            ("38,5", "m", "38.5"),
            ("42 m", "m", "42"),
            ("17,5 W", "W", "17.5"),
            ("1000 Mb/s", "Mb/s", "1000"),
            ("007", "m", "7"),
            ("0", "m", "0"),
            ("0,125", "m", "0.125"),
            ("1.125", "m", "1.125"),
            ("0.0", "m", "0.0"),
        ] {
            assert_eq!(number(text, unit, true).as_deref(), Ok(wanted), "{text}");
        }
        for bad in ["", "m", "1,000", "1.2.3", "-1", "1e3", "12..5", ".5", "5.", "४२"] {
            assert!(number(bad, "m", true).is_err(), "{bad}");
        }
        assert!(
            number("1.125", "m", false).is_err(),
            "thousands, where commas are decimal"
        );
    }

    #[test]
    fn what_spreadsheets_do_to_addresses_and_ports() {
        assert_eq!(address(" 10.40.8.21 ").as_deref(), Ok("10.40.8.21"));
        assert_eq!(address("DHCP").as_deref(), Ok("dhcp"));
        assert!(address("10,40,8,21").unwrap_err().1.contains("10.40.8.21"));
        assert!(address("10.408").is_err() && address("1040821").is_err());
        assert_eq!(port("3", Some("S1")).as_deref(), Ok("S1/3"));
        assert_eq!(port("S1/3", Some("S1")).as_deref(), Ok("S1/3"));
        for date in ["3-Jan", "Jan-03", "03/01/2026", "2026-01-03", "3. January"] {
            assert_eq!(port(date, None).is_err(), date != "3. January", "{date}");
        }
        assert!(port("Jan-Sander/3", None).is_ok() && port("S1/3", None).is_ok());
        assert_eq!(
            (mask("255.255.255.0"), mask("/24"), mask("24")),
            (Ok(24), Ok(24), Ok(24))
        );
        assert!(mask("255.0.255.0").is_err() && mask("33").is_err());
        assert_eq!(
            poe("1-4 = 3; 5-8 = 2").as_deref(),
            Ok("{ \"1-4\" = 3, \"5-8\" = 2 }")
        );
        assert!(poe("1-4 = 3; 1-4 = 2").is_err() && poe("yes").is_err());
        assert_eq!(
            (flag("Yes").ok(), flag("0").ok(), flag("maybe").ok()),
            (Some(true), Some(false), None)
        );
        assert_eq!(word(" Access_Point "), "access-point");
    }
}
