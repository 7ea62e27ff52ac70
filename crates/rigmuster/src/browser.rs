//! The user's own browser, by the system's opener.

use std::io;
use std::process::{Command, Stdio};

/// The system's opener and what comes before the URL.
#[cfg(target_os = "macos")]
const OPENER: (&str, &[&str]) = ("open", &[]);
#[cfg(windows)]
const OPENER: (&str, &[&str]) = ("rundll32", &["url.dll,FileProtocolHandler"]);
#[cfg(not(any(target_os = "macos", windows)))]
const OPENER: (&str, &[&str]) = ("xdg-open", &[]);

/// What opens a URL, and says why not.
pub(crate) type Browser = fn(&str) -> io::Result<()>;

/// Opens a URL that this program made itself of numbers. No shell reads it.
///
/// # Errors
/// The opener cannot be started.
pub(crate) fn open(url: &str) -> io::Result<()> {
    let (program, before) = OPENER;
    let mut child = Command::new(program)
        .args(before)
        .arg(url)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|e| io::Error::new(e.kind(), format!("{program}: {e}")))?;
    // So that it does not stay behind as a process that nobody waits for.
    std::thread::spawn(move || child.wait());
    Ok(())
}
