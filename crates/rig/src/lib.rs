//! The rig file: what should be on the network, as text and as a model. Pure.

mod model;

pub use model::{
    AddressSpec, AskWhen, Channel, Device, How, Need, Network, Plan, PoeType, PoeTypes, Power, Rig, Role,
    Switch, SwitchPort,
};
