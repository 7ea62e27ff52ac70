//! Where a device's service stands: as the device says by WS-Discovery (`XAddrs`), else in its usual place.

use core::net::Ipv4Addr;

use super::PATH;

/// The longest path that is taken from a device, in bytes.
const MAX_PATH: usize = 128;

/// The path of a service on a device. It goes out as it stands in a request's first line and in a login, so it
/// holds only what a URL's path and query may (RFC 3986 sections 3.3 and 3.4).
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct ServicePath(String);

impl ServicePath {
    /// `None` if it does not begin with a slash, is too long, or holds anything else.
    pub fn new(text: &str) -> Option<Self> {
        let fits = text.starts_with('/') && text.len() <= MAX_PATH;
        let fair = |b: u8| b.is_ascii_alphanumeric() || b"-._~%!$&'()*+,;=:@/?".contains(&b);
        (fits && text.bytes().all(fair)).then(|| Self(text.to_owned()))
    }

    /// As text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Default for ServicePath {
    /// Where the service lives on every device that keeps to the standard.
    fn default() -> Self {
        Self(PATH.to_owned())
    }
}

/// Where a device's service stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// The device.
    pub host: Ipv4Addr,
    /// The port.
    pub port: u16,
    /// The path there.
    pub path: ServicePath,
}

impl Place {
    /// The usual place behind a port.
    pub fn usual(host: Ipv4Addr, port: u16) -> Self {
        Self {
            host,
            port,
            path: ServicePath::default(),
        }
    }

    /// The same service on a device that has another address now.
    #[must_use]
    pub fn at(&self, host: Ipv4Addr) -> Self {
        Self { host, ..self.clone() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_goes_into_a_request_only_if_it_can_do_nothing_there() {
        for good in [
            "/",
            "/onvif/device_service",
            "/a/b.cgi?x=1&y=%20",
            "/~cam/(1);v=2",
        ] {
            assert_eq!(ServicePath::new(good).unwrap().as_str(), good);
        }
        let long = format!("/{}", "a".repeat(MAX_PATH));
        for bad in [
            "",
            "x",
            "/a b",
            "/a\r\nX: y",
            "/a\"",
            "/a\\b",
            "/a#b",
            "/é",
            "/<x>",
            &long,
        ] {
            assert_eq!(ServicePath::new(bad), None, "{bad:?}");
        }
        assert_eq!(ServicePath::new(PATH), Some(ServicePath::default()));
    }
}
