//! QEMU's flash models as a bus: parts that this project did not write.
//!
//! The emulated processor stays powered off; every cycle is one access over QEMU's test socket.
//! QEMU is the client of that socket, so we listen before it starts. Its virtual clock stands
//! still until [`QemuFlash::run_clock`], so an erase of the AMD family stays busy until then; the
//! Intel family is always ready. Machines, bases and sizes as measured with QEMU 7.2 and 10.0.

use super::process::Process;
use super::qmp::Qmp;
use super::qtest::Qtest;
use super::{how_to_get, is_here, outside_tool};
use buswright::bus::{
    Cycles, Levels, Nanos, Phases, Precharge, Shape, ShapeTimes, Span, Width, Word, WordAddress,
};
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use std::fs::{self, File};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// The command that runs the models.
const QEMU: &str = "qemu-system-arm";
const PACKAGE: &str = "qemu-system-arm";

/// Starting takes 50 ms when nothing else runs; a loaded machine may need seconds.
const START_LIMIT: Duration = Duration::from_secs(30);

/// Size of each flash of the machine `virt`.
pub const VIRT_BYTES: usize = 64 << 20;
/// Size of the flash of the machine `musicpal` as started here.
pub const MUSICPAL_BYTES: usize = 8 << 20;

/// Which of the two flashes of the machine `virt`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum VirtFlash {
    /// At physical address 0.
    First,
    /// At physical address 64 Mi.
    Second,
}

/// What is missing to run the models and how to get it; `None` if nothing is.
pub fn missing_tools() -> Option<String> {
    (!is_here(QEMU)).then(|| how_to_get(QEMU, PACKAGE))
}

/// True if the models can run; the rule of [`outside_tool`] otherwise.
pub fn ready() -> bool {
    outside_tool(QEMU, PACKAGE)
}

/// One flash in one QEMU of its own, which ends when this is dropped.
///
/// Bus time is counted, not measured: every cycle takes what its shape says. Writes may wait for
/// the next read; the backing file has all of them once this is dropped.
/// Word addresses wrap at the size of the flash, as a part does that ignores the address lines
/// above its own.
pub struct QemuFlash {
    qtest: Qtest,
    qmp: Option<Qmp>,
    window: Window,
    width: Width,
    clock: Nanos,
    // Dropped in this order: no QEMU writes into a folder that is gone.
    _process: Process,
    folder: TempDir,
}

/// Where a flash answers in QEMU's physical address space.
#[derive(Clone, Copy)]
struct Window {
    base: u64,
    bytes: u64,
}

impl Window {
    /// The physical address of a word.
    fn at(self, width: Width, address: WordAddress) -> u64 {
        let byte = u64::from(address.0) * width.bytes() as u64;
        self.base + byte % self.bytes
    }
}

impl QemuFlash {
    /// An Intel-family flash on a 32-bit bus: two x16 parts side by side, 64 MiB, erased in units
    /// of 256 KiB. `image` is its backing file, exactly [`VIRT_BYTES`] long.
    pub fn virt(image: &Path, which: VirtFlash) -> Self {
        let (index, base) = match which {
            VirtFlash::First => (0, 0),
            VirtFlash::Second => (1, VIRT_BYTES as u64),
        };
        Self::start("virt", &[], (image, index, ""), (base, VIRT_BYTES), Width::W32)
    }

    /// The first flash of `virt`, which fails every erase and every program, as parts do that get
    /// too little at VPP.
    pub fn virt_read_only(image: &Path) -> Self {
        Self::start("virt", &[], (image, 0, ",readonly=on"), (0, VIRT_BYTES), Width::W32)
    }

    /// An AMD-family x16 flash of 8 MiB with even sectors of 64 KiB. `image` is its backing file,
    /// exactly [`MUSICPAL_BYTES`] long.
    pub fn musicpal(image: &Path) -> Self {
        Self::musicpal_with_sectors(image, &[])
    }

    /// The same flash with up to four regions of sectors, each `(count, bytes)`, lowest first;
    /// they must add up to [`MUSICPAL_BYTES`]. None gives even sectors of 64 KiB.
    pub fn musicpal_with_sectors(image: &Path, regions: &[(u32, u32)]) -> Self {
        let mut globals = Vec::new();
        for (n, (count, bytes)) in regions.iter().enumerate() {
            for (name, value) in [("num-blocks", count), ("sector-length", bytes)] {
                globals.push(format!("driver=cfi.pflash02,property={name}{n},value={value}"));
            }
        }
        Self::start("musicpal", &globals, (image, 0, ""), (0xFE00_0000, MUSICPAL_BYTES), Width::W16)
    }

    fn start(
        machine: &str,
        globals: &[String],
        (image, index, more): (&Path, u8, &str),
        (base, bytes): (u64, usize),
        width: Width,
    ) -> Self {
        if let Some(missing) = missing_tools() {
            panic!("{missing}");
        }
        let length = fs::metadata(image).map(|file| file.len());
        assert_eq!(length.ok(), Some(bytes as u64), "length of {}", image.display());
        let folder = made("a temporary folder", TempDir::new());
        let at = |name: &str| folder.path().join(name);
        let listener = made("the test socket", UnixListener::bind(at("qtest")));
        let log = made("the log of QEMU", File::create(at("log")));
        let mut command = Command::new(QEMU);
        command.args(["-machine", machine, "-accel", "tcg", "-S"]);
        command.args(["-global", "arm-cpu.start-powered-off=on"]);
        for global in globals {
            command.args(["-global", global]);
        }
        command.args(["-net", "none", "-display", "none", "-serial", "null", "-monitor", "none"]);
        command.args(["-qtest", &format!("unix:{}", at("qtest").display())]);
        command.args(["-qtest-log", "/dev/null"]);
        command.args(["-qmp", &format!("unix:{},server=on,wait=off", at("qmp").display())]);
        // QEMU takes two commas for one in a value.
        let file = image.display().to_string().replace(',', ",,");
        command.args(["-drive", &format!("if=pflash,index={index},format=raw,file={file}{more}")]);
        command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(log);
        let mut process = Process(made(QEMU, command.spawn()));
        let socket = connected(&listener, &mut process.0, &at("log"));
        let qtest = made("the test socket", Qtest::new(socket));
        let (window, clock) = (Window { base, bytes: bytes as u64 }, Nanos::ZERO);
        Self { qtest, qmp: None, window, width, clock, _process: process, folder }
    }

    /// A shape for the whole width of the flash; one cycle takes 200 ns of bus time.
    pub fn shape(&self) -> Shape {
        let [read_strobe, write_strobe, select] = [1, 2, 4];
        let all = read_strobe | write_strobe | select;
        let low = |mask| Levels { mask, level: 0 };
        Shape {
            width: self.width,
            first_line: 0,
            idle: Levels { mask: all, level: all },
            read: Phases { setup: low(select), strobe: low(read_strobe) },
            write: Some(Phases { setup: low(select), strobe: low(write_strobe) }),
            times: ShapeTimes { setup: 30, pulse: 100, hold: 20, recover: 50, release: 50 },
        }
    }

    /// Asks for a word, so that several flashes can be asked at once; [`Self::answer`] waits.
    pub fn ask(&mut self, address: WordAddress) {
        self.qtest.ask(self.width.bits(), self.window.at(self.width, address));
    }

    /// The word that was asked for.
    pub fn answer(&mut self) -> Word {
        self.qtest.settle()
    }

    /// Asks for `count` words from `first` on in one access, which must not wrap;
    /// [`Self::block`] waits. While the flash shows its contents that is the same as cycle by
    /// cycle, and much quicker; anything else it shows differs from them either way.
    pub fn ask_block(&mut self, first: WordAddress, count: usize) {
        let at = self.window.at(self.width, first);
        let bytes = count * self.width.bytes();
        assert!(at + bytes as u64 <= self.window.base + self.window.bytes, "a block that wraps");
        self.qtest.ask_block(at, bytes);
    }

    /// The words that were asked for.
    pub fn block(&mut self) -> impl Iterator<Item = Word> {
        let bytes = self.qtest.block();
        let words: Vec<_> = self.width.words(&bytes).collect();
        words.into_iter()
    }

    /// Lets QEMU's virtual clock run in real time, so that erases come to their end.
    pub fn run_clock(&mut self) {
        self.control("cont");
    }

    /// Stops QEMU's virtual clock; what is busy stays busy.
    pub fn stop_clock(&mut self) {
        self.control("stop");
    }

    fn control(&mut self, command: &str) {
        self.qtest.settle();
        if self.qmp.is_none() {
            // The control socket is there for certain once the machine answers at all.
            self.qtest.read(8, self.window.base);
            self.qmp = Some(Qmp::connect(&self.folder.path().join("qmp")));
        }
        if let Some(qmp) = &mut self.qmp {
            qmp.execute(command);
        }
    }
}

impl Cycles for QemuFlash {
    fn read(&mut self, shape: &Shape, address: WordAddress, _: Precharge) -> Word {
        self.clock += shape.times.cycle();
        self.qtest.read(shape.width.bits(), self.window.at(shape.width, address))
    }

    fn write(&mut self, shape: &Shape, address: WordAddress, value: Word) {
        assert!(shape.write.is_some(), "a write cycle in a shape without one, at {address}");
        self.clock += shape.times.cycle();
        self.qtest.write(shape.width.bits(), self.window.at(shape.width, address), value);
    }

    fn read_burst(&mut self, shape: &Shape, span: Span, _: Precharge, out: &mut Vec<Word>) {
        self.clock += shape.times.cycle() * u64::from(span.count);
        let (window, width) = (self.window, shape.width);
        let addresses = span.addresses().map(|address| window.at(width, address));
        self.qtest.read_all(width.bits(), addresses, |word| out.push(word));
    }

    fn delay(&mut self, time: Nanos) {
        self.clock += time;
    }

    fn now(&self) -> Nanos {
        self.clock
    }
}

impl Drop for QemuFlash {
    fn drop(&mut self) {
        // The last writes reach the backing file; a failing test has other sorrows.
        if !thread::panicking() {
            self.qtest.settle();
        }
    }
}

/// Waits until QEMU has connected to `listener`; panics with what it wrote if it does not.
fn connected(listener: &UnixListener, child: &mut Child, log: &Path) -> UnixStream {
    let since = Instant::now();
    let look = Timespec { tv_sec: 0, tv_nsec: 100_000_000 };
    loop {
        let mut fds = [PollFd::new(listener, PollFlags::IN)];
        if poll(&mut fds, Some(&look)).is_ok_and(|ready| ready > 0) {
            return made("the test socket", listener.accept()).0;
        }
        let said = || fs::read_to_string(log).unwrap_or_default();
        if let Ok(Some(status)) = child.try_wait() {
            panic!("{QEMU} ended before it connected ({status}); it wrote:\n{}", said());
        }
        assert!(
            since.elapsed() < START_LIMIT,
            "{QEMU} did not connect to its test socket in {START_LIMIT:?}; it wrote:\n{}",
            said()
        );
    }
}

fn made<T>(what: &str, result: std::io::Result<T>) -> T {
    result.unwrap_or_else(|error| panic!("{what}: {error}"))
}
