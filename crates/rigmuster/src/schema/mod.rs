//! JSON Schemas (2020-12) of the rig file and of what the commands print as JSON, made from the types
//! that they are read and printed by.

mod rig_file;
#[cfg(test)]
mod tests;

use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema};
use serde_json::{Value, json};

use crate::report::differences::Differences;
use crate::report::records::{Entry, Figure, Found};
use crate::report::{BudgetReport, Report, SheetReport, plan};

/// What a schema is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Of {
    /// The rig file, as its TOML reads to JSON
    Rig,
    /// check --json
    Check,
    /// survey --json
    Survey,
    /// compare --json
    Compare,
    /// A line of journal --json
    Journal,
    /// A line of journal --json --stats
    JournalStats,
    /// A line of journal --json --as-found
    JournalAsFound,
    /// budget --json
    Budget,
    /// plan --json
    Plan,
    /// plan --free --json
    Free,
    /// sheet --as json
    Sheet,
}

/// The schema of `of`.
pub(crate) fn schema(of: Of) -> Schema {
    match of {
        Of::Rig => described::<rig_file::RigFile>(Direction::Read),
        Of::Check => {
            let mut schema = printed::<Report>();
            if let Some(required) = schema.get_mut("required").and_then(Value::as_array_mut) {
                required.push(json!("ready"));
            }
            schema
        }
        Of::Survey => {
            let mut schema = printed::<Report>();
            if let Some(all) = schema.get_mut("properties").and_then(Value::as_object_mut) {
                all.remove("ready");
            }
            schema
        }
        Of::Compare => printed::<Differences>(),
        Of::Journal => printed::<Entry>(),
        Of::JournalStats => printed::<Figure>(),
        Of::JournalAsFound => printed::<Found>(),
        Of::Budget => printed::<BudgetReport>(),
        Of::Plan => printed::<plan::PlanReport>(),
        Of::Free => printed::<plan::Free>(),
        Of::Sheet => printed::<SheetReport>(),
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Direction {
    Read,
    Print,
}

fn printed<T: JsonSchema>() -> Schema {
    described::<T>(Direction::Print)
}

/// What is printed has every member, those that are not known as null; in what is read they may be left out.
fn described<T: JsonSchema>(direction: Direction) -> Schema {
    let settings = SchemaSettings::draft2020_12();
    let settings = match direction {
        Direction::Read => settings
            .for_deserialize()
            .with_transform(schemars::transform::RecursiveTransform(not_null)),
        Direction::Print => settings.for_serialize(),
    };
    settings.into_generator().into_root_schema_for::<T>()
}

/// TOML has no null: what may be left out is there or not.
fn not_null(schema: &mut Schema) {
    if let Some(kinds) = schema.get_mut("type").and_then(Value::as_array_mut) {
        kinds.retain(|kind| kind != "null");
        if let [only] = kinds.as_slice() {
            let only = only.clone();
            schema.insert("type".into(), only);
        }
    }
    if let Some(any) = schema.get_mut("anyOf").and_then(Value::as_array_mut) {
        any.retain(|one| one.get("type") != Some(&json!("null")));
    }
}
