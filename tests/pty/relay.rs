//! A line to a bench over TCP that counts what passes, and that can be cut.

use std::io::{Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Condvar, Mutex};
use std::thread;
use std::time::{Duration, Instant};

#[derive(Default)]
struct State {
    /// Bytes from the host.
    passed: u64,
    /// After so many the line is cut.
    cut_at: Option<u64>,
    /// After so many nothing gets through for so long, either way.
    mute: Option<(u64, Duration)>,
    muted_until: Option<Instant>,
}

type Shared = Arc<(Mutex<State>, Condvar)>;

/// A relay in threads of the test.
pub struct Relay {
    /// Where hosts connect to.
    pub address: SocketAddr,
    shared: Shared,
}

impl Relay {
    /// One to the bench at this address.
    pub fn to(bench: &str) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let shared = Shared::default();
        let (theirs, bench) = (Arc::clone(&shared), bench.to_owned());
        thread::spawn(move || {
            for host in listener.incoming() {
                let Ok(host) = host else { return };
                let Ok(bench) = TcpStream::connect(&bench) else { return };
                connect(host, bench, &theirs);
            }
        });
        Self { address, shared }
    }

    /// Counts from 0 on, and cuts nothing.
    pub fn forget(&self) {
        *self.shared.0.lock().unwrap() = State::default();
    }

    /// Bytes from the host so far.
    pub fn passed(&self) -> u64 {
        self.shared.0.lock().unwrap().passed
    }

    /// Cuts the line after so many bytes from the host; the next connection is whole.
    pub fn cut_at(&self, at: u64) {
        self.shared.0.lock().unwrap().cut_at = Some(at);
    }

    /// After so many bytes from the host nothing gets through for so long, either way.
    pub fn mute_at(&self, at: u64, time: Duration) {
        self.shared.0.lock().unwrap().mute = Some((at, time));
    }

    /// Waits until so many bytes have come from the host, or it is over.
    pub fn wait_for(&self, at: u64, is_over: impl Fn() -> bool) {
        let until = Instant::now() + crate::home::DEADLINE;
        let (state, changed) = &*self.shared;
        let mut state = state.lock().unwrap();
        while state.passed < at && !is_over() {
            assert!(Instant::now() < until, "{} of {at} bytes came", state.passed);
            state = changed.wait_timeout(state, Duration::from_millis(20)).unwrap().0;
        }
    }
}

/// Two threads that end with the connection.
fn connect(host: TcpStream, bench: TcpStream, shared: &Shared) {
    for stream in [&host, &bench] {
        stream.set_nodelay(true).unwrap();
    }
    let (from_bench, to_host) = (bench.try_clone().unwrap(), host.try_clone().unwrap());
    let (there, back) = (Arc::clone(shared), Arc::clone(shared));
    thread::spawn(move || {
        let _ = replies(&from_bench, &to_host, &back);
        let _ = to_host.shutdown(Shutdown::Both);
    });
    thread::spawn(move || {
        let _ = requests(&host, &bench, &there);
        // However it ended: the other thread holds copies of both.
        let _ = (bench.shutdown(Shutdown::Both), host.shutdown(Shutdown::Both));
    });
}

fn requests(mut host: &TcpStream, mut bench: &TcpStream, shared: &Shared) -> std::io::Result<()> {
    let mut bytes = [0; 4096];
    loop {
        let mut n = host.read(&mut bytes)?;
        let mut cut = n == 0;
        let mut state = shared.0.lock().unwrap();
        if let Some(at) = state.take_cut(n as u64) {
            (n, cut) = (at as usize, true);
        }
        let muted = state.is_muted();
        drop(state);
        if !muted {
            bench.write_all(&bytes[..n])?;
        }
        shared.1.notify_all();
        if cut {
            return Ok(());
        }
    }
}

fn replies(mut bench: &TcpStream, mut host: &TcpStream, shared: &Shared) -> std::io::Result<()> {
    let mut bytes = [0; 4096];
    loop {
        let n = bench.read(&mut bytes)?;
        if n == 0 {
            return Ok(());
        }
        let muted = shared.0.lock().unwrap().is_muted();
        if !muted {
            host.write_all(&bytes[..n])?;
        }
    }
}

impl State {
    fn is_muted(&mut self) -> bool {
        if let Some((_, time)) = self.mute.take_if(|(at, _)| *at <= self.passed) {
            self.muted_until = Some(Instant::now() + time);
        }
        self.muted_until.is_some_and(|until| Instant::now() < until)
    }

    /// `n` bytes have come; how many of them pass before the line is cut, if it is.
    fn take_cut(&mut self, n: u64) -> Option<u64> {
        let before = self.passed;
        self.passed += n;
        let at = self.cut_at.take_if(|at| *at <= before + n)?;
        self.passed = at.max(before);
        Some(at.saturating_sub(before))
    }
}
