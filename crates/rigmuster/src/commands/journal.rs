//! `journal`: what happened, read back.

use std::collections::BTreeMap;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use vocab::Moment;

use super::agree::agreed;
use crate::args::JournalArgs;
use crate::journal::stats::Count;
use crate::journal::{Book, FoundLine, Line, Run, Trouble, Wanted, default_place};
use crate::report::{Paint, Record, diary};
use crate::walltime::WallTime;
use crate::{Exit, Failure};

/// Prints what is wanted of the journal, or deletes what is old.
pub(super) fn journal(args: &JournalArgs) -> Result<Exit, Failure> {
    let path = match &args.journal {
        Some(path) => path.clone(),
        None => default_place().map_err(|e| unreadable(&e))?,
    };
    if let Some(age) = args.prune {
        let before = WallTime::now().timestamp().checked_sub(age);
        let before = before
            .map_err(|_| Failure::usage("that is before all calendars\nnext step: name a lower age"))?;
        return prune(&path, before.as_millisecond(), args.yes);
    }
    let book = Book::open_to_read(&path).map_err(|e| unreadable(&e))?;
    let wanted = Wanted {
        rig: args.rig.as_deref().map(whole),
        device: args.device.clone(),
        since: args.since.map(|at| at.0),
        until: args.until.map(|at| at.0),
        kind: args.kind.clone(),
    };
    let form = match (args.json, args.csv) {
        (true, _) => Form::Json,
        (_, true) => Form::Csv,
        _ => Form::Table(Paint::of_stdout()),
    };
    let mut print = Print::new(form);
    if args.as_found {
        found(&book, &wanted, &mut print)?;
    } else if args.stats {
        stats(&book, &wanted, &mut print)?;
    } else {
        entries(&book, &wanted, &mut print)?;
    }
    print.end()?;
    Ok(Exit::Done)
}

/// A rig file that is there is known by its whole path, as the journal has it.
fn whole(rig: &str) -> String {
    let path = PathBuf::from(rig);
    match std::fs::canonicalize(&path) {
        Ok(path) if path.is_file() => path.display().to_string(),
        _ => rig.to_owned(),
    }
}

fn unreadable(trouble: &Trouble) -> Failure {
    Failure::usage(format_args!("{trouble}\nnext step: {}", trouble.step()))
}

/// Every entry, run by run.
fn entries(book: &Book, wanted: &Wanted, print: &mut Print) -> Result<(), Failure> {
    for run in book.runs(wanted).map_err(|e| unreadable(&e))? {
        let mut failed = None;
        let mut shown = None;
        let each = |line: Line| {
            let wrote = match print.form {
                Form::Table(paint) => {
                    let mut text = String::new();
                    if shown.is_none() {
                        text = print.gap() + &diary::heading(&run, paint);
                        shown = Some(run.head.began.date());
                    }
                    let date = line.wall.date();
                    if shown.as_ref() != Some(&date) {
                        text = text + &date + "\n";
                        shown = Some(date);
                    }
                    print.write(&(text + &diary::entry(&line, paint)))
                }
                Form::Json | Form::Csv => print.record(&Record::entry(&run, &line)),
            };
            match wrote {
                Ok(on) => on,
                Err(failure) => {
                    failed = Some(failure);
                    false
                }
            }
        };
        book.lines(run.id, wanted, each).map_err(|e| unreadable(&e))?;
        if let Some(failure) = failed {
            return Err(failure);
        }
    }
    if print.is_empty() && matches!(print.form, Form::Table(_)) {
        print.write("The journal has nothing of that.\n")?;
    }
    Ok(())
}

/// The figures of each device, rig by rig.
fn stats(book: &Book, wanted: &Wanted, print: &mut Print) -> Result<(), Failure> {
    let mut rigs: BTreeMap<(String, bool), (Run, Count)> = BTreeMap::new();
    // What is no device's, such as a gap in our sight, bears on the figures of each.
    let all = Wanted {
        device: None,
        ..wanted.clone()
    };
    let device = wanted.device.as_ref().map(|d| d.to_lowercase());
    for run in book.runs(wanted).map_err(|e| unreadable(&e))? {
        let key = (run.head.file.clone(), run.head.rehearsal);
        let (latest, count) = rigs.entry(key).or_insert_with(|| (run.clone(), Count::default()));
        let each = |line: Line| {
            if let (Some(device), Some(standing)) = (line.devices.first(), &line.standing) {
                count.standing(device, line.mono, standing, line.lost == Some(true));
            }
            if line.hides() {
                count.blind();
            }
            line.count_start(count);
            true
        };
        book.lines(run.id, &all, each).map_err(|e| unreadable(&e))?;
        count.run_over(last_looked_at(&run, wanted));
        *latest = run;
    }
    for (run, count) in rigs.into_values() {
        let mut figures = count.figures();
        figures.retain(|name, _| {
            device
                .as_ref()
                .is_none_or(|device| name.to_lowercase() == *device)
        });
        if figures.is_empty() {
            continue;
        }
        match print.form {
            Form::Table(paint) => {
                let text = print.gap() + &diary::figures(&run, figures.iter(), paint);
                print.write(&text)?;
            }
            Form::Json | Form::Csv => {
                for (device, figures) in &figures {
                    print.record(&Record::figures(&run, device, figures))?;
                }
            }
        }
    }
    if print.is_empty() && matches!(print.form, Form::Table(_)) {
        print.write("The journal has no outage and no start of that.\n")?;
    }
    Ok(())
}

/// The last moment of a run that is looked at: its last sign, or where the span ends.
fn last_looked_at(run: &Run, wanted: &Wanted) -> Moment {
    let beyond = wanted
        .until
        .map_or(0, |until| run.last_wall.ms.saturating_sub(until));
    let beyond = std::time::Duration::from_millis(u64::try_from(beyond).unwrap_or(0));
    run.last - beyond
}

/// Devices as they were first found, rig by rig.
fn found(book: &Book, wanted: &Wanted, print: &mut Print) -> Result<(), Failure> {
    let lines = book.found(wanted).map_err(|e| unreadable(&e))?;
    let same_rig = |a: &FoundLine, b: &FoundLine| (&a.file, a.rehearsal) == (&b.file, b.rehearsal);
    for rig in lines.chunk_by(same_rig) {
        match print.form {
            Form::Table(paint) => {
                let text = print.gap() + &diary::found(rig, paint);
                print.write(&text)?;
            }
            Form::Json | Form::Csv => {
                for line in rig {
                    print.record(&Record::found(line))?;
                }
            }
        }
    }
    if print.is_empty() && matches!(print.form, Form::Table(_)) {
        print.write("The journal has no device of that.\n")?;
    }
    Ok(())
}

/// Deletes what is older than `before`, if somebody wants it.
fn prune(path: &Path, before: i64, sure: bool) -> Result<Exit, Failure> {
    if !path.exists() {
        return Err(unreadable(&Trouble::missing(path)));
    }
    let mut book = Book::open(path).map_err(|e| unreadable(&e))?;
    let old = book.older(before).map_err(|e| unreadable(&e))?;
    if old.is_empty() {
        super::print("Nothing is that old; nothing was deleted.\n")?;
        return Ok(Exit::Done);
    }
    if !sure && !agreed(&diary::would_delete(&old), "Delete")? {
        super::print("Nothing was deleted.\n")?;
        return Ok(Exit::Done);
    }
    let old = book.prune(before).map_err(|e| unreadable(&e))?;
    super::print(&diary::deleted(&old))?;
    Ok(Exit::Done)
}

/// How it is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Table(Paint),
    Json,
    Csv,
}

/// Standard output, written as the journal is read. A reader that has gone away is no fault.
struct Print {
    out: BufWriter<io::Stdout>,
    form: Form,
    empty: bool,
}

impl Print {
    fn new(form: Form) -> Self {
        Self {
            out: BufWriter::new(io::stdout()),
            form,
            empty: true,
        }
    }

    const fn is_empty(&self) -> bool {
        self.empty
    }

    /// What stands between two parts.
    fn gap(&self) -> String {
        if self.empty {
            String::new()
        } else {
            "\n".to_owned()
        }
    }

    /// Writes; `false` when nobody reads any more.
    fn write(&mut self, text: &str) -> Result<bool, Failure> {
        self.empty = false;
        went(self.out.write_all(text.as_bytes()))
    }

    fn record(&mut self, record: &Record) -> Result<bool, Failure> {
        match self.form {
            Form::Csv if self.empty => self.write(&(record.csv_head() + &record.csv())),
            Form::Csv => self.write(&record.csv()),
            _ => self.write(&record.json()),
        }
    }

    fn end(mut self) -> Result<(), Failure> {
        went(self.out.flush()).map(|_| ())
    }
}

fn went(result: io::Result<()>) -> Result<bool, Failure> {
    match result {
        Ok(()) => Ok(true),
        Err(e) if e.kind() == io::ErrorKind::BrokenPipe => Ok(false),
        Err(e) => Err(Failure::output(&e)),
    }
}
