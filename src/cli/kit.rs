//! `kit`: the adapter's firmware as sources.

use super::args::KitArgs;
use super::output::Output;
use crate::app::{KitError, write_kit};

/// Runs `kit`.
pub fn run(args: &KitArgs) -> u8 {
    let folder = args.folder.display();
    match write_kit(&args.folder) {
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
