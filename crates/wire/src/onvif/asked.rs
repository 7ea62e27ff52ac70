//! A request as the device reads it, for [`crate::persona`]: what is asked, and whether the login in it is right.

use core::net::Ipv4Addr;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use vocab::Ipv4Net;

use super::clock::DeviceTime;
use super::digest::{self, Challenge};
use super::question::Setting;
use super::tree::{self, Node};
use super::{PATH, token};

/// How far the time in a login may be from the device's clock (common practice, no source).
const NEAR_S: i64 = 5;

/// What came of the login in a request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Tried {
    /// There is none.
    NotAtAll,
    /// It is right.
    Right,
    /// It is wrong.
    Wrong,
}

/// A whole request for the service.
#[derive(Debug)]
pub(crate) struct Asked {
    authorization: Option<String>,
    root: Node,
    body: Node,
}

impl Asked {
    /// `None` if more is to come, or it is not for the service.
    pub(crate) fn read(head: &[u8], body: &[u8]) -> Option<Self> {
        let head = core::str::from_utf8(head).ok()?;
        let mut lines = head.lines();
        let mut first = lines.next()?.split(' ');
        if (first.next(), first.next()) != (Some("POST"), Some(PATH)) {
            return None;
        }
        let fields: Vec<(&str, &str)> = lines.filter_map(|line| line.split_once(':')).collect();
        let field = |name: &str| {
            let mut all = fields.iter().filter(|(key, _)| key.eq_ignore_ascii_case(name));
            all.next().map(|(_, value)| value.trim())
        };
        let length: usize = field("content-length")?.parse().ok()?;
        let body = body.get(..length)?;
        Some(Self {
            authorization: field("authorization").map(str::to_owned),
            root: tree::read(body).ok()?,
            body: tree::body(body).ok()?,
        })
    }

    /// What is asked.
    pub(crate) fn name(&self) -> &str {
        self.body.name()
    }

    /// The interface that shall be set, and how.
    pub(crate) fn setting(&self) -> Option<(&str, Setting)> {
        let token = self.body.child("InterfaceToken")?.text();
        let config = self.body.down(&["NetworkInterface", "IPv4"])?;
        if config.truth("DHCP")? {
            return Some((token, Setting::Dhcp));
        }
        let manual = config.child("Manual")?;
        let address: Ipv4Addr = manual.child("Address")?.text().parse().ok()?;
        let net = Ipv4Net::new(address, manual.number("PrefixLength")?).ok()?;
        Some((token, Setting::Manual(net)))
    }

    /// The gateway that shall be set.
    pub(crate) fn gateway(&self) -> Option<Ipv4Addr> {
        self.body.child("IPv4Address")?.text().parse().ok()
    }

    /// Tries the login inside the message.
    pub(crate) fn try_token(&self, user: &str, password: &str, clock: DeviceTime) -> Tried {
        let (mut name, mut digest, mut nonce, mut created) = (None, None, None, None);
        self.root.each(&mut |element, text| match element {
            "Username" => name = Some(text),
            "Password" => digest = Some(text),
            "Nonce" => nonce = STANDARD.decode(text).ok(),
            "Created" => created = Some(text),
            _ => {}
        });
        if name.is_none() && digest.is_none() {
            return Tried::NotAtAll;
        }
        let right = || {
            let created = created?;
            let near = DeviceTime::of_stamp(created)?.seconds_from(clock).abs() <= NEAR_S;
            let wanted = token::digest(&nonce?, created, password.as_bytes());
            Some(near && name? == user && digest? == wanted)
        };
        if right() == Some(true) {
            Tried::Right
        } else {
            Tried::Wrong
        }
    }

    /// Tries the login beside the message, which shall answer `challenge`.
    pub(crate) fn try_digest(&self, user: &str, password: &str, challenge: &str) -> Tried {
        let Some(field) = &self.authorization else {
            return Tried::NotAtAll;
        };
        let all = digest::schemes(field);
        let value = |name: &str| all.first()?.value(name);
        let right = || {
            let challenge = Challenge::choose(&[challenge.to_owned()])?;
            let wanted = challenge.response(
                user.as_bytes(),
                password.as_bytes(),
                ("POST", PATH),
                value("cnonce")?,
            );
            let fits = value("username")? == user && value("uri")? == PATH;
            Some(fits && value("response")? == wanted.as_str())
        };
        if right() == Some(true) {
            Tried::Right
        } else {
            Tried::Wrong
        }
    }
}
