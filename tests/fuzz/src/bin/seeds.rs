//! Writes the inputs that each target begins from: `seeds FOLDER`, then one folder for each target in it.
#![allow(clippy::expect_used)]

use std::fs;
use std::path::PathBuf;

use rigmuster_fuzz::{TARGETS, kept};

fn main() {
    let folder = PathBuf::from(std::env::args_os().nth(1).expect("usage: seeds FOLDER"));
    for target in TARGETS {
        let folder = folder.join(target.name);
        fs::create_dir_all(&folder).expect("the folder can be made");
        for (n, seed) in (target.seeds)().into_iter().enumerate() {
            fs::write(folder.join(format!("seed-{n:04}")), seed).expect("a seed can be written");
        }
        for (name, bytes) in kept(target) {
            fs::write(folder.join(name), bytes).expect("an input can be written");
        }
        println!("{} {}", target.name, target.longest);
    }
}
