//! Accepting a match: a stranger's hardware becomes that of a device, in the rig file.

use std::path::Path;

use rig::Rig;
use vocab::Mac;

use crate::files;

/// Writes `mac` into the rig file at `path` as the hardware of `device`, comments and order kept.
/// Returns the rig as it reads now.
///
/// # Errors
/// One line for the person: what was not written and why. The file then is as it was.
pub(super) fn accept(path: &Path, device: &str, mac: Mac) -> Result<Rig, String> {
    // It is read afresh: somebody may have edited it since the start.
    let mut loaded = files::load(path).map_err(|e| not_written(&e.to_string()))?;
    let rig = loaded
        .document
        .set_mac(device, mac)
        .map_err(|e| not_written(&e.to_string()))?;
    match files::save_atomic(path, loaded.document.text()) {
        // The new file is in its place.
        Ok(()) | Err(files::SaveError::Unsettled { .. }) => Ok(rig),
        Err(e) => Err(not_written(&e.to_string())),
    }
}

/// The first line of a message is enough for the foot of a screen.
fn not_written(why: &str) -> String {
    format!("Nothing was written: {}", why.lines().next().unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::scratch::Scratch;

    const FILE: &str = "# the loft\nformat = 1\ntitle = \"Sail Loft\"\n\n[network]\nsubnet = \"192.168.0.0/24\"\n\n\
                        [[device]] # over the door\nname = \"Quay\"\nrole = \"camera\"\naddress = \"192.168.0.31\"\n\n\
                        [[device]]\nname = \"Ramp\"\nrole = \"camera\"\nmac = \"02:52:43:00:06:20\"\naddress = \"192.168.0.32\"\n";
    const SPARE: Mac = Mac::new([2, 0x52, 0x43, 0, 6, 0x9f]);

    #[test]
    fn the_mac_is_written_and_comments_stay() {
        let scratch = Scratch::new();
        let path = scratch.file("loft.rig.toml", FILE);
        let rig = accept(&path, "Quay", SPARE).unwrap();
        assert_eq!(rig.device("Quay").unwrap().macs, [SPARE]);
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(text.contains("02:52:43:00:06:9f"));
        for line in FILE.lines() {
            assert!(text.contains(line), "{line} is gone from {text}");
        }
    }

    #[test]
    fn what_cannot_be_written_leaves_the_file_as_it_was() {
        let scratch = Scratch::new();
        let path = scratch.file("loft.rig.toml", FILE);
        let taken = Mac::new([2, 0x52, 0x43, 0, 6, 0x20]);
        for (device, mac) in [("Quay", taken), ("Nobody", SPARE)] {
            let why = accept(&path, device, mac).unwrap_err();
            assert!(
                why.starts_with("Nothing was written: ") && !why.contains('\n'),
                "{why}"
            );
            assert_eq!(std::fs::read_to_string(&path).unwrap(), FILE);
        }
        assert!(accept(&scratch.path().join("gone"), "Quay", SPARE).is_err());
    }
}
