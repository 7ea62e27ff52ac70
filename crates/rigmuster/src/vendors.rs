//! The registries of hardware prefixes: the table that is shipped, and a newer one of the system.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::time::UNIX_EPOCH;

use ledger::Vendors;

/// Made by assets/make-vendors.py, which tells where it comes from.
static SHIPPED: &[u8] = include_bytes!("../../../assets/vendors.txt");

/// Where Debian's package ieee-data keeps its copies; the first is the one that its update renews.
const PLACES: [&str; 2] = ["/var/lib/ieee-data", "/usr/share/ieee-data"];
/// The registries' files and how many digits their prefixes have.
const FILES: [(&str, usize); 3] = [("oui.csv", 6), ("mam.csv", 7), ("oui36.csv", 9)];
/// No more is read of one file: five times the size of the largest today.
const LARGEST: u64 = 16 << 20;
/// What the registry writes where it tells no maker.
const NOBODY: [&str; 2] = ["private", "ieee registration authority"];

/// The table that is shipped with the program.
pub(crate) const fn shipped() -> Vendors {
    Vendors::new(Cow::Borrowed(SHIPPED))
}

/// The system's own table, if it has a newer one that can be read. Waits for the disk.
pub(crate) fn newer() -> Option<Vendors> {
    newest_after(shipped().dated()?, PLACES.map(Path::new))
}

/// The newest of the copies in `places`, if it is newer than `known` and can be read.
fn newest_after<const N: usize>(known: u64, places: [&Path; N]) -> Option<Vendors> {
    places
        .into_iter()
        .filter_map(|place| Some((dated(place)?, place)))
        .filter(|(date, _)| *date > known)
        .max_by_key(|(date, _)| *date)
        .and_then(|(date, place)| read(place, date))
}

/// When the copy in `place` was made: as it says itself, else when its first file was written.
fn dated(place: &Path) -> Option<u64> {
    let mut text = String::new();
    let said = File::open(place.join(".lastupdate"))
        .and_then(|file| file.take(64).read_to_string(&mut text))
        .ok()
        .and_then(|_| text.trim().parse().ok());
    said.or_else(|| {
        let written = place.join(FILES[0].0).metadata().ok()?.modified().ok()?;
        Some(written.duration_since(UNIX_EPOCH).ok()?.as_secs())
    })
}

/// Makes the table of the three CSV files in `place`. `None` unless all can be read to the end and
/// look like what they should be: half a registry would make every name in it doubtful.
fn read(place: &Path, date: u64) -> Option<Vendors> {
    let mut names: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (file, digits) in FILES {
        let file = File::open(place.join(file)).ok()?;
        if !file.metadata().ok()?.is_file() || file.metadata().ok()?.len() > LARGEST {
            return None;
        }
        registry(file.take(LARGEST), digits, &mut names)?;
    }
    let mut table = format!("# {date} {}\n", place.display());
    for (prefix, all) in names {
        table.extend([prefix.as_str(), "\t", &all.join(" / "), "\n"]);
    }
    Some(Vendors::new(Cow::Owned(table.into_bytes())))
}

/// Adds the rows of one registry, whose prefixes have so many digits. `None` unless every row looks like
/// what it should be, and there is one.
pub(crate) fn registry(
    rows: impl Read,
    digits: usize,
    names: &mut BTreeMap<String, Vec<String>>,
) -> Option<()> {
    let mut rows = csv::Reader::from_reader(rows);
    let mut any = false;
    for row in rows.byte_records() {
        let row = row.ok()?;
        let prefix = String::from_utf8_lossy(row.get(1)?).trim().to_ascii_uppercase();
        if prefix.len() != digits || !prefix.bytes().all(|b| b.is_ascii_hexdigit()) {
            return None;
        }
        let name = String::from_utf8_lossy(row.get(2)?);
        let name = name.split_whitespace().collect::<Vec<_>>().join(" ");
        let known = names.entry(prefix).or_default();
        if !NOBODY.contains(&name.to_lowercase().as_str()) && !known.contains(&name) {
            known.push(name);
        }
        any = true;
    }
    any.then_some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::scratch::Scratch;

    const HEAD: &str = "Registry,Assignment,Organization Name,Organization Address\n";

    fn copy(rows: [&str; 3]) -> Scratch {
        let scratch = Scratch::new();
        for ((file, _), rows) in FILES.iter().zip(rows) {
            scratch.file(file, format!("{HEAD}{rows}"));
        }
        scratch
    }

    fn maker(vendors: &Vendors, mac: &str) -> Option<String> {
        vendors.maker(mac.parse().unwrap()).map(|t| t.to_string())
    }

    #[test]
    fn a_copy_of_the_system_is_read_as_the_script_reads_it() {
        let copy = copy([
            "MA-L,00005E,\"Ropewalk  Works, Ltd.\",Quay 1\nMA-L,00005C,IEEE Registration Authority,\n\
             MA-L,00005E,Net Loft,Quay 2\n",
            "MA-M,00005C1,Private,\n",
            "MA-S,00005c200,\"Say \"\"ah\"\"\",\n",
        ]);
        let vendors = read(copy.path(), 1_700_000_000).unwrap();
        assert_eq!(vendors.dated(), Some(1_700_000_000));
        assert_eq!(
            maker(&vendors, "00:00:5e:00:53:01").unwrap(),
            "Ropewalk Works, Ltd. / Net Loft"
        );
        assert_eq!(maker(&vendors, "00:00:5c:10:00:00"), None);
        assert_eq!(maker(&vendors, "00:00:5c:20:00:01").unwrap(), "Say \"ah\"");
        assert_eq!(maker(&vendors, "00:00:5c:70:00:01"), None);
    }

    #[test]
    fn half_a_registry_is_none() {
        assert!(read(copy(["MA-L,00005E,A,\n", "MA-M,00005C1,B,\n", ""]).path(), 1).is_none());
        assert!(
            read(
                copy(["MA-L,00005E,A,\n", "MA-M,00005C,B,\n", "MA-S,00005C200,C,\n"]).path(),
                1
            )
            .is_none()
        );
        assert!(read(copy(["<html>\n", "x\n", "y\n"]).path(), 1).is_none());
        assert!(read(Scratch::new().path(), 1).is_none());
    }

    #[test]
    fn the_date_is_what_the_copy_says_else_when_it_was_written() {
        let copy = copy(["", "", ""]);
        assert!(dated(copy.path()).unwrap() > 1_600_000_000);
        copy.file(".lastupdate", "1661630937\n");
        assert_eq!(dated(copy.path()), Some(1_661_630_937));
        assert_eq!(dated(Scratch::new().path()), None);
    }

    #[test]
    fn the_newest_copy_is_taken_if_it_is_newer_than_what_is_known() {
        let says = |name: &str, date: u64| {
            let copy = copy([
                &format!("MA-L,00005E,{name},Quay 1\n"),
                "MA-M,00005C1,Private,\n",
                "MA-S,00005C200,Private,\n",
            ]);
            copy.file(".lastupdate", format!("{date}\n"));
            copy
        };
        let (older, newer) = (says("Net Loft", 1_700_000_000), says("Ropewalk", 1_700_000_001));
        let broken = copy(["<html>\n", "", ""]);
        broken.file(".lastupdate", "1700000002\n");
        let taken = |known: u64, places: [&Path; 2]| {
            let vendors = newest_after(known, places)?;
            maker(&vendors, "00:00:5e:00:53:01").map(|name| (name, vendors.dated().unwrap()))
        };
        let ropewalk = Some(("Ropewalk".to_owned(), 1_700_000_001));
        assert_eq!(taken(1_699_999_999, [older.path(), newer.path()]), ropewalk);
        assert_eq!(taken(1_699_999_999, [newer.path(), older.path()]), ropewalk);
        assert_eq!(taken(1_700_000_000, [older.path(), newer.path()]), ropewalk);
        // What is shipped is as new.
        assert_eq!(taken(1_700_000_001, [older.path(), newer.path()]), None);
        // Where there is none the one that is shipped stays.
        let nowhere = Scratch::new();
        assert_eq!(taken(1_699_999_999, [nowhere.path(), newer.path()]), ropewalk);
        assert_eq!(taken(1_699_999_999, [nowhere.path(), nowhere.path()]), None);
        assert_eq!(taken(1_699_999_999, [broken.path(), nowhere.path()]), None);
    }

    /// Two programs, the script in Python and this one, must make the same of the same files.
    #[cfg(target_os = "linux")]
    #[test]
    fn of_the_systems_copy_the_same_is_made_as_by_the_script() {
        let test = "of_the_systems_copy_the_same_is_made_as_by_the_script";
        let place = Path::new(PLACES[1]);
        let script = rigmuster_tests::top().join("assets/make-vendors.py");
        if dated(place).is_none() {
            return rigmuster_tests::skipped(test, "there is no copy of the registries (ieee-data)");
        }
        let made = std::process::Command::new("python3")
            .arg(script)
            .arg(place)
            .output();
        let Ok(made) = made else {
            return rigmuster_tests::skipped(test, "there is no python3");
        };
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        let rows = |table: &[u8]| {
            let text = String::from_utf8_lossy(table).into_owned();
            text.lines().skip(1).map(str::to_owned).collect::<Vec<_>>()
        };
        let here = read(place, 0).unwrap();
        assert!(rows(here.table()) == rows(&made.stdout), "the tables differ");
        if dated(place) == shipped().dated() {
            assert!(
                rows(here.table()) == rows(SHIPPED),
                "the shipped table is another"
            );
        }
    }
}
