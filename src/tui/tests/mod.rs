//! The workbench without terminal and core: key scripts in, state and screens out.

mod documents;
mod fixture;
mod screens;
mod scripts;
mod write_fixture;
mod write_screens;
mod write_scripts;
