//! Archives on the command line: one survey per line, read, checked and written one at a time.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use std::fs;

use obvert::check::MINIMAL;
use serde_json::Value;
use support::{obvert_in, stderr, stdout};

/// The minimal survey with another id and, if requested, a wrong end of its first run.
fn survey(id: &str, wrong: bool) -> String {
    let mut value: Value = serde_json::from_str(MINIMAL).unwrap();
    value["id"] = id.into();
    if wrong {
        value["runs"][0]["surveyed"] = 900.into();
    }
    serde_json::to_string_pretty(&value).unwrap()
}

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, id, wrong) in
        [("a.json", "a", false), ("b.json", "b", true), ("c.json", "C/../x", false)]
    {
        fs::write(folder.path().join(name), survey(id, wrong)).unwrap();
    }
    folder
}

#[test]
fn surveys_of_any_format_are_packed_and_unpacked_unchanged() {
    let folder = folder();
    let run = |arguments: &[&str]| obvert_in(folder.path(), arguments);
    assert!(run(&["convert", "c.json", "-o", "c.xml"]).status.success());
    let packed =
        run(&["archive", "pack", "a.json", "b.json", "c.xml", "a.json", "-o", "all.obvert.jsonl"]);
    assert!(packed.status.success(), "{}", stderr(&packed));
    assert_eq!(
        stderr(&packed).lines().collect::<Vec<_>>(),
        [
            "note: a.json: is the same survey as a.json; skipped",
            "3 surveys packed; 1 duplicate with the same content skipped",
        ]
    );
    let text = fs::read_to_string(folder.path().join("all.obvert.jsonl")).unwrap();
    assert_eq!(text.lines().count(), 3);
    // An archive can be packed into another one.
    assert!(run(&["archive", "pack", "all.obvert.jsonl", "-o", "again.jsonl"]).status.success());
    assert_eq!(fs::read_to_string(folder.path().join("again.jsonl")).unwrap(), text);

    let out = run(&["archive", "unpack", "all.obvert.jsonl", "-o", "out"]);
    assert!(out.status.success(), "{}", stderr(&out));
    // No id gives a path outside the folder.
    let digest =
        |file: &str| stdout(&run(&["digest", file])).split("  ").next().unwrap().to_owned();
    for (name, source) in [("a", "a.json"), ("b", "b.json"), ("C-..-x", "c.json")] {
        assert_eq!(digest(&format!("out/{name}.obvert.json")), digest(source), "{name}");
    }
    assert_eq!(fs::read_dir(folder.path().join("out")).unwrap().count(), 3);
    // Existing files are kept.
    let again = run(&["archive", "unpack", "all.obvert.jsonl", "-o", "out"]);
    assert_eq!(again.status.code(), Some(2));
    assert!(stderr(&again).contains("--replace"), "{}", stderr(&again));
    assert!(
        run(&["archive", "unpack", "all.obvert.jsonl", "-o", "out", "--replace", "--to", "csv"])
            .status
            .success()
    );
    assert!(folder.path().join("out/a/pipes.csv").is_file());
}

#[test]
fn findings_of_an_archive_point_to_its_lines() {
    let folder = folder();
    let run = |arguments: &[&str]| obvert_in(folder.path(), arguments);
    assert!(run(&["archive", "pack", "a.json", "b.json", "-o", "all.jsonl"]).status.success());
    let text = fs::read_to_string(folder.path().join("all.jsonl")).unwrap();
    let column = text.lines().nth(1).unwrap().find("900").unwrap() + 1;
    fs::write(
        folder.path().join("all.jsonl"),
        format!("\u{FEFF}\r\n{}", text.replace('\n', "\r\n")),
    )
    .unwrap();
    let checked = run(&["check", "all.jsonl", "--today", "2026-06-01", "--format", "json"]);
    assert_eq!(checked.status.code(), Some(1), "{}", stderr(&checked));
    let report: Value = serde_json::from_str(&stdout(&checked)).unwrap();
    let files: Vec<&str> = report["documents"]
        .as_array()
        .unwrap()
        .iter()
        .map(|document| document["file"].as_str().unwrap())
        .collect();
    assert_eq!(files, ["all.jsonl:2", "all.jsonl:3"]);
    let at: Vec<&Value> =
        report["findings"].as_array().unwrap().iter().map(|finding| &finding["at"]).collect();
    assert!(!at.is_empty());
    for at in at {
        assert_eq!(
            (at["file"].as_str(), at["line"].as_u64()),
            (Some("all.jsonl"), Some(3)),
            "{at}"
        );
        assert_eq!(at["column"].as_u64(), Some(column as u64), "{at}");
    }
    let text = stdout(&run(&["check", "all.jsonl", "--today", "2026-06-01"]));
    assert!(text.contains(&format!("all.jsonl:3:{column}")) && text.contains("  3 | …"), "{text}");
}

#[test]
fn invalid_lines_are_reported_with_their_number() {
    let folder = folder();
    let run = |arguments: &[&str]| obvert_in(folder.path(), arguments);
    assert!(run(&["archive", "pack", "a.json", "c.json", "-o", "all.jsonl"]).status.success());
    let text = fs::read_to_string(folder.path().join("all.jsonl")).unwrap();
    let (first, second) = text.split_once('\n').unwrap();
    fs::write(folder.path().join("torn.jsonl"), format!("{first}\n{{\"obvert\": \n{second}"))
        .unwrap();
    let listed = run(&["archive", "list", "torn.jsonl"]);
    assert_eq!(listed.status.code(), Some(2));
    assert!(stderr(&listed).contains("torn.jsonl:2"), "{}", stderr(&listed));
    let listed = stdout(&listed);
    assert!(
        listed.contains("torn.jsonl:1  a  issued")
            && listed.contains("torn.jsonl:3  C/../x  issued"),
        "{listed}"
    );
    let out = run(&["archive", "unpack", "torn.jsonl", "-o", "out"]);
    assert_eq!(out.status.code(), Some(2));
    assert_eq!(fs::read_dir(folder.path().join("out")).unwrap().count(), 2);
    // An incomplete archive is not written.
    assert_eq!(run(&["archive", "pack", "torn.jsonl", "-o", "half.jsonl"]).status.code(), Some(2));
    assert!(!folder.path().join("half.jsonl").exists());
    // A different survey with the same id is refused.
    fs::write(folder.path().join("other.json"), survey("a", true)).unwrap();
    let clash = run(&["archive", "pack", "a.json", "other.json", "-o", "half.jsonl"]);
    assert_eq!(clash.status.code(), Some(2));
    assert!(
        stderr(&clash)
            .contains("other.json: has the same id \"a\" as a.json, but its content differs"),
        "{}",
        stderr(&clash)
    );
    assert!(!folder.path().join("half.jsonl").exists());
    // Commands for one survey refuse an archive, and name the command that unpacks it.
    let convert = run(&["convert", "all.jsonl", "-o", "x.xml"]);
    assert!(stderr(&convert).contains("obvert archive unpack"), "{}", stderr(&convert));
}

/// Every survey that has the id of another one is reported with its source, and can be set aside:
/// each content is then in one of the two archives.
#[test]
fn all_duplicates_are_reported_and_can_be_set_aside() {
    let folder = folder();
    let run = |arguments: &[&str]| obvert_in(folder.path(), arguments);
    let mut files = vec!["a.json".to_owned()];
    for number in 1..=29 {
        let mut value: Value = serde_json::from_str(&survey("a", false)).unwrap();
        // The first three have the same content.
        value["language"] = format!("en-x-{}", number.max(3)).into();
        let name = format!("month-{number}.json");
        fs::write(folder.path().join(&name), value.to_string()).unwrap();
        files.push(name);
    }
    let pack = |more: &[&str]| {
        let mut arguments = vec!["archive", "pack"];
        arguments.extend(files.iter().map(String::as_str));
        run(&[&arguments, more].concat())
    };
    let refused = pack(&["-o", "all.jsonl"]);
    assert_eq!(refused.status.code(), Some(2));
    let text = stderr(&refused);
    for number in [1, 4, 29] {
        let clash = format!(
            "obvert: month-{number}.json: has the same id \"a\" as a.json, but its content differs"
        );
        assert!(text.contains(&clash), "{text}");
    }
    assert!(text.contains("note: month-3.json: is the same survey as month-1.json; skipped"));
    assert!(text.contains("27 surveys have the id of a different one, so nothing was packed"));
    assert!(text.contains("--set-aside FILE"), "{text}");
    assert!(!folder.path().join("all.jsonl").exists());

    let packed = pack(&["b.json", "-o", "all.jsonl", "--set-aside", "aside.jsonl"]);
    assert!(packed.status.success(), "{}", stderr(&packed));
    assert_eq!(
        stderr(&packed).lines().last(),
        Some(
            "2 surveys packed; 2 duplicates with the same content skipped; 27 surveys with the id \
             of a different one written to aside.jsonl"
        )
    );
    let lines = |file: &str| fs::read_to_string(folder.path().join(file)).unwrap().lines().count();
    assert_eq!((lines("all.jsonl"), lines("aside.jsonl")), (2, 27));
    // Neither file is overwritten, the two are not the same, and no empty file is written.
    assert!(
        stderr(&pack(&["-o", "new.jsonl", "--set-aside", "aside.jsonl"])).contains("--replace")
    );
    let same = pack(&["-o", "new.jsonl", "--set-aside", "./new.jsonl"]);
    assert!(stderr(&same).contains("is the archive itself"), "{}", stderr(&same));
    let none = run(&["archive", "pack", "b.json", "-o", "b.jsonl", "--set-aside", "none.jsonl"]);
    assert!(none.status.success() && !folder.path().join("none.jsonl").exists());
}

#[test]
fn surveys_of_older_versions_are_read() {
    let folder = folder();
    let old = include_str!("corpus/versions/0.1/minimal.obvert.json");
    let line: Value = serde_json::from_str(old).unwrap();
    fs::write(folder.path().join("old.jsonl"), format!("{line}\n")).unwrap();
    let packed = obvert_in(folder.path(), &["archive", "pack", "old.jsonl", "-o", "new.jsonl"]);
    assert!(packed.status.success(), "{}", stderr(&packed));
    let new: Value =
        serde_json::from_str(&fs::read_to_string(folder.path().join("new.jsonl")).unwrap())
            .unwrap();
    assert_eq!((line["obvert"].as_str(), new["obvert"].as_str()), (Some("0.1"), Some("0.2")));
}

#[test]
fn other_files_are_refused_at_once() {
    let folder = folder();
    fs::write(folder.path().join("zip.jsonl"), b"PK\x03\x04 and more\nlines\n").unwrap();
    for file in ["a.json", "zip.jsonl"] {
        for command in [&["archive", "list", file][..], &["archive", "unpack", file, "-o", "out"]] {
            let output = obvert_in(folder.path(), command);
            assert_eq!(output.status.code(), Some(2), "{command:?}");
            assert_eq!(stderr(&output).lines().count(), 1, "{}", stderr(&output));
            assert!(
                stderr(&output).contains("is not an archive, which has one survey per line"),
                "{}",
                stderr(&output)
            );
        }
    }
    let torn = format!("{}\n{{\"obvert\": \n", serde_json::from_str::<Value>(MINIMAL).unwrap());
    fs::write(folder.path().join("torn.jsonl"), torn).unwrap();
    let checked = obvert_in(folder.path(), &["check", "torn.jsonl", "--today", "2026-06-01"]);
    assert_eq!(checked.status.code(), Some(2));
    assert!(
        stdout(&checked).contains("1 of 2 documents could not be read"),
        "{}",
        stdout(&checked)
    );
}
