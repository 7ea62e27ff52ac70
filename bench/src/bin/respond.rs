//! Stands for a row of simple devices on one interface: answers ARP and echo, each with hardware of its own.
//!
//! usage: respond INTERFACE FIRST LAST COUNT
//!
//! On a virtual cable the sender pays for what the receiver's kernel does with a frame, so real stacks behind a bridge
//! would be measured as the sender's own cost. Prints "ready" when it listens, and ends with its input. For each line
//! of input it prints what it saw since the one before: requests, addresses asked for, hosts that answered, and the
//! milliseconds from the first request about the row to the last host's first answer.

#[cfg(target_os = "linux")]
fn main() -> std::io::Result<()> {
    rigmuster_bench::respond::main()
}

#[cfg(not(target_os = "linux"))]
fn main() {
    eprintln!("respond needs Linux");
}
