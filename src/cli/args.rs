//! What can be said on the command line.

use clap::{ArgGroup, Parser, Subcommand};
use std::path::PathBuf;

/// Reads plug-in memory modules to agreement and keeps the copies with their record. Without a
/// command, the workbench opens.
#[derive(Debug, Parser)]
#[command(name = "buswright", version, subcommand_required = false)]
pub struct Args {
    #[command(flatten)]
    pub global: Global,
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// Options that every command takes.
#[derive(Clone, Debug, clap::Args)]
pub struct Global {
    /// sim, sim:FILE.toml, a device such as /dev/ttyUSB0 (@RATE fixes the rate), or tcp:HOST:PORT
    #[arg(long, global = true, value_name = "PORT")]
    pub port: Option<String>,
    /// Module sheet: a built-in name or a file
    #[arg(long, global = true, value_name = "NAME|FILE")]
    pub sheet: Option<String>,
    /// Adapter sheet: a file
    #[arg(long, global = true, value_name = "FILE")]
    pub adapter: Option<String>,
    /// Label of the individual module, such as "TG-7 #0417"
    #[arg(long, global = true, value_name = "LABEL")]
    pub specimen: Option<String>,
    /// Folder of captures and histories
    #[arg(long, global = true, value_name = "DIR", env = "BUSWRIGHT_SHELF")]
    pub shelf: Option<PathBuf>,
    /// Theme of the workbench: dark, light, contrast, clear, mono, or a file
    #[arg(long, global = true, value_name = "NAME|FILE")]
    pub theme: Option<String>,
    /// The workbench without colours
    #[arg(long, global = true)]
    pub mono: bool,
    /// One JSON object per event, and the report
    #[arg(long, global = true)]
    pub json: bool,
    /// Only the report
    #[arg(long, global = true)]
    pub quiet: bool,
    /// Append every event to this file as JSON
    #[arg(long, global = true, value_name = "FILE")]
    pub log: Option<PathBuf>,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Serial ports with what the system knows of them
    Ports,
    /// Name what is on the module; commands go only to flash
    Identify(IdentifyArgs),
    /// Read the module to agreement and keep the copy
    Capture(CaptureArgs),
    /// Compare the module with an image
    Verify(VerifyArgs),
    /// Do what a plan says, and nothing else, with a backup, a journal and a proof
    Write(WriteArgs),
    /// Go on with a write that was interrupted
    Resume,
    /// Erase the sectors that lie wholly inside a range, with a backup, a journal and a proof
    Erase(EraseArgs),
    /// Compute what writing an image would do, sector by sector, and keep that as a plan; nothing
    /// is written
    Plan(PlanArgs),
    /// Captures and histories
    #[command(subcommand)]
    Shelf(ShelfCommand),
    /// Module and adapter sheets
    #[command(subcommand)]
    Sheet(SheetCommand),
    /// Serve a simulated bench to other programs
    Bench(BenchArgs),
    /// Write the adapter's firmware, with all its sources, into a folder
    Kit(KitArgs),
}

/// Options of `identify`.
#[derive(Debug, clap::Args)]
pub struct IdentifyArgs {
    /// Also ask this space, which the sheet does not call flash: captured first, tried once,
    /// restored
    #[arg(long, value_name = "SPACE")]
    pub probe: Option<String>,
    /// A chip file that adds parts to the list; may be given several times
    #[arg(long, value_name = "FILE")]
    pub chips: Vec<PathBuf>,
}

/// Options of `capture`.
#[derive(Debug, clap::Args)]
pub struct CaptureArgs {
    /// Only this space; all in sheet order without it
    #[arg(long)]
    pub space: Option<String>,
    /// Only this range of the space: 0xADDR+LEN in words
    #[arg(long, value_name = "R")]
    pub range: Option<String>,
    /// Passes at most where blocks disagree
    #[arg(long, value_name = "N", default_value_t = 6, value_parser = clap::value_parser!(u32).range(2..=100))]
    pub passes: u32,
    /// Also write the copy to this file; a file with other contents is never replaced
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// A note for the record
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub note: String,
}

/// Options of `verify`.
#[derive(Debug, clap::Args)]
pub struct VerifyArgs {
    /// A file, a capture's id, @last, or @blank (every word ones)
    pub image: String,
    /// Only this space
    #[arg(long)]
    pub space: Option<String>,
    /// The file holds only this range of the space: 0xADDR+LEN in words
    #[arg(long, value_name = "R")]
    pub range: Option<String>,
    /// Accept an image from the simulated bench for a real module
    #[arg(long)]
    pub accept_simulated: bool,
}

/// Options of `write`.
#[derive(Debug, clap::Args)]
pub struct WriteArgs {
    /// The code of the plan
    #[arg(value_name = "CODE")]
    pub code: String,
    /// The label that stands on the module, such as "TG-7 #0417"
    #[arg(long, value_name = "LABEL")]
    pub confirm: String,
}

/// Options of `erase`.
#[derive(Debug, clap::Args)]
pub struct EraseArgs {
    /// A sector (4), sectors (4-7, both included), or words (0xADDR+LEN)
    #[arg(long, value_name = "R")]
    pub range: String,
    /// The space; not needed where the module has one flash
    #[arg(long)]
    pub space: Option<String>,
    /// The label that stands on the module, such as "TG-7 #0417"
    #[arg(long, value_name = "LABEL")]
    pub confirm: String,
    /// A chip file that adds parts to the list; may be given several times
    #[arg(long, value_name = "FILE")]
    pub chips: Vec<PathBuf>,
}

/// Options of `plan`.
#[derive(Debug, clap::Args)]
pub struct PlanArgs {
    /// A file, a capture's id, @last, or @blank (every word ones)
    #[arg(required_unless_present = "back")]
    pub image: Option<String>,
    /// Plan the way back: as it was before this specimen's last write
    #[arg(long, conflicts_with_all = ["image", "space", "range"])]
    pub back: bool,
    /// Only this space
    #[arg(long)]
    pub space: Option<String>,
    /// The file (or @blank) is of only this range of the space: 0xADDR+LEN in words
    #[arg(long, value_name = "R")]
    pub range: Option<String>,
    /// Take this kept zone from the image all the same; may be given several times
    #[arg(long, value_name = "ZONE")]
    pub take: Vec<String>,
    /// A chip file that adds parts to the list; may be given several times;
    /// the plan keeps what stands in it, so `write` and `resume` need it no more
    #[arg(long, value_name = "FILE")]
    pub chips: Vec<PathBuf>,
    /// Accept an image from the simulated bench for a real module
    #[arg(long)]
    pub accept_simulated: bool,
}

/// What to do on the shelf. A capture is named by its id, such as 0417-003, or @last.
#[derive(Debug, Subcommand)]
pub enum ShelfCommand {
    /// Every capture, one a line
    List,
    /// The record of a capture, or the history of a specimen
    Show {
        /// Which capture, or a label such as "TG-7 #0417"
        id: String,
    },
    /// Add a note to a capture; nothing is changed
    Note {
        /// Which capture
        id: String,
        /// The note
        text: String,
    },
    /// Keep whether the instrument started with what was written to its module
    Started {
        /// The label of the module, such as "TG-7 #0417"
        label: String,
        /// Did it start?
        #[arg(value_parser = ["yes", "no"])]
        answer: String,
        /// What else is to be said
        #[arg(default_value = "")]
        text: String,
    },
    /// Prove captures against the checksums in their records
    Check {
        /// Which capture; all without it
        id: Option<String>,
    },
    /// Write the copy to a file; a file with other contents is never replaced
    Export {
        /// Which capture
        id: String,
        /// The file
        file: PathBuf,
    },
}

/// What to do with sheets.
#[derive(Debug, Subcommand)]
pub enum SheetCommand {
    /// The built-in sheets, and those in the folder `sheets` of the data folder
    List,
    /// Check module sheets (and adapter sheets with --as-adapter): every fault with its line
    Check {
        /// Built-in names or files
        #[arg(required = true)]
        files: Vec<String>,
        /// They are adapter sheets
        #[arg(long)]
        as_adapter: bool,
    },
    /// A new module sheet with remarks, to be filled in
    New {
        /// The kind of module
        name: String,
        /// Write it to this file; a file that is there is never replaced
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
    },
    /// Whether and how a module fits an adapter sheet (--adapter), line by line, without hardware
    Fit {
        /// The module sheet: a built-in name or a file
        #[arg(value_name = "NAME|FILE")]
        module: String,
    },
}

/// Options of `bench`.
#[derive(Debug, clap::Args)]
#[command(group(ArgGroup::new("where").required(true).args(["pty", "tcp"])))]
pub struct BenchArgs {
    /// A built-in bench or a bench file
    #[arg(default_value = "TG-7", value_name = "NAME|FILE")]
    pub bench: String,
    /// On a new pseudo-terminal, whose name is printed
    #[arg(long)]
    pub pty: bool,
    /// On a TCP address; port 0 takes a free one, which is printed
    #[arg(long, value_name = "HOST:PORT")]
    pub tcp: Option<String>,
}

/// Options of `kit`.
#[derive(Debug, clap::Args)]
pub struct KitArgs {
    /// Where to; a file with other contents is never replaced
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,
}
