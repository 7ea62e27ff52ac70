//! The file room: finds, reads and saves rig files.
//!
//! Reading is bounded and refuses what is no regular file before it is opened, so that neither a
//! recording nor a device file can hang the program. Saving is all or nothing ([`save_atomic`]).

mod find;
mod load;
mod read;
mod save;
mod saved;
mod venue;

pub use find::{FindError, find_default};
pub use load::{LoadError, Loaded, load};
pub use read::{Kind, ReadError, Why, read_bounded};
pub use save::{SaveError, save_atomic};
pub(crate) use saved::{load_if_saved, load_saved, of_bytes as saved_of_bytes};
pub(crate) use venue::load_venue;

#[cfg(test)]
pub(crate) mod scratch {
    //! A folder for one test.

    use std::path::{Path, PathBuf};
    use std::sync::atomic::{AtomicU32, Ordering};

    /// A new empty folder that goes away when it is dropped.
    pub(crate) struct Scratch(PathBuf);

    impl Scratch {
        pub(crate) fn new() -> Self {
            static NEXT: AtomicU32 = AtomicU32::new(0);
            loop {
                let n = NEXT.fetch_add(1, Ordering::Relaxed);
                let path = std::env::temp_dir().join(format!("rigmuster-test-{}-{n}", std::process::id()));
                match std::fs::create_dir(&path) {
                    Ok(()) => return Self(path),
                    Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {}
                    Err(error) => panic!("no folder for the test: {error}"),
                }
            }
        }

        pub(crate) fn path(&self) -> &Path {
            &self.0
        }

        /// Writes a file and gives its path.
        pub(crate) fn file(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
            let path = self.0.join(name);
            std::fs::write(&path, bytes).unwrap();
            path
        }

        /// The names in the folder, sorted.
        pub(crate) fn names(&self) -> Vec<String> {
            let mut names: Vec<String> = std::fs::read_dir(&self.0)
                .unwrap()
                .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
                .collect();
            names.sort();
            names
        }
    }

    impl Drop for Scratch {
        fn drop(&mut self) {
            // What cannot be removed is left to the system's own tidying.
            let _ = std::fs::remove_dir_all(&self.0);
        }
    }
}
