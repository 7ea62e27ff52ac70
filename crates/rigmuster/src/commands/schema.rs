//! `schema`: prints a JSON Schema.

use crate::args::SchemaArgs;
use crate::schema::schema as describe;
use crate::{Exit, Failure};

/// Prints the schema that is wanted.
pub(super) fn schema(args: &SchemaArgs) -> Result<Exit, Failure> {
    super::print_json(&describe(args.of))?;
    Ok(Exit::Done)
}
