//! A folder is compared with the rows of a survey: what is missing, damaged, exchanged or left over
//! is found, and nothing is opened that is outside the folder.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::Arc;

use obvert_check::{Checker, MINIMAL, Report, Settings};
use obvert_deliver::{AuditLog, FolderAudit};
use serde_json::{Value, json};

/// A picture of one pixel: GIF89a, by the specification of the format.
const GIF: &[u8] = b"GIF89a\x01\0\x01\0\0\0\0\x2C\0\0\0\0\x01\0\x01\0\0\x02\x02\x44\x01\0\x3B";

/// The small survey with three pictures `a.gif`, `b.gif` and `sub/c.gif`.
fn survey() -> Value {
    let mut survey: Value = serde_json::from_str(MINIMAL).expect("JSON");
    for (row, file) in ["a.gif", "b.gif", "sub/c.gif"].iter().enumerate() {
        let media = &mut survey["media"][row];
        media["file"] = json!(file);
        media["type"] = json!("image/gif");
    }
    survey["media"][1] = json!({ "id": "M-2", "file": "b.gif", "kind": "photo", "run": "R-101" });
    for row in survey["runs"][0]["observations"].as_array_mut().expect("rows") {
        row.as_object_mut().expect("a row").remove("media");
    }
    survey
}

/// A picture that differs from the others in its content.
fn picture(number: u8) -> Vec<u8> {
    let mut gif = GIF.to_vec();
    gif[11] = number;
    gif
}

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("folder");
    fs::create_dir(folder.path().join("sub")).expect("folder");
    for (number, file) in ["a.gif", "b.gif", "sub/c.gif"].iter().enumerate() {
        let picture = picture(u8::try_from(number).expect("few"));
        fs::write(folder.path().join(file), picture).expect("write");
    }
    folder
}

fn report(survey: &Value, audit: FolderAudit) -> Report {
    let checker = Checker::new(Settings::default()).expect("settings").with_files(audit);
    checker.check(survey.to_string().as_bytes()).expect("JSON")
}

/// The findings about files, each with its place.
fn found(survey: &Value, folder: &Path) -> BTreeMap<String, String> {
    let report = report(survey, FolderAudit::new(folder));
    let of_files = report.findings.into_iter().filter(|finding| finding.rule.starts_with("file-"));
    of_files.map(|finding| (finding.rule.to_string(), finding.subject.path)).collect()
}

fn only(rule: &str, path: &str) -> BTreeMap<String, String> {
    BTreeMap::from([(rule.to_owned(), path.to_owned())])
}

#[test]
fn a_complete_folder_has_no_findings() {
    let folder = folder();
    assert_eq!(found(&survey(), folder.path()), BTreeMap::new());
    let report = report(&survey(), FolderAudit::new(folder.path()));
    let files = report.documents[0].files.as_ref().expect("files");
    assert_eq!((files.opened, files.missing, files.not_opened.as_deref()), (3, 0, None));
}

/// What a file states about itself reaches the rules.
#[test]
fn a_file_is_described() {
    // A second of sound: 8,000 samples of one byte (RIFF WAVE, from memory).
    let mut sound = b"RIFF\x64\x1F\0\0WAVEfmt \x10\0\0\0\x01\0\x01\0".to_vec();
    sound.extend(b"\x40\x1F\0\0\x40\x1F\0\0\x01\0\x08\0data\x40\x1F\0\0");
    sound.resize(sound.len() + 8000, 128);
    let found = obvert_deliver::look_at(&mut std::io::Cursor::new(sound)).expect("read");
    assert_eq!((found.media_type.as_deref(), found.duration), (Some("audio/vnd.wave"), Some(1.0)));
    // A picture that is turned by a quarter, taken on 17 May (Exif, from memory).
    let mut exif = b"Exif\0\0MM\0\x2A\0\0\0\x08\0\x02\x01\x12\0\x03\0\0\0\x01\0\x06\0\0".to_vec();
    exif.extend(b"\x87\x69\0\x04\0\0\0\x01\0\0\0\x26\0\0\0\0");
    exif.extend(b"\0\x01\x90\x03\0\x02\0\0\0\x14\0\0\0\x38\0\0\0\0");
    exif.extend(b"2026:05:17 09:41:03\0");
    let mut picture = b"\xFF\xD8\xFF\xE1".to_vec();
    picture.extend(u16::try_from(exif.len() + 2).expect("short").to_be_bytes());
    picture.extend(exif);
    picture.extend(b"\xFF\xC0\0\x0B\x08\0\x08\0\x10\x01\x01\x11\0");
    picture.extend(b"\xFF\xDA\0\x08\x01\x01\0\0\x3F\0\x12\xFF\xD9");
    let found = obvert_deliver::look_at(&mut std::io::Cursor::new(picture)).expect("read");
    assert_eq!((found.pixels, found.turned), (Some([16, 8]), Some(90)));
    assert_eq!(found.captured.as_deref(), Some("2026-05-17T09:41:03"));
}

#[test]
fn each_fault_of_a_folder_is_one_finding() {
    type Fault = fn(&Path);
    let faults: [(&str, &str, Fault); 8] = [
        ("file-missing", "/media/0/file", |at| fs::remove_file(at.join("a.gif")).unwrap()),
        ("file-name-case", "/media/1/file", |at| {
            fs::rename(at.join("b.gif"), at.join("B.gif")).unwrap();
        }),
        ("file-damaged", "/media/2/file", |at| {
            fs::write(at.join("sub/c.gif"), &GIF[..20]).unwrap();
        }),
        ("file-damaged", "/media/0/file", |at| fs::write(at.join("a.gif"), b"").unwrap()),
        ("file-same-content", "/media/1/file", |at| {
            fs::copy(at.join("a.gif"), at.join("b.gif")).unwrap();
        }),
        ("file-unnamed", "/media", |at| fs::write(at.join("sub/d.gif"), picture(9)).unwrap()),
        ("file-type-contradicts", "/media/0/type", |at| {
            let bitmap = [
                b"BM\x3A\0\0\0\0\0\0\0\x36\0\0\0\x28\0\0\0\x01\0\0\0\x01\0\0\0\x01\0\x18\0"
                    .as_slice(),
                &[0; 24],
                &[7; 4],
            ]
            .concat();
            fs::write(at.join("a.gif"), bitmap).unwrap();
        }),
        ("file-unreadable", "/media/0/file", |at| {
            fs::remove_file(at.join("a.gif")).unwrap();
            #[cfg(unix)]
            std::os::unix::fs::symlink("/etc/hostname", at.join("a.gif")).unwrap();
            #[cfg(not(unix))]
            fs::create_dir(at.join("a.gif")).unwrap();
        }),
    ];
    for (rule, path, fault) in faults {
        let folder = folder();
        fault(folder.path());
        assert_eq!(found(&survey(), folder.path()), only(rule, path), "{rule} at {path}");
    }
}

#[test]
fn sizes_and_digests_of_the_rows_are_compared() {
    let folder = folder();
    let mut survey = survey();
    survey["media"][0]["bytes"] = json!(30);
    assert_eq!(found(&survey, folder.path()), only("file-size-contradicts", "/media/0/bytes"));
    survey["media"][0]["bytes"] = json!(GIF.len());
    survey["media"][0]["sha256"] =
        json!("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    assert_eq!(found(&survey, folder.path()), only("file-digest-contradicts", "/media/0/sha256"));
}

#[test]
fn a_survey_that_was_moved_without_its_files_is_not_full_of_errors() {
    let empty = tempfile::tempdir().expect("folder");
    assert_eq!(found(&survey(), empty.path()), BTreeMap::new());
    let report_of = report(&survey(), FolderAudit::new(empty.path()));
    let files = report_of.documents[0].files.as_ref().expect("files");
    assert!(
        files.not_opened.as_ref().is_some_and(|why| why.contains("none of the 3")),
        "{files:?}"
    );
    // Unless the folder is where the files must be.
    let required = report(&survey(), FolderAudit::new(empty.path()).required());
    let missing = required.findings.iter().filter(|finding| finding.rule == "file-missing");
    assert_eq!(missing.count(), 3);
}

#[test]
fn a_log_is_trusted_until_a_file_changes() {
    let folder = folder();
    let log = folder.path().join("audit.jsonl");
    let audit = || {
        let opened = Arc::new(AuditLog::open(&log).expect("a log"));
        let audit = FolderAudit::new(folder.path()).with_log(opened);
        report(&survey(), audit).findings.len()
    };
    let lines = || fs::read_to_string(&log).expect("a log").lines().count();
    let before = audit();
    assert_eq!(lines(), 3);
    assert_eq!((audit(), lines()), (before, 3), "nothing is read again");
    fs::write(folder.path().join("a.gif"), &GIF[..20]).expect("write");
    assert_eq!((audit(), lines()), (before + 1, 4), "a changed file is read again");
    // The power fails while a line is written.
    let text = fs::read(&log).expect("a log");
    fs::write(&log, &text[..text.len() - 30]).expect("write");
    assert_eq!(audit(), before + 1);
    let whole = |line: &&str| serde_json::from_str::<Value>(line).is_ok();
    let text = fs::read_to_string(&log).expect("a log");
    assert_eq!(text.lines().filter(whole).count(), 4, "{text}");
}

#[test]
fn the_result_does_not_depend_on_the_threads() {
    let folder = folder();
    fs::remove_file(folder.path().join("b.gif")).expect("remove");
    let one = report(&survey(), FolderAudit::new(folder.path()).with_threads(1));
    let many = report(&survey(), FolderAudit::new(folder.path()).with_threads(7));
    assert_eq!(one, many);
}

#[test]
fn the_files_of_other_surveys_are_left_alone_if_asked() {
    let folder = folder();
    fs::write(folder.path().join("other.gif"), picture(9)).expect("write");
    assert_eq!(found(&survey(), folder.path()).len(), 1);
    let quiet = report(&survey(), FolderAudit::new(folder.path()).without_others());
    assert!(quiet.findings.iter().all(|finding| !finding.rule.starts_with("file-")));
}

/// A survey may be in a folder with everything that somebody has: only the folders that its rows
/// name are listed.
#[test]
fn folders_that_no_row_names_are_left_alone() {
    let folder = folder();
    let other = folder.path().join("holiday/beach");
    fs::create_dir_all(&other).expect("folder");
    fs::write(other.join("sea.gif"), picture(9)).expect("write");
    assert_eq!(found(&survey(), folder.path()), BTreeMap::new());
    // A folder inside a named one belongs to the delivery.
    let inside = folder.path().join("sub/more");
    fs::create_dir_all(&inside).expect("folder");
    fs::write(inside.join("sea.gif"), picture(9)).expect("write");
    assert_eq!(found(&survey(), folder.path()), only("file-unnamed", "/media"));
    // The folder may differ in case.
    fs::remove_dir_all(inside).expect("remove");
    fs::rename(folder.path().join("sub"), folder.path().join("SUB")).expect("rename");
    assert_eq!(found(&survey(), folder.path()), only("file-name-case", "/media/2/file"));
}

/// An invalid survey is read twice, its files once; so are files that two surveys name.
#[test]
fn no_file_is_read_twice() {
    let folder = folder();
    let log = Arc::new(AuditLog::open(&folder.path().join("audit.jsonl")).expect("a log"));
    let audit = || FolderAudit::new(folder.path()).with_log(Arc::clone(&log));
    let mut invalid = survey();
    invalid["runs"][1]["surveyed"] = json!("far");
    for survey in [invalid, survey()] {
        report(&survey, audit());
        let text = fs::read_to_string(folder.path().join("audit.jsonl")).expect("a log");
        assert_eq!(text.lines().count(), 3, "{text}");
    }
}

#[test]
fn a_path_may_begin_with_the_folder_itself() {
    let folder = folder();
    let mut survey = survey();
    survey["media"][2]["file"] = json!("./sub//c.gif");
    assert_eq!(found(&survey, folder.path()), BTreeMap::new());
}
