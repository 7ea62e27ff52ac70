//! How long this process was at work.

use std::time::Duration;

/// The time that this process has had on a core, so that what else the machine does meanwhile is not counted.
#[cfg(target_os = "linux")]
pub fn spent() -> Duration {
    nix::time::clock_gettime(nix::time::ClockId::CLOCK_PROCESS_CPUTIME_ID)
        .map_or(Duration::ZERO, Duration::from)
}

/// The time since the first call: elsewhere nothing better is at hand.
#[cfg(not(target_os = "linux"))]
pub fn spent() -> Duration {
    static START: std::sync::OnceLock<std::time::Instant> = std::sync::OnceLock::new();
    START.get_or_init(std::time::Instant::now).elapsed()
}
