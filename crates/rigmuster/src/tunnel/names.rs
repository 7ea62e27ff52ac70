//! The device's own address, and the loopback addresses that stand for it.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;

use vocab::ControlWord;

/// Which loopback port stands for which TCP port of the device.
#[derive(Debug, Clone)]
pub(crate) struct Names {
    device: Ipv4Addr,
    doors: BTreeMap<u16, u16>,
}

/// A URL or reference taken apart as far as it is needed here (RFC 3986, section 3).
struct Parts<'a> {
    /// With its `://` or `//`.
    scheme: &'a str,
    /// With its `@`.
    user: &'a str,
    host: &'a str,
    port: u16,
    /// Path, query and fragment.
    rest: &'a str,
}

impl Names {
    /// A device at that address, with no doors yet.
    pub(crate) const fn new(device: Ipv4Addr) -> Self {
        Self {
            device,
            doors: BTreeMap::new(),
        }
    }

    /// From now on the loopback port `door` stands for `port` of the device.
    pub(crate) fn add(&mut self, port: u16, door: u16) {
        self.doors.insert(port, door);
    }

    /// The device's address.
    pub(crate) const fn device(&self) -> Ipv4Addr {
        self.device
    }

    /// Whether a `Host` names the door at which it arrived. A name that a stranger's page may have
    /// pointed at this computer does not.
    pub(crate) fn is_door(authority: &str, door: u16, usual: u16) -> bool {
        let (host, port) = split_port(authority, usual);
        is_loopback(host) && port == Some(door)
    }

    /// Whether an `Origin` is that of any of the doors.
    pub(crate) fn is_own_origin(&self, origin: &str) -> bool {
        self.inward(origin).is_some()
    }

    /// The URL by which the device names itself, as a URL of the door that stands for it; `None` for
    /// any other, and where no door does.
    pub(crate) fn outward(&self, url: &str) -> Option<String> {
        let parts = Parts::of(url)?;
        let host: Ipv4Addr = parts.host.parse().ok()?;
        let door = self.doors.get(&parts.port).filter(|_| host == self.device)?;
        Some(format!(
            "{}{}{}:{door}{}",
            parts.scheme,
            parts.user,
            Ipv4Addr::LOCALHOST,
            parts.rest
        ))
    }

    /// The URL of a door, as the device would name it.
    pub(crate) fn inward(&self, url: &str) -> Option<String> {
        let parts = Parts::of(url)?;
        let (port, _) = self
            .doors
            .iter()
            .find(|(_, door)| is_loopback(parts.host) && **door == parts.port)?;
        let usual = usual_port(parts.scheme) == Some(*port);
        let authority = if usual {
            self.device.to_string()
        } else {
            format!("{}:{port}", self.device)
        };
        Some(format!("{}{}{authority}{}", parts.scheme, parts.user, parts.rest))
    }
}

impl<'a> Parts<'a> {
    fn of(url: &'a str) -> Option<Self> {
        // A reference that begins with `//` keeps the scheme of the page (RFC 3986, section 4.2).
        let after = if url.starts_with("//") {
            2
        } else {
            url.find("://")? + 3
        };
        let (scheme, rest) = url.split_at(after);
        let usual = usual_port(scheme)?;
        let end = rest.find(['/', '?', '#']).unwrap_or(rest.len());
        let (authority, rest) = rest.split_at(end);
        let (user, authority) = authority.split_at(authority.rfind('@').map_or(0, |at| at + 1));
        let (host, port) = split_port(authority, usual);
        Some(Self {
            scheme,
            user,
            host,
            port: port?,
            rest,
        })
    }
}

/// The port of a scheme that names none.
fn usual_port(scheme: &str) -> Option<u16> {
    let word = scheme.trim_end_matches('/').trim_end_matches(':');
    if word.is_empty() {
        return ControlWord::Http.usual_port();
    }
    [ControlWord::Http, ControlWord::Https, ControlWord::Rtsp]
        .into_iter()
        .find(|w| w.as_str().eq_ignore_ascii_case(word))
        .and_then(ControlWord::usual_port)
}

/// Host and port of an authority without user; the port is `None` where it is none.
fn split_port(authority: &str, usual: u16) -> (&str, Option<u16>) {
    match authority.rsplit_once(':') {
        None | Some((_, "")) => (authority.trim_end_matches(':'), Some(usual)),
        Some((host, port)) => {
            let digits = port.bytes().all(|b| b.is_ascii_digit());
            (host, port.parse().ok().filter(|_| digits))
        }
    }
}

fn is_loopback(host: &str) -> bool {
    host == "127.0.0.1" || host.eq_ignore_ascii_case("localhost")
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn names() -> Names {
        let mut names = Names::new(Ipv4Addr::new(192, 168, 0, 20));
        for (port, door) in [(80, 40_080), (443, 40_443), (554, 40_554), (8_080, 41_080)] {
            names.add(port, door);
        }
        names
    }

    #[test]
    fn the_devices_own_urls_lead_to_the_doors() {
        for (url, door) in [
            (
                "http://192.168.0.20/login?a=b#c",
                "http://127.0.0.1:40080/login?a=b#c",
            ),
            ("http://192.168.0.20", "http://127.0.0.1:40080"),
            ("http://192.168.0.20:8080/x", "http://127.0.0.1:41080/x"),
            ("HTTPS://192.168.0.20/", "HTTPS://127.0.0.1:40443/"),
            ("//192.168.0.20/x", "//127.0.0.1:40080/x"),
            (
                "rtsp://192.168.0.20:554/1/track1",
                "rtsp://127.0.0.1:40554/1/track1",
            ),
            ("rtsp://me:pw@192.168.0.20/1", "rtsp://me:pw@127.0.0.1:40554/1"),
        ] {
            assert_eq!(names().outward(url).as_deref(), Some(door), "{url}");
        }
        for other in [
            "/login",
            "login",
            "http://192.168.0.21/",
            "http://192.168.0.20:81/",
            "http://192.168.0.20.example/",
            "ftp://192.168.0.20/",
            "http://192.168.0.20:99999/",
            "http://example.org/?u=http://192.168.0.20/",
            "",
            "//",
        ] {
            assert_eq!(names().outward(other), None, "{other}");
        }
    }

    #[test]
    fn the_doors_urls_lead_to_the_device() {
        for (door, url) in [
            ("http://127.0.0.1:40080", "http://192.168.0.20"),
            ("http://localhost:41080/x?y", "http://192.168.0.20:8080/x?y"),
            ("rtsp://127.0.0.1:40554/1", "rtsp://192.168.0.20/1"),
        ] {
            assert_eq!(names().inward(door).as_deref(), Some(url), "{door}");
        }
        for other in [
            "http://127.0.0.1/",
            "http://example.org:40080/",
            "null",
            "http://127.0.0.1:1/",
        ] {
            assert_eq!(names().inward(other), None, "{other}");
        }
    }

    #[test]
    fn only_the_loopback_listener_itself_is_a_door() {
        assert!(Names::is_door("127.0.0.1:40080", 40_080, 80));
        assert!(Names::is_door("LocalHost:40080", 40_080, 80));
        assert!(Names::is_door("127.0.0.1", 80, 80));
        for foreign in [
            "evil.example:40080",
            "127.0.0.1:40081",
            "127.0.0.1",
            "192.168.0.20:40080",
            "127.0.0.1.evil.example:40080",
            "127.0.0.1:+40080",
            "evil@127.0.0.1:40080",
            "[::1]:40080",
            "",
        ] {
            assert!(!Names::is_door(foreign, 40_080, 80), "{foreign}");
        }
    }

    proptest! {
        /// Any text is taken; what leads outward leads back inward to the same place.
        #[test]
        fn there_and_back(text in "\\PC{0,60}", path in "[/?#][a-z/?=&%]{0,20}") {
            let _ = (names().outward(&text), names().inward(&text), Names::is_door(&text, 1, 80));
            let url = format!("http://192.168.0.20:8080{path}");
            let door = names().outward(&url).unwrap();
            prop_assert_eq!(names().inward(&door).unwrap(), url);
        }
    }
}
