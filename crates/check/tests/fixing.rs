//! Fixing whole documents: which fixes are applied, which are skipped and why, and that fixing a
//! fixed document changes nothing.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::collections::BTreeMap;

use obvert_check::fixing::{
    FixError, FixOutcome, FixSettings, MEDIA_FILE, MediaError, MediaFile, MediaSource,
};
use obvert_check::{Checker, MINIMAL, Section, Settings, catalogue};
use obvert_model::profile::Profile;
use serde_json::Value;

fn checker() -> Checker {
    let settings =
        Settings::default().with_keep(usize::MAX).with_today("2026-06-01".parse().expect("a date"));
    Checker::new(settings).expect("settings")
}

fn confirmed() -> FixSettings {
    FixSettings::default().with_confirmed(true)
}

fn fix(text: &str, settings: &FixSettings) -> FixOutcome {
    checker().fix(text.as_bytes(), settings, None).expect("json")
}

/// The text with some parts replaced, each of which must occur in it.
fn changed(text: &str, pieces: &[(&str, &str)]) -> String {
    let change = |text: String, (from, to): &(&str, &str)| {
        assert!(text.contains(from), "{from:?}");
        text.replacen(from, to, 1)
    };
    pieces.iter().fold(text.to_owned(), change)
}

/// Each of these gives the small valid survey again, byte for byte.
#[test]
fn safe_fixes_restore_the_survey() {
    let cases: &[&[(&str, &str)]] = &[
        &[("\"kind\": \"manhole\"", "\"kind\": \"Manhole\"")],
        &[("\"kind\": \"manhole\"", "\"kind\": \" manhole \"")],
        &[("\"direction\": \"downstream\"", "\"Direction\": \"DOWNSTREAM\"")],
        &[("\"at\": 12.4", "\"at\": \"12.4\"")],
        &[("\"continuous\": true", "\"continuous\": \"True\"")],
        &[("\"at\": 12.4, \"to\"", "\"at\": 12.4, \"remark\": null, \"to\"")],
        &[("\"at\": 12.4, \"to\"", "\"at\": 12.4, \"remark\": \"\", \"to\"")],
        &[("\"at\": 12.4", "\"at\": 12.4, \"extensions\": {}")],
        &[("\"issued\": \"2026-05-07T", "\"issued\": \"2026-05-07t")],
        &[("\"issued\": \"2026-05-07T", "\"issued\": \"2026-05-07 ")],
        &[("\"code\": \"crack.longitudinal\"", "\"code\": \"Crack.Longitudinal\"")],
        &[("\"to\": 44.2, \"continuous\": true", "\"to\": 44.2")],
        &[("\"id\": \"2\", \"at\": 0,", "\"id\": \" 2\", \"at\": 0,")],
        &[("\"id\": \"LM-014\"", "\"id\": \"LM-014 \"")],
        // The id is right, but a reference to it is not.
        &[("\"upstream\": \"LM-014\"", "\"upstream\": \"LM-014\\t\"")],
        // A structural problem hides everything else, so it is fixed first.
        &[
            ("\"kind\": \"manhole\"", "\"kind\": \"Manhole\""),
            ("\"to\": 44.2, \"continuous\": true", "\"to\": 44.2"),
        ],
    ];
    for pieces in cases {
        let text = changed(MINIMAL, pieces);
        let fixed = fix(&text, &FixSettings::default());
        assert_eq!(fixed.text, MINIMAL, "{pieces:?}: {:#?}", fixed.document);
        assert!(!fixed.document.applied.is_empty());
        assert_eq!(fixed.document.after.all(), 0);
        assert!(fixed.document.before.all() > 0);
    }
}

/// Values with more than one possible meaning are not changed.
#[test]
fn ambiguous_values_are_not_changed() {
    let cases: &[&[(&str, &str)]] = &[
        &[("\"kind\": \"manhole\"", "\"kind\": \"manhoel\"")],
        &[("\"at\": 12.4", "\"at\": \"12,4\"")],
        // These are two structures, not two spellings of one.
        &[
            ("\"id\": \"LM-015\"", "\"id\": \"LM-014 \""),
            ("\"downstream\": \"LM-015\"", "\"downstream\": \"LM-014 \""),
        ],
        // Both spellings of a key occur.
        &[("\"at\": 12.4", "\"at\": 12.4, \"At\": 12.5")],
        // One of two values would be lost with its key, and it may be the right one.
        &[("\"kind\": \"manhole\"", "\"kind\": \"outfall\", \"kind\": \"Manhole\"")],
        // A required key has no value; removing the key would not help.
        &[("\"kind\": \"manhole\"", "\"kind\": null")],
        &[("\"id\": \"3\", \"at\": 12.4", "\"id\": \"3\", \"at\": null")],
        // Case in an id may be significant.
        &[("\"upstream\": \"LM-014\"", "\"upstream\": \"lm-014\"")],
    ];
    for pieces in cases {
        let text = changed(MINIMAL, pieces);
        let fixed = fix(&text, &FixSettings::default());
        assert_eq!(fixed.text, text, "{pieces:?}");
        assert_eq!(fixed.document.before, fixed.document.after);
        assert!(fixed.document.applied.is_empty());
    }
    let text = changed(MINIMAL, &[("\"upstream\": \"LM-014\"", "\"upstream\": \"lm-014\"")]);
    assert_eq!(fix(&text, &confirmed()).text, MINIMAL);
}

/// Every id of the demo gets a trailing space, in its row only or in references too, as it happens
/// in spreadsheets.
#[test]
fn ids_are_trimmed_in_all_references() {
    let original = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../../examples/data/larkmoor.obvert.json"
    ))
    .expect("the demo");
    let document: Value = serde_json::from_str(&original).expect("json");
    let mut ids: Vec<String> = Vec::new();
    for table in
        ["parties", "equipment", "structures", "pipes", "media", "locates", "ratings", "runs"]
    {
        let rows = document[table].as_array().expect("a table");
        ids.extend(rows.iter().map(|row| row["id"].as_str().expect("an id").to_owned()));
    }
    assert!(ids.len() > 50);
    let mut everywhere = original.clone();
    let mut rows_only = original.clone();
    for id in &ids {
        everywhere = everywhere.replace(&format!("\"{id}\""), &format!("\"{id} \""));
        rows_only =
            rows_only.replace(&format!("{{\"id\": \"{id}\""), &format!("{{\"id\": \"{id} \""));
    }
    for text in [everywhere, rows_only] {
        assert_ne!(text, original);
        let fixed = fix(&text, &FixSettings::default());
        assert!(fixed.text == original, "{:#?}", fixed.document.skipped);
    }
}

#[test]
fn a_fix_that_causes_an_error_is_undone() {
    let coding = (
        "\"coding\": {\"list\": \"obvert-terms\", \"version\": \"1\"}",
        "\"coding\": {\"list\": \"obvert-terms\", \"version\": \"v1\"}",
    );
    let text = changed(MINIMAL, &[coding, ("\"crack.longitudinal\"", "\"Crack.Longitudinal\"")]);
    // Once the list is known, the code is not one of it, and fixing codes was not requested.
    let only = FixSettings::default().with_confirmed(true).with_only(["code-list-version"]);
    let fixed = fix(&text, &only);
    assert_eq!(fixed.text, text);
    let left = fixed.document.skipped.first().expect("it is logged");
    assert_eq!(
        (left.rule.as_str(), left.subject.path.as_str()),
        ("code-list-version", "/coding/version")
    );
    assert!(left.why.contains("code-unknown"), "{}", left.why);
    // It is applied together with the fix of the code.
    let fixed = fix(&text, &confirmed());
    assert_eq!(fixed.text, MINIMAL);
    assert_eq!(fixed.document.after.error, 0);
    // An undone fix does not stop the others.
    let other = changed(&text, &[("\"kind\": \"manhole\"", "\"kind\": \"Manhole\"")]);
    let only = ["code-list-version", "unknown-word"];
    let fixed = fix(&other, &FixSettings::default().with_confirmed(true).with_only(only));
    assert_eq!(fixed.text, text);
}

#[test]
fn only_the_named_rules_are_fixed() {
    let text = changed(
        MINIMAL,
        &[
            ("\"code\": \"crack.longitudinal\"", "\"code\": \"Crack.Longitudinal\""),
            ("\"id\": \"LM-014\"", "\"id\": \"LM-014 \""),
        ],
    );
    let fixed = fix(&text, &FixSettings::default().with_only(["code-unknown"]));
    assert_eq!(fixed.text, changed(MINIMAL, &[("\"id\": \"LM-014\"", "\"id\": \"LM-014 \"")]));
    assert!(fixed.document.fixable.safe > 0);
    let error = checker()
        .fix(text.as_bytes(), &FixSettings::default().with_only(["code-unknwon"]), None)
        .expect_err("no such rule");
    assert!(matches!(error, FixError::Name { near: Some(near), .. } if near == "code-unknown"));
}

/// For every failing example of every rule: fixing again changes nothing, and there are no more
/// errors than before.
#[test]
fn fixing_again_changes_nothing_more() {
    for rule in catalogue() {
        let profile = rule.profile().map(|text| Profile::read(text.as_bytes()).expect("a profile"));
        let settings = Settings::default()
            .with_profile(profile)
            .with_keep(usize::MAX)
            .with_today("2026-06-01".parse().expect("a date"));
        let checker = Checker::new(settings).expect("settings");
        for example in rule.examples(Section::Fails) {
            let mut document: Value = serde_json::from_str(MINIMAL).expect("json");
            let patch: json_patch::Patch = serde_json::from_str(&example.patch).expect("a patch");
            json_patch::patch(&mut document, &patch).expect("applies");
            let text = serde_json::to_string_pretty(&document).expect("json");
            for settings in [FixSettings::default(), confirmed()] {
                let once = checker.fix(text.as_bytes(), &settings, None).expect("json");
                let again = checker.fix(once.text.as_bytes(), &settings, None).expect("json");
                assert_eq!(once.text, again.text, "{}", rule.name);
                assert!(
                    again.document.applied.is_empty(),
                    "{}: {:?}",
                    rule.name,
                    again.document.applied
                );
                assert!(once.document.after.error <= once.document.before.error, "{}", rule.name);
                assert_eq!(once.text == text, once.document.applied.is_empty(), "{}", rule.name);
            }
        }
    }
}

struct Files(BTreeMap<&'static str, &'static [u8]>);

impl MediaSource for Files {
    fn open(&self, file: &str) -> Result<MediaFile<'_>, MediaError> {
        if file.contains("..") {
            return Err(MediaError::Refused("it is outside the document's folder".into()));
        }
        let content = self.0.get(file).ok_or(MediaError::Missing)?;
        Ok(MediaFile::new(content.len() as u64, std::io::Cursor::new(*content)))
    }
}

/// A survey whose first media row is `row`, fixed with a file of this content.
fn with_media(row: &str, content: &'static [u8]) -> (String, FixOutcome) {
    let from = MINIMAL.find("{\"id\": \"M-1\"").expect("the first row");
    let end = from + MINIMAL[from..].find('}').expect("its end") + 1;
    let text = format!("{}{{\"id\": \"M-1\", {row}}}{}", &MINIMAL[..from], &MINIMAL[end..]);
    let files = Files(BTreeMap::from([("a.jpg", content)]));
    let only = FixSettings::default().with_only([MEDIA_FILE]);
    let fixed = checker().fix(text.as_bytes(), &only, Some(&files)).expect("json");
    (text, fixed)
}

/// The least that has the structure of a whole JPEG: a frame, a scan, and the end of the image.
const JPEG: &[u8] =
    b"\xFF\xD8\xFF\xE0\0\x10JFIF\0\x01\x01\0\0\x01\0\x01\0\0\xFF\xC0\0\x05\x08\0\x08\
                      \xFF\xDA\0\x04\0\0\x12\x34\xFF\xD9";

/// SHA-256 of "abc": FIPS 180-4, example B.1 of its predecessor. The first bytes are those of JPEG
/// (ITU-T T.81).
#[test]
fn rows_are_completed_from_files() {
    const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    let (_, fixed) =
        with_media("\"file\": \"a.jpg\", \"kind\": \"photo\", \"caption\": \"x\"", b"abc");
    let wanted =
        format!("\"kind\": \"photo\", \"bytes\": 3, \"sha256\": \"{ABC}\", \"caption\": \"x\"");
    assert!(fixed.text.contains(&wanted), "{}", fixed.text);
    let applied = &fixed.document.applied[0];
    assert_eq!(
        (applied.rule.as_str(), applied.subject.record.as_deref(), applied.safe),
        (MEDIA_FILE, Some("M-1"), true)
    );
    // The other files of the survey are missing.
    assert!(!fixed.document.media_missing.is_empty());

    let (_, fixed) = with_media("\"file\": \"a.jpg\", \"kind\": \"photo\"", JPEG);
    assert!(
        fixed
            .text
            .contains("\"kind\": \"photo\", \"type\": \"image/jpeg\", \"bytes\": 37, \"sha256\": ")
    );
    let (_, fixed) =
        with_media("\"file\": \"a.jpg\", \"kind\": \"photo\", \"type\": \"image/png\"", JPEG);
    assert!(fixed.text.contains("\"type\": \"image/jpeg\""), "{}", fixed.text);
    // Another name for the same type is not changed.
    let (_, fixed) =
        with_media("\"file\": \"a.jpg\", \"kind\": \"photo\", \"type\": \"image/pjpeg\"", JPEG);
    assert!(fixed.text.contains("\"type\": \"image/pjpeg\", \"bytes\""), "{}", fixed.text);
}

/// A value that contradicts the file is evidence, so it is not changed.
#[test]
fn contradicted_values_are_not_overwritten() {
    let zeros = "0".repeat(64);
    let digest = format!("\"file\": \"a.jpg\", \"kind\": \"photo\", \"sha256\": \"{zeros}\"");
    let cases: [(&str, &'static [u8], &str, &str); 5] = [
        (&digest, b"abc", "/media/0/sha256", "was changed"),
        (
            "\"file\": \"a.jpg\", \"kind\": \"photo\", \"bytes\": 4",
            b"abc",
            "/media/0/bytes",
            "3 bytes, not 4",
        ),
        (
            "\"file\": \"a.jpg\", \"kind\": \"video\"",
            b"\xFF\xD8\xFF\xE0",
            "/media/0/file",
            "right file",
        ),
        ("\"file\": \"a.jpg\", \"kind\": \"photo\"", b"", "/media/0/file", "empty"),
        ("\"file\": \"../a.jpg\", \"kind\": \"photo\"", b"abc", "/media/0/file", "outside"),
    ];
    for (row, content, path, why) in cases {
        let (text, fixed) = with_media(row, content);
        assert_eq!(fixed.text, text, "{row}");
        let left = &fixed.document.skipped[0];
        assert_eq!((left.subject.path.as_str(), left.rule.as_str()), (path, MEDIA_FILE));
        assert!(left.why.contains(why), "{}", left.why);
    }
    let (text, fixed) =
        with_media("\"file\": \"a.jpg\", \"kind\": \"photo\", \"state\": \"lost\"", b"abc");
    assert_eq!(fixed.text, text);
    assert!(fixed.document.skipped.is_empty());
}

/// A damaged file has nothing added to its row: its size and digest would certify the damage.
#[test]
fn damaged_files_are_not_certified() {
    let photo = "\"file\": \"a.jpg\", \"kind\": \"photo\"";
    for length in 3..JPEG.len() {
        let (text, fixed) = with_media(photo, &JPEG[..length]);
        assert_eq!(fixed.text, text, "{length} bytes");
        let left = &fixed.document.skipped[0];
        assert_eq!(left.subject.path, "/media/0/file");
        assert!(left.why.contains("\"a.jpg\" is damaged: "), "{}", left.why);
        assert!(left.why.contains("record it as truncated"), "{}", left.why);
    }
    // A film whose recording was cut off: pictures, but no index.
    const FILM: &[u8] = b"\0\0\0\x10ftypisom\0\0\0\0\0\0\0\x0Cmdatfilm";
    let film = "\"file\": \"a.jpg\", \"kind\": \"video\"";
    let (text, fixed) = with_media(film, FILM);
    assert_eq!(fixed.text, text);
    assert!(fixed.document.skipped[0].why.contains("index is missing"));
}

/// If the user confirms that no other copy is left, the file is recorded as truncated, with its
/// size and digest, once.
#[test]
fn truncated_files_are_recorded_if_that_is_confirmed() {
    for (state, length) in [("", 30), (", \"state\": \"complete\"", 36)] {
        let row = format!("\"file\": \"a.jpg\", \"kind\": \"photo\"{state}");
        let (text, _) = with_media(&row, &JPEG[..length]);
        let files = Files(BTreeMap::from([("a.jpg", &JPEG[..length])]));
        let settings = confirmed().with_only([MEDIA_FILE]);
        let fixed = checker().fix(text.as_bytes(), &settings, Some(&files)).expect("json");
        assert!(fixed.text.contains("\"state\": \"truncated\""), "{}", fixed.text);
        assert!(fixed.text.contains(&format!("\"bytes\": {length}")), "{}", fixed.text);
        assert!(!fixed.document.applied[0].safe);
        let again = checker().fix(fixed.text.as_bytes(), &settings, Some(&files)).expect("json");
        assert_eq!(again.text, fixed.text);
        assert!(again.document.skipped.is_empty(), "{:?}", again.document.skipped);
    }
}

/// If the format does not show it, the log says that the file may be incomplete.
#[test]
fn the_log_says_which_files_may_be_incomplete() {
    let photo = "\"file\": \"a.jpg\", \"kind\": \"photo\"";
    let (_, fixed) = with_media(photo, b"abc");
    let does = &fixed.document.applied[0].does;
    assert!(does.contains("the file may be incomplete"), "{does}");
    let (_, fixed) = with_media(photo, JPEG);
    let does = &fixed.document.applied[0].does;
    assert!(!does.contains("may be incomplete"), "{does}");
}
