//! Helpers of the tests that run the command.

#![allow(dead_code, unreachable_pub)]

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// The root of the repository.
pub(crate) fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// A file of the repository.
pub(crate) fn read(path: &str) -> String {
    let path = root().join(path);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// Runs the command in a folder.
pub(crate) fn obvert_in(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_obvert"))
        .args(arguments)
        .current_dir(folder)
        .env_remove("NO_COLOR")
        .stdin(Stdio::null())
        .output()
        .expect("the command runs")
}

/// Runs the command in the root of the repository.
pub(crate) fn obvert(arguments: &[&str]) -> Output {
    obvert_in(&root(), arguments)
}

/// Runs the command with something on its standard input.
pub(crate) fn obvert_fed(arguments: &[&str], input: &[u8]) -> Output {
    use std::io::Write;
    let mut child = Command::new(env!("CARGO_BIN_EXE_obvert"))
        .args(arguments)
        .current_dir(root())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the command runs");
    let mut stdin = child.stdin.take().expect("stdin");
    let input = input.to_vec();
    let feeder = std::thread::spawn(move || {
        // The command may close its input early.
        let _ = stdin.write_all(&input);
    });
    let output = child.wait_with_output().expect("output");
    feeder.join().expect("feeder");
    output
}

/// What a command printed to standard output.
pub(crate) fn stdout(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// What a command printed to standard error.
pub(crate) fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// The exit status.
pub(crate) fn status(output: &Output) -> i32 {
    output.status.code().unwrap_or(-1)
}
