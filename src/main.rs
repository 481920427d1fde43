//! The command `buswright`.

fn main() {}
