//! What changes in the file, for the sheet's preview.

use board::enroll::{Change, Preview};
use similar::{Algorithm, ChangeTag, capture_diff_slices, group_diff_ops};

/// Lines shown around each change.
const AROUND: usize = 2;

/// The lines that differ, with a few around them. Entries are unlike each other, which the method goes
/// by: thousands that are added cost little.
pub(super) fn preview(old: &str, new: &str) -> Preview {
    let (olds, news): (Vec<&str>, Vec<&str>) = (old.lines().collect(), new.lines().collect());
    let mut lines = Vec::new();
    if olds.is_empty() {
        lines.extend(news.iter().map(|line| (Change::Added, (*line).to_owned())));
        return Preview::new(lines);
    }
    let ops = capture_diff_slices(Algorithm::Patience, &olds, &news);
    let mut at = 0;
    for hunk in group_diff_ops(ops, AROUND) {
        let first = hunk.first().map_or(0, |op| op.old_range().start);
        if first > at {
            lines.push((Change::Skipped, format!("... line {}", first + 1)));
        }
        at = hunk.last().map_or(at, |op| op.old_range().end);
        for change in hunk.iter().flat_map(|op| op.iter_changes(&olds, &news)) {
            let what = match change.tag() {
                ChangeTag::Equal => Change::Kept,
                ChangeTag::Delete => Change::Gone,
                ChangeTag::Insert => Change::Added,
            };
            lines.push((what, change.value().to_owned()));
        }
    }
    Preview::new(lines)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_changes_is_shown_with_its_surroundings() {
        let old: Vec<String> = (1..=20).map(|n| format!("line {n}\n")).collect();
        let old = old.concat();
        let new = old.replace("line 10\n", "line ten\n") + "more\n";
        let (kept, gone, added) = (Change::Kept, Change::Gone, Change::Added);
        let line = |change, text: &str| (change, text.to_owned());
        assert_eq!(
            preview(&old, &new),
            Preview::new(vec![
                line(Change::Skipped, "... line 8"),
                line(kept, "line 8"),
                line(kept, "line 9"),
                line(gone, "line 10"),
                line(added, "line ten"),
                line(kept, "line 11"),
                line(kept, "line 12"),
                line(Change::Skipped, "... line 19"),
                line(kept, "line 19"),
                line(kept, "line 20"),
                line(added, "more"),
            ])
        );
        assert_eq!(
            preview("", "a\nb\n"),
            Preview::new(vec![line(added, "a"), line(added, "b")])
        );
    }

    #[test]
    fn thousands_of_entries_are_compared_quickly() {
        let entry =
            |n: u32| format!("\n[[device]]\nname = \"Device {n}\"\nrole = \"other\"\naddress = \"dhcp\"\n");
        let old: String = (0..2_500).map(entry).collect();
        let new: String = (0..5_000).map(entry).collect();
        // It would take minutes line by line against line.
        assert_ne!(preview(&old, &new), preview(&old, &old));
    }
}
