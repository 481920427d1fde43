//! What the system knows of a process (proc(5)).

use std::fs::{read_dir, read_to_string};
use std::time::Instant;

/// A process at one moment.
pub struct Look {
    at: Instant,
    /// Processor time of all threads that are alive, seconds.
    cpu: f64,
    /// The same of the first thread.
    terminal_cpu: f64,
    /// How often a thread has gone to sleep by itself: as often it was woken.
    pub wakes: u64,
    /// The same of the first thread, which has the terminal.
    pub terminal_wakes: u64,
    pub resident_mib: f64,
    pub peak_mib: f64,
}

impl Look {
    /// Looks at process `pid`.
    pub fn at(pid: u32) -> Self {
        let mut look = Self {
            at: Instant::now(),
            cpu: 0.0,
            terminal_cpu: 0.0,
            wakes: 0,
            terminal_wakes: 0,
            resident_mib: 0.0,
            peak_mib: 0.0,
        };
        let tasks = read_dir(format!("/proc/{pid}/task")).expect("the process is alive");
        for task in tasks.flatten() {
            let read = |name: &str| read_to_string(task.path().join(name)).unwrap_or_default();
            let nanos = read("schedstat").split_whitespace().next().map_or(0, number);
            let cpu = nanos as f64 / 1e9;
            let wakes = field(&read("status"), "voluntary_ctxt_switches:");
            look.cpu += cpu;
            look.wakes += wakes;
            if task.file_name().to_string_lossy() == pid.to_string() {
                look.terminal_cpu = cpu;
                look.terminal_wakes = wakes;
            }
        }
        let status = read_to_string(format!("/proc/{pid}/status")).unwrap_or_default();
        look.resident_mib = field(&status, "VmRSS:") as f64 / 1024.0;
        look.peak_mib = field(&status, "VmHWM:") as f64 / 1024.0;
        look
    }

    /// Per cent of a core since `before`.
    pub fn share(&self, before: &Self) -> f64 {
        (self.cpu - before.cpu) / self.since(before) * 100.0
    }

    /// The same of the terminal thread.
    pub fn terminal_share(&self, before: &Self) -> f64 {
        (self.terminal_cpu - before.terminal_cpu) / self.since(before) * 100.0
    }

    fn since(&self, before: &Self) -> f64 {
        self.at.duration_since(before.at).as_secs_f64()
    }
}

fn number(text: &str) -> u64 {
    text.parse().unwrap_or(0)
}

fn field(status: &str, name: &str) -> u64 {
    let line = status.lines().find_map(|line| line.strip_prefix(name));
    line.and_then(|rest| rest.split_whitespace().next()).map_or(0, number)
}
