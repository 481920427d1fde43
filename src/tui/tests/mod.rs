//! The workbench without terminal and core: key scripts in, state and screens out.

mod asked_again;
mod documents;
mod fixture;
mod in_sight;
mod screens;
mod scripts;
mod unseen;
mod write_fixture;
mod write_screens;
mod write_scripts;
