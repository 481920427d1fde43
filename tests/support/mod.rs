//! What several tests share: outside tools, and the flash models they bring.

#![allow(dead_code, reason = "every test crate uses its own part of this")]

pub mod avr;
pub mod firmware;
pub mod fitted;
pub mod kit;
pub mod plugged;
pub mod process;
pub mod qemu;
mod qmp;
mod qtest;
pub mod rig;
pub mod served;
pub mod stepped;

use std::env;
use std::io::{Write, stderr};
use std::path::Path;
use std::thread;

/// True if `name` is there: a command on PATH, or a file where `name` is an absolute path.
pub fn is_here(name: &str) -> bool {
    if Path::new(name).is_absolute() {
        return Path::new(name).is_file();
    }
    let path = env::var_os("PATH").unwrap_or_default();
    env::split_paths(&path).any(|dir| dir.join(name).is_file())
}

/// The sentence that says what is missing and how to get it.
pub fn how_to_get(name: &str, debian_package: &str) -> String {
    format!(
        "{name} is missing; it comes with the Debian package {debian_package} \
         (apt-get install --no-install-recommends {debian_package}, or run tests/run as root)"
    )
}

/// True if the outside tool `name` is there; a test returns at once where it is not.
///
/// A missing tool is a failure where CI=true, so that no check is lost unseen. Elsewhere the test
/// is left out, and standard error says so.
pub fn outside_tool(name: &str, debian_package: &str) -> bool {
    if is_here(name) {
        return true;
    }
    let sentence = how_to_get(name, debian_package);
    assert!(env::var_os("CI").is_none_or(|ci| ci != "true"), "{sentence}");
    let thread = thread::current();
    let line = format!("LEFT OUT: {}: {sentence}\n", thread.name().unwrap_or("a test"));
    // Not `eprintln!`: the test harness keeps what a passing test prints, and this must be seen.
    // Where standard error is closed there is nobody to tell.
    let _ = stderr().write_all(line.as_bytes());
    false
}

/// True if the long tests are wanted too (`tests/run --long`).
pub fn long() -> bool {
    env::var_os("BUSWRIGHT_LONG").is_some_and(|value| value == "1")
}
