//! `kit`: the adapter's firmware as sources.

use super::args::KitArgs;
use super::context::Context;
use super::output::Output;
use crate::app::{KitError, write_kit};
use crate::image::one_line;
use serde_json::json;

/// Runs `kit`.
pub fn run(context: &Context, args: &KitArgs) -> u8 {
    let folder = one_line(args.folder.display());
    match write_kit(&args.folder) {
        Ok(files) if context.output.json => {
            let folder = args.folder.to_string_lossy();
            Output::json(&json!({ "event": "kit", "folder": folder, "files": files }));
            0
        }
        Ok(files) => {
            Output::line(&format!(
                "{files} files in {folder}; begin with {folder}/docs/adapter.md, build with: \
                 make -C {folder}"
            ));
            0
        }
        Err(error @ KitError::Differs(_)) => Output::fail(2, &error.to_string()),
        Err(error) => Output::fail(3, &error.to_string()),
    }
}
