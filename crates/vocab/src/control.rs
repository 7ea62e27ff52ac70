//! Control ports: what a panel or software drives a device by.

use core::fmt;
use core::str::FromStr;

/// The word for a control protocol, as the rig file spells it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ControlWord {
    /// VISCA over IP with its eight-byte header, UDP 52381.
    ViscaUdp,
    /// Bare VISCA in datagrams, UDP 1259.
    ViscaRawUdp,
    /// Bare VISCA in a stream, TCP 5678.
    ViscaTcp,
    /// RTSP, TCP 554 (RFC 2326).
    Rtsp,
    /// HTTP, TCP 80 (RFC 9110).
    Http,
    /// HTTP over TLS, TCP 443.
    Https,
    /// The ONVIF device service over HTTP, TCP 80.
    Onvif,
    /// A TCP port that must accept a connection.
    Tcp,
}

impl ControlWord {
    /// Every word, in the order of the contract.
    pub const ALL: [Self; 8] = [
        Self::ViscaUdp,
        Self::ViscaRawUdp,
        Self::ViscaTcp,
        Self::Rtsp,
        Self::Http,
        Self::Https,
        Self::Onvif,
        Self::Tcp,
    ];

    /// The word as the rig file spells it.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::ViscaUdp => "visca-udp",
            Self::ViscaRawUdp => "visca-raw-udp",
            Self::ViscaTcp => "visca-tcp",
            Self::Rtsp => "rtsp",
            Self::Http => "http",
            Self::Https => "https",
            Self::Onvif => "onvif",
            Self::Tcp => "tcp",
        }
    }

    /// The usual port, or `None` for `tcp`, which must name one.
    pub const fn usual_port(self) -> Option<u16> {
        match self {
            Self::ViscaUdp => Some(52381),
            Self::ViscaRawUdp => Some(1259),
            Self::ViscaTcp => Some(5678),
            Self::Rtsp => Some(554),
            Self::Http | Self::Onvif => Some(80),
            Self::Https => Some(443),
            Self::Tcp => None,
        }
    }

    /// Whether it is spoken in datagrams.
    pub const fn is_udp(self) -> bool {
        matches!(self, Self::ViscaUdp | Self::ViscaRawUdp)
    }
}

/// A control protocol on a port.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ControlPort {
    /// What is spoken there.
    pub word: ControlWord,
    /// The UDP or TCP port, never 0.
    pub port: u16,
}

impl fmt::Display for ControlPort {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.word.usual_port() == Some(self.port) {
            f.pad(self.word.as_str())
        } else {
            f.pad(&format!("{}:{}", self.word.as_str(), self.port))
        }
    }
}

/// Why a text names no control port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ControlParseError {
    /// The word before the colon is none of ours.
    UnknownWord(String),
    /// What stands after the colon is not a port from 1 to 65535.
    BadPort(String),
    /// `tcp` without a port.
    PortMissing,
}

impl fmt::Display for ControlParseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnknownWord(word) => write!(f, "{word:?} is no control word"),
            Self::BadPort(port) => write!(f, "{port:?} is no port; ports run from 1 to 65535"),
            Self::PortMissing => f.write_str("tcp needs a port, such as tcp:9000"),
        }
    }
}

impl core::error::Error for ControlParseError {}

impl FromStr for ControlPort {
    type Err = ControlParseError;

    fn from_str(text: &str) -> Result<Self, ControlParseError> {
        let (word, port) = text.split_once(':').map_or((text, None), |(w, p)| (w, Some(p)));
        let word = ControlWord::ALL
            .into_iter()
            .find(|w| w.as_str() == word)
            .ok_or_else(|| ControlParseError::UnknownWord(word.to_owned()))?;
        let port = match port {
            None => word.usual_port().ok_or(ControlParseError::PortMissing)?,
            Some(p) if p.bytes().all(|b| b.is_ascii_digit()) => match p.parse::<u16>() {
                Ok(n) if n != 0 => n,
                _ => return Err(ControlParseError::BadPort(p.to_owned())),
            },
            Some(p) => return Err(ControlParseError::BadPort(p.to_owned())),
        };
        Ok(Self { word, port })
    }
}

/// What became of asking a control port.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ControlState {
    /// It spoke its protocol, an error reply included.
    Answered,
    /// The host turned us away: connection refused, port unreachable, or another protocol.
    Refused,
    /// Three tries, and not a word.
    Silent,
}

impl ControlState {
    /// Every one.
    pub const ALL: [Self; 3] = [Self::Answered, Self::Refused, Self::Silent];

    /// The word in the JSON contract.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Answered => "answered",
            Self::Refused => "refused",
            Self::Silent => "silent",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_comes_back_as_written() {
        for text in [
            "visca-udp",
            "visca-raw-udp",
            "visca-tcp:5679",
            "rtsp",
            "http:8080",
            "https",
            "onvif:8899",
            "tcp:9000",
        ] {
            assert_eq!(text.parse::<ControlPort>().unwrap().to_string(), text);
        }
        assert_eq!("http:80".parse::<ControlPort>().unwrap().to_string(), "http");
    }

    #[test]
    fn bad_words_and_ports_are_told_apart() {
        assert_eq!("tcp".parse::<ControlPort>(), Err(ControlParseError::PortMissing));
        assert!(matches!(
            "visca".parse::<ControlPort>(),
            Err(ControlParseError::UnknownWord(_))
        ));
        for bad in ["http:", "http:0", "http:65536", "http:+1", "rtsp:55x"] {
            assert!(
                matches!(bad.parse::<ControlPort>(), Err(ControlParseError::BadPort(_))),
                "{bad}"
            );
        }
    }
}
