//! Composition: which port, which sheet, which specimen, and a job over them.
//!
//! The command line and the workbench stand on this; tests and benchmarks reach it too.

mod begun_at;
mod capture_job;
mod chip_files;
mod chosen;
#[cfg(test)]
mod crash_tests;
#[cfg(test)]
mod disk_tests;
mod early;
mod erase_job;
mod identify_job;
mod image;
mod input;
mod jobs;
mod kit;
mod known;
mod parts;
#[cfg(test)]
mod permit_tests;
mod plan_job;
mod port_name;
mod ports;
#[cfg(test)]
mod recognise_tests;
mod sentence;
mod serve;
mod sheet_desk;
mod sheets;
mod shelf_desk;
mod shelf_lines;
mod signals;
mod sim_port;
mod started;
mod unsettled;
#[cfg(test)]
mod unsettled_tests;
mod verify_job;
mod wanted;
pub(crate) mod workbench;
#[cfg(test)]
mod write_bad_tests;
mod write_job;
#[cfg(test)]
mod write_job_tests;
#[cfg(test)]
mod write_tests;

pub(crate) use crate::jobs::JobError;
pub use crate::jobs::{BlockState, Event, Outcome, View};
pub use erase_job::EraseOptions;
pub use identify_job::IdentifyOptions;
pub use input::InputError;
pub use jobs::{CaptureOptions, Job, Machine, run_job};
pub(crate) use kit::{KitError, write_kit};
pub use known::{Known, KnownAdapter};
pub use plan_job::PlanOptions;
pub use port_name::{PortName, PortNameError};
pub use ports::{OpenPort, OpenPortError, bench_for_service, open_port};
pub(crate) use sentence::sentence;
pub use serve::{ServeError, serve_pty, serve_tcp};
pub(crate) use sheet_desk::{check_sheets, fit_sheet, list_sheets, write_new_sheet};
pub(crate) use sheets::{is_builtin_sheet, sheet_names};
pub(crate) use shelf_desk::{Answer, ShelfDesk};
pub(crate) use signals::outlive_file_limits;
pub use signals::watch_signals;
pub use sim_port::SimPort;
pub use wanted::Wanted;
pub use write_job::WriteOptions;
