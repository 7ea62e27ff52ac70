//! What the measurements need beside the program: a crowd of any size, devices that answer, a bare loop, a stream.
//! Each program's name tells which; `bench/run` starts them.

pub mod clock;
pub mod crowd;

#[cfg(target_os = "linux")]
pub mod bare;
#[cfg(target_os = "linux")]
pub mod respond;
#[cfg(target_os = "linux")]
pub mod stream;
#[cfg(target_os = "linux")]
pub mod wires;
