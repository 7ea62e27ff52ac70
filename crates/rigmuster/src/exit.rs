//! How the program ends.

use std::fmt;
use std::io::{self, Write};
use std::process::ExitCode;

/// The exit codes of the contract.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// Ready, or done.
    Done = 0,
    /// `check`: not ready.
    NotReady = 1,
    /// Wrong usage, a bad file, or no terminal for a full screen.
    Usage = 2,
    /// The link cannot be used.
    Link = 3,
    /// A fault inside.
    Fault = 4,
    /// Interrupted.
    Interrupted = 130,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit as u8)
    }
}

/// An end with a message for a person: what happened, to what, and the next step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    /// The exit code.
    pub exit: Exit,
    /// What to tell, one or several lines, without the program's name.
    pub message: String,
}

impl Failure {
    /// Wrong usage or a bad file.
    pub fn usage(message: impl fmt::Display) -> Self {
        Self {
            exit: Exit::Usage,
            message: message.to_string(),
        }
    }

    /// The link cannot be used.
    pub fn link(message: impl fmt::Display) -> Self {
        Self {
            exit: Exit::Link,
            message: message.to_string(),
        }
    }

    /// Something that should not happen.
    pub fn fault(message: impl fmt::Display) -> Self {
        Self {
            exit: Exit::Fault,
            message: message.to_string(),
        }
    }

    /// Standard output could not be written.
    pub fn output(error: &io::Error) -> Self {
        Self::fault(format_args!(
            "the result could not be written: {error}\nnext step: look whether the disk is full or the output was closed"
        ))
    }

    /// Prints the message on standard error; silent when there is none.
    pub fn print(&self) {
        if !self.message.is_empty() {
            let _ = writeln!(io::stderr(), "rigmuster: {}", self.message.trim_end());
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Failure {}
