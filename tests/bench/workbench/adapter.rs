//! A simulated bench as a process of its own.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};

/// A bench that is served until this is dropped.
pub struct Adapter {
    child: Child,
    /// PORT.
    pub port: String,
}

impl Adapter {
    /// The built-in bench on a new pseudo-terminal, its line in real time.
    pub fn start() -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_buswright"))
            .args(["bench", "TG-7", "--pty"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program");
        let out = child.stdout.take().expect("its output");
        let name = BufReader::new(out)
            .lines()
            .map_while(Result::ok)
            .find(|line| line.starts_with('/'))
            .expect("the name of a pty");
        Self { child, port: name }
    }
}

impl Drop for Adapter {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
