//! Other people's traffic: so many UDP frames a second of 1,400 bytes to a multicast group, as a LAN without
//! snooping floods them.
//!
//! usage: stream INTERFACE RATE SECONDS

#[cfg(target_os = "linux")]
fn main() -> std::io::Result<()> {
    rigmuster_bench::stream::main()
}

#[cfg(not(target_os = "linux"))]
fn main() {
    eprintln!("stream needs Linux");
}
