//! The change of the rig file, as `patch` reads it.

use std::fmt::Write as _;
use std::ops::Range;

use similar::udiff::UnifiedHunkHeader;
use similar::{Algorithm, ChangeTag, DiffOp, capture_diff_slices, group_diff_ops};

/// Lines shown around each change.
const AROUND: usize = 3;

/// A unified diff from `old` to `new`; empty if they are the same.
///
/// A plan takes no table out and changes no order, so both are compared table by table: thousands of
/// changed lines of a large rig would take seconds otherwise. Where that were not so, the diff would be
/// longer than it must be, and right.
pub(crate) fn diff(file: &str, old: &str, new: &str) -> String {
    if old == new {
        return String::new();
    }
    let old: Vec<&str> = old.split_inclusive('\n').collect();
    let new: Vec<&str> = new.split_inclusive('\n').collect();
    let (olds, news) = (tables(&old), tables(&new));
    let mut ops: Vec<DiffOp> = Vec::new();
    for n in 0..olds.len().max(news.len()) {
        let from = olds.get(n).cloned().unwrap_or(old.len()..old.len());
        let to = news.get(n).cloned().unwrap_or(new.len()..new.len());
        for op in capture_diff_slices(Algorithm::Myers, &old[from.clone()], &new[to.clone()]) {
            push(&mut ops, moved(op, from.start, to.start));
        }
    }
    let mut out = format!("--- {file}\n+++ {file}\n");
    for hunk in group_diff_ops(ops, AROUND) {
        let _ = writeln!(out, "{}", UnifiedHunkHeader::new(&hunk));
        for change in hunk.iter().flat_map(|op| op.iter_changes(&old, &new)) {
            let mark = match change.tag() {
                ChangeTag::Equal => ' ',
                ChangeTag::Delete => '-',
                ChangeTag::Insert => '+',
            };
            let line = change.value();
            let _ = write!(out, "{mark}{line}");
            if !line.ends_with('\n') {
                out.push_str("\n\\ No newline at end of file\n");
            }
        }
    }
    out
}

/// Where each table begins and ends; what stands before the first is one as well.
fn tables(lines: &[&str]) -> Vec<Range<usize>> {
    let heads = (0..lines.len()).filter(|n| *n > 0 && lines[*n].starts_with('['));
    let starts: Vec<usize> = std::iter::once(0).chain(heads).collect();
    let ends = starts.iter().skip(1).copied().chain([lines.len()]);
    starts
        .iter()
        .copied()
        .zip(ends)
        .map(|(from, to)| from..to)
        .collect()
}

/// The same change so many lines further on.
fn moved(mut op: DiffOp, old: usize, new: usize) -> DiffOp {
    match &mut op {
        DiffOp::Equal {
            old_index, new_index, ..
        }
        | DiffOp::Delete {
            old_index, new_index, ..
        }
        | DiffOp::Insert {
            old_index, new_index, ..
        }
        | DiffOp::Replace {
            old_index, new_index, ..
        } => {
            *old_index += old;
            *new_index += new;
        }
    }
    op
}

/// Adds a change; equal lines that follow on equal lines become one piece.
fn push(ops: &mut Vec<DiffOp>, op: DiffOp) {
    if let (Some(DiffOp::Equal { len, .. }), DiffOp::Equal { len: more, .. }) = (ops.last_mut(), op) {
        *len += more;
    } else {
        ops.push(op);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use similar::TextDiff;

    /// What comes of applying the hunks, which is what `patch` does.
    fn patched(old: &str, diff: &str) -> String {
        let old: Vec<&str> = old.split_inclusive('\n').collect();
        let mut out = String::new();
        let mut at = 0;
        let mut lines = diff.split_inclusive('\n').skip(2).peekable();
        while let Some(line) = lines.next() {
            if let Some(head) = line.strip_prefix("@@ -") {
                let from = head.split([',', ' ']).next().unwrap().parse::<usize>().unwrap();
                // A hunk without old lines names the line that it comes after.
                let empty = head.split(' ').next().unwrap().ends_with(",0");
                let from = if empty { from } else { from - 1 };
                out.push_str(&old[at..from].concat());
                at = from;
                continue;
            }
            let unended = lines.peek().is_some_and(|next| next.starts_with('\\'));
            let (mark, text) = line.split_at(1);
            let text = if unended {
                text.trim_end_matches('\n')
            } else {
                text
            };
            match mark {
                " " => {
                    assert_eq!(old[at], text);
                    out.push_str(text);
                    at += 1;
                }
                "-" => {
                    assert_eq!(old[at], text);
                    at += 1;
                }
                "+" => out.push_str(text),
                _ => {}
            }
        }
        out + &old[at..].concat()
    }

    #[test]
    fn a_small_change_is_a_small_hunk_as_the_library_makes_it() {
        let old = "a\nb\nc\nd\n[[device]]\nx = 1\ny = 2\nz = 3\nw = 4\n[plan]\n";
        let new = old.replace("y = 2", "y = 3");
        let whole = TextDiff::from_lines(old, &new)
            .unified_diff()
            .header("f", "f")
            .to_string();
        assert_eq!(diff("f", old, &new), whole);
        assert_eq!(diff("f", old, old), "");
    }

    proptest! {
        #[test]
        fn the_diff_leads_from_one_to_the_other(
            old in "(\\[a\\]\n|[ab] = [12]\n|\n){0,12}(x = 1)?",
            new in "(\\[a\\]\n|[ab] = [12]\n|\n){0,12}(x = 1)?",
        ) {
            let change = diff("f", &old, &new);
            if old != new {
                prop_assert_eq!(patched(&old, &change), new, "{}", change);
            }
        }
    }
}
