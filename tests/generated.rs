//! Everything in the tree that is made from the code, compared with what the code makes. After a change,
//! `OBVERT_BLESS=1 cargo test --test generated` rewrites it.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

#[path = "support/chapters.rs"]
mod chapters;
#[path = "support/fields.rs"]
mod fields;
mod support;
#[path = "support/worked.rs"]
mod worked;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use obvert::check::fixing::FixLog;
use obvert::check::grading::GradeTable;
use obvert::check::{
    Checker, Fact, FactKind, Need, Report, Rule, Section, Settings, catalogue, find,
};
use obvert::model::lists::{Code, CodeList, Fit, GradeScheme, SameAs, Standing};
use obvert::model::profile::{Profile, ProfileProblemKind};
use obvert::model::read::ProblemKind;
use obvert::model::text::Text;
use obvert::model::versions::{CURRENT, KNOWN, RENAMED};
use serde_json::Value;
use support::{read, root};

/// The chapter that lists the rules.
const RULES: &str = "checking/rules.md";

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
        (
            "schema/report-line.schema.json".to_owned(),
            pretty(&obvert::check::output::jsonl::schema()),
        ),
        ("schema/fix-log.schema.json".to_owned(), pretty(&FixLog::schema())),
        (
            "schema/migration.schema.json".to_owned(),
            pretty(&obvert::model::versions::Migration::schema()),
        ),
        ("schema/grades.schema.json".to_owned(), pretty(&GradeTable::schema())),
        ("schema/account.schema.json".to_owned(), pretty(&obvert::convert::Account::schema())),
        ("schema/obvert.xsd".to_owned(), obvert::convert::xml::xsd()),
        (
            "schema/obvert-terms.json".to_owned(),
            read("crates/model/data/code-lists/obvert-terms.json"),
        ),
        ("schema/en-13508-2.json".to_owned(), read("crates/model/data/code-lists/en-13508-2.json")),
        (
            "schema/obvert-grades.json".to_owned(),
            read("crates/model/data/grade-schemes/obvert-grades.json"),
        ),
        (format!("spec/{RULES}"), rules()),
        ("spec/codes/obvert-terms.md".to_owned(), codes(CodeList::obvert_terms())),
        ("spec/codes/en-13508-2.md".to_owned(), codes(CodeList::en_13508_2())),
        ("examples/data/larkmoor-rejected.obvert.json".to_owned(), rejected()),
    ];
    for (name, schema) in obvert::convert::csv::table_schemas() {
        files.push((format!("schema/tables/{name}"), schema));
    }
    // Documents of older versions are still read, so the schema of each is shipped.
    for version in KNOWN.iter().filter(|version| **version != CURRENT) {
        let name = "schema/document.schema.json";
        files.push((
            format!("schema/{version}/document.schema.json"),
            read(&format!("releases/{version}/{name}")),
        ));
    }
    for (chapter, text) in chapters::chapters() {
        let path = format!("spec/{chapter}");
        if !files.iter().any(|(known, _)| *known == path) {
            files.push((path, filled(&chapter, &text)));
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
    assert!(
        stale.is_empty(),
        "not fresh, run `OBVERT_BLESS=1 cargo test --test generated`: {stale:#?}"
    );
}

/// `schema/` has only generated files.
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
                let name =
                    path.strip_prefix(root()).expect("inside").to_string_lossy().replace('\\', "/");
                assert!(known.contains(&name), "{name} is not generated");
            }
        }
    }
}

/// The document that examples are taken from has every field, and is clean.
#[test]
fn every_field_has_an_example() {
    assert_eq!(
        fields::without_example(),
        Vec::<String>::new(),
        "put these into {}",
        fields::EVERY_FIELD
    );
    let settings = Settings::default().with_today("2026-06-01".parse().expect("a date"));
    let report = Checker::new(settings)
        .expect("settings")
        .check(read(fields::EVERY_FIELD).as_bytes())
        .expect("json");
    let found: Vec<String> = report
        .findings
        .iter()
        .map(|f| format!("{} {}: {}", f.rule, f.subject.path, f.message))
        .collect();
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
    let text: String = generated()
        .into_iter()
        .filter(|(path, _)| path.ends_with(".md"))
        .map(|(_, text)| text)
        .collect();
    let absent: Vec<&str> = obvert::model::shape::objects()
        .map(|object| object.name.as_str())
        .filter(|name| text.matches(&format!("<!-- fields: {name} -->")).count() != 1)
        .collect();
    assert_eq!(absent, Vec::<&str>::new(), "each object has one table");
}

/// Every clause that a rule guards is a heading of the specification.
#[test]
fn rules_guard_clauses_that_exist() {
    let chapters = chapters::chapters();
    let mut wrong = Vec::new();
    for rule in catalogue() {
        let (name, anchor) = rule.clause.split_once('#').expect("chapter#anchor");
        let text =
            chapters::path_of(name).and_then(|path| chapters.get(&path)).map_or("", String::as_str);
        if !text
            .lines()
            .filter_map(|line| line.strip_prefix("## "))
            .any(|heading| chapters::slug(heading) == anchor)
        {
            wrong.push(format!("{}: {}", rule.name, rule.clause));
        }
    }
    assert!(wrong.is_empty(), "{} clauses do not exist:\n{}", wrong.len(), wrong.join("\n"));
}

/// Links between chapters lead somewhere.
#[test]
fn links_lead_somewhere() {
    let chapters: BTreeMap<String, String> = generated()
        .into_iter()
        .filter_map(|(path, text)| Some((path.strip_prefix("spec/")?.to_owned(), text)))
        .collect();
    let mut wrong = Vec::new();
    for (path, text) in &chapters {
        for link in chapters::links(text) {
            let (file, anchor) = chapters::target(path, link);
            let known = match chapters.get(&file) {
                Some(text) => {
                    anchor.is_empty() || chapters::anchors(text).iter().any(|known| known == anchor)
                }
                None => false,
            };
            if !known {
                wrong.push(format!("{path}: {link}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// A chapter with the tables between its markers made anew.
fn filled(path: &str, text: &str) -> String {
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
        if let Some(name) =
            line.strip_prefix("<!-- fields: ").and_then(|rest| rest.strip_suffix(" -->"))
        {
            out.push_str(&fields::table(name, path));
            skipping = true;
        } else if let Some(name) =
            line.strip_prefix("<!-- worked: ").and_then(|rest| rest.strip_suffix(" -->"))
        {
            out.push_str(
                &worked::example(name, path)
                    .unwrap_or_else(|| panic!("no worked example is called {name}")),
            );
            skipping = true;
        } else if line == "<!-- problems -->" {
            out.push_str("| Name | Meaning |\n|---|---|\n");
            for kind in ProblemKind::ALL {
                let _ = writeln!(out, "| `{kind}` | {} |", kind.meaning());
            }
            skipping = true;
        } else if line == "<!-- renamed rules -->" {
            out.push_str("| Before | Now |\n|---|---|\n");
            for (old, new) in RENAMED {
                let _ = writeln!(out, "| `{old}` | [`{new}`]({}) |", named(new));
            }
            skipping = true;
        } else if line == "<!-- kinds of facts -->" {
            out.push_str("| Kind | Type in JSON | What it is |\n|---|---|---|\n");
            for kind in FactKind::ALL {
                let _ = writeln!(
                    out,
                    "| {} | {} | {} |",
                    kind.as_str(),
                    kind.json().as_str(),
                    kind.meaning()
                );
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

/// Where the chapter on versions finds a rule or a structural problem.
fn named(name: &str) -> String {
    match find(name) {
        Some(_) => format!("../checking/rules.md#{name}"),
        None => "problems.md".to_owned(),
    }
}

/// The catalogue of the rules. Their examples are in the conformance suite.
fn rules() -> String {
    let mut out = format!(
        "# Rules\n\n*Generated from the rules.* {} rules by family. [Checking](checking.md) defines what several rules share, \
         [Findings](findings.md#facts) the kinds of facts.\n\n\
         Every rule has examples that fail and that pass, as JSON Patches on a small valid survey. \
         `obvert explain RULE` prints them; the conformance suite has them in `tests/corpus/rules`, and the survey as \
         `tests/corpus/bases/minimal.obvert.json`.\n\n\
         A rule named in an exception reports that case instead. A rule is in the format since version {first} unless it \
         states another. *Why* and *Fix* are informative; `explain` has the reasons in full, and the sources.\n",
        catalogue().len(),
        first = KNOWN[0]
    );
    let mut families: Vec<&str> = catalogue().iter().map(|rule| rule.family()).collect();
    families.dedup();
    for family in &families {
        let names =
            catalogue().iter().filter(|rule| rule.family() == *family).map(|rule| rule.name);
        let names: Vec<String> = names.map(|name| format!("[`{name}`](#{name})")).collect();
        let _ = write!(out, "\n**[{family}](#family-{family})**: {}\n", names.join(", "));
    }
    for family in families {
        let _ = write!(out, "\n## Family: {family}\n");
        for rule in catalogue().iter().filter(|rule| rule.family() == family) {
            rule_entry(rule, &mut out);
        }
    }
    out
}

fn rule_entry(rule: &Rule, out: &mut String) {
    let (chapter, anchor) = rule.clause.split_once('#').expect("chapter#anchor");
    let path =
        chapters::path_of(chapter).unwrap_or_else(|| panic!("{}: no chapter {chapter}", rule.name));
    let clause = chapters::link(RULES, &path);
    let since =
        if rule.since == KNOWN[0] { String::new() } else { format!(", since {}", rule.since) };
    let needs: Vec<&str> = rule.needs.iter().map(|need| need_of(*need)).collect();
    let needs =
        if needs.is_empty() { String::new() } else { format!(", needs {}", needs.join(", ")) };
    let _ = write!(
        out,
        "\n### {}\n\n{}{since}, [{chapter}: {anchor}]({clause}#{anchor}){needs}\n",
        rule.name, rule.severity
    );
    section(rule, Section::Checks, "", out);
    section(rule, Section::Exceptions, "Exceptions", out);
    if !rule.limits.is_empty() {
        out.push_str("\n**Limits**\n\n");
        for limit in rule.limits {
            let _ = writeln!(
                out,
                "- `{}` = {} {}: {}",
                limit.name, limit.default, limit.unit, limit.meaning
            );
        }
    }
    if !rule.facts.is_empty() {
        out.push_str("\n**Facts**\n\n");
        let shown =
            |fact: &Fact| format!("`{}` ({}): {}", fact.name, fact.kind.as_str(), fact.meaning);
        for group in rule.facts.chunk_by(|one, other| one.when() == other.when()) {
            let facts: Vec<String> = group.iter().map(shown).collect();
            let _ = match group.first().and_then(Fact::when) {
                Some(when) => writeln!(out, "- only if {when}: {}", facts.join("; ")),
                None => writeln!(out, "- {}", facts.join("\n- ")),
            };
        }
    }
    section(rule, Section::Exactly, "Exactly", out);
    section(rule, Section::Matters, "Why", out);
    section(rule, Section::Fix, "Fix", out);
}

fn section(rule: &Rule, of: Section, heading: &str, out: &mut String) {
    let text = rule.section(of);
    // The first reason is enough to know what the rule is for.
    let text = relinked(if of == Section::Matters { first_sentence(&text) } else { &text });
    match text.as_str() {
        "" => {}
        text if heading.is_empty() => {
            let _ = write!(out, "\n{text}\n");
        }
        // A list and a table begin at the beginning of a line only.
        text if text.starts_with("- ") || text.starts_with("| ") || text.starts_with("1. ") => {
            let _ = write!(out, "\n**{heading}**\n\n{text}\n");
        }
        text => {
            let _ = write!(out, "\n**{heading}.** {text}\n");
        }
    }
}

fn first_sentence(text: &str) -> &str {
    let ends = text.match_indices(". ").chain(text.match_indices(".\n")).map(|(at, _)| at + 1);
    &text[..ends.min().unwrap_or(text.len())]
}

/// A rule's text names a chapter by its file alone; the folder is found here.
fn relinked(text: &str) -> String {
    let mut parts = text.split("](");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for rest in parts {
        let (link, after) = rest.split_once(')').expect("the end of a link");
        let (file, anchor) = link.split_once('#').unwrap_or((link, ""));
        let path =
            file.strip_suffix(".md").filter(|name| !name.contains('/')).and_then(chapters::path_of);
        let file = path.map_or_else(|| file.to_owned(), |path| chapters::link(RULES, &path));
        let mark = if anchor.is_empty() { "" } else { "#" };
        let _ = write!(out, "]({file}{mark}{anchor}){after}");
    }
    out
}

/// What a rule cannot do without, in words.
fn need_of(need: Need) -> &'static str {
    match need {
        Need::Codes => "the code list",
        Need::Grades => "the grade scheme",
        Need::Crs => "a known reference system",
        Need::Today => "today's date",
        Need::Profile => "a profile",
        _ => panic!("{need:?} has no words"),
    }
}

/// The chapter of a built-in code list.
fn codes(list: &CodeList) -> String {
    let transcribed = list.codes.iter().any(|code| code.standing.is_some());
    let sources: BTreeSet<&str> =
        list.codes.iter().filter_map(|code| code.source.as_deref()).collect();
    let sources: Vec<&str> = sources.into_iter().collect();
    let linked: BTreeSet<&str> =
        list.codes.iter().flat_map(|code| &code.same_as).map(|same| &*same.list).collect();
    assert_eq!(linked.len(), 1, "{}: the column of links names one list", list.id);
    let mut out = format!(
        "# Codes of {id}\n\n*Generated from the list.* {id} {version} has {count} codes. {about}\n\n\
         Required characterisations and quantities are in **bold**. Links marked *part of* lose detail.",
        id = list.id,
        version = list.version,
        count = list.codes.len(),
        about = list.description.as_deref().unwrap_or_default()
    );
    let _ = write!(out, " Where no clock, stretch and joint are given they are {USUAL}.");
    out.push_str(if transcribed {
        " The exact ones are listed with [obvert-terms](obvert-terms.md) alone. \\* marks what is from memory if its code is not; \
         … marks an open place. *Standing*: the number of the [source](#sources) of the code and its name, which is second-hand, \
         or what else it is. Clock, stretch, joint and materials are from memory unless the standing says otherwise.\n"
    } else {
        " A code without a link has no equivalent.\n"
    });
    let mut family = None;
    for code in &list.codes {
        if family != Some(code.family) {
            family = Some(code.family);
            let linked = linked.iter().next().expect("one");
            let (standing, rule) = if transcribed { (" Standing |", "---|") } else { ("", "") };
            let _ = write!(
                out,
                "\n## Family: {}\n\n| Code | Meaning | Characterisation; quantities | Clock, stretch, joint | In {linked} |{standing}\n\
                 |---|---|---|---|---|{rule}\n",
                code.family
            );
        }
        let _ = writeln!(out, "| {} |", code_cells(code, &sources).join(" | "));
    }
    if transcribed {
        out.push_str("\n## Sources\n\n");
        for (at, source) in sources.iter().enumerate() {
            let _ = writeln!(out, "{}. {source}", at + 1);
        }
    }
    out
}

/// What most codes say of clock, stretch and joint.
const USUAL: &str = "optional, allowed, allowed";

fn words(text: &str) -> BTreeSet<&str> {
    text.split([' ', '.', '-', ',']).filter(|word| !word.is_empty()).collect()
}

fn code_cells(code: &Code, sources: &[&str]) -> Vec<String> {
    let must = |required: bool, text: String| if required { format!("**{text}**") } else { text };
    let mark = |standing: Option<Standing>| match standing {
        Some(Standing::FromMemory) if code.standing != Some(Standing::FromMemory) => "\\*",
        _ => "",
    };
    let slots = code.characterisation.iter().map(|slot| {
        let values = slot.values.iter().map(|value| {
            // A letter says nothing by itself.
            let label = value.label.get("en").filter(|_| value.value.len() == 1);
            let label = label.map(|label| format!(" {label}")).unwrap_or_default();
            format!("{}{label}{}", value.value, mark(value.standing))
        });
        let open = (slot.open == Some(true)).then(|| "…".to_owned());
        let values: Vec<String> = values.chain(open).collect();
        must(slot.required, format!("{}: {}", slot.name, values.join(", ")))
    });
    let quantities = code.quantities.iter().map(|quantity| {
        let of = quantity
            .of
            .filter(|_| code.standing.is_some())
            .map(|of| format!(" of {of}"))
            .unwrap_or_default();
        let when: String = quantity.when.iter().map(|value| format!(", with {value}")).collect();
        let text =
            format!("{} ({}{of}{when}){}", quantity.name, quantity.unit, mark(quantity.standing));
        must(quantity.required == Some(true), text)
    });
    let letters =
        |values: &[Text]| -> String { values.iter().map(|value| format!(" {value}")).collect() };
    // An exact link is in both lists, and is shown with the terms.
    let shown = |same: &&SameAs| code.standing.is_none() || same.fit() == Fit::Wider;
    let same = code.same_as.iter().filter(shown).map(|same| {
        let when = if same.when.is_empty() {
            String::new()
        } else {
            format!("with{}: ", letters(&same.when))
        };
        let part = if same.fit() == Fit::Wider { "part of " } else { "" };
        format!("{when}{part}{}{}", same.code, letters(&same.characterisation))
    });
    let mut cells = vec![
        format!("`{}`", code.code),
        match &code.meaning {
            // Most terms are their names, in another order.
            Some(meaning) if words(&code.code) == words(code.name()) => meaning.to_string(),
            Some(meaning) => format!("{}: {meaning}", code.name()),
            None => code.name().to_owned(),
        },
        slots.chain(quantities).collect::<Vec<_>>().join("; "),
        Some(format!("{}, {}, {}", code.clock.usage, code.continuous, code.joint))
            .filter(|usage| usage != USUAL)
            .unwrap_or_default(),
        same.collect::<Vec<_>>().join("; "),
    ];
    if let Some(standing) = code.standing {
        let source = code
            .source
            .as_deref()
            .and_then(|source| sources.iter().position(|known| *known == source));
        let use_standing = code.use_standing.unwrap_or(standing);
        let parts = [
            source.map(|at| (at + 1).to_string()),
            Some(standing.to_string())
                .filter(|_| standing != Standing::SecondHand || source.is_none()),
            Some(format!("use {use_standing}")).filter(|_| use_standing != Standing::FromMemory),
        ];
        cells.push(parts.into_iter().flatten().collect::<Vec<_>>().join(", "));
    }
    cells
}

/// The demo survey with every mistake that can be combined with the others.
fn rejected() -> String {
    let mut document: Value =
        serde_json::from_str(&read("examples/data/larkmoor.obvert.json")).expect("json");
    let mistakes: Value =
        serde_json::from_str(&read("tests/corpus/rules/larkmoor.json")).expect("json");
    for mistake in mistakes["cases"]
        .as_array()
        .expect("a list")
        .iter()
        .filter(|mistake| mistake["alone"] != true)
    {
        let patch: json_patch::Patch =
            serde_json::from_value(mistake["patch"].clone()).expect("a patch");
        json_patch::patch(&mut document, &patch)
            .unwrap_or_else(|error| panic!("{}: {error}", mistake["about"]));
    }
    let text = serde_json::to_string(&document).expect("json");
    obvert::to_string(&obvert::read(text.as_bytes()).expect("mistakes leave the document readable"))
        .unwrap()
}
