//! The sheet of one device or host: everything that is known of it, expected beside seen.

use std::fmt::Display;
use std::net::Ipv4Addr;

use ledger::{AnswerView, DeviceView, EchoSample, HostView, SeenView, Standing};
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use rig::{AddressSpec, Role};
use vocab::{ControlState, Mac};

use crate::rows::One;
use crate::shape::{self, Weight};
use crate::sparkline::sparkline;
use crate::words::{self, Clock};
use crate::{cable, known, look, starts, text};

/// Columns of the labels on the left.
const LABEL: usize = 14;

/// Said where no registry can know the maker.
const GIVEN_LOCALLY: &str = "given locally: no maker can be read";

/// What a sheet is made with.
pub(crate) struct Sheet<'a> {
    /// How many columns there are.
    pub(crate) columns: u16,
    /// Whether more than ASCII can be shown.
    pub(crate) unicode: bool,
    /// The time of day.
    pub(crate) clock: Clock<'a>,
}

impl Sheet<'_> {
    /// The lines of the sheet of `one`; of something that is gone if there is none.
    pub(crate) fn lines(&self, one: Option<One<'_>>) -> Vec<Line<'static>> {
        match one {
            Some(One::Device(device)) => self.of_device(device),
            Some(One::Host(host)) => self.of_host(host),
            None => vec![Line::raw("It is no longer seen. Esc goes back.")],
        }
    }

    fn of_device(&self, device: &DeviceView) -> Vec<Line<'static>> {
        let mut out = Vec::new();
        let weight = Weight::of_device(device);
        out.push(Line::from(vec![
            Span::styled(format!(" {} ", shape::of(device.standing)), weight.glyph()),
            Span::raw(" "),
            Span::styled(text::safe(&device.name).into_owned(), look::BOLD),
            Span::raw("  "),
            Span::styled(format!(" {} ", device.standing.words()), weight.words()),
        ]));
        let mut what = device.role.as_str().to_owned();
        if let Some(need) = words::need(device) {
            what = format!("{what}, {need}");
        }
        if let Some(position) = &device.position {
            what = format!("{what}; {position}");
        }
        if let Some(port) = &device.port {
            what = format!("{what}; switch port {port}");
        }
        let detail = words::detail(device, self.clock);
        let mut since = (self.clock)(device.since);
        if !detail.is_empty() {
            since = format!("{since}, {detail}");
        }
        self.field(&mut out, "what, where", &what, look::PLAIN);
        self.field(&mut out, "so since", &since, look::PLAIN);
        if !device.advice.is_empty() {
            self.field(
                &mut out,
                "next step",
                &format!("-> {}", device.advice),
                look::BOLD,
            );
        }
        if let Some(likely) = &device.likely {
            let at = likely.address.map_or_else(String::new, |a| format!(" at {a}"));
            let words = format!(
                "{}{at} ({} %), because {}",
                likely.mac,
                (likely.score * 100.0).round(),
                likely.because.join(", and ")
            );
            self.field(&mut out, "probably", &words, look::PLAIN);
        }
        if let Some(words) = caution(device) {
            self.field(&mut out, "take care", words, look::BOLD);
        }
        out.push(Line::default());
        self.compare(&mut out, device);
        out.push(Line::default());
        self.control(&mut out, device);
        if let Some(words) = words::power(device.power) {
            self.field(&mut out, "power", words, look::PLAIN);
        }
        if let Some(start) = &device.start {
            let room = usize::from(self.columns).saturating_sub(LABEL);
            let mut name = "last start";
            for (line, style) in starts::on_sheet(start, room, self.clock) {
                out.push(Line::from(vec![label(name), Span::styled(line, style)]));
                name = "";
            }
        }
        self.echo(&mut out, &device.echoes);
        if let Some(answers) = &device.answers {
            self.field(&mut out, "answers", &answering(answers), look::PLAIN);
        }
        if let Some(checked) = cable::last(device, self.clock) {
            self.field(&mut out, "cable", &checked, look::PLAIN);
        }
        out.push(Line::default());
        if let Some(channels) = words::channels(device, false) {
            self.field(&mut out, "channel", &channels, look::PLAIN);
        }
        if !device.used_by.is_empty() {
            self.field(&mut out, "used by", &device.used_by.join(", "), look::PLAIN);
        }
        if let Some(note) = &device.note {
            self.field(&mut out, "note", note, look::PLAIN);
        }
        while out.last().is_some_and(|line| line.spans.is_empty()) {
            out.pop();
        }
        out
    }

    /// Expected beside seen.
    fn compare(&self, out: &mut Vec<Line<'static>>, device: &DeviceView) {
        let seen = device.seen.as_ref();
        let shown = seen.filter(|_| device.standing != Standing::Missing);
        let expected_mac = join(&device.expected_macs);
        let mac = shown.and_then(|s| s.mac);
        let seen_mac = mac.map(|m| m.to_string()).unwrap_or_default();
        let address = words::seen_address(device);
        self.pair(out, "", "on the list", "seen", look::CHOSEN, false);
        let other_mac =
            mac.is_some_and(|m| !device.expected_macs.is_empty() && !device.expected_macs.contains(&m));
        self.pair(
            out,
            "hardware",
            if expected_mac.is_empty() {
                "not given"
            } else {
                &expected_mac
            },
            if seen_mac.is_empty() { "-" } else { &seen_mac },
            look::PLAIN,
            other_mac,
        );
        let wrong = match (device.expected_address, address) {
            (AddressSpec::Fixed(expected), Some(at)) => expected != at,
            _ => device.standing == Standing::WrongSubnet,
        };
        let at = address.map_or_else(|| "-".to_owned(), |a| a.to_string());
        self.pair(
            out,
            "address",
            &words::expected_address(device),
            &at,
            look::PLAIN,
            wrong,
        );
        if let Some(network) = &device.network {
            self.pair(out, "network", network, "", look::PLAIN, false);
        }
        let Some(seen) = seen else {
            self.field(out, "", "Nothing was ever heard of it.", look::PLAIN);
            return;
        };
        self.how_known(out, seen, address);
        let given = mac.is_some_and(Mac::is_local);
        if let Some(maker) = seen
            .vendor
            .as_ref()
            .map_or(given.then_some(GIVEN_LOCALLY), |v| Some(v.as_str()))
        {
            self.pair(out, "maker", "", maker, look::PLAIN, false);
        }
        if !seen.names.is_empty() {
            self.pair(out, "calls itself", "", &join(&seen.names), look::PLAIN, false);
        }
        for (label, words) in known::dhcp(&seen.heard, mac) {
            self.pair(out, label, "", &words, look::PLAIN, false);
        }
        let mut heard = format!("first {}", (self.clock)(seen.first_seen));
        if let Some(last) = device.last_heard {
            heard = format!("{heard}, last {}", (self.clock)(last));
        }
        self.pair(out, "heard", "", &heard, look::PLAIN, false);
    }

    /// How the address that is shown is known, and where it is besides or says that it is.
    fn how_known(&self, out: &mut Vec<Line<'static>>, seen: &SeenView, shown: Option<Ipv4Addr>) {
        let all = &seen.heard.addresses;
        if let Some(known) = all.iter().find(|a| Some(a.address) == shown) {
            let words = known::how(known.known, self.clock);
            self.pair(out, "", "", &words, look::PLAIN, false);
        }
        let mut label = if shown.is_some() { "also at" } else { "last at" };
        let further = all.iter().filter(|a| Some(a.address) != shown);
        let mut further: Vec<String> = further.map(|a| known::address(a, self.clock)).collect();
        if all.is_empty() {
            let rest = seen.addresses.iter().filter(|a| Some(**a) != shown);
            further.extend(rest.map(ToString::to_string));
        }
        for words in further {
            self.pair(out, label, "", &words, look::PLAIN, false);
            label = "";
        }
    }

    fn control(&self, out: &mut Vec<Line<'static>>, device: &DeviceView) {
        if device.control.is_empty() {
            self.field(out, "control ports", "none on the list", look::PLAIN);
            return;
        }
        for (n, control) in device.control.iter().enumerate() {
            let (word, style) = state(control.state);
            let mut spans = vec![
                label(if n == 0 { "control ports" } else { "" }),
                Span::raw(text::pad(&control.port.to_string(), 15)),
                Span::raw(" "),
                Span::styled(format!(" {word} "), style),
                Span::raw(" ".repeat(9_usize.saturating_sub(word.len()))),
            ];
            let mut more = String::new();
            if let Some(detail) = control.detail.as_ref().filter(|d| !d.is_empty()) {
                more = format!("  {detail}");
            }
            if let Some(asked) = control.asked {
                more = format!("{more}  asked {}", (self.clock)(asked));
            }
            let used = LABEL + 15 + 1 + word.len().max(9) + 2;
            spans.push(Span::raw(text::cut(
                &more,
                usize::from(self.columns).saturating_sub(used),
            )));
            out.push(Line::from(spans));
        }
    }

    fn echo(&self, out: &mut Vec<Line<'static>>, echoes: &[EchoSample]) {
        if echoes.is_empty() {
            self.field(out, "echo", "not asked for yet", look::PLAIN);
            return;
        }
        let room = usize::from(self.columns).saturating_sub(LABEL + 1).min(60);
        let latest = &echoes[echoes.len().saturating_sub(room)..];
        let (bars, slowest) = sparkline(latest, self.unicode);
        out.push(Line::from(vec![label("echo"), Span::styled(bars, look::BOLD)]));
        let lost = latest.iter().filter(|e| e.0.is_none()).count();
        let mut words = match slowest {
            Some(slowest) => format!("0 to {}", words::rtt(slowest)),
            None => "no reply".to_owned(),
        };
        if let Some(EchoSample(Some(last))) = latest.last() {
            words = format!("{words}, latest {}", words::rtt(*last));
        }
        words = format!("{words}, {lost} of {} lost", latest.len());
        self.field(out, "", &words, look::PLAIN);
    }

    fn of_host(&self, host: &HostView) -> Vec<Line<'static>> {
        let mut out = vec![Line::from(vec![
            Span::raw(format!(" {}  ", shape::HOST)),
            Span::styled(text::safe(&words::host_name(host)).into_owned(), look::BOLD),
            Span::raw("  not on the list"),
        ])];
        for like in &host.resembles {
            let words = format!(
                "{} ({} %), because {}",
                like.device,
                (like.score * 100.0).round(),
                like.because.join(", and ")
            );
            self.field(&mut out, "probably", &words, look::BOLD);
        }
        out.push(Line::default());
        let mac = host.mac.map_or_else(|| "not known".to_owned(), |m| m.to_string());
        self.field(&mut out, "hardware", &mac, look::PLAIN);
        let given = host.mac.is_some_and(Mac::is_local);
        let vendor = host.vendor.as_ref().map(ToString::to_string);
        let maker = vendor.unwrap_or_else(|| if given { GIVEN_LOCALLY } else { "not known" }.to_owned());
        self.field(&mut out, "maker", &maker, look::PLAIN);
        let mut name = "addresses";
        for view in &host.heard.addresses {
            self.field(&mut out, name, &known::address(view, self.clock), look::PLAIN);
            name = "";
        }
        if host.heard.addresses.is_empty() {
            let addresses = match host.addresses.as_slice() {
                [] => "none heard".to_owned(),
                some => join(some),
            };
            self.field(&mut out, name, &addresses, look::PLAIN);
        }
        if let Some((address, by)) = host.ipv6 {
            let words = format!("{address}, {}", by.words());
            self.field(&mut out, "IPv6", &words, look::PLAIN);
        }
        if !host.on_subnet && !host.addresses.is_empty() {
            self.field(&mut out, "", "none of them in the rig's subnet", look::BOLD);
        }
        if !host.names.is_empty() {
            self.field(&mut out, "calls itself", &join(&host.names), look::PLAIN);
        }
        for (label, words) in known::dhcp(&host.heard, host.mac) {
            self.field(&mut out, label, &words, look::PLAIN);
        }
        let heard = format!(
            "first {}, last {}",
            (self.clock)(host.first_seen),
            (self.clock)(host.last_heard)
        );
        self.field(&mut out, "heard", &heard, look::PLAIN);
        for (n, (port, answer)) in host.control.iter().enumerate() {
            let (word, style) = state(Some(*answer));
            let said = host.said.iter().find(|(p, _)| p == port);
            let said = said.map_or_else(String::new, |(_, text)| format!("  {text}"));
            let used = LABEL + 16 + word.len() + 2;
            out.push(Line::from(vec![
                label(if n == 0 { "control ports" } else { "" }),
                Span::raw(text::pad(&port.to_string(), 16)),
                Span::styled(format!(" {word} "), style),
                Span::raw(text::cut(&said, usize::from(self.columns).saturating_sub(used))),
            ]));
        }
        if let Some(words) = words::power(host.power) {
            self.field(&mut out, "power", words, look::PLAIN);
        }
        out
    }

    /// A labelled text, wrapped beside its label.
    fn field(&self, out: &mut Vec<Line<'static>>, name: &str, words: &str, style: Style) {
        let room = usize::from(self.columns).saturating_sub(LABEL).max(8);
        for (n, line) in text::wrap(words, room, 8).into_iter().enumerate() {
            out.push(Line::from(vec![
                label(if n == 0 { name } else { "" }),
                Span::styled(line, style),
            ]));
        }
    }

    /// A labelled pair; what differs stands out on the right.
    fn pair(
        &self,
        out: &mut Vec<Line<'static>>,
        name: &str,
        left: &str,
        right: &str,
        style: Style,
        differs: bool,
    ) {
        let room = usize::from(self.columns).saturating_sub(LABEL);
        let half = if room < 38 {
            room.saturating_sub(12) / 2
        } else {
            20
        };
        let right_style = if differs { look::TROUBLE } else { style };
        let lines = text::wrap(right, room.saturating_sub(half + 1).max(8), 6);
        let lines = if lines.is_empty() {
            vec![String::new()]
        } else {
            lines
        };
        for (n, line) in lines.into_iter().enumerate() {
            let first = n == 0;
            let words = text::cut(if first { left } else { "" }, half);
            let gap = (half + 1).saturating_sub(text::width(&words));
            out.push(Line::from(vec![
                label(if first { name } else { "" }),
                Span::styled(words, style),
                Span::raw(" ".repeat(gap)),
                Span::styled(line, right_style),
            ]));
        }
    }
}

/// How a device answers the questions for its address, in words.
fn answering(a: &AnswerView) -> String {
    format!(
        "in {}, mostly within {}; loss under {:.1} %; jitter {:.2} ms; missing after {} questions in a row",
        words::rtt(a.time),
        words::rtt(a.usual),
        a.loss_at_most * 100.0,
        a.jitter.as_secs_f64() * 1e3,
        a.run
    )
}

fn label(name: &str) -> Span<'static> {
    Span::raw(text::pad(name, LABEL))
}

fn join<T: Display>(all: impl IntoIterator<Item = T>) -> String {
    all.into_iter()
        .map(|one| one.to_string())
        .collect::<Vec<_>>()
        .join(", ")
}

const fn state(state: Option<ControlState>) -> (&'static str, Style) {
    match state {
        Some(ControlState::Answered) => ("answered", look::BOLD),
        Some(ControlState::Refused) => ("refused", look::TROUBLE),
        Some(ControlState::Silent) => ("silent", look::TROUBLE),
        None => ("not asked", look::PLAIN),
    }
}

/// What to mind before anybody acts on the advice. A head that starts swings to its end stops
/// whatever the panel says (read in a maker's manual), so nobody may be near; and power is never
/// cut while the show is on (common practice, no source).
fn caution(device: &DeviceView) -> Option<&'static str> {
    let advice = device.advice.to_lowercase();
    let power = [
        "power",
        "restart",
        "switch off",
        "unplug",
        "reboot",
        "poe",
        "cable",
    ]
    .iter()
    .any(|word| advice.contains(word));
    let camera = device.role == Role::Camera;
    let head = advice.contains("head") || (camera && device.standing == Standing::Starting);
    match (power, camera) {
        (true, true) => Some(
            "Not during the show. A camera that starts swings its head from stop to stop: \
             see that nobody is near it first.",
        ),
        (true, false) => {
            Some("Not during the show: whatever hangs on the same power or cable goes dark as well.")
        }
        (false, _) if head => {
            Some("Keep clear of the head: a camera swings it from stop to stop when it starts.")
        }
        _ => None,
    }
}
