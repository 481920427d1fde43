//! Files that people name: pipes, devices and files without end are refused, not waited for.

use crate::home::{Home, Running};
use rustix::fs::{CWD, FileType, Mode, mknodat};

fn with_pipe() -> Home {
    let home = Home::new();
    mknodat(CWD, home.path("pipe"), FileType::Fifo, Mode::from_raw_mode(0o600), 0).unwrap();
    home
}

#[test]
fn what_is_no_plain_file_is_refused_wherever_a_file_is_read() {
    let home = with_pipe();
    for (file, what) in [("pipe", "a pipe"), ("/dev/zero", "a device"), (".", "a folder")] {
        for args in [
            &["verify", file][..],
            &["sheet", "check", file],
            &["sheet", "check", "--as-adapter", file],
            &["capture", "--sheet", file],
            &["capture", "--adapter", file],
            &["capture", "--port", &format!("sim:{file}")],
        ] {
            home.run(args).says(2, &[file, what, "plain file"]).never_says(&["RAIL ON"]);
        }
    }
    let bench = "format = 1\nsheet = \"TG-7\"\nspecimen = \"TG-7 #0900\"\n[[memory]]\n\
                 kind = \"ram\"\nname = \"records\"\nwidth = 32\nwords = 0x10000\n\
                 select = { CS1 = \"low\" }\nfill = \"file\"\nfile = \"pipe\"\n";
    home.write("bench.toml", bench);
    home.run(&["capture", "--port", "sim:bench.toml"]).says(2, &["pipe", "plain file"]);
}

#[test]
fn a_copy_is_written_to_plain_files_only() {
    let home = with_pipe();
    home.run(&["capture", "--space", "records"]).says(0, &[]);
    for file in ["pipe", "/dev/null", "."] {
        home.run(&["shelf", "export", "@last", file]).says(2, &[file, "plain file"]);
        home.run(&["capture", "--space", "records", "--out", file])
            .says(2, &[file, "name a"])
            .never_says(&["RAIL ON"]);
    }
    assert_eq!(home.captures(), 1);
}

#[test]
fn files_without_end_are_not_read_to_their_end() {
    let home = Home::new();
    // Sparse: far more than a sheet or an image can be, and nothing on the disk.
    let file = std::fs::File::create(home.path("huge")).unwrap();
    file.set_len(1 << 40).unwrap();
    home.run(&["verify", "huge"]).says(2, &["huge holds 1099511627776 bytes", "expected 2359296"]);
    home.run(&["sheet", "check", "huge"]).says(2, &["huge", "at most 1048576"]);
    home.run(&["capture", "--space", "records"]).says(0, &[]);
    home.run(&["shelf", "export", "@last", "huge"]).says(2, &["huge", "not replaced"]);
}

#[test]
fn a_limit_of_file_sizes_is_an_error_of_the_disk_with_the_rail_off() {
    let home = Home::new();
    // In blocks of 512 bytes (POSIX.1-2017, ulimit): less than the copy has.
    let limited = "ulimit -f 500 && exec \"$0\" \"$@\"";
    let mut command = home.command(&["capture"]);
    let program = command.get_program().to_owned();
    let mut shell = std::process::Command::new("sh");
    shell.arg("-c").arg(limited).arg(program).args(command.get_args());
    shell.envs(command.get_envs().filter_map(|(name, value)| Some((name, value?))));
    shell.current_dir(home.path(".")).stdin(std::process::Stdio::null());
    let ran = Running::new(&mut shell).finish();
    ran.says(3, &["File too large", "ulimit -f", "RAIL OFF"]);
    assert_eq!(home.captures(), 0);
    // What was read is kept, and gone on with.
    Running::new(&mut command).finish().says(0, &["0417-001", "agreed"]);
}
