//! The adapter kit as `buswright kit` writes it, built with the tools of this machine.

use super::outside_tool;
use super::process::{Process, buswright};
use std::ffi::OsStr;
use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use tempfile::TempDir;

/// An exported kit in a folder of its own.
pub struct Kit {
    folder: TempDir,
}

impl Kit {
    /// `buswright kit`; `None` where the tools that build it are missing.
    pub fn export() -> Option<Self> {
        if !outside_tool("make", "make") || !outside_tool("gcc", "gcc") {
            return None;
        }
        let folder = TempDir::new().unwrap_or_else(|error| panic!("a folder: {error}"));
        let kit = Self { folder };
        let to = kit.path();
        let ran = buswright(kit.folder.path(), [OsStr::new("kit"), to.as_os_str()]);
        ran.assert_says(0, &["make -C "]);
        Some(kit)
    }

    /// The folder that was exported into.
    pub fn path(&self) -> PathBuf {
        self.folder.path().join("kit")
    }

    /// A file beside the kit.
    pub fn beside(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// `make` with these words; what it printed.
    #[track_caller]
    pub fn make(&self, words: &[&str]) -> String {
        run(Command::new("make").arg("-C").arg(self.path()).args(words))
    }

    /// Builds a test program of tests/kit/ on the core with another board, with sanitizers.
    #[track_caller]
    pub fn program(&self, name: &str, board: &str, sources: &[&str], core: &[&str]) -> PathBuf {
        let tests = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/kit");
        let out = self.beside(name);
        let mut gcc = Command::new("gcc");
        gcc.args(["-std=c99", "-Wall", "-Wextra", "-Werror", "-O1", "-g"]);
        gcc.args(["-fsanitize=address,undefined", "-fno-sanitize-recover=all"]);
        gcc.arg("-I").arg(self.path().join("core")).arg("-I").arg(self.path().join("boards"));
        gcc.arg(format!("-DBW_BOARD=\"{board}\"")).arg("-I").arg(&tests).arg("-o").arg(&out);
        gcc.args(sources.iter().map(|source| tests.join(source)));
        gcc.args(core.iter().map(|source| self.path().join(source)));
        run(&mut gcc);
        out
    }

    /// Every C file of the core.
    pub fn core(&self) -> Vec<String> {
        let entries = fs::read_dir(self.path().join("core"));
        let entries = entries.unwrap_or_else(|error| panic!("the core: {error}"));
        let files = entries.filter_map(|entry| Some(entry.ok()?.path()));
        let files = files.filter(|file| file.extension().is_some_and(|end| end == "c"));
        let mut all: Vec<_> =
            files.filter_map(|file| Some(file.file_name()?.to_str()?.to_owned())).collect();
        all.sort();
        all.iter().map(|name| format!("core/{name}")).collect()
    }
}

/// Runs a command to its good end; both its outputs.
#[track_caller]
pub fn run(command: &mut Command) -> String {
    let out = command.output().unwrap_or_else(|error| panic!("{command:?}: {error}"));
    let said = [out.stdout, out.stderr].map(|said| String::from_utf8_lossy(&said).into_owned());
    let said = said.concat();
    assert!(out.status.success(), "{command:?} ended with {}:\n{said}", out.status);
    said
}

/// An adapter as a program on a pseudo-terminal, which ends when its standard input does.
pub struct OnPty {
    /// PORT as the program takes it.
    pub port: String,
    process: Process,
}

impl OnPty {
    /// Starts it; its first line is the name of the pseudo-terminal.
    pub fn start(command: &mut Command) -> Self {
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let child = command.spawn().unwrap_or_else(|error| panic!("{command:?}: {error}"));
        let mut process = Process(child);
        let mut port = String::new();
        if let Some(out) = process.0.stdout.take() {
            let read = BufReader::new(out).read_line(&mut port);
            read.unwrap_or_else(|error| panic!("{command:?}: {error}"));
        }
        let port = port.trim_end().to_owned();
        assert!(port.starts_with('/'), "{command:?} names no port: '{port}'");
        Self { port, process }
    }

    /// Ends it well; what it wrote of its books.
    #[track_caller]
    pub fn end(mut self) -> String {
        drop(self.process.0.stdin.take());
        let mut books = String::new();
        if let Some(mut err) = self.process.0.stderr.take() {
            let _ = err.read_to_string(&mut books);
        }
        let status = self.process.0.wait().unwrap_or_else(|error| panic!("waiting: {error}"));
        assert!(status.success(), "it ended with {status}: {books}");
        books
    }
}
