//! The rig file as TOML reads it, for its JSON Schema. It is read by `rig::read`, which says more than
//! a schema can; that both have the same keys is held by a test.
#![expect(dead_code, reason = "these types are only described, never made")]

use std::borrow::Cow;
use std::collections::BTreeMap;

use rig::{AskWhen, How, Need, Reach, Role};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use vocab::ControlPort;

use crate::report::{Format, Printed, Word, ipv4};

/// A rig file, `NAME.rig.toml`: what should be on the network.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(super) struct RigFile {
    format: Format,
    title: Option<FreeText>,
    network: Main,
    networks: Option<BTreeMap<NetworkName, Beside>>,
    switch: Option<Vec<Switch>>,
    device: Option<Vec<Device>>,
    plan: Option<Plan>,
}

/// The main network.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Main {
    subnet: Subnet,
    gateway: Option<Address>,
    /// What the DHCP server hands out.
    leases: Option<Vec<Range>>,
    pace: Option<Pace>,
    /// Whether other people's hosts share it.
    shared: Option<bool>,
}

/// A network beside the main one.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Beside {
    subnet: Subnet,
    reach: Option<Word<Reach>>,
    gateway: Option<Address>,
    leases: Option<Vec<Range>>,
    pace: Option<Pace>,
    shared: Option<bool>,
}

/// How fast may be asked.
#[derive(JsonSchema)]
#[schemars(untagged)]
enum Pace {
    Named(PaceWord),
    /// Frames a second.
    PerSecond(#[schemars(range(min = 1, max = 1_488_095))] u32),
}

#[derive(JsonSchema)]
#[schemars(rename_all = "lowercase")]
enum PaceWord {
    Own,
    House,
}

/// A network switch.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Switch {
    name: Name,
    /// How many powered ports it has.
    #[schemars(range(max = 1_024))]
    ports: Option<u32>,
    /// What all its ports may give together, in watts.
    #[schemars(range(min = 0, max = 100_000))]
    budget_w: Option<f64>,
    poe_type: Option<PoeTypes>,
    #[schemars(range(min = 0, max = 800_000))]
    uplink_mbps: Option<f64>,
    uplink: Option<SwitchPort>,
    address: Option<Address>,
    mac: Option<Macs>,
    network: Option<String>,
}

/// IEEE 802.3 Types: of all ports, or by ranges of ports.
#[derive(JsonSchema)]
#[schemars(untagged)]
enum PoeTypes {
    All(PoeType),
    Ranges(BTreeMap<String, PoeType>),
}

#[derive(JsonSchema)]
struct PoeType(#[schemars(range(min = 1, max = 4))] u8);

/// A device.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Device {
    name: Name,
    role: ListedRole,
    mac: Option<Macs>,
    address: Printed<rig::AddressSpec>,
    network: Option<String>,
    how: Option<Word<How>>,
    control: Option<Vec<Printed<ControlPort>>>,
    ask: Option<Word<AskWhen>>,
    need: Option<Word<Need>>,
    sleeps: Option<bool>,
    port: Option<SwitchPort>,
    #[schemars(range(min = 0, max = 100_000))]
    cable_m: Option<f64>,
    #[schemars(range(max = 8))]
    poe_class: Option<u8>,
    #[schemars(range(min = 0, max = 100))]
    watts: Option<f64>,
    #[schemars(range(min = 0, max = 400_000))]
    stream_mbps: Option<f64>,
    boot: Option<Time>,
    login: Option<Login>,
    position: Option<FreeText>,
    note: Option<FreeText>,
    used_by: Option<Vec<FreeText>>,
    channels: Option<BTreeMap<ChannelNumber, Target>>,
}

/// What a channel points at.
#[derive(JsonSchema)]
#[schemars(untagged)]
enum Target {
    Named(String),
    By(Channel),
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Channel {
    device: String,
    control: Option<Printed<ControlPort>>,
}

/// For address planning.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Plan {
    reserved: Option<Vec<Range>>,
    blocks: Option<BTreeMap<Word<Role>, Range>>,
}

/// One hardware address, or several.
#[derive(JsonSchema)]
#[schemars(untagged)]
enum Macs {
    One(AnyMac),
    Several(Vec<AnyMac>),
}

/// A type that is a text of a certain form.
macro_rules! texts {
    ($($(#[$doc:meta])* $name:ident $description:literal $rule:expr;)*) => {
        $($(#[$doc])* struct $name(String);

        impl JsonSchema for $name {
            fn schema_name() -> Cow<'static, str> {
                stringify!($name).into()
            }

            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                let mut schema: Schema = $rule;
                schema.insert("type".into(), "string".into());
                schema.insert("description".into(), $description.into());
                schema
            }
        })*
    };
}

texts! {
    Name "The name on its label: no blank at its ends, none twice."
        json_schema!({ "minLength": 1, "maxLength": 60, "pattern": "^\\S(.*\\S)?$" });
    FreeText "Any text on one line." json_schema!({ "maxLength": 500, "pattern": "^[^\\u0000-\\u001f]*$" });
    NetworkName "What a network is called; not main." json_schema!({ "pattern": "^(?!main$)[A-Za-z0-9_-]{1,16}$" });
    ChannelNumber "The number of a channel." json_schema!({ "pattern": "^[0-9]{1,9}$" });
    Subnet "A network for hosts, /16 to /30."
        json_schema!({ "pattern": format!("^(?!0\\.|127\\.|22[4-9]\\.|2[3-5][0-9]\\.){}/(1[6-9]|2[0-9]|30)$", ipv4()) });
    Address "An IPv4 address." json_schema!({ "pattern": format!("^{}$", ipv4()) });
    AnyMac "Six pairs of hexadecimal digits, of one device."
        json_schema!({ "pattern": "^[0-9A-Fa-f][02468ACEace]([:-][0-9A-Fa-f]{2}){5}$" });
    Range "Addresses from the first to the last, such as 10.40.8.20-59; or one."
        json_schema!({ "pattern": format!("^\\s*{0}\\s*(-\\s*({0}|[0-9]{{1,3}})\\s*)?$", ipv4()) });
    SwitchPort "A switch's name, a slash and the number of the port." json_schema!({ "pattern": "^\\S.*/0*[1-9][0-9]{0,3}$" });
    Time "Seconds or minutes, such as 75s or 1m30s." json_schema!({ "pattern": "^([0-9]{1,5}m)?([0-9]{1,5}s)?$", "minLength": 2 });
    Login "The environment variable that holds user:password. Never the password itself."
        json_schema!({ "pattern": "^env:[A-Za-z_][A-Za-z0-9_]{0,99}$" });
    ListedRole "What a device is for."
        json_schema!({ "enum": Role::LISTED.map(Role::as_str) });
}
