//! Where the login of a device is kept: never in the file.

use std::fmt;
use std::str::FromStr;

/// The longest name of an environment variable that is taken, in characters.
const LONGEST: usize = 100;

/// The name of the environment variable that holds a device's `user:password`, written `env:NAME`.
///
/// A rig file is printed, mailed and kept for years, so a password cannot stand in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Login(String);

impl Login {
    /// The variable's name.
    pub fn variable(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Login {
    /// As the rig file spells it.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "env:{}", self.0)
    }
}

/// A text that names no environment variable. It says nothing of the text, which may be a password.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NoLogin;

impl FromStr for Login {
    type Err = NoLogin;

    /// Names are letters, digits and underscores, and begin with no digit (POSIX.1-2017, 3.235).
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let name = text.strip_prefix("env:").ok_or(NoLogin)?;
        let plain = |b: u8| b.is_ascii_alphanumeric() || b == b'_';
        let starts = name
            .bytes()
            .next()
            .is_some_and(|b| plain(b) && !b.is_ascii_digit());
        if starts && name.bytes().all(plain) && name.len() <= LONGEST {
            Ok(Self(name.to_owned()))
        } else {
            Err(NoLogin)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_name_of_a_variable_is_taken() {
        let login: Login = "env:HALL_CAMERAS".parse().unwrap();
        assert_eq!(
            (login.variable(), login.to_string().as_str()),
            ("HALL_CAMERAS", "env:HALL_CAMERAS")
        );
        for bad in [
            "",
            "env:",
            "env:1ST",
            "env:A-B",
            "env:A B",
            "env:Ä",
            "admin:secret",
            "HALL",
            "ENV:HALL",
        ] {
            assert_eq!(bad.parse::<Login>(), Err(NoLogin), "{bad}");
        }
        assert!(format!("env:{}", "A".repeat(101)).parse::<Login>().is_err());
    }
}
