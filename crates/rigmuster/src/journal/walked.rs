//! What the journal says of channels that were walked, for the sign-off.

use std::path::Path;

use rig::Rig;
use rig::sheet::{Walked, walked};

use super::{Book, Run, Trouble, Wanted};

/// The results of all walks of this rig's panels, oldest first: by the rig file's whole path, or where the
/// journal has none of that, by the rig's title. What was only rehearsed counts if `rehearsed` says so.
///
/// # Errors
/// The journal cannot be read.
pub(crate) fn walked(
    journal: &Path,
    rig: &Rig,
    path: Option<&Path>,
    rehearsed: bool,
) -> Result<Vec<Walked>, Trouble> {
    let book = Book::open_to_read(journal)?;
    let whole = path.and_then(|path| std::fs::canonicalize(path).ok());
    let names = [
        whole.map(|path| path.display().to_string()),
        Some(rig.title.clone()),
    ];
    for name in names.into_iter().flatten().filter(|name| !name.is_empty()) {
        let wanted = Wanted {
            rig: Some(name),
            kind: Some("action".to_owned()),
            ..Wanted::default()
        };
        let mut all = Vec::new();
        let runs = book.runs(&wanted)?;
        for run in runs.iter().filter(|run| rehearsed || !run.head.rehearsal) {
            take(&book, run, &wanted, rig, &mut all)?;
        }
        if !all.is_empty() {
            return Ok(all);
        }
    }
    Ok(Vec::new())
}

fn take(book: &Book, run: &Run, wanted: &Wanted, rig: &Rig, all: &mut Vec<Walked>) -> Result<(), Trouble> {
    let channels = || {
        let panels = rig.devices.iter();
        panels.flat_map(|panel| panel.channels.keys().map(|number| (panel.name.as_str(), *number)))
    };
    book.lines(run.id, wanted, |line| {
        // The panel and the channel are the file's, so nothing has to be guessed from the text.
        let found = channels().find_map(|(panel, channel)| {
            let said = line.text.strip_prefix(&walked::begins(panel, channel))?;
            Some((panel, channel, said.to_owned()))
        });
        if let Some((panel, channel, said)) = found {
            let mark = if run.head.rehearsal { " (rehearsal)" } else { "" };
            all.push(Walked {
                panel: panel.to_owned(),
                channel,
                said,
                when: format!("{}{mark}", line.wall.minute()),
            });
        }
        true
    })
}
