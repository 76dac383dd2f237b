//! Safety of files and of the terminal: no input and no foreign file is overwritten, and no text
//! from a survey controls the terminal.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use serde_json::Value;
use support::{obvert_in, read, root, status, stderr, stdout};

const CLEAN: &str = "examples/data/larkmoor.obvert.json";

/// No output replaces an input of the command or another output, even with --replace, so that a
/// mistyped command line destroys nothing.
#[test]
fn no_output_replaces_an_input() {
    let folder = tempfile::tempdir().expect("folder");
    let put = |name: &str, from: &str| {
        std::fs::copy(root().join(from), folder.path().join(name)).expect("copied")
    };
    put("a.obvert.json", "examples/data/osier-9.obvert.json");
    put("t.csv", "examples/layouts/office-a.csv");
    put("l.json", "examples/layouts/office-a.layout.json");
    let refused: [&[&str]; 7] = [
        &["convert", "a.obvert.json", "-o", "o.xml", "--account", "a.obvert.json", "--replace"],
        &["convert", "a.obvert.json", "-o", "./o.xml", "--account", "o.xml", "--replace"],
        &["convert", "a.obvert.json", "-o", "./a.obvert.json", "--replace"],
        &["convert", "t.csv", "--layout", "l.json", "-o", "l.json", "--replace"],
        &["convert", "t.csv", "--layout", "l.json", "--to", "layout", "-o", "t.csv", "--replace"],
        &["layout", "draft", "t.csv", "-o", "t.csv", "--replace"],
        &["archive", "pack", "a.obvert.json", "-o", "a.obvert.json", "--replace"],
    ];
    let all = || -> Vec<Vec<u8>> {
        ["a.obvert.json", "t.csv", "l.json"]
            .map(|name| std::fs::read(folder.path().join(name)).expect("read"))
            .to_vec()
    };
    let before = all();
    for command in refused {
        let output = obvert_in(folder.path(), command);
        assert_eq!(status(&output), 2, "{command:?}: {}", stderr(&output));
        assert!(all() == before, "{command:?}");
    }
}

/// A folder is replaced only if all its files have names that the format writes.
#[test]
fn a_folder_with_other_tables_is_not_replaced() {
    let folder = tempfile::tempdir().expect("folder");
    let own = root().join(CLEAN).display().to_string();
    for (format, other) in [("csv", "budget.csv"), ("geoparquet", "mine.parquet")] {
        let make = || {
            let arguments = ["convert", &own, "-o", format, "--to", format, "--replace"];
            obvert_in(folder.path(), &arguments)
        };
        assert_eq!(status(&make()), 0);
        assert_eq!(status(&make()), 0, "its own files are replaced");
        std::fs::write(folder.path().join(format).join(other), "x").expect("written");
        let refused = make();
        assert_eq!(status(&refused), 2);
        assert!(stderr(&refused).contains(other), "{}", stderr(&refused));
        assert_eq!(std::fs::read(folder.path().join(format).join(other)).expect("there"), b"x");
    }
}

/// A link is kept, and its target is written.
#[cfg(unix)]
#[test]
fn links_are_followed_and_devices_are_refused() {
    use std::os::unix::fs::symlink;
    let folder = tempfile::tempdir().expect("folder");
    let own = root().join(CLEAN).display().to_string();
    let to = |name: &str| {
        obvert_in(folder.path(), &["convert", &own, "-o", name, "--to", "xml", "--replace"])
    };
    std::fs::write(folder.path().join("real.xml"), "old").expect("written");
    symlink("real.xml", folder.path().join("link.xml")).expect("link");
    assert_eq!(status(&to("link.xml")), 0);
    assert!(folder.path().join("link.xml").is_symlink());
    assert!(
        std::fs::read_to_string(folder.path().join("real.xml")).expect("there").contains("<survey")
    );
    symlink("nowhere/x.xml", folder.path().join("dangling.xml")).expect("link");
    let dangling = to("dangling.xml");
    assert_eq!(status(&dangling), 2);
    assert!(stderr(&dangling).contains("is a broken link"), "{}", stderr(&dangling));
    let device = to("/dev/null");
    assert_eq!(status(&device), 2);
    assert!(stderr(&device).contains("neither a file nor a folder"), "{}", stderr(&device));
}

/// Texts from a survey do not control the terminal (spec/checking/README.md).
#[test]
fn control_characters_do_not_reach_the_terminal() {
    let folder = tempfile::tempdir().expect("folder");
    let mut survey: Value = serde_json::from_str(&read(CLEAN)).expect("JSON");
    let evil = "P\u{1b}[31m\u{9b}\u{202e}\n\u{7}x";
    survey["id"] = evil.into();
    survey["pipes"][0]["id"] = evil.into();
    std::fs::write(folder.path().join("e.jsonl"), survey.to_string() + "\n").expect("written");
    std::fs::write(folder.path().join("e.obvert.json"), survey.to_string()).expect("written");
    for command in [
        &["archive", "list", "e.jsonl"][..],
        &["check", "e.obvert.json", "--today", "2026-06-15"],
        &["grade", "e.obvert.json"],
        &["convert", "e.obvert.json", "-o", "e.kml", "--replace"],
        &["convert", "e.obvert.json", "-o", "e.json", "--coding", "en-13508-2", "--replace"],
    ] {
        let output = obvert_in(folder.path(), command);
        let printed = stdout(&output) + &stderr(&output);
        assert!(!printed.is_empty());
        let unsafe_character = printed
            .chars()
            .find(|c| c.is_control() && *c != '\n' || ('\u{202a}'..='\u{202e}').contains(c));
        assert_eq!(unsafe_character, None, "{command:?}: {printed:?}");
    }
    assert_eq!(
        stdout(&obvert_in(folder.path(), &["archive", "list", "e.jsonl"])).lines().count(),
        1
    );
}

/// An empty file, which may be a truncated archive, is an error.
#[test]
fn an_empty_archive_is_refused() {
    let folder = tempfile::tempdir().expect("folder");
    std::fs::write(folder.path().join("e.obvert.jsonl"), "").expect("written");
    for command in [&["check", "e.obvert.jsonl"][..], &["archive", "list", "e.obvert.jsonl"]] {
        let output = obvert_in(folder.path(), command);
        assert_eq!(status(&output), 2);
        assert!(
            stderr(&output).contains("e.obvert.jsonl: the file is empty"),
            "{}",
            stderr(&output)
        );
    }
}

/// A full disk is an ordinary error in every library that writes.
#[cfg(unix)]
#[test]
fn a_full_disk_is_reported() {
    use std::process::Command;
    let folder = tempfile::tempdir().expect("folder");
    let own = root().join(CLEAN).display().to_string();
    for out in ["x.xlsx", "x.xml", "x.gpkg"] {
        // Files are limited to a few blocks, and the signal for more is ignored.
        let script = format!("trap '' XFSZ; ulimit -f 8; exec \"$0\" convert \"$1\" -o {out}");
        let output = Command::new("sh")
            .args(["-c", &script, env!("CARGO_BIN_EXE_obvert"), &own])
            .current_dir(folder.path())
            .output()
            .expect("run");
        let printed = stderr(&output);
        assert_eq!(status(&output), 2, "{out}: {printed}");
        assert!(
            printed.contains(&format!("{out}: cannot be written: "))
                && !printed.contains("panicked"),
            "{out}: {printed}"
        );
        assert_eq!(std::fs::read_dir(folder.path()).expect("folder").count(), 0, "{out}");
    }
}
