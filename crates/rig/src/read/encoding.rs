//! Bytes into text.

use std::borrow::Cow;

use super::LARGEST_FILE;
use super::faults::Faults;

/// The text of the file without a byte order mark. If it is none, the reason is reported, and what
/// comes back only serves to show the place.
pub(super) fn text<'b>(bytes: &'b [u8], faults: &mut Faults) -> Cow<'b, str> {
    if bytes.len() > LARGEST_FILE {
        faults.error(
            &(0..0),
            format!(
                "the file has {} bytes, and a rig file at most {LARGEST_FILE} (4 MiB)",
                bytes.len()
            ),
            "Check that this is the rig file and not a recording or a picture.",
        );
        return Cow::Borrowed("");
    }
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        faults.error(
            &(0..0),
            "the file is saved as UTF-16",
            "Save it again as UTF-8: the editor's \"Save as\" offers the encoding.",
        );
        return Cow::Borrowed("");
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let text = String::from_utf8_lossy(bytes);
    let broken = std::str::from_utf8(bytes).err().map(|error| error.valid_up_to());
    let zero = bytes.iter().position(|b| *b == 0);
    match (zero, broken) {
        (Some(at), _) => {
            // Places in the text agree with places in the bytes only up to the first broken byte.
            let at = broken.map_or(at, |broken| at.min(broken));
            faults.error(
                &(at..at),
                "this is no text file: it holds zero bytes",
                "Check that this is the rig file; if it should be, take it from a backup.",
            );
        }
        (None, Some(at)) => {
            let byte = bytes.get(at).copied().unwrap_or_default();
            faults.error(
                &(at..at + '\u{fffd}'.len_utf8()),
                format!("byte {} of the file (0x{byte:02x}) is not UTF-8", at + 1),
                "Save the file again as UTF-8: the editor's \"Save as\" offers the encoding.",
            );
        }
        (None, None) if text.trim().is_empty() => faults.error(
            &(0..0),
            "the file is empty",
            "Begin with format = 1, [network] and subnet = \"10.40.8.0/24\", or take the file from a backup.",
        ),
        (None, None) => {}
    }
    text
}
