//! The sheet that is remembered for an adapter, and labels that do not go with it.

use crate::home::{Ran, Running};
use crate::served::{REAL_BOARD, Served};
use std::fs;

/// A capture of a few words of a real board, without a sheet named.
const FEW: [&str; 5] = ["capture", "--range", "0x0+0x100", "--specimen", "PT #0001"];

fn without_sheet(served: &Served) -> Ran {
    served.home.run(&[&FEW[..], &["--port", &served.port]].concat())
}

fn known(served: &Served) -> String {
    fs::read_to_string(served.home.known()).unwrap()
}

#[test]
fn a_remembered_sheet_is_told_before_the_rail_and_found_from_another_folder() {
    let served = Served::on_pty(&REAL_BOARD);
    served.run(&["capture", "--range", "0x0+0x100"]).says(0, &["agreed"]);
    let file = served.home.path("small.toml");
    let file = file.to_str().unwrap();
    assert!(known(&served).contains(&format!("sheet = \"{file}\"")), "{}", known(&served));
    assert!(known(&served).contains("sheet_sha256 = \""), "{}", known(&served));
    fs::create_dir(served.home.path("elsewhere")).unwrap();
    let args = [&FEW[..], &["--port", &served.port]].concat();
    let mut command = served.home.command(&args);
    command.current_dir(served.home.path("elsewhere"));
    let ran = Running::new(&mut command).finish();
    let ran = ran.says(0, &["sheet PT: ", file, "(remembered for this adapter)"]);
    assert!(ran.err.find("(remembered").unwrap() < ran.err.find("RAIL ON").unwrap(), "{ran}");
}

#[test]
fn a_remembered_sheet_that_has_changed_or_gone_is_not_used() {
    let served = Served::on_pty(&REAL_BOARD);
    served.run(&["capture", "--range", "0x0+0x100"]).says(0, &[]);
    let text = String::from_utf8(served.home.read("small.toml")).unwrap();
    served.home.write("small.toml", text.replace("3300", "3310"));
    without_sheet(&served)
        .says(2, &["small.toml, has changed since it was used", "--sheet"])
        .never_says(&["RAIL ON"]);
    fs::remove_file(served.home.path("small.toml")).unwrap();
    without_sheet(&served).says(2, &["small.toml", "no longer good", "--sheet"]);
    // Named again, it is remembered as it is now.
    served.home.write("small.toml", text.replace("small", "little"));
    served.run(&["capture", "--range", "0x0+0x100"]).says(0, &[]);
    without_sheet(&served).says(0, &["(remembered"]);
}

#[test]
fn a_refused_run_leaves_no_sheet_behind() {
    let served = Served::on_pty(&REAL_BOARD);
    let common = ["capture", "--port", &served.port, "--range", "0x0+0x100"];
    let with = |more: &[&str]| served.home.run(&[&common[..], more].concat());
    with(&["--sheet", "small.toml", "--specimen", "TG-7 #0417"])
        .says(4, &["TG-7 #0417", "the sheet is of PT", "--specimen \"PT #0417\""])
        .never_says(&["RAIL ON"]);
    with(&["--sheet", "small.toml"]).says(2, &["which individual module"]);
    assert!(!known(&served).contains("small.toml"), "{}", known(&served));
    without_sheet(&served).says(2, &["no module sheet"]);
    // A remembered sheet does not go with any label either.
    served.run(&["capture", "--range", "0x0+0x100"]).says(0, &[]);
    with(&["--specimen", "TG-7 #0417"])
        .says(4, &["(remembered", "the sheet is of PT"])
        .never_says(&["RAIL ON"]);
}
