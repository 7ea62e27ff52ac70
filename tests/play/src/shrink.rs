//! Makes a course that fails as short as it goes.

use vocab::Level;

use crate::course::{Act, Course};
use crate::round::{Outcome, play};

/// At most so many shorter ones are tried.
const TRIES: usize = 120;

/// The shortest course found that fails still, and what comes of it.
pub fn shrink(course: &Course) -> (Course, Outcome) {
    let mut best = course.clone();
    let mut outcome = play(&best);
    let mut tries = 0;
    let fails = |shorter: &Course, tries: &mut usize| {
        *tries += 1;
        Some(play(shorter)).filter(|outcome| !outcome.wrong.is_empty())
    };
    // From the last on, so that what is left keeps its place.
    let mut n = best.acts.len() + best.faults.len() + best.listed.len();
    while n > 0 && tries < TRIES {
        n -= 1;
        let mut shorter = best.clone();
        let (acts, faults) = (shorter.acts.len(), shorter.faults.len());
        if n >= acts + faults {
            without_device(&mut shorter, n - acts - faults);
        } else if n >= acts {
            shorter.faults.remove(n - acts);
        } else if matches!(shorter.acts[n].1, Act::Level(Level::All)) {
            // Whoever watches only is not to do so for ever.
            continue;
        } else {
            shorter.acts.remove(n);
        }
        if let Some(still) = fails(&shorter, &mut tries) {
            (best, outcome) = (shorter, still);
        }
    }
    (best, outcome)
}

/// Takes a device off the file; what stands there is a stranger from then on.
fn without_device(course: &mut Course, place: usize) {
    course.listed.remove(place);
    for listed in &mut course.listed {
        listed.channels.retain(|n| *n != place);
        for n in &mut listed.channels {
            *n -= usize::from(*n > place);
        }
    }
}
