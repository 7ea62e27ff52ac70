//! `sheet`: what the crew needs in the hand, from the rig file, a saved check and the journal.

use std::io::{self, Write};
use std::path::Path;

use jiff::ZonedDateTime;
use rig::sheet::{self, AsFound, Checked, Kind, Sheet, Walked};
use rig::{Rig, spreadsheet};

use super::agree::agreed;
use crate::args::{SheetArgs, SheetForm, SheetPart};
use crate::files::{SaveError, load_if_saved, save_atomic};
use crate::journal::{Book, FoundLine, Trouble, Wanted, default_place, walked as journal_walked};
use crate::report::{SheetReport, file_name, plain};
use crate::settings::Expected;
use crate::walltime::WallTime;
use crate::{Exit, Failure};

/// Writes the sheets that are wanted.
pub(super) fn sheet(args: &SheetArgs) -> Result<Exit, Failure> {
    let kinds = kinds(args)?;
    let (rig, expected) = Expected::on_paper(&args.rig)?;
    super::print_warnings(&expected.warnings);
    let file = expected.file.clone().unwrap_or_default();
    if let Some(to) = &args.to {
        let sources = [
            expected.path.as_deref(),
            args.from.as_deref(),
            args.journal.as_deref(),
        ];
        spare(to, &sources)?;
    }
    let now = WallTime::now();
    let mut parts = Vec::new();
    for kind in kinds {
        parts.push(match kind {
            Kind::Patch => sheet::patch(&rig),
            Kind::Channels => sheet::channels(&rig),
            Kind::HandOver => sheet::handover(&rig, &found(args, &rig, &expected)?),
            Kind::SignOff => {
                let walked = walked(args, &rig, &expected)?;
                sheet::sign_off(&rig, &checked(args, &now)?, &walked)
            }
        });
    }
    let sheet = Sheet {
        title: if rig.title.is_empty() {
            file.clone()
        } else {
            rig.title.clone()
        },
        origin: format!(
            "{}, printed {} by rigmuster {}",
            file_name(&file),
            now.strftime("%Y-%m-%d %H:%M"),
            env!("CARGO_PKG_VERSION")
        ),
        parts,
    };
    tell(&sheet);
    let text = match args.form {
        SheetForm::Md => sheet::markdown(&sheet),
        SheetForm::Html => sheet::html(&sheet),
        SheetForm::Csv => spreadsheet::write(&rig),
        SheetForm::Json => {
            let made_at = now.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string();
            super::json(&SheetReport::new(&sheet, &rig.title, &file, made_at))?
        }
    };
    match &args.to {
        None => super::print(&text)?,
        Some(to) => save(to, &text, args.yes)?,
    }
    Ok(Exit::Done)
}

/// The parts that are wanted, in the order in which they are needed.
fn kinds(args: &SheetArgs) -> Result<Vec<Kind>, Failure> {
    if args.form == SheetForm::Csv {
        if !args.only.is_empty() || args.from.is_some() {
            return Err(Failure::usage(
                "a spreadsheet is always of the whole rig\nnext step: leave --only and --from out, or take --as json",
            ));
        }
        // It has no parts of its own; what is risky about its channels is told beside it.
        return Ok(vec![Kind::Channels]);
    }
    let usual = match args.from {
        Some(_) => vec![SheetPart::Signoff],
        None => vec![SheetPart::Patch, SheetPart::Channels, SheetPart::Handover],
    };
    let wanted = if args.only.is_empty() {
        usual
    } else {
        args.only.clone()
    };
    let signs = wanted.contains(&SheetPart::Signoff);
    if signs && args.from.is_none() {
        return Err(Failure::usage(
            "a sign-off is of a check that was saved\n\
             next step: rigmuster check RIG --json > check.json, then rigmuster sheet RIG --from check.json",
        ));
    }
    if !signs && args.from.is_some() {
        return Err(Failure::usage(
            "--from is for the sign-off alone\nnext step: leave it out, or add signoff to --only",
        ));
    }
    let mut kinds: Vec<Kind> = wanted.into_iter().map(SheetPart::kind).collect();
    kinds.sort_by_key(|kind| (*kind != Kind::SignOff, *kind));
    kinds.dedup();
    Ok(kinds)
}

/// Tells the warnings on standard error; they stand on the sheet too.
fn tell(sheet: &Sheet) {
    let mut err = io::stderr().lock();
    for warning in sheet.warnings() {
        let _ = writeln!(
            err,
            "warning: {}\n  next: {}",
            plain(&warning.text),
            plain(&warning.next)
        );
    }
}

/// The check that is to be signed, now.
fn checked(args: &SheetArgs, now: &ZonedDateTime) -> Result<Checked, Failure> {
    let Some(path) = &args.from else {
        return Err(Failure::fault("a sign-off without a check"));
    };
    let none = || {
        Failure::usage(format_args!(
            "{} is no saved check\nnext step: make one with rigmuster check RIG --json > check.json, and name that file",
            shown(path)
        ))
    };
    let report = load_if_saved(path).map_err(Failure::usage)?.ok_or_else(none)?;
    report.checked(now).ok_or_else(none)
}

/// How the devices of this rig were first found, by the journal.
fn found(args: &SheetArgs, rig: &Rig, expected: &Expected) -> Result<Vec<AsFound>, Failure> {
    let lines = match &args.journal {
        Some(path) => lines(path, rig, expected)
            .map_err(|trouble| Failure::usage(format_args!("{trouble}\nnext step: {}", trouble.step())))?,
        None => match default_place() {
            Ok(path) if path.exists() => lines(&path, rig, expected).unwrap_or_else(|trouble| {
                // The sheet has room to write by hand.
                let _ = writeln!(io::stderr(), "warning: {trouble}\n  next: {}", trouble.step());
                Vec::new()
            }),
            _ => Vec::new(),
        },
    };
    // What was found in a rehearsal is only for who names its journal.
    let named = args.journal.is_some();
    let lines = lines.into_iter().filter(|line| named || !line.rehearsal);
    Ok(lines.map(as_found).collect())
}

/// What the journal says of the channels that were walked.
fn walked(args: &SheetArgs, rig: &Rig, expected: &Expected) -> Result<Vec<Walked>, Failure> {
    let past = |path: &Path| journal_walked(path, rig, expected.path.as_deref(), args.journal.is_some());
    match &args.journal {
        Some(path) => past(path)
            .map_err(|trouble| Failure::usage(format_args!("{trouble}\nnext step: {}", trouble.step()))),
        None => Ok(match default_place() {
            Ok(path) if path.exists() => past(&path).unwrap_or_else(|trouble| {
                // The sheet says then that nobody walked them.
                let _ = writeln!(io::stderr(), "warning: {trouble}\n  next: {}", trouble.step());
                Vec::new()
            }),
            _ => Vec::new(),
        }),
    }
}

/// By the rig file's whole path, or where the journal has none of that, by the rig's title.
fn lines(journal: &Path, rig: &Rig, expected: &Expected) -> Result<Vec<FoundLine>, Trouble> {
    let book = Book::open_to_read(journal)?;
    let of = |rig: String| {
        book.found(&Wanted {
            rig: Some(rig),
            ..Wanted::default()
        })
    };
    let path = expected.path.as_deref();
    let whole = path.and_then(|path| std::fs::canonicalize(path).ok());
    if let Some(whole) = whole {
        let lines = of(whole.display().to_string())?;
        if !lines.is_empty() {
            return Ok(lines);
        }
    }
    if rig.title.is_empty() {
        return Ok(Vec::new());
    }
    of(rig.title.clone())
}

fn as_found(line: FoundLine) -> AsFound {
    let mark = if line.rehearsal { " (rehearsal)" } else { "" };
    AsFound {
        when: format!("{}{mark}", line.wall.minute()),
        mac: line.mac.and_then(|mac| mac.parse().ok()),
        device: line.device,
        address: line.address,
        mask: line.mask,
        dhcp: line.dhcp,
    }
}

/// Refuses to write over what the sheet is made from.
fn spare(to: &Path, sources: &[Option<&Path>]) -> Result<(), Failure> {
    let Ok(target) = std::fs::canonicalize(to) else {
        return Ok(());
    };
    let same = |source: &Path| std::fs::canonicalize(source).is_ok_and(|source| source == target);
    if sources.iter().flatten().any(|source| same(source)) {
        return Err(Failure::usage(format_args!(
            "{} is what the sheet is made from\nnext step: name another file for it",
            shown(to)
        )));
    }
    Ok(())
}

fn save(to: &Path, text: &str, sure: bool) -> Result<(), Failure> {
    let matter = || format!("there is a file {} already", shown(to));
    if to.exists() && !sure && !agreed(&matter(), "Overwrite it")? {
        return Err(Failure::usage(
            "nothing was written\nnext step: name another file",
        ));
    }
    match save_atomic(to, text) {
        Ok(()) => {}
        Err(unsettled @ SaveError::Unsettled { .. }) => {
            let _ = writeln!(io::stderr(), "warning: {unsettled}");
        }
        Err(e) => return Err(Failure::usage(e)),
    }
    let _ = writeln!(io::stderr(), "Written: {}", shown(to));
    Ok(())
}

fn shown(path: &Path) -> String {
    plain(&path.display().to_string())
}
