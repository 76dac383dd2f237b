//! The canonical form and the digest over it. Sources: RFC 8785 (its own examples of sections
//! 3.2.2, 3.2.3 and 3.2.4 as the test files of the serde_json_canonicalizer package repeat them;
//! where an example has a number beyond 2⁵³ − 1, which this format refuses, that number is left out
//! and the test says so); RFC 6234 for SHA-256.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_model::read;
use obvert_model::tables::Document;
use obvert_model::text::Digest;
use obvert_model::write;

const HEAD: &str = r#""obvert": "0.2", "id": "d", "issued": "2026-05-06T16:20:00-05:00",
    "units": { "section": "in", "length": "ft" }, "coding": { "version": "1", "list": "obvert-terms" }"#;

fn document(extension: &str) -> Document {
    let source = format!(r#"{{ {HEAD}, "extensions": {{ "org.example.x": {extension} }} }}"#);
    read::document(source.as_bytes()).unwrap()
}

/// The canonical form of any JSON that this format can hold, taken from an extension.
fn canonical(json: &str) -> String {
    let whole = String::from_utf8(write::canonical(&document(json)).unwrap()).unwrap();
    let from = whole.find(r#"{"org.example.x":"#).unwrap() + r#"{"org.example.x":"#.len();
    let to = whole.find(r#"},"id":"d""#).unwrap();
    whole[from..to].to_owned()
}

// RFC 8785 section 3.2.2, without its number 1E30.
#[test]
fn the_example_of_the_standard() {
    let input = r#"{
      "numbers": [333333333.33333329, 4.50, 2e-3, 0.000000000000000000000000001],
      "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
      "literals": [null, true, false]
    }"#;
    let expected = r#"{"literals":[null,true,false],"numbers":[333333333.3333333,4.5,0.002,1e-27],"string":"€$\u000f\nA'B\"\\\\\"/"}"#;
    assert_eq!(canonical(input), expected);
}

// RFC 8785 section 3.2.3: keys sort by their UTF-16 code units, so that a character beyond U+FFFF
// comes before one at U+FB33, against the order of code points.
#[test]
fn keys_sort_by_utf_16_code_units() {
    let input = r#"{
      "\u20ac": "Euro Sign",
      "\r": "Carriage Return",
      "\ufb33": "Hebrew Letter Dalet With Dagesh",
      "1": "One",
      "\ud83d\ude00": "Emoji: Grinning Face",
      "\u0080": "Control",
      "\u00f6": "Latin Small Letter O With Diaeresis"
    }"#;
    let names = [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ];
    let sorted = canonical(input);
    let places: Vec<usize> = names.iter().map(|name| sorted.find(name).unwrap()).collect();
    assert!(places.is_sorted(), "{sorted}");
    // Files only need a fixed order: there the keys are in the order of code points.
    let written = write::to_string(&document(input)).unwrap();
    assert!(written.find("Emoji").unwrap() > written.find("Hebrew").unwrap());
}

// RFC 8785 section 3.2.2.2: only characters that JSON requires to be escaped are escaped, with the
// short escapes if they exist.
#[test]
fn texts_escape_as_little_as_they_can() {
    let input = r#""\u0000\u0007\b\t\n\u000b\f\r\u001f\u0020\/\u007f\u0080\u2028\ud83d\udca7""#;
    let expected = "\"\\u0000\\u0007\\b\\t\\n\\u000b\\f\\r\\u001f /\u{7f}\u{80}\u{2028}💧\"";
    assert_eq!(canonical(input), expected);
}

// RFC 8785 section 3.2.2.3 and appendix B: the shortest decimal that reads back as the same double,
// in ECMAScript's spelling. The values are those of the appendix within ±(2⁵³ − 1), as that
// package's tests repeat them, and handwritten spellings of the same numbers.
#[test]
fn numbers_take_their_shortest_form() {
    for (input, expected) in [
        ("0", "0"),
        ("-0", "0"),
        ("-0.0", "0"),
        ("5e-324", "5e-324"),
        ("-5e-324", "-5e-324"),
        ("9007199254740991", "9007199254740991"),
        ("-9007199254740991", "-9007199254740991"),
        ("1.0", "1"),
        ("1E2", "100"),
        ("9.999999999999997e-7", "9.999999999999997e-7"),
        ("0.000001", "0.000001"),
        ("1e-7", "1e-7"),
        ("333333333.3333332", "333333333.3333332"),
        ("333333333.33333325", "333333333.33333325"),
        ("333333333.33333343", "333333333.33333343"),
        ("-0.0000033333333333333333", "-0.0000033333333333333333"),
        ("1424953923781206.2", "1424953923781206.2"),
        ("0.1000000000000000055511151231257827021181583404541015625", "0.1"),
    ] {
        assert_eq!(canonical(input), expected, "{input}");
    }
}

/// Files spell every number as the canonical form does, at any size.
#[test]
fn both_forms_spell_numbers_alike() {
    let mut numbers: Vec<String> = (-330..16)
        .flat_map(|power| [1, 15, 123].map(|digits| format!("{digits}e{power}")))
        .collect();
    numbers.retain(|number| {
        number.parse::<f64>().is_ok_and(|value| value.abs() <= 9_007_199_254_740_991.0)
    });
    numbers.extend(["-0.0", "-0.0000012", "0.0000099999999999999999", "5e-324"].map(str::to_owned));
    for number in numbers {
        let spelled = canonical(&number);
        let layout = write::to_string(&document(&number)).unwrap();
        assert!(
            layout.contains(&format!(r#"{{"org.example.x": {spelled}}}"#)),
            "{number}: {spelled} but {layout}"
        );
    }
}

// RFC 8785 section 3.2.3: sorting applies at every depth, and lists keep their order.
#[test]
fn nested_objects_sort_and_lists_do_not() {
    assert_eq!(
        canonical(
            r#"[56, {"d": true, "10": null, "1": []}, {"b": {"z": 1, "Z": 0, "": 2}, "a": [3, 1, 2]}]"#
        ),
        r#"[56,{"1":[],"10":null,"d":true},{"a":[3,1,2],"b":{"":2,"Z":0,"z":1}}]"#
    );
}

// RFC 8785 section 3.2.4: UTF-8, no white space; the digest by another implementation of SHA-256
// (Python's hashlib over the bytes below).
#[test]
fn the_digest_of_a_document() {
    let document = document(r#"{"b": 1.50, "a": "é"}"#);
    let canonical = concat!(
        r#"{"coding":{"list":"obvert-terms","version":"1"},"extensions":{"org.example.x":{"a":"é","b":1.5}},"id":"d","#,
        r#""issued":"2026-05-06T16:20:00-05:00","obvert":"0.2","units":{"length":"ft","section":"in"}}"#
    );
    assert_eq!(String::from_utf8(write::canonical(&document).unwrap()).unwrap(), canonical);
    let digest = write::digest(&document).unwrap();
    assert_eq!(
        digest,
        Digest::new("sha-256:8b68ce0c4d77fc4fd9308a66236c4c901d3bc7892b8c84f7d0c3ee8d14663b6c")
            .unwrap()
    );
}

#[test]
fn equal_content_has_the_same_digest() {
    let one =
        read::document(format!(r#"{{ {HEAD}, "pipes": [], "runs": [] }}"#).as_bytes()).unwrap();
    let other = read::document(format!(r#"{{"runs": [], {HEAD} }}"#).as_bytes()).unwrap();
    assert_eq!(write::digest(&one).unwrap(), write::digest(&other).unwrap());
    let changed = read::document(format!(r#"{{ {HEAD}, "language": "en" }}"#).as_bytes()).unwrap();
    assert_ne!(write::digest(&one).unwrap(), write::digest(&changed).unwrap());
}

/// A document that readers would refuse is not written at all: a duplicate id is an error.
#[test]
fn a_duplicate_id_is_not_written() {
    use obvert_model::archive;
    use obvert_model::tables::{Direction, Run, Structure, StructureKind};
    use obvert_model::write::WriteError;

    let structure = || Structure::new("LM-014".parse().unwrap(), StructureKind::Manhole);
    let run = || Run::new("R-1".parse().unwrap(), "L-101".parse().unwrap(), Direction::Downstream);
    let mut heads = document("1");
    heads.head.structures = vec![structure(), structure()];
    let runs = document("1").with_runs([run(), run()]);
    for (document, pointer) in [(heads, "/structures/1/id"), (runs, "/runs/1/id")] {
        let refused = |written: Result<(), WriteError>| {
            let error = written.unwrap_err();
            assert!(error.to_string().contains(pointer), "{error}");
            let WriteError::Structure(problems) = error else { panic!("{error:?}") };
            assert_eq!(
                problems.iter().map(|problem| &problem.pointer).collect::<Vec<_>>(),
                [pointer]
            );
        };
        let mut sink = Vec::new();
        refused(write::document(&document, &mut sink));
        refused(archive::write(&document, &mut sink));
        assert!(sink.is_empty());
        let by_run = || {
            let mut writer = write::Writer::new(&document.head, Vec::new())?;
            document.runs.iter().try_for_each(|run| writer.run(run))?;
            writer.finish().map(drop)
        };
        refused(by_run());
        refused(write::to_string(&document).map(|_| ()));
        refused(write::canonical(&document).map(|_| ()));
        refused(write::digest(&document).map(|_| ()));
    }
}

/// The sink's error is returned unchanged.
#[test]
fn an_error_of_the_sink_is_kept() {
    use std::io::{self, ErrorKind};
    struct Full;
    impl io::Write for Full {
        fn write(&mut self, _: &[u8]) -> io::Result<usize> {
            Err(ErrorKind::StorageFull.into())
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }
    let error = write::document(&document("1"), Full).unwrap_err();
    assert_eq!(io::Error::from(error).kind(), ErrorKind::StorageFull);
}
