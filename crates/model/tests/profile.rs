//! Profiles: what is read, what is refused with its location, and which demands are inconsistent.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_model::lists::{CodeList, GradeScheme};
use obvert_model::profile::{
    Available, AvailableRule, FieldPath, Pattern, Profile, ProfileProblemKind as Kind,
};
use serde_json::{Value, json};

fn profile(parts: Value) -> Value {
    let mut whole = json!({ "profile": "0.1", "id": "p", "version": "1", "title": "t" });
    for (key, value) in parts.as_object().expect("an object") {
        whole[key] = value.clone();
    }
    whole
}

fn read(parts: Value) -> Profile {
    Profile::read(profile(parts).to_string().as_bytes()).unwrap_or_else(|error| panic!("{error}"))
}

/// The problems, as kind and pointer.
fn wrong(parts: Value) -> Vec<(Kind, String)> {
    let today = "2026-06-01".parse().expect("a date");
    let hand = Available {
        rules: vec![
            AvailableRule { name: "camera-speed", limits: vec![("limit", "m/min")] },
            AvailableRule { name: "run-duration-implausible", limits: vec![("limit", "h")] },
            AvailableRule { name: "media-unused", limits: vec![] },
        ],
        code_lists: CodeList::built_ins().to_vec(),
        grade_schemes: vec![GradeScheme::obvert_grades()],
        formats: vec!["json", "csv-zip"],
        today: Some(&today),
    };
    read(parts).problems(&hand).into_iter().map(|problem| (problem.kind, problem.pointer)).collect()
}

#[test]
fn files_that_are_not_profiles_are_refused_with_line_and_column() {
    let source =
        b"{\n  \"profile\": \"0.1\", \"id\": \"p\", \"version\": \"1\", \"title\": \"t\",\n  \"feilds\": [],\n  \
                   \"rules\": [{ \"rule\": 3, \"severity\": \"fatal\" }],\n  \"fields\": [{ \"path\": \"Runs\" }]\n}";
    let error = Profile::read(source).expect_err("no profile");
    let messages: Vec<(usize, usize, &str)> = error
        .problems()
        .iter()
        .map(|problem| (problem.line, problem.column, problem.kind.as_str()))
        .collect();
    assert_eq!(
        messages,
        [
            (3, 3, "unknown-key"),
            (4, 23, "wrong-type"),
            (4, 38, "unknown-word"),
            (5, 24, "text-form")
        ],
        "{:#?}",
        error.problems()
    );
    assert_eq!(error.problems()[0].suggestion.as_deref(), Some("fields"));
    assert!(error.problems()[2].message.contains("error, warning, note, off"));
    // A duplicate key, null, and a value that is not a single one.
    for (parts, kind) in [
        (r#""title": "u""#, "duplicate-key"),
        (r#""publisher": null"#, "null-value"),
        (r#""fields": [{ "path": "pipes.height", "values": [[8]] }]"#, "wrong-type"),
        (r#""fields": [{ "path": "pipes.height", "values": [1e300] }]"#, "number-range"),
        (r#""fields": [{ "path": "pipes.street", "values": [""] }]"#, "empty-text"),
    ] {
        let source =
            format!(r#"{{ "profile": "0.1", "id": "p", "version": "1", "title": "t", {parts} }}"#);
        let error = Profile::read(source.as_bytes()).expect_err(kind);
        assert_eq!(error.problems()[0].kind.as_str(), kind, "{error:?}");
    }
    let other = Profile::read(br#"{ "profile": "9", "id": "p", "version": "1", "title": "t" }"#)
        .expect_err("a version");
    let cause = std::error::Error::source(&other).unwrap().to_string();
    assert!(cause.contains("the profile is of version \"9\""), "{cause}");
}

#[test]
fn equal_content_has_one_digest() {
    let one =
        read(json!({ "fields": [{ "path": "runs.operator", "demand": "required" }], "media": [] }));
    let spaced = br#"{ "title": "t",  "version": "1", "id": "p", "profile": "0.1",
        "fields": [ { "demand": "required", "path": "runs.operator" } ] }"#;
    let other = Profile::read(spaced).expect("a profile");
    assert_eq!(one.digest().unwrap(), other.digest().unwrap());
    assert_eq!(Profile::read(one.write().unwrap().as_bytes()).unwrap(), one);
    assert!(
        one.write()
            .unwrap()
            .contains("\n    {\"path\": \"runs.operator\", \"demand\": \"required\"}\n")
    );
    // `printf '%s'
    // '{"fields":[{"demand":"required","path":"runs.operator"}],"id":"p","profile":"0.1","title":"t","version":"1"}'
    // | sha256sum`
    assert_eq!(
        one.digest().unwrap().as_str(),
        "sha-256:cdd049de30c4b2a1ed21da1901e40fa097ae9e337c75404bfb42fdd1d7ae0fad"
    );
}

#[test]
fn rules_and_limits_are_compared_with_the_checker() {
    let limits =
        |rule: &str, limit: Value| json!({ "rules": [{ "rule": rule, "limits": [limit] }] });
    assert_eq!(
        wrong(limits("camera-speed", json!({ "name": "limit", "value": 30, "unit": "ft/min" }))),
        []
    );
    assert_eq!(wrong(limits("camera-speed", json!({ "name": "limit", "value": 12 }))), []);
    let at = |kind, pointer: &str| vec![(kind, pointer.to_owned())];
    assert_eq!(
        wrong(limits("camera-sped", json!({ "name": "limit", "value": 12 }))),
        at(Kind::UnknownRule, "/rules/0/rule")
    );
    assert_eq!(
        wrong(limits("camera-speed", json!({ "name": "slack", "value": 1 }))),
        at(Kind::UnknownLimit, "/rules/0/limits/0/name")
    );
    assert_eq!(
        wrong(limits("camera-speed", json!({ "name": "limit", "value": 30, "unit": "ft" }))),
        at(Kind::LimitValue, "/rules/0/limits/0/unit")
    );
    assert_eq!(
        wrong(limits(
            "run-duration-implausible",
            json!({ "name": "limit", "value": 2, "unit": "m" })
        )),
        at(Kind::LimitValue, "/rules/0/limits/0/unit")
    );
    assert_eq!(
        wrong(limits("run-duration-implausible", json!({ "name": "limit", "value": -2 }))),
        at(Kind::LimitValue, "/rules/0/limits/0/value")
    );
    assert_eq!(
        wrong(json!({ "rules": [{ "rule": "media-unused" }] })),
        at(Kind::Empty, "/rules/0")
    );
    let off = json!({ "rule": "media-unused", "severity": "off" });
    assert_eq!(wrong(json!({ "rules": [off, off] })), at(Kind::Duplicate, "/rules/1"));
}

#[test]
fn fields_are_compared_with_the_format() {
    let one = |demand: Value| wrong(json!({ "fields": [demand] }));
    let at = |kind, pointer: &str| vec![(kind, pointer.to_owned())];
    for sound in [
        json!({ "path": "runs.operator", "demand": "required" }),
        json!({ "path": "assignment.contract", "pattern": "LWD 20[0-9]{2}-[0-9]{3}" }),
        json!({ "path": "runs.counter.checks.reading", "values": [100, 200.5] }),
        json!({ "path": "runs.observations.clock", "demand": "required", "where": [{ "field": "code", "values": ["x"] }] }),
        json!({ "path": "runs.observations.quantities.unit", "values": ["mm"], "where": [{ "field": "value" }] }),
        json!({ "path": "pipes.joins.clock", "demand": "required", "where": [{ "field": "joins" }] }),
        json!({ "path": "runs.observations.joint", "values": [true] }),
        json!({ "path": "runs.equipment", "pattern": "E-[0-9]+" }),
    ] {
        assert_eq!(one(sound.clone()), [], "{sound}");
    }
    let bad = [
        (
            json!({ "path": "runs.opperator", "demand": "required" }),
            Kind::UnknownField,
            "/fields/0/path",
        ),
        (json!({ "path": "runs", "demand": "required" }), Kind::UnknownField, "/fields/0/path"),
        (
            json!({ "path": "runs.operator.name", "demand": "required" }),
            Kind::UnknownField,
            "/fields/0/path",
        ),
        (json!({ "path": "runs.operator" }), Kind::Empty, "/fields/0"),
        (
            json!({ "path": "runs.pipe", "demand": "forbidden" }),
            Kind::Contradiction,
            "/fields/0/demand",
        ),
        (
            json!({ "path": "pipes.lining", "demand": "forbidden", "values": ["x"] }),
            Kind::Contradiction,
            "/fields/0",
        ),
        (
            json!({ "path": "pipes.material", "values": ["pvc", "clay"] }),
            Kind::Value,
            "/fields/0/values/1",
        ),
        (json!({ "path": "pipes.height", "values": ["8"] }), Kind::Value, "/fields/0/values/0"),
        (json!({ "path": "pipes.path", "values": [1] }), Kind::Value, "/fields/0/values/0"),
        (json!({ "path": "pipes.height", "pattern": "[0-9]" }), Kind::Pattern, "/fields/0/pattern"),
        (json!({ "path": "pipes.id", "pattern": "P-\\d+" }), Kind::Pattern, "/fields/0/pattern"),
        (
            json!({ "path": "pipes.id", "pattern": "P-.", "values": ["P-12"] }),
            Kind::Contradiction,
            "/fields/0/pattern",
        ),
        (
            json!({ "path": "pipes.id", "values": ["a", "a"] }),
            Kind::Duplicate,
            "/fields/0/values/1",
        ),
    ];
    for (demand, kind, pointer) in bad {
        assert_eq!(one(demand.clone()), at(kind, pointer), "{demand}");
    }
    let given = |condition: Value| {
        one(
            json!({ "path": "runs.observations.clock", "demand": "required", "where": [condition] }),
        )
    };
    assert_eq!(given(json!({ "field": "cod" })), at(Kind::UnknownField, "/fields/0/where/0/field"));
    assert_eq!(
        given(json!({ "field": "quantities.unit" })),
        at(Kind::UnknownField, "/fields/0/where/0/field")
    );
    assert_eq!(
        given(json!({ "field": "clock" })),
        at(Kind::Contradiction, "/fields/0/where/0/field")
    );
    assert_eq!(
        given(json!({ "field": "flow", "values": ["fast"] })),
        at(Kind::Value, "/fields/0/where/0/values/0")
    );
}

#[test]
fn demands_that_exclude_each_other_are_reported() {
    let two = |one: Value, other: Value| wrong(json!({ "fields": [one, other] }));
    let at = |kind| vec![(kind, "/fields/1".to_owned())];
    let required = |path: &str| json!({ "path": path, "demand": "required" });
    let forbidden = |path: &str| json!({ "path": path, "demand": "forbidden" });
    let only = |mut demand: Value, material: &str| {
        demand["where"] = json!([{ "field": "material", "values": [material] }]);
        demand
    };
    assert_eq!(two(required("pipes.laid"), forbidden("pipes.laid")), at(Kind::Contradiction));
    assert_eq!(
        two(forbidden("runs.counter"), required("runs.counter.offset")),
        at(Kind::Contradiction)
    );
    assert_eq!(two(required("runs.counter"), forbidden("runs.counter.offset")), []);
    assert_eq!(
        two(required("pipes.laid"), only(forbidden("pipes.laid"), "pvc")),
        at(Kind::Contradiction)
    );
    assert_eq!(
        two(only(required("pipes.laid"), "brick"), only(forbidden("pipes.laid"), "pvc")),
        []
    );
    assert_eq!(two(required("pipes.laid"), required("pipes.laid")), at(Kind::Duplicate));
    assert_eq!(two(required("pipes.laid"), json!({ "path": "pipes.laid", "values": [1950] })), []);
}

#[test]
fn media_and_suppressions_are_bounded() {
    let at = |kind, pointer: &str| vec![(kind, pointer.to_owned())];
    let allow = json!({ "code_lists": [{ "list": "obvert-terms" }], "grade_schemes": [{ "scheme": "obvert-grades" }] });
    let media = |demand: Value| wrong(json!({ "allow": allow, "media": [demand] }));
    assert_eq!(media(json!({ "of": "run", "kinds": ["video"] })), []);
    assert_eq!(
        media(
            json!({ "of": "observation", "kinds": ["photo"], "from_grade": 4, "codes": ["collapse"] })
        ),
        []
    );
    assert_eq!(media(json!({ "of": "run" })), at(Kind::Empty, "/media/0"));
    assert_eq!(
        media(json!({ "of": "run", "kinds": ["video"], "from_grade": 4 })),
        at(Kind::Contradiction, "/media/0")
    );
    let aspect = json!({ "of": "observation", "kinds": ["photo"], "aspect": "structural" });
    assert_eq!(media(aspect), at(Kind::Empty, "/media/0/aspect"));
    let code = json!({ "of": "observation", "kinds": ["photo"], "codes": ["colapse"] });
    assert_eq!(media(code), at(Kind::UnknownCode, "/media/0/codes/0"));
    let grade = json!({ "of": "observation", "kinds": ["photo"], "from_grade": 9 });
    assert_eq!(media(grade), at(Kind::UnknownCode, "/media/0/from_grade"));

    let suppressions = |suppression: Value| wrong(json!({ "suppressions": [suppression] }));
    let base = |more: Value| {
        let mut base = json!({ "rule": "media-unused", "reason": "r" });
        base.as_object_mut()
            .expect("an object")
            .extend(more.as_object().cloned().expect("an object"));
        base
    };
    assert_eq!(suppressions(base(json!({ "path": "media.file" }))), []);
    assert_eq!(suppressions(base(json!({ "path": "runs" }))), []);
    assert_eq!(suppressions(base(json!({ "pipes": ["P-1"], "until": "2026-06-01" }))), []);
    assert_eq!(
        suppressions(base(json!({ "pipes": ["P-1"], "until": "2026-05-31" }))),
        at(Kind::Expired, "/suppressions/0/until")
    );
    assert_eq!(suppressions(base(json!({}))), at(Kind::Empty, "/suppressions/0"));
    assert_eq!(
        suppressions(base(json!({ "path": "media.fille" }))),
        at(Kind::UnknownField, "/suppressions/0/path")
    );
    assert_eq!(
        suppressions(json!({ "rule": "media-unsed", "path": "media", "reason": "r" })),
        at(Kind::UnknownRule, "/suppressions/0/rule")
    );
    assert_eq!(
        wrong(
            json!({ "allow": { "code_lists": [{ "list": "obvert-terms", "version": "7" }], "grade_schemes": [{ "scheme": "own" }] } })
        ),
        [
            (Kind::NotAvailable, "/allow/code_lists/0".to_owned()),
            (Kind::NotAvailable, "/allow/grade_schemes/0".to_owned())
        ]
    );
    assert!(!Kind::NotAvailable.stops() && !Kind::Expired.stops() && Kind::UnknownField.stops());
}

/// RFC 9485: whole matches, the syntax of section 3 and nothing else, the mapping of section 5. The
/// checker `iregexp-check` (PyPI) accepts and refuses the same, except for `a{2,1}` and `[z-a]`,
/// which the grammar allows and nothing matches. The known formats come from the caller; a profile
/// may name a format of another program.
#[test]
fn formats_are_compared_with_those_that_can_be_delivered() {
    assert_eq!(wrong(json!({ "deliver": ["json", "csv-zip"] })), []);
    let problems = read(json!({ "deliver": ["json", "csvzip"] }))
        .problems(&Available { formats: vec!["json", "csv-zip"], ..Available::default() });
    assert_eq!(
        problems[0].to_string(),
        "/deliver/1: there is no format \"csvzip\"; did you mean \"csv-zip\"?"
    );
    assert!(problems[0].kind == Kind::UnknownFormat && !problems[0].kind.stops());
    assert_eq!(
        wrong(json!({ "deliver": ["json", "json"] })),
        [(Kind::Duplicate, "/deliver/1".to_owned())]
    );
    assert!(
        Profile::read(profile(json!({ "deliver": ["CSV tables"] })).to_string().as_bytes())
            .is_err()
    );
}

#[test]
fn patterns_are_i_regexps() {
    let matches = |pattern: &str, text: &str| {
        let pattern = Pattern::new(pattern).expect("not empty");
        pattern.compile().unwrap_or_else(|error| panic!("{pattern}: {error}")).matches(text)
    };
    for (pattern, yes, no) in [
        ("[0-9]{3}", &["014"][..], &["14", "0145", "014\n", " 014"][..]),
        ("a|bc", &["a", "bc"], &["ac", "abc"]),
        ("(LM|CB)-[0-9]+", &["LM-1", "CB-22"], &["LM-", "-1"]),
        (".", &["x", "é", "💧"], &["\n", "\r", "xx"]),
        // ^ and $ are plain characters: a pattern always matches the whole text.
        ("^a$", &["^a$"], &["a"]),
        (r"\.\*\-\^\[\]\{\}\(\)\|\\\?\+", &[r".*-^[]{}()|\?+"], &["x"]),
        (r"\p{Lu}\p{Ll}*", &["Á", "Zoë"], &["zoë", "Z0"]),
        (r"\P{N}+", &["abc"], &["ab1"]),
        ("[^-a-c]", &["d", "é"], &["a", "-", "dd"]),
        ("[a-c-]+", &["a-c"], &["d"]),
        (r"[\]\\\-\n&&~]", &["]", "\\", "-", "\n", "&", "~"], &["n"]),
        (r"[\p{Lu}0-9]{2,}", &["A1", "123"], &["A", "a1"]),
        ("a{0,2}b?c*", &["", "aabccc"], &["aaa"]),
        ("#x y", &["#x y"], &["#xy"]),
    ] {
        for text in yes {
            assert!(matches(pattern, text), "{pattern:?} {text:?}");
        }
        for text in no {
            assert!(!matches(pattern, text), "{pattern:?} {text:?}");
        }
    }
    for (pattern, at, says) in [
        (r"\d+", 2, "[0-9]"),
        (r"\bx", 2, "whole text"),
        ("(?i)x", 2, "plain groups"),
        ("(a", 3, "without its )"),
        ("a)", 2, "without its ("),
        ("*a", 1, "nothing before it"),
        ("a**", 3, "follows another"),
        ("a+?", 3, "follows another"),
        ("a{2,1}", 6, "below the minimum"),
        ("a{x}", 3, "a number"),
        ("a{9999}", 3, "1000"),
        ("[a", 1, "without its ]"),
        ("[]", 2, "empty [ ]"),
        ("[z-a]", 2, "empty range"),
        ("[a-c-e]", 5, "between two ranges"),
        ("[[a]]", 2, "in a class"),
        (r"\p{Greek}", 4, "category"),
        (r"x\", 3, "ends with"),
        ("((a{1000}){1000}){1000}", 1, "too large"),
    ] {
        let error = Pattern::new(pattern).expect("not empty").compile().expect_err(pattern);
        assert_eq!(error.at, at, "{pattern:?}: {error}");
        assert!(error.message.contains(says), "{pattern:?}: {error}");
    }
    let deep = "(".repeat(60) + "a" + &")".repeat(60);
    assert!(Pattern::new(&deep).expect("text").compile().is_err());
}

/// Patterns that take exponential time in a backtracking engine.
#[test]
fn a_pattern_takes_linear_time() {
    let matcher = Pattern::new("(a*)*b").expect("text").compile().expect("a pattern");
    let text = "a".repeat(100_000);
    let start = std::time::Instant::now();
    assert!(!matcher.matches(&text));
    assert!(start.elapsed().as_secs() < 5);
}

#[test]
fn a_path_resolves_to_its_row() {
    let path = |text: &str| {
        text.parse::<FieldPath>()
            .expect("a path")
            .resolve()
            .map(|there| (there.table.join("."), there.keys.join("."), there.always))
    };
    let there = |table: &str, keys: &str, always| Ok((table.to_owned(), keys.to_owned(), always));
    assert_eq!(path("units.length"), there("", "units.length", true));
    assert_eq!(path("pipes"), there("", "pipes", false));
    assert_eq!(path("pipes.joins.at"), there("pipes", "joins.at", false));
    assert_eq!(path("runs.counter.zero"), there("runs", "counter.zero", false));
    assert_eq!(path("runs.counter.checks.known"), there("runs.counter.checks", "known", true));
    assert_eq!(path("runs.observations"), there("runs", "observations", false));
    assert_eq!(path("runs.observations.media.id"), there("runs.observations.media", "id", true));
    let error = path("runs.observations.clok.at").expect_err("no such field");
    assert_eq!(error.message, "runs.observations has no field \"clok\"");
    assert_eq!(error.near.as_deref(), Some("runs.observations.clock.at"));
}
