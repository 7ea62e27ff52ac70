//! A bare loop: asks for each address of a row once by ARP, as fast as a packet socket takes it, and ends with the last
//! answer. What the program adds to this is its own.
//!
//! usage: bare INTERFACE OWN FIRST LAST COUNT

#[cfg(target_os = "linux")]
fn main() -> std::io::Result<()> {
    rigmuster_bench::bare::main()
}

#[cfg(not(target_os = "linux"))]
fn main() {
    eprintln!("bare needs Linux");
}
