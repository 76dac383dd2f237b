//! Mending whole documents: what is mended, what is left and why, and that a document which was
//! mended stays as it is.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::collections::BTreeMap;

use obvert_check::{
    Checker, MEDIA_FILE, MINIMAL, MediaError, MediaFile, MediaSource, MendError, MendSettings,
    Mended, Section, Settings, catalogue,
};
use obvert_model::profile::Profile;
use serde_json::Value;

fn checker() -> Checker {
    let settings =
        Settings { keep: usize::MAX, today: "2026-06-01".parse().ok(), ..Settings::default() };
    Checker::new(settings).expect("settings")
}

fn confirmed() -> MendSettings {
    MendSettings { confirmed: true, ..MendSettings::default() }
}

fn mend(text: &str, settings: &MendSettings) -> Mended {
    checker().mend(text.as_bytes(), settings, None).expect("json")
}

/// The text with pieces of it exchanged, each of which must be there.
fn changed(text: &str, pieces: &[(&str, &str)]) -> String {
    let change = |text: String, (from, to): &(&str, &str)| {
        assert!(text.contains(from), "{from:?}");
        text.replacen(from, to, 1)
    };
    pieces.iter().fold(text.to_owned(), change)
}

/// Each of these comes back to the small valid survey, byte for byte.
#[test]
fn safe_mends_bring_the_survey_back() {
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
        // The id is right where it stands, and named wrongly.
        &[("\"upstream\": \"LM-014\"", "\"upstream\": \"LM-014\\t\"")],
        // A problem of the structure hides everything else; it is mended first, and then the rest.
        &[
            ("\"kind\": \"manhole\"", "\"kind\": \"Manhole\""),
            ("\"to\": 44.2, \"continuous\": true", "\"to\": 44.2"),
        ],
    ];
    for pieces in cases {
        let text = changed(MINIMAL, pieces);
        let mended = mend(&text, &MendSettings::default());
        assert_eq!(mended.text, MINIMAL, "{pieces:?}: {:#?}", mended.document);
        assert!(!mended.document.applied.is_empty());
        assert_eq!(mended.document.after.all(), 0);
        assert!(mended.document.before.all() > 0);
    }
}

/// What could be meant in two ways stays as it is.
#[test]
fn what_is_not_sure_is_left() {
    let cases: &[&[(&str, &str)]] = &[
        &[("\"kind\": \"manhole\"", "\"kind\": \"manhoel\"")],
        &[("\"at\": 12.4", "\"at\": \"12,4\"")],
        // Two structures, and not one written in two ways.
        &[
            ("\"id\": \"LM-015\"", "\"id\": \"LM-014 \""),
            ("\"downstream\": \"LM-015\"", "\"downstream\": \"LM-014 \""),
        ],
        // Both spellings of a key are there.
        &[("\"at\": 12.4", "\"at\": 12.4, \"At\": 12.5")],
        // One of two values would be lost with its key, and it may be the right one.
        &[("\"kind\": \"manhole\"", "\"kind\": \"outfall\", \"kind\": \"Manhole\"")],
        // A required key has no value: to leave it out says no more.
        &[("\"kind\": \"manhole\"", "\"kind\": null")],
        &[("\"id\": \"3\", \"at\": 12.4", "\"id\": \"3\", \"at\": null")],
        // Case in an id may mean something.
        &[("\"upstream\": \"LM-014\"", "\"upstream\": \"lm-014\"")],
    ];
    for pieces in cases {
        let text = changed(MINIMAL, pieces);
        let mended = mend(&text, &MendSettings::default());
        assert_eq!(mended.text, text, "{pieces:?}");
        assert_eq!(mended.document.before, mended.document.after);
        assert!(mended.document.applied.is_empty());
    }
    let text = changed(MINIMAL, &[("\"upstream\": \"LM-014\"", "\"upstream\": \"lm-014\"")]);
    assert_eq!(mend(&text, &confirmed()).text, MINIMAL);
}

/// Every id of the demo gets a blank behind it, and is named with it or without: that is what comes
/// of a spreadsheet.
#[test]
fn ids_are_trimmed_wherever_they_are_named() {
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
        let mended = mend(&text, &MendSettings::default());
        assert!(mended.text == original, "{:#?}", mended.document.left);
    }
}

#[test]
fn a_mend_that_brings_an_error_is_taken_back() {
    let text = changed(MINIMAL, &[("\"to\": 44.2, ", "")]);
    // The stretch to the end counts more often than the rating says, and nobody asked to have the
    // rating corrected.
    let only = MendSettings { confirmed: true, only: ["stretch-unfinished".to_owned()].into() };
    let mended = mend(&text, &only);
    assert_eq!(mended.text, text);
    let left = mended.document.left.first().expect("it is said");
    assert_eq!(
        (left.rule.as_str(), left.subject.path.as_str()),
        ("stretch-unfinished", "/runs/0/observations/2/continuous")
    );
    assert!(left.why.contains("rating-contradicts"), "{}", left.why);
    assert_eq!(left.subject.observation.as_deref(), Some("3"));
    // With the rating corrected as well it holds.
    let mended = mend(&text, &confirmed());
    assert!(
        mended.text.contains("\"at\": 12.4, \"to\": 200, \"continuous\": true"),
        "{}",
        mended.text
    );
    assert_eq!(mended.document.after.error, 0);
    // One that is bad does not hold up the others.
    let text = changed(&text, &[("\"kind\": \"manhole\"", "\"kind\": \"Manhole\"")]);
    let only = ["stretch-unfinished".to_owned(), "unknown-word".to_owned()].into();
    let mended = mend(&text, &MendSettings { confirmed: true, only });
    assert_eq!(mended.text, changed(MINIMAL, &[("\"to\": 44.2, ", "")]));
}

#[test]
fn only_what_is_named_is_mended() {
    let text = changed(
        MINIMAL,
        &[
            ("\"code\": \"crack.longitudinal\"", "\"code\": \"Crack.Longitudinal\""),
            ("\"id\": \"LM-014\"", "\"id\": \"LM-014 \""),
        ],
    );
    let mended = mend(
        &text,
        &MendSettings { only: ["code-unknown".to_owned()].into(), ..MendSettings::default() },
    );
    assert_eq!(mended.text, changed(MINIMAL, &[("\"id\": \"LM-014\"", "\"id\": \"LM-014 \"")]));
    assert!(mended.document.reach.safe > 0);
    let error = checker()
        .mend(
            text.as_bytes(),
            &MendSettings { only: ["code-unknwon".to_owned()].into(), ..MendSettings::default() },
            None,
        )
        .expect_err("no such rule");
    assert!(matches!(error, MendError::Name { near: Some(near), .. } if near == "code-unknown"));
}

/// On every failing example of every rule: mending twice is mending once, and no error more than
/// before.
#[test]
fn mending_comes_to_rest() {
    for rule in catalogue() {
        let profile = rule.profile().map(|text| Profile::read(text.as_bytes()).expect("a profile"));
        let settings = Settings {
            profile,
            keep: usize::MAX,
            today: "2026-06-01".parse().ok(),
            ..Settings::default()
        };
        let checker = Checker::new(settings).expect("settings");
        for example in rule.examples(Section::Fails) {
            let mut document: Value = serde_json::from_str(MINIMAL).expect("json");
            let patch: json_patch::Patch = serde_json::from_str(&example.patch).expect("a patch");
            json_patch::patch(&mut document, &patch).expect("applies");
            let text = serde_json::to_string_pretty(&document).expect("json");
            for settings in [MendSettings::default(), confirmed()] {
                let once = checker.mend(text.as_bytes(), &settings, None).expect("json");
                let twice = checker.mend(once.text.as_bytes(), &settings, None).expect("json");
                assert_eq!(once.text, twice.text, "{}", rule.name);
                assert!(
                    twice.document.applied.is_empty(),
                    "{}: {:?}",
                    rule.name,
                    twice.document.applied
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
            return Err(MediaError::Refused("it lies outside the document's folder".into()));
        }
        let content = self.0.get(file).ok_or(MediaError::Missing)?;
        Ok(MediaFile { bytes: content.len() as u64, content: Box::new(*content) })
    }
}

/// A survey with one row of media, and what the file is.
fn with_media(row: &str, content: &'static [u8]) -> (String, Mended) {
    let from = MINIMAL.find("{\"id\": \"M-1\"").expect("the first row");
    let end = from + MINIMAL[from..].find('}').expect("its end") + 1;
    let text = format!("{}{{\"id\": \"M-1\", {row}}}{}", &MINIMAL[..from], &MINIMAL[end..]);
    let files = Files(BTreeMap::from([("a.jpg", content)]));
    let only = MendSettings { only: [MEDIA_FILE.to_owned()].into(), ..MendSettings::default() };
    let mended = checker().mend(text.as_bytes(), &only, Some(&files)).expect("json");
    (text, mended)
}

/// SHA-256 of "abc": FIPS 180-4, example B.1 of its predecessor. The type is told from JPEG's first
/// bytes (ITU-T T.81).
#[test]
fn files_say_what_they_are() {
    const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    const JPEG: &[u8] = b"\xFF\xD8\xFF\xE0\0\x10JFIF\0";
    let (_, mended) =
        with_media("\"file\": \"a.jpg\", \"kind\": \"photo\", \"caption\": \"x\"", b"abc");
    let wanted =
        format!("\"kind\": \"photo\", \"bytes\": 3, \"sha256\": \"{ABC}\", \"caption\": \"x\"");
    assert!(mended.text.contains(&wanted), "{}", mended.text);
    let applied = &mended.document.applied[0];
    assert_eq!(
        (applied.rule.as_str(), applied.subject.record.as_deref(), applied.safe),
        (MEDIA_FILE, Some("M-1"), true)
    );
    // The other files of the survey are not there.
    assert!(!mended.document.media_missing.is_empty());

    let (_, mended) = with_media("\"file\": \"a.jpg\", \"kind\": \"photo\"", JPEG);
    assert!(
        mended
            .text
            .contains("\"kind\": \"photo\", \"type\": \"image/jpeg\", \"bytes\": 11, \"sha256\": ")
    );
    let (_, mended) =
        with_media("\"file\": \"a.jpg\", \"kind\": \"photo\", \"type\": \"image/png\"", JPEG);
    assert!(mended.text.contains("\"type\": \"image/jpeg\""), "{}", mended.text);
    // Another name for the same type is left alone.
    let (_, mended) =
        with_media("\"file\": \"a.jpg\", \"kind\": \"photo\", \"type\": \"image/pjpeg\"", JPEG);
    assert!(mended.text.contains("\"type\": \"image/pjpeg\", \"bytes\""), "{}", mended.text);
}

/// What contradicts the record is evidence, and stays as it is.
#[test]
fn what_a_file_contradicts_is_not_written_over() {
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
        let (text, mended) = with_media(row, content);
        assert_eq!(mended.text, text, "{row}");
        let left = &mended.document.left[0];
        assert_eq!((left.subject.path.as_str(), left.rule.as_str()), (path, MEDIA_FILE));
        assert!(left.why.contains(why), "{}", left.why);
    }
    let (text, mended) =
        with_media("\"file\": \"a.jpg\", \"kind\": \"photo\", \"state\": \"lost\"", b"abc");
    assert_eq!(mended.text, text);
    assert!(mended.document.left.is_empty());
}
