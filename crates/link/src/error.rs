//! Why an interface cannot be used, and the command that mends it.

use std::fmt;
use std::io;
use std::path::Path;

/// By which means to reach the wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum OpenHow {
    /// Whole frames where that is permitted, else the unprivileged means.
    #[default]
    Auto,
    /// Whole frames or nothing.
    Raw,
    /// The unprivileged means, even where frames are permitted.
    Unprivileged,
}

/// Why an interface could not be opened.
#[derive(Debug)]
pub enum OpenError {
    /// The system lets this program neither send nor receive whole frames.
    NoPermission {
        /// The interface.
        name: String,
    },
    /// There is no interface of that name.
    NotFound {
        /// The name that was asked for.
        name: String,
        /// The names that there are.
        others: Vec<String>,
    },
    /// The interface carries no Ethernet frames (loopback, tunnels).
    NotEthernet {
        /// The interface.
        name: String,
    },
    /// The system lets this program send no echo requests, and a routed network is judged by them.
    NoEcho,
    /// The live link is not built for this system.
    Unsupported {
        /// The system's name, such as `windows`.
        system: &'static str,
    },
    /// The system refused something else.
    System {
        /// What was being done, such as "listen to the kernel's news".
        doing: &'static str,
        /// In the system's words.
        error: io::Error,
    },
}

impl OpenError {
    /// The one next step, for a program whose file is `program`; `None` where no command helps.
    pub fn advice(&self, program: &Path) -> Option<String> {
        match self {
            Self::NoPermission { .. } => Some(format!(
                "let an administrator grant it once: setcap cap_net_raw=ep {}",
                quoted(&program.to_string_lossy())
            )),
            Self::NoEcho => Some(
                "let an administrator allow it: sysctl net.ipv4.ping_group_range=\"0 2147483647\"".to_owned(),
            ),
            Self::NotFound { others, .. } if others.is_empty() => {
                Some("plug in a network adapter and try again".to_owned())
            }
            Self::NotFound { others, .. } => Some(format!("choose one with --link: {}", others.join(", "))),
            Self::NotEthernet { .. } => Some("choose an Ethernet or Wi-Fi interface with --link".to_owned()),
            Self::Unsupported { .. } => Some("see it work without a network: rigmuster rehearse".to_owned()),
            Self::System { .. } => None,
        }
    }
}

impl fmt::Display for OpenError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoPermission { name } => {
                write!(
                    f,
                    "this program has no permission to send and receive whole frames on {name}"
                )
            }
            Self::NoEcho => f.write_str(
                "this system lets this program send no echo requests, and a routed network is judged by them",
            ),
            Self::NotFound { name, .. } => write!(f, "there is no interface {name}"),
            Self::NotEthernet { name } => write!(f, "{name} carries no Ethernet frames"),
            Self::Unsupported { system } => {
                write!(f, "rigmuster cannot reach a real network on {system} yet")
            }
            Self::System { doing, error } => write!(f, "the system did not let us {doing}: {error}"),
        }
    }
}

impl std::error::Error for OpenError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::System { error, .. } => Some(error),
            _ => None,
        }
    }
}

/// `text` as a POSIX shell takes it for one word.
fn quoted(text: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "/._-+:@%".contains(c);
    if !text.is_empty() && text.chars().all(plain) {
        text.to_owned()
    } else {
        format!("'{}'", text.replace('\'', r"'\''"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn missing_permission_names_the_one_command() {
        let error = OpenError::NoPermission {
            name: "eth0".to_owned(),
        };
        let advice = error.advice(Path::new("/opt/rig/rigmuster")).unwrap();
        assert!(
            advice.ends_with("setcap cap_net_raw=ep /opt/rig/rigmuster"),
            "{advice}"
        );
        assert!(!advice.contains("root") && !advice.contains("sudo"));
    }

    #[test]
    fn a_path_with_blanks_and_quotes_stays_one_word() {
        assert_eq!(quoted("/home/o'neil/my rig/x"), r"'/home/o'\''neil/my rig/x'");
        assert_eq!(quoted(""), "''");
    }

    #[test]
    fn an_unknown_name_lists_what_there_is() {
        let error = OpenError::NotFound {
            name: "eth7".to_owned(),
            others: vec!["eth0".to_owned(), "wlan0".to_owned()],
        };
        assert!(error.to_string().contains("eth7"));
        assert!(error.advice(Path::new("x")).unwrap().contains("eth0, wlan0"));
    }
}
