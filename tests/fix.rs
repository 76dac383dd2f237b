//! `obvert fix`: what it writes and what it leaves, and that a preview writes nothing. The files
//! before and after are in `tests/corpus/fix/`.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use std::path::Path;

use serde_json::Value;
use support::{obvert_fed, obvert_in, read, root, status, stderr, stdout};

const TODAY: [&str; 2] = ["--today", "2026-06-15"];

fn fix(folder: &Path, arguments: &[&str]) -> std::process::Output {
    obvert_in(folder, &[&["fix"], arguments, &TODAY].concat())
}

/// A folder with a survey of the corpus, named `survey.json`.
fn folder(case: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("folder");
    std::fs::write(folder.path().join("survey.json"), read(&format!("tests/corpus/fix/{case}")))
        .expect("write");
    folder
}

fn file(folder: &Path, name: &str) -> String {
    std::fs::read_to_string(folder.join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// The demo with one change.
fn demo(folder: &Path, from: &str, to: &str) -> String {
    let text = read("examples/data/larkmoor.obvert.json");
    assert!(text.contains(from), "{from}");
    let text = text.replacen(from, to, 1);
    std::fs::write(folder.join("survey.json"), &text).expect("write");
    text
}

/// Each case is `<name>.before.json` and `<name>.after.json`, and `<name>.confirmed.json` if
/// confirmation changes more.
#[test]
fn files_come_out_as_they_should() {
    let mut cases = 0;
    for entry in std::fs::read_dir(root().join("tests/corpus/fix")).expect("the corpus") {
        let name = entry.expect("entry").file_name().to_string_lossy().into_owned();
        let Some(case) = name.strip_suffix(".before.json") else { continue };
        cases += 1;
        for (options, after) in
            [(&["--write"][..], "after"), (&["--write", "--confirm"], "confirmed")]
        {
            let wanted = format!("tests/corpus/fix/{case}.{after}.json");
            if after == "confirmed" && !root().join(&wanted).exists() {
                continue;
            }
            let folder = folder(&name);
            let output = fix(folder.path(), &[&["survey.json"], options].concat());
            assert_ne!(status(&output), 2, "{case}: {}", stderr(&output));
            assert_eq!(
                file(folder.path(), "survey.json"),
                read(&wanted),
                "{case}: {}",
                stdout(&output)
            );
            // A second run changes nothing.
            let again = fix(folder.path(), &[&["survey.json"], options].concat());
            assert_eq!(file(folder.path(), "survey.json"), read(&wanted), "{case}");
            assert!(stdout(&again).contains("nothing to fix"), "{case}: {}", stdout(&again));
        }
    }
    assert!(cases >= 4, "{cases} cases");
}

#[test]
fn a_preview_writes_nothing() {
    let folder = tempfile::tempdir().expect("folder");
    let text = demo(folder.path(), "\"kind\": \"manhole\"", "\"kind\": \"Manhole\"");
    let before = std::fs::metadata(folder.path().join("survey.json"))
        .expect("file")
        .modified()
        .expect("time");
    for options in
        [&["survey.json"][..], &["survey.json", "--all"], &["survey.json", "--format", "json"]]
    {
        let output = fix(folder.path(), options);
        assert_eq!(status(&output), 0, "{}", stderr(&output));
        let file = folder.path().join("survey.json");
        assert_eq!(std::fs::read_to_string(&file).expect("file"), text);
        assert_eq!(std::fs::metadata(&file).expect("file").modified().expect("time"), before);
        assert_eq!(std::fs::read_dir(folder.path()).expect("folder").count(), 1);
    }
    let printed = stdout(&fix(folder.path(), &["survey.json"]));
    for part in [
        "[unknown-word]",
        "survey.json:",
        "\"Manhole\"",
        "nothing is written yet",
        "nothing left to correct",
    ] {
        assert!(printed.contains(part), "{part}: {printed}");
    }
    // Only the value differs.
    let lines: Vec<&str> =
        printed.lines().filter(|line| line.contains("| - ") || line.contains("| + ")).collect();
    assert_eq!(lines.len(), 2, "{printed}");
}

/// GNU and BSD patch accept a unified diff; here it is applied by hand.
#[test]
fn the_diff_can_be_applied() {
    let folder = tempfile::tempdir().expect("folder");
    let text = demo(folder.path(), "\"kind\": \"manhole\"", "\"kind\": \"Manhole\"");
    let diff = stdout(&fix(folder.path(), &["survey.json", "--format", "diff"]));
    let mut lines = diff.lines();
    assert_eq!(lines.next(), Some("--- survey.json"));
    assert_eq!(lines.next(), Some("+++ survey.json"));
    let mut old: Vec<&str> = text.lines().collect();
    let hunk = lines.next().expect("a hunk").strip_prefix("@@ -").expect("its head");
    let start: usize = hunk.split(',').next().expect("a line").parse().expect("a number");
    let mut at = start - 1;
    for line in lines {
        match line.split_at(1) {
            (" ", same) => {
                assert_eq!(old[at], same);
                at += 1;
            }
            ("-", gone) => assert_eq!(old.remove(at), gone),
            ("+", new) => {
                old.insert(at, new);
                at += 1;
            }
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(old.join("\n") + "\n", read("examples/data/larkmoor.obvert.json"));
}

#[test]
fn the_log_is_valid_by_its_schema() {
    let schema: Value =
        serde_json::from_str(&stdout(&support::obvert(&["schema", "fix-log"]))).expect("schema");
    let validator = jsonschema::validator_for(&schema).expect("the schema compiles");
    let folder = tempfile::tempdir().expect("folder");
    for name in ["larkmoor.obvert.json", "larkmoor-rejected.obvert.json"] {
        std::fs::copy(root().join("examples/data").join(name), folder.path().join(name))
            .expect("copy");
    }
    let files = ["larkmoor-rejected.obvert.json", "larkmoor.obvert.json", "no-such-file.json"];
    for options in [&["--format", "json"][..], &["--format", "json", "--confirm"]] {
        let output = fix(folder.path(), &[&files, options].concat());
        assert_eq!(status(&output), 2);
        let log: Value = serde_json::from_slice(&output.stdout).expect("one JSON value");
        let wrong: Vec<String> =
            validator.iter_errors(&log).map(|error| error.to_string()).collect();
        assert_eq!(wrong, Vec::<String>::new());
        assert_eq!(log["documents"].as_array().expect("documents").len(), 3);
        let first = &log["documents"][0];
        let applied = first["applied"].as_array().expect("fixes");
        assert!(
            applied
                .iter()
                .any(|one| one["rule"] == "media-path-unportable" && one["record"] == "S-12-02")
        );
        assert!(applied.iter().all(|one| one["safe"] == true) != options.contains(&"--confirm"));
        assert!(log["documents"][2]["error"].as_str().expect("an error").contains("no such file"));
    }
    assert!(validator.validate(&serde_json::json!({"fix_log": "0.2"})).is_err());
}

/// SHA-256 of "abc" is example B.1 of FIPS 180-2.
#[test]
fn only_media_files_in_the_folder_of_the_survey_are_opened() {
    let outside = tempfile::tempdir().expect("folder");
    std::fs::write(outside.path().join("secret.jpg"), "abc").expect("write");
    let folder = folder("media.json");
    let media = folder.path().join("photos");
    std::fs::create_dir(&media).expect("folder");
    std::fs::write(media.join("a.jpg"), "abc").expect("write");
    std::fs::write(
        media.join("b.png"),
        b"\xFF\xD8\xFF\xE0\0\x10JFIF\0\x01\x01\0\0\x01\0\x01\0\0\xFF\xC0\0\x05\x08\0\x08\
          \xFF\xDA\0\x04\0\0\x12\x34\xFF\xD9",
    )
    .expect("write");
    #[cfg(unix)]
    std::os::unix::fs::symlink(outside.path().join("secret.jpg"), media.join("linked.jpg"))
        .expect("link");
    let output = fix(folder.path(), &["survey.json", "--write", "--only", "media-file"]);
    let printed = stdout(&output).split_whitespace().collect::<Vec<_>>().join(" ");
    let document: Value = serde_json::from_str(&file(folder.path(), "survey.json")).expect("json");
    let row = |id: &str| {
        let rows = document["media"].as_array().expect("media");
        rows.iter().find(|row| row["id"] == id).unwrap_or_else(|| panic!("{id}")).clone()
    };
    assert_eq!(row("a")["bytes"], 3, "{printed}");
    assert_eq!(
        row("a")["sha256"],
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    );
    assert_eq!(row("b")["type"], "image/jpeg");
    for id in ["linked", "up", "absolute"] {
        assert_eq!(row(id).get("sha256"), None, "{id}");
        assert!(
            cfg!(windows)
                || printed.contains(&format!("media file {id} completes the row from the file:")),
            "{id}: {printed}"
        );
    }
    assert!(printed.contains("outside the survey's folder") || cfg!(windows), "{printed}");
    let kept = fix(folder.path(), &["survey.json", "--no-media"]);
    assert!(!stdout(&kept).contains("media-file"));
}

#[test]
fn errors_are_reported_and_nothing_is_written() {
    let folder = tempfile::tempdir().expect("folder");
    let text = demo(folder.path(), "\"kind\": \"manhole\"", "\"kind\": \"Manhole\"");
    std::fs::write(folder.path().join("other.json"), "{}").expect("write");
    for target in ["tables", "survey.xml"] {
        let format = if target == "tables" { "csv" } else { "xml" };
        let demo = root().join("examples/data/larkmoor.obvert.json");
        let demo = demo.to_str().expect("a path");
        assert_eq!(
            status(&obvert_in(folder.path(), &["convert", demo, "-o", target, "--to", format])),
            0
        );
    }
    let cases: [(&[&str], &str); 9] = [
        (&["tables"], "convert it first"),
        (&["survey.xml", "--write"], "convert it first"),
        (&["survey.json", "other.json", "-o", "x.json"], "takes one file, but 2 were given"),
        (&["survey.json", "-o", "other.json"], "--replace"),
        (&["survey.json", "-o", "none/x.json"], "the folder none does not exist"),
        (&["survey.json", "--only", "text-untrimed"], "text-untrimmed"),
        (&["-", "--write"], "cannot write to standard input"),
        (&["survey.json", "--today", "15.6.2026"], "--today"),
        (&["nowhere.json"], "no such file"),
    ];
    for (arguments, why) in cases {
        let output = obvert_in(folder.path(), &[&["fix"], arguments].concat());
        assert_eq!(status(&output), 2, "{arguments:?}: {}", stdout(&output));
        assert!(stderr(&output).contains(why), "{arguments:?}: {}", stderr(&output));
    }
    assert_eq!(file(folder.path(), "survey.json"), text);
    assert_eq!(file(folder.path(), "other.json"), "{}");
}

/// A file in a read-only folder is kept. Root can write to it anyway.
#[cfg(unix)]
#[test]
fn a_folder_that_cannot_be_written_keeps_its_file() {
    use std::fs::{Permissions, set_permissions};
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().expect("folder");
    let text = demo(folder.path(), "\"kind\": \"manhole\"", "\"kind\": \"Manhole\"");
    // A write-protected file is refused for root too.
    set_permissions(folder.path().join("survey.json"), Permissions::from_mode(0o444))
        .expect("permissions");
    let output = fix(folder.path(), &["survey.json", "--write"]);
    assert_eq!(status(&output), 2);
    assert!(stderr(&output).contains("write-protected"), "{}", stderr(&output));
    assert_eq!(file(folder.path(), "survey.json"), text);
    set_permissions(folder.path().join("survey.json"), Permissions::from_mode(0o640))
        .expect("permissions");
    set_permissions(folder.path(), Permissions::from_mode(0o555)).expect("permissions");
    let powerful = std::fs::write(folder.path().join("probe"), "").is_ok();
    let output = fix(folder.path(), &["survey.json", "--write"]);
    set_permissions(folder.path(), Permissions::from_mode(0o755)).expect("permissions");
    if powerful {
        assert_eq!(status(&output), 0, "{}", stderr(&output));
        let mode = std::fs::metadata(folder.path().join("survey.json"))
            .expect("file")
            .permissions()
            .mode();
        assert_eq!(mode & 0o777, 0o640, "it keeps its permissions");
    } else {
        assert_eq!(status(&output), 2);
        assert!(stderr(&output).contains("cannot write in its folder"), "{}", stderr(&output));
        assert_eq!(file(folder.path(), "survey.json"), text);
    }
}

#[cfg(unix)]
#[test]
fn a_link_stays_a_link() {
    let folder = tempfile::tempdir().expect("folder");
    demo(folder.path(), "\"kind\": \"manhole\"", "\"kind\": \"Manhole\"");
    std::os::unix::fs::symlink("survey.json", folder.path().join("link.json")).expect("link");
    assert_eq!(status(&fix(folder.path(), &["link.json", "--write"])), 0);
    assert!(folder.path().join("link.json").is_symlink());
    assert_eq!(file(folder.path(), "survey.json"), read("examples/data/larkmoor.obvert.json"));
}

#[test]
fn standard_streams_are_taken() {
    let text = read("examples/data/larkmoor.obvert.json");
    let wrong = text.replacen("\"kind\": \"manhole\"", "\"kind\": \"Manhole\"", 1);
    let output = obvert_fed(&["fix", "-", "-o", "-", "--today", "2026-06-15"], wrong.as_bytes());
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    assert_eq!(stdout(&output), text);
    assert!(stderr(&output).contains("[unknown-word]"), "{}", stderr(&output));
}

/// The exit status is that of the survey after the fixes.
#[test]
fn the_exit_status_depends_on_the_findings_that_are_left() {
    let folder = tempfile::tempdir().expect("folder");
    let demo = |from: &str, to: &str| drop(demo(folder.path(), from, to));
    demo("\"kind\": \"manhole\"", "\"kind\": \"Manhole\"");
    assert_eq!(status(&obvert_in(folder.path(), &["check", "survey.json"])), 1);
    assert_eq!(status(&fix(folder.path(), &["survey.json", "--deny", "note"])), 0);
    demo("\"kind\": \"manhole\"", "\"kind\": \"manhoel\"");
    assert_eq!(status(&fix(folder.path(), &["survey.json"])), 1);
    demo("\"name\": \"Heron Drain Survey\"", "\"name\": \"Heron Drain Survey \"");
    assert_eq!(
        status(&fix(folder.path(), &["survey.json", "--only", "clock-range", "--deny", "note"])),
        1
    );
    assert_eq!(status(&fix(folder.path(), &["survey.json", "--only", "clock-range"])), 0);
}

/// The last lines give the counts before and after, and what can be confirmed.
#[test]
fn the_summary_counts_what_is_left() {
    let folder = tempfile::tempdir().expect("folder");
    let demo = root().join("examples/data/larkmoor-rejected.obvert.json");
    std::fs::copy(demo, folder.path().join("survey.json")).expect("copy");
    let text = stdout(&fix(folder.path(), &["survey.json"]));
    let expected = "survey.json: 3 fixes; 131 findings before; left: 54 errors, 68 warnings, \
                    6 notes\n\
                    run `obvert check` to see the findings that are left\n\
                    3 can be fixed with --confirm; --only RULE applies the fixes of one rule\n\
                    nothing is written yet: --write fixes the file in place, -o OUT writes a new \
                    one\n";
    assert!(text.ends_with(expected), "{text}");
    let demo = root().join("examples/data/larkmoor.obvert.json");
    std::fs::copy(demo, folder.path().join("survey.json")).expect("copy");
    let text = stdout(&fix(folder.path(), &["survey.json", "--no-media"]));
    assert_eq!(text, "survey.json: nothing to fix; no findings\n");
}

/// A check reports how many findings can be fixed.
#[test]
fn a_check_reports_what_can_be_fixed() {
    let folder = tempfile::tempdir().expect("folder");
    demo(folder.path(), "\"kind\": \"manhole\"", "\"kind\": \"Manhole\"");
    let printed = stdout(&obvert_in(folder.path(), &["check", "survey.json"]));
    assert!(
        printed.contains("1 can be fixed automatically; run `obvert fix` for a preview"),
        "{printed}"
    );
    let json = stdout(&obvert_in(folder.path(), &["check", "survey.json", "--format", "json"]));
    let report: Value = serde_json::from_str(&json).expect("json");
    assert_eq!(report["findings"][0]["fix"]["edits"][0]["op"], "replace");
    demo(folder.path(), "\"kind\": \"manhole\"", "\"kind\": \"manhoel\"");
    let printed = stdout(&obvert_in(folder.path(), &["check", "survey.json"]));
    assert!(!printed.contains("can be fixed"), "{printed}");
}
