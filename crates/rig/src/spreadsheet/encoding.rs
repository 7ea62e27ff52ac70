//! Bytes into the text of a spreadsheet, or why they are none.

/// The text without a byte order mark; else what is wrong and how to mend it.
pub(super) fn text(bytes: &[u8]) -> Result<&str, (String, &'static str)> {
    const AS_CSV: &str = "In the spreadsheet program choose \"Save as\", then CSV, with UTF-8 as its encoding (\"CSV UTF-8\").";
    if bytes.len() > crate::LARGEST_FILE {
        let message = format!(
            "the file has {} bytes, and a spreadsheet at most {} (4 MiB)",
            bytes.len(),
            crate::LARGEST_FILE
        );
        return Err((
            message,
            "Check that it is the list of devices, and leave out what is not.",
        ));
    }
    let refused = |message: &str, mend| Err((message.to_owned(), mend));
    match bytes {
        [0xff, 0xfe, ..] | [0xfe, 0xff, ..] => return refused("the file is saved as UTF-16", AS_CSV),
        // The first bytes of a zip archive, which the usual programs pack their own files in, and of
        // the older compound file (both from memory).
        [b'P', b'K', 3, 4, ..] | [0xd0, 0xcf, 0x11, 0xe0, ..] => {
            return refused("this is a spreadsheet program's own file, not CSV", AS_CSV);
        }
        _ => {}
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    if bytes.contains(&0) {
        return refused("this is no text file: it holds zero bytes", AS_CSV);
    }
    match std::str::from_utf8(bytes) {
        Ok(text) if text.trim_matches([' ', '\t', '\r', '\n', ',', ';']).is_empty() => refused(
            "the spreadsheet is empty",
            "Write the headings in its first line, such as name, role, mac and address, and a device in each line below.",
        ),
        Ok(text) => Ok(text),
        Err(error) => {
            let at = error.valid_up_to();
            let line = bytes[..at].split(|b| *b == b'\n').count();
            let byte = bytes.get(at).copied().unwrap_or_default();
            Err((
                format!(
                    "line {line} holds a byte (0x{byte:02x}) that is not UTF-8, as in a file saved in an older encoding"
                ),
                AS_CSV,
            ))
        }
    }
}
