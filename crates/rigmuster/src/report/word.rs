//! Values that JSON holds as text: words of a closed set, and addresses in their one spelling. The
//! types are those of the program, so the JSON, its schema and what is read back cannot part ways.

use std::borrow::Cow;
use std::cmp::Ordering;
use std::fmt::Display;
use std::str::FromStr;

use ledger::{FindingKind, Severity, Standing};
use rig::{AddressSpec, Need, Reach, Role};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};
use vocab::{ControlPort, ControlState, ControlWord, Ipv4Net, Mac, Mode};

/// `"format": 1`: the form of the objects that this version prints and reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Format;

impl Format {
    const NUMBER: u64 = 1;
}

impl Serialize for Format {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_u64(Self::NUMBER)
    }
}

impl<'de> Deserialize<'de> for Format {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        match u64::deserialize(from)? {
            Self::NUMBER => Ok(Self),
            other => Err(de::Error::custom(format_args!(
                "it is of format {other}, and this version reads format {}",
                Self::NUMBER
            ))),
        }
    }
}

impl JsonSchema for Format {
    fn schema_name() -> Cow<'static, str> {
        "Format".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "integer", "const": Self::NUMBER })
    }
}

/// Says in a schema that every member it names must be there.
pub(crate) fn all_needed(schema: &mut Schema) {
    let names = schema.get("properties").and_then(serde_json::Value::as_object);
    let names: Vec<String> = names.into_iter().flat_map(|all| all.keys().cloned()).collect();
    schema.insert("required".into(), names.into());
}

/// A closed set of words.
pub(crate) trait Words: Copy + 'static {
    /// What the set is called in a schema.
    const NAME: &'static str;
    /// Every one of them.
    fn all() -> Vec<Self>;
    /// The word.
    fn word(self) -> &'static str;
}

macro_rules! words {
    ($($name:literal: $kind:ty = $all:expr;)*) => {
        $(impl Words for $kind {
            const NAME: &'static str = $name;

            fn all() -> Vec<Self> {
                $all.into()
            }

            fn word(self) -> &'static str {
                self.as_str()
            }
        })*
    };
}

words! {
    "Standing": Standing = Standing::ALL;
    "FindingKind": FindingKind = FindingKind::ALL;
    "Severity": Severity = Severity::ALL;
    "Role": Role = Role::ALL;
    "Need": Need = Need::ALL;
    "Reach": Reach = Reach::ALL;
    "How": rig::How = rig::How::ALL;
    "AskWhen": rig::AskWhen = rig::AskWhen::ALL;
    "Mode": Mode = Mode::ALL;
    "ControlState": ControlState = ControlState::ALL;
    "TaskKind": rig::plan::Kind = rig::plan::Kind::ALL;
    "Way": rig::plan::Way = rig::plan::Way::ALL;
}

/// One word of a set, as JSON holds it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Word<T>(pub(crate) T);

impl<T: Words + Eq> Ord for Word<T> {
    /// By the alphabet, as members of an object stand.
    fn cmp(&self, other: &Self) -> Ordering {
        self.0.word().cmp(other.0.word())
    }
}

impl<T: Words + Eq> PartialOrd for Word<T> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl<T: Words> Serialize for Word<T> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.0.word())
    }
}

impl<'de, T: Words> Deserialize<'de> for Word<T> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        let found = T::all().into_iter().find(|one| one.word() == text);
        found.map(Self).ok_or_else(|| {
            de::Error::custom(format_args!("{text:?} is no {} that this version knows", T::NAME))
        })
    }
}

impl<T: Words> JsonSchema for Word<T> {
    fn schema_name() -> Cow<'static, str> {
        T::NAME.into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let words: Vec<&str> = T::all().into_iter().map(Words::word).collect();
        json_schema!({ "type": "string", "enum": words })
    }
}

/// A value with one spelling.
pub(crate) trait Spelt: Display + FromStr {
    /// What it is called in a schema.
    const NAME: &'static str;
    /// What it looks like, as a regular expression (ECMA-262) for the whole text.
    fn pattern() -> String;
}

/// Such a value as JSON holds it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Printed<T>(pub(crate) T);

impl<T: Spelt + Eq> Ord for Printed<T> {
    /// By the alphabet, as members of an object stand.
    fn cmp(&self, other: &Self) -> Ordering {
        self.0.to_string().cmp(&other.0.to_string())
    }
}

impl<T: Spelt + Eq> PartialOrd for Printed<T> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl<T: Spelt> Serialize for Printed<T> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(&self.0)
    }
}

impl<'de, T: Spelt> Deserialize<'de> for Printed<T> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        let value = text.parse().map(Self);
        value.map_err(|_| de::Error::custom(format_args!("{text:?} is no {}", T::NAME)))
    }
}

impl<T: Spelt> JsonSchema for Printed<T> {
    fn schema_name() -> Cow<'static, str> {
        T::NAME.into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "pattern": T::pattern() })
    }
}

/// Four numbers from 0 to 255, without leading zeros.
pub(crate) fn ipv4() -> String {
    const OCTET: &str = "(25[0-5]|2[0-4][0-9]|1[0-9][0-9]|[1-9]?[0-9])";
    format!("{OCTET}(\\.{OCTET}){{3}}")
}

impl Spelt for Mac {
    const NAME: &'static str = "Mac";

    fn pattern() -> String {
        "^[0-9a-f]{2}(:[0-9a-f]{2}){5}$".into()
    }
}

impl Spelt for Ipv4Net {
    const NAME: &'static str = "Cidr";

    fn pattern() -> String {
        format!("^{}/(3[0-2]|[12]?[0-9])$", ipv4())
    }
}

impl Spelt for AddressSpec {
    const NAME: &'static str = "AddressOrWord";

    fn pattern() -> String {
        format!("^({}|dhcp|none)$", ipv4())
    }
}

impl Spelt for ControlPort {
    const NAME: &'static str = "ControlPort";

    fn pattern() -> String {
        let words: Vec<&str> = ControlWord::ALL.into_iter().map(ControlWord::as_str).collect();
        format!("^({})(:[1-9][0-9]{{0,4}})?$", words.join("|"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_and_addresses_come_back_as_they_were() {
        for kind in FindingKind::ALL {
            let text = serde_json::to_string(&Word(*kind)).unwrap();
            assert_eq!(serde_json::from_str::<Word<FindingKind>>(&text).unwrap().0, *kind);
        }
        for text in ["\"02:52:43:00:00:21\"", "\"nonsense\""] {
            let mac = serde_json::from_str::<Printed<Mac>>(text);
            assert_eq!(mac.is_ok(), !text.contains("nonsense"));
        }
        assert!(serde_json::from_str::<Word<Standing>>("\"gone\"").is_err());
        // Escapes are no hindrance.
        assert!(serde_json::from_str::<Word<Standing>>("\"\\u0070resent\"").is_ok());
    }
}
