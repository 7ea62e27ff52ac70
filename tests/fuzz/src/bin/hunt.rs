//! The long run of one target, guided by coverage: `RIGMUSTER_FUZZ_TARGET` names it, the rest is libFuzzer's.
//!
//! Made and started by `tests/fuzz/run`.
#![no_main]
#![allow(clippy::expect_used)]

use std::sync::LazyLock;

use rigmuster_fuzz::{Target, target};

static CHOSEN: LazyLock<&'static Target> = LazyLock::new(|| {
    let name = std::env::var("RIGMUSTER_FUZZ_TARGET").expect("RIGMUSTER_FUZZ_TARGET names a target");
    target(&name).expect("there is a target of that name")
});

libfuzzer_sys::fuzz_target!(|data: &[u8]| (CHOSEN.run)(data));
