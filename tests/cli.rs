//! The command line: exit statuses, streams, messages, and the handling of invalid input.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use serde_json::Value;
use support::{obvert, obvert_fed, obvert_in, read, root, status, stderr, stdout};

const CLEAN: &str = "examples/data/larkmoor.obvert.json";
const REJECTED: &str = "examples/data/larkmoor-rejected.obvert.json";
const TODAY: [&str; 2] = ["--today", "2026-06-15"];

fn check(arguments: &[&str]) -> std::process::Output {
    obvert(&[&["check"], arguments, &TODAY].concat())
}

#[test]
fn exit_statuses() {
    assert_eq!(status(&check(&[CLEAN])), 0);
    assert_eq!(status(&check(&[REJECTED])), 1);
    assert_eq!(status(&check(&["no-such-file.obvert.json"])), 2);
    assert_eq!(status(&check(&[CLEAN, "no-such-file.obvert.json"])), 2);
    assert_eq!(status(&obvert(&["check"])), 2);
    assert_eq!(status(&obvert(&["explain", "no-such-thing-at-all"])), 2);
    assert_eq!(status(&obvert(&["rules"])), 0);
}

#[test]
fn deny_sets_the_threshold() {
    let warned = read("crates/check/src/minimal.obvert.json").replace(
        "\"length_between\": \"centres\", \"joint_spacing\"",
        "\"lining\": \" x\", \"joint_spacing\"",
    );
    let note =
        obvert_fed(&["check", "-", "--deny", "note", "--today", "2026-06-15"], warned.as_bytes());
    assert_eq!(status(&note), 1, "{}{}", stdout(&note), stderr(&note));
    assert_eq!(
        status(&obvert_fed(
            &["check", "-", "--deny", "warning", "--today", "2026-06-15"],
            warned.as_bytes()
        )),
        0
    );
    assert_eq!(status(&obvert_fed(&["check", "-", "--today", "2026-06-15"], warned.as_bytes())), 0);
}

#[test]
fn a_json_report_is_one_object_that_its_schema_accepts() {
    let schema: Value =
        serde_json::from_str(&stdout(&obvert(&["schema", "report"]))).expect("schema");
    let validator = jsonschema::validator_for(&schema).expect("the schema compiles");
    for files in [&[CLEAN][..], &[REJECTED], &[CLEAN, REJECTED], &[REJECTED, "no-such-file"]] {
        let output = check(&[files, &["--format", "json"]].concat());
        let report: Value = serde_json::from_slice(&output.stdout).expect("one JSON value");
        let errors: Vec<String> =
            validator.iter_errors(&report).map(|error| error.to_string()).collect();
        assert_eq!(errors, Vec::<String>::new());
        assert_eq!(report["documents"].as_array().map(Vec::len), Some(files.len()));
        assert!(report["findings"].is_array());
        let listed: u64 = report["rules"]
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(|rule| rule["listed"].as_u64())
            .sum();
        assert_eq!(listed as usize, report["findings"].as_array().map_or(0, Vec::len));
    }
}

#[test]
fn reports_are_the_same_every_time() {
    let once = stdout(&check(&[REJECTED, "--format", "json"]));
    assert_eq!(once, stdout(&check(&[REJECTED, "--format", "json"])));
}

#[test]
fn text_findings_show_the_line_what_to_do_and_the_name() {
    let text = stdout(&check(&[REJECTED, "--all"]));
    let json: Value =
        serde_json::from_slice(&check(&[REJECTED, "--format", "json"]).stdout).expect("json");
    for finding in json["findings"].as_array().expect("findings") {
        let (rule, message) = (
            finding["rule"].as_str().expect("rule"),
            finding["message"].as_str().expect("message"),
        );
        assert!(text.contains(&format!("{message} [{rule}]")), "{message} [{rule}]");
        let at = &finding["at"];
        assert!(text.contains(&format!("{REJECTED}:{}:{}", at["line"], at["column"])), "{at}");
    }
    assert!(text.contains(" | "), "source lines are shown");
    assert!(text.lines().any(|line| line.trim_end().ends_with('^')), "with a marker");
    assert!(
        text.contains("pipe L-") && text.contains("run R-") && text.contains(" ft"),
        "and what they concern"
    );
    assert!(text.contains("-> "), "and what to do");
    assert!(text.contains("run `obvert explain "), "and where to read more");
}

/// Two hundred findings of one rule are three and a count, and the count is exact.
#[test]
fn alike_findings_fold() {
    let mut document: Value = serde_json::from_str(&read(CLEAN)).expect("json");
    let mut made = 0;
    for run in document["runs"].as_array_mut().expect("runs") {
        for row in run["observations"].as_array_mut().expect("rows") {
            if row["clock"].is_object() {
                row["clock"] = serde_json::json!({ "at": 7.3 });
                made += 1;
            }
        }
    }
    let output = obvert_fed(
        &["check", "-", "--today", "2026-06-15", "--colour", "never"],
        document.to_string().as_bytes(),
    );
    let text = stdout(&output);
    assert_eq!(text.matches("[clock-range]").count(), 3);
    assert!(
        text.contains(&format!("and {} more of clock-range; --all lists them", made - 3)),
        "{text}"
    );
}

#[test]
fn colour_is_used_only_on_a_terminal() {
    assert!(!stdout(&check(&[REJECTED])).contains('\u{1b}'), "a pipe is not a terminal");
    assert!(stdout(&check(&[REJECTED, "--colour", "always"])).contains('\u{1b}'));
    assert!(!stdout(&check(&[REJECTED, "--colour", "never"])).contains('\u{1b}'));
}

#[test]
fn standard_streams() {
    let document = read(CLEAN);
    let output = obvert_fed(&["check", "-", "--today", "2026-06-15"], document.as_bytes());
    assert_eq!(status(&output), 0, "{}", stdout(&output));
    let xml = obvert_fed(&["convert", "-", "-o", "-", "--to", "xml"], document.as_bytes());
    assert_eq!(status(&xml), 0, "{}", stderr(&xml));
    let back = obvert_fed(&["convert", "-", "-o", "-", "--to", "json"], &xml.stdout);
    assert_eq!(stdout(&back), document);
}

#[test]
fn rules_as_json_have_what_an_embedder_needs() {
    let rules: Value =
        serde_json::from_str(&stdout(&obvert(&["rules", "--format", "json"]))).expect("json");
    let rules = rules.as_array().expect("an array");
    assert!(rules.len() >= 45, "{}", rules.len());
    for rule in rules {
        for key in [
            "name", "family", "severity", "scope", "since", "clause", "summary", "checks",
            "matters", "fix",
        ] {
            assert!(
                rule[key].as_str().is_some_and(|text| !text.is_empty()),
                "{key} of {}",
                rule["name"]
            );
        }
        let explained = obvert(&["explain", rule["name"].as_str().expect("name")]);
        assert_eq!(status(&explained), 0);
        let explained = stdout(&explained);
        for fact in rule["facts"].as_array().expect("facts") {
            let text = |key: &str| {
                fact[key].as_str().unwrap_or_else(|| panic!("{key} of a fact of {}", rule["name"]))
            };
            assert!(!text("type").is_empty() && !text("meaning").is_empty());
            assert!(
                explained.contains(&format!("{} ({}): ", text("name"), text("kind"))),
                "{}: {explained}",
                rule["name"]
            );
        }
    }
}

/// Each item of a list begins at the same column, and its further lines are indented under its
/// words.
#[test]
fn explain_prints_exceptions_as_a_list() {
    let text = stdout(&obvert(&["explain", "gradient-uphill"]));
    let expected = "\nExceptions\n  - An end is below its structure or above its ground (`invert-outside-structure`,\n    \
        `invert-above-ground`).\n  - Elevations and depth ";
    assert!(text.contains(expected), "{text}");
}

#[test]
fn synonyms_name_rules_that_exist() {
    for synonym in obvert::model::synonyms::all() {
        for rule in &synonym.rules {
            assert!(obvert::check::find(rule).is_some(), "{:?}: {rule}", synonym.words);
        }
    }
}

#[test]
fn explain_knows_rules_codes_fields_and_pointers() {
    for (name, says) in [
        ("distance-decreases", "lower distance than the row above"),
        ("null-value", "Leave the key out"),
        ("crack.longitudinal", "clock: required"),
        ("runs.observations.at", "length units"),
        ("/runs/3/observations/7/clock/at", "one hour"),
        ("pipes", "upstream"),
        ("Observation", "characterisation"),
        ("profile", "suppressions"),
        ("profile.fields.where", "Conditions that a row must meet"),
        ("required-field-missing", "Profile of the examples"),
    ] {
        let output = obvert(&["explain", name]);
        assert_eq!(status(&output), 0, "{name}: {}", stderr(&output));
        assert!(stdout(&output).contains(says), "{name}: {}", stdout(&output));
    }
    for (name, expected) in [
        ("crack", "crack.longitudinal"),
        ("CRACK.LONGITUDINAL", "crack.longitudinal"),
        ("surveyed", "runs.surveyed"),
        ("clock.at", "runs.observations.clock.at"),
        ("obvert-terms", "and 169 more"),
        ("Wurzel", "roots"),
        // The label of one code, in any language.
        ("misconnection", "connection.misconnected (operational"),
        ("Dimensionswechsel", "change.size ("),
        ("issued", "text, a date, time and offset, such as 2026-05-06T09:31:00-05:00"),
    ] {
        let output = obvert(&["explain", name]);
        assert_eq!(status(&output), 0, "{name}: {}", stderr(&output));
        assert!(stdout(&output).contains(expected), "{name}: {}", stdout(&output));
    }
    for (word, expected) in [
        ("abandoned", "runs.outcome.kind = stopped"),
        ("sonde", "locates.transmitter_offset"),
        ("belly", "water.sag"),
        ("offset joint", "joint.displaced"),
        ("footage", "runs.observations.at"),
        ("protruding", "connection.intruding"),
        ("tuberculation", "surface.corrosion-products"),
        ("Laterals", "pipes.joins"),
        ("soffit", "locates.depth_to = obvert"),
        ("HDPE", "pipes.material = polyethylene"),
        ("FOG", "deposit.grease"),
        ("ovality", "deformation.oval"),
        ("CIPP", "pipes.lining"),
        ("reverse set-up", "reverse-of-missing"),
    ] {
        let output = obvert(&["explain", word]);
        assert_eq!(status(&output), 0, "{word}: {}", stderr(&output));
        assert!(stdout(&output).contains(expected), "{word}: {}", stdout(&output));
    }
    let output = obvert(&["explain", "joint", "offset"]);
    assert!(stdout(&output).contains("joint.displaced"), "{}", stdout(&output));
    for (name, expected) in
        [("distance-decrases", "distance-decreases"), ("tuberculaton", "tuberculation")]
    {
        let output = obvert(&["explain", name]);
        assert!(stderr(&output).contains(expected), "{}", stderr(&output));
    }
}

#[test]
fn schemas_completions_and_the_manual_come_from_the_same_definitions() {
    let names = stdout(&obvert(&["schema"]));
    for name in names.lines().filter_map(|line| line.split_whitespace().next()) {
        assert_eq!(status(&obvert(&["schema", name])), 0, "{name}");
    }
    assert_eq!(status(&obvert(&["schema", "documents"])), 2);
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let script = stdout(&obvert(&["completions", shell]));
        for command in ["check", "convert", "profile", "explain", "rules", "schema"] {
            assert!(script.contains(command), "{shell} {command}");
        }
    }
    let page = stdout(&obvert(&["manual"]));
    assert!(page.contains(".TH obvert") && page.contains("convert"), "{page}");
}

/// Any invalid input gives a clear error that names the source, status 2, and no output.
#[test]
fn bad_input_is_refused_clearly() {
    let clean = read(CLEAN);
    let cases: Vec<(&str, Vec<u8>)> = vec![
        ("empty", Vec::new()),
        ("white space", b" \n\t ".to_vec()),
        ("truncated", clean.as_bytes()[..clean.len() / 2].to_vec()),
        ("binary", (0..=255).cycle().take(4096).collect()),
        ("zip", b"PK\x03\x04 not really".to_vec()),
        ("utf-16", clean.encode_utf16().flat_map(u16::to_le_bytes).collect()),
        (
            "latin-1",
            clean
                .replacen("Larkmoor", "L\u{e4}rkmoor", 1)
                .chars()
                .map(|c| u32::from(c) as u8)
                .collect(),
        ),
        ("10,000 deep", [vec![b'['; 10_000], vec![b']'; 10_000]].concat()),
        ("10,000 deep in extensions", deep(10_000).into_bytes()),
        (
            "a number beyond every double",
            clean.replacen("\"at\": 0", "\"at\": 1e400", 1).into_bytes(),
        ),
        ("not a document", b"\"hello\"".to_vec()),
        (
            "xml with a DOCTYPE",
            b"<?xml version=\"1.0\"?><!DOCTYPE survey [<!ENTITY a \"b\">]><survey/>".to_vec(),
        ),
        ("xml, truncated", b"<?xml version=\"1.0\"?><survey".to_vec()),
    ];
    for (what, bytes) in cases {
        for ending in ["obvert.json", "xml", "geojson", "zip", "thing"] {
            let folder = tempfile::tempdir().expect("folder");
            let name = format!("input.{ending}");
            std::fs::write(folder.path().join(&name), &bytes).expect("write");
            let output = obvert_in(folder.path(), &["convert", &name, "-o", "out.obvert.json"]);
            assert_eq!(status(&output), 2, "{what} as {name}: {}", stderr(&output));
            assert!(
                stderr(&output).contains("input"),
                "{what} as {name} is not named: {}",
                stderr(&output)
            );
            assert!(!stderr(&output).contains("panicked"), "{what} as {name}: {}", stderr(&output));
            assert!(stderr(&output).len() < 4000, "{what} as {name}: the error is too long");
            let left: Vec<_> = std::fs::read_dir(folder.path())
                .expect("folder")
                .map(|e| e.expect("entry").file_name())
                .collect();
            assert_eq!(left, [name.as_str()], "{what} as {name}: a temporary file is left");
            let output = obvert_in(folder.path(), &["check", &name, "--today", "2026-06-15"]);
            // JSON of another kind is a finding; everything else cannot be checked.
            let expected: &[i32] = if what == "not a document" { &[1, 2] } else { &[2] };
            assert!(
                expected.contains(&status(&output)),
                "{what} as {name}: {} {}",
                stdout(&output),
                stderr(&output)
            );
        }
    }
}

fn deep(depth: usize) -> String {
    let nested = format!("{}{}", "[".repeat(depth), "]".repeat(depth));
    read(CLEAN).replacen(
        "\"language\": \"en\",",
        &format!("\"language\": \"en\", \"extensions\": {{\"org.example.x\": {nested}}},"),
        1,
    )
}

#[test]
fn structural_problems_are_all_reported_at_once() {
    let wrong = read(CLEAN)
        .replacen("\"vertical\"", "\"vertcal\"", 1)
        .replacen("\"direction\": \"downstream\"", "\"direction\": \"Downstream\"", 1)
        .replacen("\"surveyed\":", "\"surveyed\": null, \"x\":", 1);
    let output = obvert_fed(&["check", "-", "--format", "json"], wrong.as_bytes());
    assert_eq!(status(&output), 1);
    let report: Value = serde_json::from_slice(&output.stdout).expect("json");
    let rules: Vec<&str> = report["findings"]
        .as_array()
        .expect("findings")
        .iter()
        .filter_map(|f| f["rule"].as_str())
        .collect();
    for kind in ["unknown-key", "unknown-word", "null-value"] {
        assert!(rules.contains(&kind), "{rules:?}");
    }
    assert!(
        report["not_run"].as_array().is_some_and(|list| !list.is_empty()),
        "the report lists the rules that were skipped"
    );
    assert_eq!(
        status(&obvert_fed(&["convert", "-", "-o", "-", "--to", "xml"], wrong.as_bytes())),
        2
    );
}

/// A table is named with its folder, because several folders can be checked at once.
#[test]
fn errors_in_tables_name_the_folder_and_the_row() {
    let folder = tempfile::tempdir().expect("folder");
    let source = root().join(CLEAN);
    let there = ["convert", source.to_str().expect("path"), "-o", "tables", "--to", "csv"];
    assert_eq!(status(&obvert_in(folder.path(), &there)), 0);
    let path = folder.path().join("tables/pipes.csv");
    let text = std::fs::read_to_string(&path).expect("pipes");
    std::fs::write(&path, text.replacen("268.1", "268,1", 1)).expect("write");
    for command in [&["check", "tables"][..], &["convert", "tables", "-o", "back.obvert.json"]] {
        let output = obvert_in(folder.path(), command);
        assert_eq!(status(&output), 2);
        assert!(stderr(&output).contains("tables/pipes.csv:2"), "{}", stderr(&output));
    }
}

#[test]
fn existing_files_are_kept_without_replace() {
    let folder = tempfile::tempdir().expect("folder");
    let source = root().join(CLEAN);
    let source = source.to_str().expect("path");
    std::fs::write(folder.path().join("mine.xml"), "mine").expect("write");
    let output = obvert_in(folder.path(), &["convert", source, "-o", "mine.xml"]);
    assert_eq!(status(&output), 2);
    assert!(stderr(&output).contains("--replace"), "{}", stderr(&output));
    assert_eq!(std::fs::read_to_string(folder.path().join("mine.xml")).expect("file"), "mine");
    assert_eq!(
        status(&obvert_in(folder.path(), &["convert", source, "-o", "mine.xml", "--replace"])),
        0
    );
    assert!(
        std::fs::read_to_string(folder.path().join("mine.xml")).expect("file").starts_with("<?xml")
    );

    // A folder with other files in it is never replaced.
    std::fs::create_dir(folder.path().join("tables")).expect("folder");
    std::fs::write(folder.path().join("tables/letter.txt"), "dear").expect("write");
    let output =
        obvert_in(folder.path(), &["convert", source, "-o", "tables", "--to", "csv", "--replace"]);
    assert_eq!(status(&output), 2, "{}", stderr(&output));
    assert!(folder.path().join("tables/letter.txt").is_file());
    std::fs::remove_file(folder.path().join("tables/letter.txt")).expect("remove");
    assert_eq!(
        status(&obvert_in(folder.path(), &["convert", source, "-o", "tables", "--to", "csv"])),
        0
    );
    assert_eq!(
        status(&obvert_in(folder.path(), &["convert", source, "-o", "tables", "--to", "csv"])),
        2
    );
    assert_eq!(
        status(&obvert_in(
            folder.path(),
            &["convert", source, "-o", "tables", "--to", "csv", "--replace"]
        )),
        0
    );
}

#[test]
fn severities_and_limits_can_be_set() {
    let quiet = check(&[REJECTED, "--format", "json", "--severity", "clock-range=off"]);
    let report: Value = serde_json::from_slice(&quiet.stdout).expect("json");
    assert!(
        report["findings"]
            .as_array()
            .expect("findings")
            .iter()
            .all(|finding| finding["rule"] != "clock-range")
    );
    let output = check(&[CLEAN, "--limit", "camera-speed.limit=0.01"]);
    assert!(stdout(&output).contains("[camera-speed]"), "{}", stdout(&output));
    for (option, value, says) in [
        ("--severity", "clock-rang=off", "clock-range"),
        ("--severity", "clock-range=loud", "SEVERITY"),
        ("--limit", "camera-speed.limt=3", "limit"),
        ("--limit", "camera-speed.limit=fast", "NUMBER"),
        ("--today", "yesterday", "2026-05-06"),
        ("--today", "2026-02-30", "2026-05-06"),
    ] {
        let output = obvert(&["check", CLEAN, option, value]);
        assert_eq!(status(&output), 2, "{option} {value}");
        assert!(stderr(&output).contains(says), "{option} {value}: {}", stderr(&output));
    }
}

#[test]
fn invalid_settings_are_refused() {
    for (option, value, expected) in [
        ("--severity", "duplicate-id=note", "is a structural problem, which is always an error"),
        ("--limit", "camera-speed.limit=-3", "0 or more, in m/min"),
        ("--from", "xml", "looks like json, but --from is xml; correct --from, or omit it"),
        (
            "--also",
            "html=no/such/folder.html",
            "the folder no/such does not exist; create it first",
        ),
    ] {
        let output = check(&[CLEAN, option, value]);
        assert_eq!(status(&output), 2, "{option} {value}: {}", stdout(&output));
        assert!(stderr(&output).contains(expected), "{}", stderr(&output));
    }
}

/// For a format other than JSON with structural problems, the report states what was left out, and
/// whether the rules were skipped.
#[test]
fn unreadable_tables_report_what_was_left_out() {
    let folder = tempfile::tempdir().expect("a folder");
    let tables = folder.path().join("tables");
    let to = tables.to_str().expect("a path");
    assert_eq!(status(&obvert(&["convert", CLEAN, "-o", to, "--to", "csv"])), 0);
    let rows = std::fs::read_to_string(tables.join("structures.csv"))
        .expect("structures")
        .replace("1482.47", "high");
    let document = std::fs::read(tables.join("document.csv")).expect("document");
    std::fs::write(tables.join("structures.csv"), rows).expect("written");
    let text = stdout(&check(&[to]));
    assert!(
        text.contains("1 value that could not be read was left out; the rules ran over the rest"),
        "{text}"
    );
    let units = std::fs::read_to_string(tables.join("document.csv"))
        .expect("document")
        .replace(",ft,", ",feet,");
    std::fs::write(tables.join("document.csv"), units).expect("written");
    let text = stdout(&check(&[to]));
    let rules = obvert::check::catalogue().len();
    let skipped = format!("skipped: {rules} rules, because /units/length could not be read");
    assert!(text.contains(&skipped), "{text}");
    // Every command names the folder once, in front of the table.
    std::fs::write(tables.join("document.csv"), &document[..document.len() / 2]).expect("written");
    for command in [&["check", to][..], &["grade", to], &["convert", to, "-o", "-", "--to", "json"]]
    {
        let printed = stderr(&obvert(command));
        assert!(
            printed.contains("/document.csv:") && printed.matches("tables").count() == 1,
            "{command:?}: {printed}"
        );
    }
}

#[test]
fn a_code_list_of_your_own_is_used() {
    let folder = tempfile::tempdir().expect("folder");
    let list = serde_json::json!({
        "code_list": "0.1", "id": "larkmoor-own", "version": "3", "title": "Larkmoor's own",
        "codes": [{ "code": "Q1", "family": "structural", "label": { "en": "queer thing" }, "clock": { "use": "none" },
                    "continuous": "never", "joint": "allowed" }]
    });
    std::fs::write(folder.path().join("list.json"), list.to_string()).expect("write");
    let document = read("crates/check/src/minimal.obvert.json").replace(
        "{\"list\": \"obvert-terms\", \"version\": \"1\"}",
        "{\"list\": \"larkmoor-own\", \"version\": \"3\"}",
    );
    std::fs::write(folder.path().join("survey.obvert.json"), document).expect("write");
    let rules_of = |arguments: &[&str]| -> Vec<String> {
        let output = obvert_in(
            folder.path(),
            &[&["check", "survey.obvert.json", "--format", "json"], arguments].concat(),
        );
        let report: Value = serde_json::from_slice(&output.stdout).expect("json");
        report["findings"]
            .as_array()
            .expect("findings")
            .iter()
            .filter_map(|f| f["rule"].as_str().map(str::to_owned))
            .collect()
    };
    assert!(rules_of(&[]).contains(&"code-list-unknown".to_owned()));
    let with = rules_of(&["--code-list", "list.json"]);
    assert!(
        with.contains(&"code-unknown".to_owned())
            && !with.contains(&"code-list-unknown".to_owned()),
        "{with:?}"
    );
}

#[test]
fn grade_prints_the_table_of_pipes() {
    let text = stdout(&obvert(&["grade", CLEAN]));
    assert!(text.starts_with("obvert-grades 1: 1 is best, 5 is worst; recorded grades"), "{text}");
    for line in [
        // As the document's own rating G-03 states: peak 5, total 121, mean 3.5588, count 34, per
        // length 1.2527.
        "P-102  317.2 ft  316.9 ft  structural      5    121  3.5588     34   1.2527  5 at 174.2 ft of R-02: \
         fracture.complex; width 11 mm, from 8 mm",
        // What endangers people is told beside the grades.
        "caution at 231.4 ft of R-13: do not cut, jet or dig here until the owner of the service has been",
        "brick.displaced; count 6, from 4 to below 12",
    ] {
        assert!(text.contains(line), "{text}");
    }
    let worst = stdout(&obvert(&["grade", CLEAN, "--worst-first", "operational"]));
    let first = worst
        .lines()
        .find(|line| line.starts_with("P-") || line.starts_with("L-"))
        .expect("a pipe");
    assert!(first.starts_with("P-104"), "{first}");
    let every = stdout(&obvert(&["grade", CLEAN, "--observations"]));
    assert!(
        every.contains("    3 at 47 ft of R-03: infiltration; flow 0.2 litres-per-second"),
        "{every}"
    );
}

/// The grades that `grade` computes agree with the ratings of the document, as the checker does.
#[test]
fn grades_as_json_agree_with_the_ratings_and_the_schema() {
    let schema: Value =
        serde_json::from_str(&stdout(&obvert(&["schema", "grades"]))).expect("schema");
    let table: Value =
        serde_json::from_slice(&obvert(&["grade", CLEAN, "--format", "json"]).stdout)
            .expect("json");
    let validator = jsonschema::validator_for(&schema).expect("the schema compiles");
    assert_eq!(
        validator.iter_errors(&table).map(|error| error.to_string()).collect::<Vec<_>>(),
        [""; 0]
    );
    let document: Value = serde_json::from_str(&read(CLEAN)).expect("json");
    let ratings = document["ratings"].as_array().expect("ratings");
    let mut compared = 0;
    for rating in ratings {
        let pipe = table["pipes"]
            .as_array()
            .expect("pipes")
            .iter()
            .find(|pipe| pipe["pipe"] == rating["pipe"]);
        let pipe = pipe.expect("the pipe of a rating");
        // A rating of some of the pipe's runs is not what the table states.
        if rating.get("runs").is_some_and(|runs| runs != &pipe["runs"]) {
            continue;
        }
        let grades = pipe["aspects"]
            .as_array()
            .expect("aspects")
            .iter()
            .find(|is| is["aspect"] == rating["aspect"]);
        for figure in ["peak", "total", "mean", "count", "per_length"] {
            let (stated, is) =
                (rating[figure].as_f64(), grades.expect("the aspect")[figure].as_f64());
            let close = stated
                .zip(is)
                .is_none_or(|(stated, is)| (stated - is).abs() <= 0.0005 * is.abs().max(1.0));
            assert!(close, "{} {figure}: {stated:?} stated, {is:?} computed", rating["id"]);
            compared += 1;
        }
    }
    assert!(compared > 100, "{compared}");
}

#[test]
fn grades_as_csv_have_one_row_a_pipe_and_aspect() {
    let csv = stdout(&obvert(&["grade", CLEAN, "--format", "csv"]));
    assert!(
        csv.starts_with("survey,scheme,pipe,aspect,length,surveyed,length_unit,runs,peak,total"),
        "{csv}"
    );
    assert_eq!(csv.lines().count(), 1 + 18 * 2);
    assert!(
        csv.contains("obvert-grades 1,P-102,structural,317.2,316.9,ft,R-02 R-03,5,121,3.5588,34,1.2527,1 m,0,R-02"),
        "{csv}"
    );
    // A cell that a spreadsheet would execute as a formula is escaped.
    let hostile = read("crates/check/src/minimal.obvert.json").replace("L-101", "=1+L-101");
    let csv = stdout(&obvert_fed(&["grade", "-", "--format", "csv"], hostile.as_bytes()));
    assert!(csv.contains(",'=1+L-101,structural,"), "{csv}");
}

#[test]
fn grade_reports_why_it_failed() {
    let minimal = read("crates/check/src/minimal.obvert.json");
    for (from, to, expected) in [
        (
            "\"grading\": {\"scheme\": \"obvert-grades\", \"version\": \"1\"},",
            "",
            "names no grade scheme",
        ),
        (
            "\"scheme\": \"obvert-grades\"",
            "\"scheme\": \"city-grades\"",
            "the grade scheme city-grades 1 is not available",
        ),
        (
            "\"list\": \"obvert-terms\"",
            "\"list\": \"city-terms\"",
            "grades codes of obvert-terms, but the document is coded in city-terms",
        ),
        ("\"runs\"", "\"rums\"", "rums"),
    ] {
        assert!(minimal.contains(from), "{from}");
        let output = obvert_fed(&["grade", "-"], minimal.replace(from, to).as_bytes());
        assert_eq!(status(&output), 2, "{}", stdout(&output));
        assert!(stderr(&output).contains(expected), "{}", stderr(&output));
    }
}

/// The digest covers the content: it is the SHA-256 of the printed canonical form, and the same in
/// every format.
#[test]
fn the_digest_is_the_same_in_every_format() {
    use sha2::Digest;
    let folder = tempfile::tempdir().expect("folder");
    let survey = root().join(CLEAN).display().to_string();
    let canonical = obvert(&["digest", "--canonical", CLEAN]);
    assert_eq!(status(&canonical), 0);
    let hex: String =
        sha2::Sha256::digest(&canonical.stdout).iter().map(|byte| format!("{byte:02x}")).collect();
    let printed = stdout(&obvert(&["digest", CLEAN]));
    assert_eq!(printed, format!("sha-256:{hex}  {CLEAN}\n"));
    for file in ["s.xml", "s.geojson", "s.zip"] {
        assert_eq!(
            status(&obvert_in(folder.path(), &["convert", &survey, "-o", file])),
            0,
            "{file}"
        );
        let other = stdout(&obvert_in(folder.path(), &["digest", file]));
        assert_eq!(other, format!("sha-256:{hex}  {file}\n"));
    }
    let value: Value = serde_json::from_str(&read(CLEAN)).expect("json");
    let spaced = serde_json::to_string_pretty(&value).expect("json");
    assert_eq!(
        stdout(&obvert_fed(&["digest", "-"], spaced.as_bytes())),
        format!("sha-256:{hex}  standard input\n")
    );
    let changed = read(CLEAN).replace("\"language\": \"en\"", "\"language\": \"de\"");
    assert!(!stdout(&obvert_fed(&["digest", "-"], changed.as_bytes())).contains(&hex));

    let several = obvert(&["digest", CLEAN, "no-such-file.obvert.json"]);
    assert_eq!((status(&several), stdout(&several).lines().count()), (2, 1));
    assert_eq!(status(&obvert(&["digest", "--canonical", CLEAN, CLEAN])), 2);
    let broken = obvert_fed(&["digest", "-"], b"{\"obvert\": \"0.2\"}");
    assert_eq!((status(&broken), stdout(&broken)), (2, String::new()));
}

/// An interrupted conversion leaves neither an output nor a temporary file.
#[cfg(unix)]
#[test]
fn an_interrupted_conversion_leaves_no_files() {
    use std::process::{Command, Stdio};
    use std::time::{Duration, Instant};
    let folder = tempfile::tempdir().unwrap();
    let mut document: Value = serde_json::from_str(&read(CLEAN)).unwrap();
    let runs = document["runs"].as_array().unwrap().clone();
    let many = (0..60).flat_map(|round| runs.iter().map(move |run| (round, run)));
    document["runs"] = many
        .map(|(round, run)| {
            let mut run = run.clone();
            run["id"] = format!("{}-{round}", run["id"].as_str().unwrap()).into();
            run
        })
        .collect();
    std::fs::write(folder.path().join("large.obvert.json"), document.to_string()).unwrap();
    let names = || -> Vec<String> {
        let entries = std::fs::read_dir(folder.path()).unwrap();
        let names = entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned());
        names.filter(|name| name != "large.obvert.json").collect()
    };
    for (out, to) in [("x.gpkg", "geopackage"), ("tables", "csv")] {
        let mut child = Command::new(env!("CARGO_BIN_EXE_obvert"))
            .args(["convert", "large.obvert.json", "-o", out, "--to", to])
            .current_dir(folder.path())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let began = Instant::now();
        while !names().iter().any(|name| name.starts_with(".obvert-")) {
            assert!(
                began.elapsed() < Duration::from_secs(60) && child.try_wait().unwrap().is_none(),
                "{to}"
            );
            std::thread::sleep(Duration::from_millis(5));
        }
        let signalled =
            Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
        assert!(signalled.success());
        assert_eq!(child.wait().unwrap().code(), Some(130), "{to}");
        assert_eq!(names(), Vec::<String>::new(), "{to}");
    }
}

#[test]
fn a_write_protected_file_is_not_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("x.xml");
    std::fs::write(&out, "mine").unwrap();
    let mut rights = std::fs::metadata(&out).unwrap().permissions();
    rights.set_readonly(true);
    std::fs::set_permissions(&out, rights).unwrap();
    let source = root().join(CLEAN).display().to_string();
    let refused = obvert_in(folder.path(), &["convert", &source, "-o", "x.xml", "--replace"]);
    assert_eq!(status(&refused), 2);
    assert!(stderr(&refused).contains("x.xml: is write-protected"), "{}", stderr(&refused));
    assert_eq!(std::fs::read_to_string(&out).unwrap(), "mine");
}

/// A JSON file of another kind is named as what it is, and not reported as a survey without keys.
#[test]
fn files_of_another_kind_are_recognised() {
    let profile = "examples/profiles/larkmoor-water.profile.json";
    let layout = "examples/layouts/office-a.layout.json";
    let folder = tempfile::tempdir().expect("folder");
    let report = folder.path().join("report.json");
    std::fs::write(&report, stdout(&check(&[CLEAN, "--format", "json"]))).expect("written");
    let report = report.to_str().expect("a path");
    for (arguments, expected) in [
        (
            &["check", profile][..],
            "is a profile, not a survey; name the survey here, and give this file with --profile",
        ),
        (&["fix", "schema/obvert-grades.json"], "is a grade scheme, not a survey"),
        (&["convert", "schema/obvert-terms.json", "-o", "-", "--to", "xml"], "is a code list"),
        (&["grade", report], "is a report, not a survey"),
        (&["check", CLEAN, "--profile", layout], "is a layout, not a profile; --layout takes it"),
        (&["check", CLEAN, "--code-list", CLEAN], "is a survey, not a code list; name a code list"),
        (&["profile", "check", CLEAN], "is a survey, not a profile; name a profile here"),
        (&["layout", "check", profile], "is a profile, not a layout; --profile takes it"),
    ] {
        let output = obvert(arguments);
        assert_eq!(status(&output), 2, "{arguments:?}: {}", stdout(&output));
        assert!(stderr(&output).contains(expected), "{arguments:?}: {}", stderr(&output));
    }
    assert_eq!(status(&obvert(&["migrate", profile])), 0, "profiles are migrated");
}

/// Every command reports all problems of a document, each with its line and column.
#[test]
fn every_command_locates_the_problems_of_a_document() {
    let folder = tempfile::tempdir().expect("folder");
    std::fs::write(folder.path().join("cut.json"), "{\"obvert\": \"0.2\",\n\"runs\": [")
        .expect("written");
    std::fs::write(folder.path().join("keys.json"), "{\"obvert\": \"0.2\", \"rums\": []}")
        .expect("written");
    for command in [
        &["digest", "FILE"][..],
        &["grade", "FILE"],
        &["fix", "FILE"],
        &["migrate", "FILE"],
        &["convert", "FILE", "-o", "x.xml"],
        &["archive", "pack", "FILE", "-o", "x.jsonl"],
    ] {
        let run = |file: &str| {
            let command: Vec<&str> =
                command.iter().map(|word| if *word == "FILE" { file } else { *word }).collect();
            obvert_in(folder.path(), &command)
        };
        let cut = run("cut.json");
        assert_eq!(status(&cut), 2, "{command:?}");
        let place = "obvert: cut.json:2:9: not JSON: the source ends inside a list";
        assert!(stderr(&cut).contains(place), "{command:?}: {}", stderr(&cut));
        let keys = run("keys.json");
        let printed = stdout(&keys) + &stderr(&keys);
        // A fix counts the findings; the others print them.
        let expected = if command[0] == "fix" { "5 errors" } else { "keys.json:1:19: /rums:" };
        assert!(printed.contains(expected), "{command:?}: {printed}");
    }
}

#[test]
fn every_command_has_a_manual_page() {
    for (command, title, option) in [
        (&[][..], "obvert 1", "colour"),
        (&["check"], "obvert-check 1", "baseline"),
        (&["archive", "pack"], "obvert-archive-pack 1", "layout"),
    ] {
        let page = stdout(&obvert(&[&["manual"], command].concat()));
        let heading = format!(".TH {title}  \"obvert {}\"", env!("CARGO_PKG_VERSION"));
        assert!(page.contains(&heading), "{command:?}: {page}");
        assert!(page.contains(option), "{command:?}: {page}");
    }
    let unknown = obvert(&["manual", "archive", "pak"]);
    assert_eq!(status(&unknown), 2);
    let expected = "obvert archive has no command \"pak\"; name one of pack, unpack, list";
    assert!(stderr(&unknown).contains(expected), "{}", stderr(&unknown));
}

/// Commands without a layout do not offer the format of an office's own table.
#[test]
fn only_commands_with_a_layout_offer_it_as_a_format() {
    for command in [
        &["digest", CLEAN, "--from", "layout"][..],
        &["grade", CLEAN, "--from", "layout"],
        &["archive", "unpack", "x.jsonl", "-o", "x", "--to", "layout"],
    ] {
        let output = obvert(command);
        assert_eq!(status(&output), 2, "{command:?}");
        let expected = "invalid value 'layout'";
        assert!(stderr(&output).contains(expected), "{command:?}: {}", stderr(&output));
    }
}
