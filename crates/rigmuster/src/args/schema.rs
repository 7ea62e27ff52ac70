//! The arguments of `schema`.

use clap::Args;

use crate::schema::Of;

/// Which schema.
#[derive(Debug, Args)]
pub struct SchemaArgs {
    /// What it describes
    #[arg(value_name = "NAME", default_value = "rig")]
    pub of: Of,
}
