//! QEMU's control socket, used for one thing: letting its virtual clock run or stand still.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::time::Duration;

/// How long QEMU may take over a command.
const PATIENCE: Duration = Duration::from_secs(20);

/// The client of one QEMU's control socket.
pub struct Qmp {
    socket: BufReader<UnixStream>,
}

impl Qmp {
    /// Connects to the socket at `path` and agrees on the plain protocol.
    pub fn connect(path: &Path) -> Self {
        let socket = UnixStream::connect(path)
            .and_then(|socket| socket.set_read_timeout(Some(PATIENCE)).map(|()| socket))
            .unwrap_or_else(|error| panic!("QEMU's control socket {}: {error}", path.display()));
        let mut qmp = Self { socket: BufReader::new(socket) };
        let greeting = qmp.receive();
        assert!(greeting.get("QMP").is_some(), "QEMU's control socket greets with {greeting}");
        qmp.execute("qmp_capabilities");
        qmp
    }

    /// Executes a command without arguments; events that come in between are dropped.
    pub fn execute(&mut self, command: &str) {
        let request = format!("{}\n", json!({ "execute": command }));
        if let Err(error) = self.socket.get_mut().write_all(request.as_bytes()) {
            panic!("QEMU's control socket does not take {command}: {error}");
        }
        loop {
            let reply = self.receive();
            assert!(reply.get("error").is_none(), "QEMU refuses {command}: {reply}");
            if reply.get("return").is_some() {
                return;
            }
        }
    }

    fn receive(&mut self) -> Value {
        let mut line = String::new();
        if let Err(error) = self.socket.read_line(&mut line) {
            panic!("QEMU's control socket gave no answer in {PATIENCE:?}: {error}");
        }
        serde_json::from_str(&line)
            .unwrap_or_else(|error| panic!("QEMU's control socket says {line:?}: {error}"))
    }
}
