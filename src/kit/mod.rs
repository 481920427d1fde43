//! The adapter's firmware: a portable C core, boards, and the text that they follow.
//!
//! The sources are part of the program, so that a kit always fits the program that wrote it.

mod files;

pub use files::FILES;

/// One file of the kit.
#[derive(Clone, Copy, Debug)]
pub struct KitFile {
    /// Its place below the kit's folder, with `/` between the parts.
    pub path: &'static str,
    /// What it holds.
    pub text: &'static str,
}
