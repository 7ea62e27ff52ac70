//! Bytes to typed values and back, one protocol a file. Pure; no bytes make it panic.
