//! The schemas and the program have the same keys and words.

use std::collections::BTreeSet;

use clap::ValueEnum;
use serde_json::Value;

use super::*;

/// The keys of the object at a pointer of the rig file's schema.
fn keys(schema: &Value, at: &str) -> BTreeSet<String> {
    let all = schema.pointer(at).and_then(|at| at.get("properties"));
    let all = all
        .and_then(Value::as_object)
        .unwrap_or_else(|| panic!("no {at} in {schema:#}"));
    all.keys().cloned().collect()
}

#[test]
fn the_rig_files_schema_has_the_readers_keys_and_no_others() {
    let schema = schema(Of::Rig).to_value();
    for (table, at) in [
        ("the file", ""),
        ("[network]", "/$defs/Main"),
        ("[networks.NAME]", "/$defs/Beside"),
        ("[[switch]]", "/$defs/Switch"),
        ("[[device]]", "/$defs/Device"),
        ("a channel", "/$defs/Channel"),
        ("[plan]", "/$defs/Plan"),
    ] {
        let read: BTreeSet<String> = rig::keys_of(table).iter().map(ToString::to_string).collect();
        assert!(!read.is_empty(), "{table}");
        assert_eq!(keys(&schema, at), read, "{table}");
    }
}

#[test]
fn every_schema_is_closed_and_names_its_edition() {
    for of in Of::value_variants() {
        let schema = schema(*of).to_value();
        assert_eq!(
            schema["$schema"], "https://json-schema.org/draft/2020-12/schema",
            "{of:?}"
        );
        assert_eq!(schema["additionalProperties"], false, "{of:?}");
        assert!(
            schema["required"].as_array().is_some_and(|r| !r.is_empty()),
            "{of:?}"
        );
    }
    let words = &schema(Of::Check).to_value()["$defs"]["FindingKind"]["enum"];
    assert_eq!(
        words.as_array().map(Vec::len),
        Some(ledger::FindingKind::ALL.len())
    );
}
