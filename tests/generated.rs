//! Everything in the tree that is made from the code, compared with what the code makes. After a change,
//! `OBVERT_BLESS=1 cargo test --test generated` rewrites it.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

#[path = "support/fields.rs"]
mod fields;
mod support;
#[path = "support/worked.rs"]
mod worked;

use std::collections::BTreeSet;
use std::fmt::Write;

use obvert::check::grading::GradeTable;
use obvert::check::{Checker, FactKind, Mending, Need, Report, Rule, Section, Settings, catalogue};
use obvert::model::lists::{CodeList, Fit, GradeScheme, Standing};
use obvert::model::profile::{Profile, ProfileProblemKind};
use obvert::model::read::ProblemKind;
use obvert::model::text::Text;
use serde_json::Value;
use support::{read, root};

fn pretty(value: &Value) -> String {
    serde_json::to_string_pretty(value).expect("json") + "\n"
}

/// Every generated file with its content.
fn generated() -> Vec<(String, String)> {
    let mut files = vec![
        ("schema/document.schema.json".to_owned(), pretty(&obvert::model::schema::document())),
        ("schema/code-list.schema.json".to_owned(), pretty(&CodeList::schema())),
        ("schema/grade-scheme.schema.json".to_owned(), pretty(&GradeScheme::schema())),
        ("schema/profile.schema.json".to_owned(), pretty(&Profile::schema())),
        ("schema/layout.schema.json".to_owned(), pretty(&obvert::model::layout::Layout::schema())),
        ("schema/report.schema.json".to_owned(), pretty(&Report::schema())),
        ("schema/report-line.schema.json".to_owned(), pretty(&obvert::check::output::jsonl::schema())),
        ("schema/mending.schema.json".to_owned(), pretty(&Mending::schema())),
        ("schema/migration.schema.json".to_owned(), pretty(&obvert::model::versions::Migration::schema())),
        ("schema/grades.schema.json".to_owned(), pretty(&GradeTable::schema())),
        ("schema/account.schema.json".to_owned(), pretty(&obvert::convert::Account::schema())),
        ("schema/obvert.xsd".to_owned(), obvert::convert::xml::xsd()),
        ("schema/obvert-terms.json".to_owned(), read("crates/model/data/code-lists/obvert-terms.json")),
        ("schema/en-13508-2.json".to_owned(), read("crates/model/data/code-lists/en-13508-2.json")),
        ("schema/obvert-grades.json".to_owned(), read("crates/model/data/grade-schemes/obvert-grades.json")),
        ("spec/rules.md".to_owned(), rules()),
        ("spec/every-field.md".to_owned(), every_field()),
        ("spec/codes.md".to_owned(), codes(CodeList::obvert_terms())),
        ("spec/codes-en-13508-2.md".to_owned(), codes(CodeList::en_13508_2())),
        ("examples/data/larkmoor-rejected.obvert.json".to_owned(), rejected()),
    ];
    for (name, schema) in obvert::convert::csv::table_schemas() {
        files.push((format!("schema/tables/{name}"), schema));
    }
    for entry in std::fs::read_dir(root().join("spec")).expect("spec") {
        let name = entry.expect("entry").file_name().to_string_lossy().into_owned();
        let path = format!("spec/{name}");
        if name.ends_with(".md") && !files.iter().any(|(known, _)| *known == path) {
            files.push((path.clone(), chapter(&read(&path))));
        }
    }
    files
}

#[test]
fn generated_files_are_fresh() {
    let bless = std::env::var_os("OBVERT_BLESS").is_some();
    let mut stale = Vec::new();
    for (path, content) in generated() {
        let file = root().join(&path);
        if std::fs::read_to_string(&file).is_ok_and(|current| current == content) {
            continue;
        }
        if bless {
            std::fs::create_dir_all(file.parent().expect("a folder")).expect("folder");
            std::fs::write(&file, content).expect("write");
        } else {
            stale.push(path);
        }
    }
    assert!(stale.is_empty(), "not fresh, run `OBVERT_BLESS=1 cargo test --test generated`: {stale:#?}");
}

/// Nothing lies in `schema/` that nobody makes.
#[test]
fn the_schema_folder_has_nothing_else() {
    let known: BTreeSet<String> = generated().into_iter().map(|(path, _)| path).collect();
    let mut folders = vec![root().join("schema")];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).expect("folder") {
            let path = entry.expect("entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(root()).expect("inside").to_string_lossy().replace('\\', "/");
                assert!(known.contains(&name), "{name} is not generated");
            }
        }
    }
}

/// Every field stands in the document that examples are taken from, and that document is clean.
#[test]
fn every_field_has_an_example() {
    assert_eq!(fields::without_example(), Vec::<String>::new(), "put these into {}", fields::EVERY_FIELD);
    let settings = Settings { today: "2026-06-01".parse().ok(), ..Settings::default() };
    let report = Checker::new(settings).expect("settings").check(read(fields::EVERY_FIELD).as_bytes()).expect("json");
    let found: Vec<String> =
        report.findings.iter().map(|f| format!("{} {}: {}", f.rule, f.subject.path, f.message)).collect();
    assert_eq!(found, Vec::<String>::new());
    assert_eq!(report.not_run, []);
}

/// Every rule is named at a field or an object, and every object of the format has a table in the specification.
#[test]
fn every_rule_and_every_object_is_in_a_table_of_fields() {
    let named: BTreeSet<&str> = fields::guards().values().flatten().copied().collect();
    let all = catalogue().iter().filter(|rule| rule.family() != "profile").map(|rule| rule.name);
    let missing: Vec<&str> = all.filter(|name| !named.contains(name)).collect();
    assert_eq!(missing, Vec::<&str>::new());
    let text: String =
        generated().into_iter().filter(|(path, _)| path.ends_with(".md")).map(|(_, text)| text).collect();
    let absent: Vec<&str> = obvert::model::shape::objects()
        .map(|object| object.name.as_str())
        .filter(|name| text.matches(&format!("<!-- fields: {name} -->")).count() != 1)
        .collect();
    assert_eq!(absent, Vec::<&str>::new(), "each object has one table");
}

/// Every clause that a rule guards is a heading of the specification.
#[test]
fn rules_guard_clauses_that_exist() {
    let mut wrong = Vec::new();
    for rule in catalogue() {
        let (chapter, anchor) = rule.clause.split_once('#').expect("chapter#anchor");
        let path = root().join("spec").join(format!("{chapter}.md"));
        let text = std::fs::read_to_string(&path).unwrap_or_default();
        let anchors = text.lines().filter_map(|line| line.strip_prefix("## ")).map(slug);
        if !anchors.into_iter().any(|known| known == anchor) {
            wrong.push(format!("{}: {}", rule.name, rule.clause));
        }
    }
    assert!(wrong.is_empty(), "{} clauses do not exist:\n{}", wrong.len(), wrong.join("\n"));
}

/// Links between chapters lead somewhere.
#[test]
fn links_lead_somewhere() {
    let mut wrong = Vec::new();
    for (path, text) in generated().iter().filter(|(path, _)| path.ends_with(".md")) {
        for target in text.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
            if target.contains("://") {
                continue;
            }
            let (file, anchor) = target.split_once('#').unwrap_or((target, ""));
            let there = if file.is_empty() { path.clone() } else { format!("spec/{file}") };
            let chapter = std::fs::read_to_string(root().join(&there)).unwrap_or_default();
            let known = chapter
                .lines()
                .filter_map(|line| line.trim_start_matches('#').strip_prefix(' '))
                .map(slug)
                .any(|known| known == anchor);
            if chapter.is_empty() || !(anchor.is_empty() || known) {
                wrong.push(format!("{path}: {target}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

fn slug(heading: &str) -> String {
    heading
        .to_lowercase()
        .chars()
        .filter(|c| c.is_alphanumeric() || *c == ' ' || *c == '-')
        .collect::<String>()
        .replace(' ', "-")
}

/// A chapter with the tables between its markers made anew.
fn chapter(text: &str) -> String {
    let mut out = String::new();
    let mut skipping = false;
    for line in text.lines() {
        if line.starts_with("<!-- /") {
            skipping = false;
        }
        if skipping {
            continue;
        }
        out.push_str(line);
        out.push('\n');
        if let Some(name) = line.strip_prefix("<!-- fields: ").and_then(|rest| rest.strip_suffix(" -->")) {
            out.push_str(&fields::table(name));
            skipping = true;
        } else if let Some(name) = line.strip_prefix("<!-- worked: ").and_then(|rest| rest.strip_suffix(" -->")) {
            out.push_str(&worked::example(name).unwrap_or_else(|| panic!("no worked example is called {name}")));
            skipping = true;
        } else if line == "<!-- problems -->" {
            out.push_str("| Name | Meaning |\n|---|---|\n");
            for kind in ProblemKind::ALL {
                let _ = writeln!(out, "| `{kind}` | {} |", kind.meaning());
            }
            skipping = true;
        } else if line == "<!-- kinds of facts -->" {
            out.push_str("| Kind | Type in JSON | What it is |\n|---|---|---|\n");
            for kind in FactKind::ALL {
                let _ = writeln!(out, "| {} | {} | {} |", kind.as_str(), kind.json().as_str(), kind.meaning());
            }
            skipping = true;
        } else if line == "<!-- profile problems -->" {
            out.push_str("| Problem | Meaning |\n|---|---|\n");
            for kind in ProfileProblemKind::ALL {
                let mark = if kind.stops() { "" } else { " *" };
                let _ = writeln!(out, "| `{kind}`{mark} | {} |", kind.meaning().trim());
            }
            skipping = true;
        }
    }
    out
}

fn rules() -> String {
    let mut out = format!(
        "# Rules\n\n*Generated from the rules themselves.* {} rules. The examples are JSON Patches (RFC 6902) on the [small valid \
         survey](#the-small-valid-survey) at the end, checked with 2026-06-01 as the date of today; they run as tests. A limit can be set \
         otherwise by the receiving office. What several rules share is in [Checking](checking.md), \
         what the kinds of facts are in [Findings](findings.md#facts).\n",
        catalogue().len()
    );
    let mut family = "";
    for rule in catalogue() {
        if rule.family() != family {
            family = rule.family();
            let _ = write!(out, "\n## Family: {family}\n\n| Rule | Severity | What it checks |\n|---|---|---|\n");
            for of in catalogue().iter().filter(|other| other.family() == family) {
                let _ = writeln!(
                    out,
                    "| [`{}`](#{}) | {} | {} |",
                    of.name,
                    of.name,
                    of.severity,
                    of.summary().replace('|', "\\|")
                );
            }
        }
        let _ = write!(
            out,
            "\n### {}\n\n{}, since {}, [{}]({}).\n",
            rule.name,
            rule.severity,
            rule.since,
            rule.clause,
            rule.clause.replace('#', ".md#")
        );
        let needs: Vec<&str> = rule.needs.iter().map(|need| need_of(*need)).collect();
        if !needs.is_empty() {
            let _ = write!(out, "\n**Needs.** {}\n", needs.join(", "));
        }
        for section in Section::ALL {
            let text = rule.section(section);
            if !text.is_empty() {
                // A fence begins a block at the beginning of a line only.
                let gap = if text.starts_with("```") { "\n\n" } else { " " };
                let _ = write!(out, "\n**{}.**{gap}{text}\n", section.heading());
            }
        }
        if !rule.limits.is_empty() {
            out.push_str("\n| Limit | Default | Unit | Meaning |\n|---|---|---|---|\n");
            for limit in rule.limits {
                let _ = writeln!(out, "| `{}` | {} | {} | {} |", limit.name, limit.default, limit.unit, limit.meaning);
            }
        }
        out.push_str(&facts(rule));
    }
    let _ = write!(out, "\n## The small valid survey\n\n```json\n{}```\n", obvert::check::MINIMAL);
    out
}

/// The facts that the findings of a rule state.
fn facts(rule: &Rule) -> String {
    if rule.facts.is_empty() {
        return "\n**Facts.** None.\n".to_owned();
    }
    let mut out = "\n**Facts.**\n\n| Fact | Kind | Meaning |\n|---|---|---|\n".to_owned();
    for fact in rule.facts {
        let when = fact.when().map(|when| format!("; only if {when}")).unwrap_or_default();
        let _ = writeln!(out, "| `{}` | {} | {}{when} |", fact.name, fact.kind.as_str(), fact.meaning);
    }
    out
}

/// What a rule cannot do without, in words.
fn need_of(need: Need) -> &'static str {
    match need {
        Need::Codes => "the document's code list",
        Need::Grades => "the document's grade scheme",
        Need::Crs => "a reference system that is known",
        Need::Today => "the date of today",
        Need::Profile => "a profile",
        _ => panic!("{need:?} has no words"),
    }
}

fn codes(list: &CodeList) -> String {
    let stands = list.codes.iter().any(|code| code.standing.is_some());
    let mut out = format!(
        "# Codes of {}\n\n*Generated from the list.* {} {} has {} codes. {}\n\nRequired characterisations and quantities are in **bold**.\n",
        list.id,
        list.id,
        list.version,
        list.codes.len(),
        list.description.as_deref().unwrap_or_default()
    );
    if stands {
        out.push_str(
            "What is marked \\* is from memory, where its code is not. *Standing* is that of the code and its name; *Use* that of \
             clock, stretch, joint and materials. Links marked *part of* lose something on the way.\n",
        );
    } else {
        out.push_str("Links marked *part of* lose something on the way; what has none has no equivalent.\n");
    }
    let mut family = None;
    for code in &list.codes {
        if family != Some(code.family) {
            family = Some(code.family);
            let standing = if stands { " Standing | Use | Source |" } else { "" };
            let rule = if stands { "---|---|---|" } else { "" };
            let _ = write!(
                out,
                "\n## Family: {}\n\n| Code | Name | What is seen | Characterisation | Quantities | Clock | Stretch | Joint | Same as |{standing}\n|---|---|---|---|---|---|---|---|---|{rule}\n",
                code.family
            );
        }
        let must = |required: bool, text: String| if required { format!("**{text}**") } else { text };
        let mark = |standing: Option<Standing>| match standing {
            Some(Standing::FromMemory) if code.standing != Some(Standing::FromMemory) => "\\*",
            _ => "",
        };
        let slots: Vec<String> = code
            .characterisation
            .iter()
            .map(|slot| {
                let mut values: Vec<String> = slot
                    .values
                    .iter()
                    .map(|value| {
                        // A letter says nothing by itself.
                        let label = value.label.get("en").filter(|_| value.value.len() == 1);
                        let label = label.map(|label| format!(" {label}")).unwrap_or_default();
                        format!("{}{label}{}", value.value, mark(value.standing))
                    })
                    .collect();
                values.extend((slot.open == Some(true)).then(|| "…".to_owned()));
                must(slot.required, format!("{}: {}", slot.name, values.join(", ")))
            })
            .collect();
        let quantities: Vec<String> = code
            .quantities
            .iter()
            .map(|quantity| {
                let of = quantity.of.map(|of| format!(" of {of}")).unwrap_or_default();
                let of = if stands { of } else { String::new() };
                let when: String = quantity.when.iter().map(|value| format!(", with {value}")).collect();
                let text = format!("{} ({}{of}{when}){}", quantity.name, quantity.unit, mark(quantity.standing));
                must(quantity.required == Some(true), text)
            })
            .collect();
        let letters = |values: &[Text]| -> String { values.iter().map(|value| format!(" {value}")).collect() };
        let same: Vec<String> = code
            .same_as
            .iter()
            .map(|same| {
                let when = if same.when.is_empty() { String::new() } else { format!("with{}: ", letters(&same.when)) };
                let part = if same.fit() == Fit::Wider { "part of " } else { "" };
                format!("{when}{part}{} {}{}", same.list, same.code, letters(&same.characterisation))
            })
            .collect();
        let mut cells = vec![
            format!("`{}`", code.code),
            code.name().to_owned(),
            code.meaning.as_deref().unwrap_or_default().to_owned(),
            slots.join("; "),
            quantities.join("; "),
            code.clock.usage.to_string(),
            code.continuous.to_string(),
            code.joint.to_string(),
            same.join("; "),
        ];
        if let Some(standing) = code.standing {
            cells.push(standing.to_string());
            cells.push(code.use_standing.unwrap_or(standing).to_string());
            cells.push(code.source.as_deref().unwrap_or_default().to_owned());
        }
        let _ = writeln!(out, "| {} |", cells.join(" | "));
    }
    out
}

/// The document that the examples of the tables of fields are taken from.
fn every_field() -> String {
    let document = obvert::read(read(fields::EVERY_FIELD).as_bytes()).expect("the document reads");
    format!(
        "# A document with every field\n\n*Generated; informative.* The examples in the tables of fields are taken from this document. It \
         gives no finding. It is in the [layout for files](canonical.md#layout-for-files).\n\n<!-- example: Document -->\n```json\n{}```\n",
        obvert::to_string(&document)
    )
}

/// The demo survey with every mistake that can stand beside the others.
fn rejected() -> String {
    let mut document: Value = serde_json::from_str(&read("examples/data/larkmoor.obvert.json")).expect("json");
    let mistakes: Value = serde_json::from_str(&read("tests/corpus/rules/larkmoor.json")).expect("json");
    for mistake in mistakes["cases"].as_array().expect("a list").iter().filter(|mistake| mistake["alone"] != true) {
        let patch: json_patch::Patch = serde_json::from_value(mistake["patch"].clone()).expect("a patch");
        json_patch::patch(&mut document, &patch).unwrap_or_else(|error| panic!("{}: {error}", mistake["about"]));
    }
    let text = serde_json::to_string(&document).expect("json");
    obvert::to_string(&obvert::read(text.as_bytes()).expect("mistakes leave the document readable"))
}
