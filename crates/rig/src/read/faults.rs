//! Collects what is wrong while a file is read.

use std::ops::Range;

/// How many mistakes are kept; the rest is only counted, so that a hostile file cannot fill the memory.
pub(super) const KEPT: usize = 5_000;

/// How many comparisons may be spent on suggestions in one file.
const COMPARISONS: usize = 50_000;

/// A mistake at its place in the text, before lines and columns are counted.
pub(super) struct Fault {
    pub(super) span: Range<usize>,
    pub(super) message: String,
    pub(super) mend: String,
}

/// What was found so far.
pub(super) struct Faults {
    pub(super) errors: Vec<Fault>,
    pub(super) warnings: Vec<Fault>,
    left_out: usize,
    comparisons_left: usize,
    /// Whether parts of the file could not be read at all, so that something missing may well
    /// stand there.
    pub(super) damaged: bool,
}

impl Faults {
    pub(super) fn new() -> Self {
        Self {
            errors: Vec::new(),
            warnings: Vec::new(),
            left_out: 0,
            comparisons_left: COMPARISONS,
            damaged: false,
        }
    }

    pub(super) fn error(&mut self, span: &Range<usize>, message: impl Into<String>, mend: impl Into<String>) {
        if self.errors.len() < KEPT {
            self.errors.push(Fault {
                span: span.clone(),
                message: message.into(),
                mend: mend.into(),
            });
        } else {
            self.left_out += 1;
        }
    }

    pub(super) fn warning(
        &mut self,
        span: &Range<usize>,
        message: impl Into<String>,
        mend: impl Into<String>,
    ) {
        if self.warnings.len() < KEPT {
            self.warnings.push(Fault {
                span: span.clone(),
                message: message.into(),
                mend: mend.into(),
            });
        }
    }

    /// Says at the end of the text how many mistakes were left out, if any.
    pub(super) fn close(&mut self, end: usize) {
        if self.left_out > 0 {
            self.errors.push(Fault {
                span: end..end,
                message: format!("{} more mistakes are not listed", self.left_out),
                mend: "Mend those above, then check the file again.".into(),
            });
        }
    }

    /// The candidate that `word` was most likely meant to be, if one is near enough: at most a
    /// third of its letters are wrong, missing, too many or swapped.
    pub(super) fn nearest<'c>(
        &mut self,
        word: &str,
        candidates: impl IntoIterator<Item = &'c str>,
    ) -> Option<&'c str> {
        const LONGEST: usize = 60;
        let word = word.trim().to_lowercase();
        if word.is_empty() || word.chars().count() > LONGEST {
            return None;
        }
        let allowed = (word.chars().count() / 3).max(1);
        let mut best = None;
        for candidate in candidates {
            let Some(left) = self.comparisons_left.checked_sub(1) else {
                break;
            };
            self.comparisons_left = left;
            // Lengths in bytes: a character has four at most, so this only leaves out what is hopeless.
            if candidate.len() > 4 * LONGEST + 4 * allowed {
                continue;
            }
            let candidate_low = candidate.to_lowercase();
            let mut distance = strsim::damerau_levenshtein(&word, &candidate_low);
            if candidate_low.contains('_') && word.contains('-') {
                distance = distance.min(strsim::damerau_levenshtein(
                    &word.replace('-', "_"),
                    &candidate_low,
                ));
            }
            if distance <= allowed && best.is_none_or(|(_, d)| distance < d) {
                best = Some((candidate, distance));
            }
        }
        best.map(|(candidate, _)| candidate)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_misses_are_found_and_far_ones_are_not() {
        let words = ["camera", "panel", "access-point", "stream_mbps"];
        let mut faults = Faults::new();
        assert_eq!(faults.nearest("camra", words), Some("camera"));
        assert_eq!(faults.nearest("Camera", words), Some("camera"));
        assert_eq!(faults.nearest("pnael", words), Some("panel"));
        assert_eq!(faults.nearest("stream-mbps", words), Some("stream_mbps"));
        assert_eq!(faults.nearest("kettle", words), None);
        assert_eq!(faults.nearest("", words), None);
    }

    #[test]
    fn suggestions_end_when_their_share_of_work_is_used_up() {
        let mut faults = Faults::new();
        let crowd = vec!["camera"; COMPARISONS];
        assert!(faults.nearest("camra", crowd.iter().copied()).is_some());
        assert!(faults.nearest("camra", ["camera"]).is_none());
    }

    #[test]
    fn more_mistakes_than_are_kept_are_counted() {
        let mut faults = Faults::new();
        for _ in 0..KEPT + 7 {
            faults.error(&(0..0), "x", "y");
        }
        faults.close(9);
        assert_eq!(faults.errors.len(), KEPT + 1);
        assert_eq!(
            faults.errors.last().map(|f| f.message.as_str()),
            Some("7 more mistakes are not listed")
        );
    }
}
