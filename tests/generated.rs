//! Compares every generated file in the tree with what the code generates.
//! `OBVERT_BLESS=1 cargo test --test generated` rewrites them.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

#[path = "support/chapters.rs"]
mod chapters;
#[path = "support/fields.rs"]
mod fields;
mod support;
#[path = "support/worked.rs"]
mod worked;

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt::Write;

use obvert::check::fixing::FixLog;
use obvert::check::grading::GradeTable;
use obvert::check::{
    Checker, Fact, FactKind, Limit, Need, Report, Rule, Section, Settings, catalogue, find,
};
use obvert::model::lists::{Code, CodeList, GradeScheme, Standing};
use obvert::model::profile::{Profile, ProfileProblemKind};
use obvert::model::read::ProblemKind;
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

/// Every rule is listed at a field or an object, and every object of the format has a table in the
/// specification.
#[test]
fn every_rule_and_every_object_is_in_a_table_of_fields() {
    let named: BTreeSet<&str> = fields::guards().values().flatten().copied().collect();
    let of_fields = |rule: &&&Rule| !["profile", "files"].contains(&rule.family());
    let all = catalogue().iter().filter(of_fields).map(|rule| rule.name);
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

/// Links between chapters resolve.
#[test]
fn links_resolve() {
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

/// A chapter with the tables between its markers regenerated.
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
                let _ = writeln!(out, "| `{kind}` | {} |", first_sentence(kind.meaning()));
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

/// The link from the chapter on versions to a rule or a structural problem.
fn named(name: &str) -> String {
    match find(name) {
        Some(_) => format!("../checking/rules.md#{name}"),
        None => "problems.md".to_owned(),
    }
}

/// The catalogue of the rules. Their examples are in the conformance suite; reasons and advice are
/// in `obvert explain`.
fn rules() -> String {
    let mut families: Vec<&str> = catalogue().iter().map(|rule| rule.family()).collect();
    families.dedup();
    let links: Vec<String> =
        families.iter().map(|family| format!("[{family}](#family-{family})")).collect();
    let mut out = format!(
        "# Rules\n\n*Generated from the rules.* {count} rules in these families: {links}.\n\n\
         An entry has the severity, the clause that the rule guards, and what it *needs*: *codes* \
         (the code list is available), *grades* (a grade scheme is used), *crs* (a known reference \
         system), *today* (the date), *profile*, *files* (the media files were opened). What it checks follows, then:\n\n\
         | Part | Content |\n|---|---|\n\
         | Exceptions | no finding; a rule named in brackets reports the case instead |\n\
         | Limits | numbers that a profile can set, with the source of the default; those without \
         one are common practice |\n\
         | Facts | parameters of a finding, with [kind](findings.md#facts) and meaning. A fact \
         without either is explained in an earlier rule of the family, one without a meaning is \
         the field of that name. Values of the document are as recorded |\n\
         | Exactly | the definition, if the text above is not exact; terms in *italics* are \
         defined in [Checking](checking.md) and [Conventions](../format/conventions.md) |\n\n\
         Rules are in the format since version {first} unless they state another. \
         `tests/corpus/rules` has failing and passing examples of each that needs no files, as JSON \
         Patches on `tests/corpus/bases/minimal.obvert.json`. `obvert explain RULE` also tells why a rule \
         matters and how to correct a finding.\n",
        count = catalogue().len(),
        links = links.join(", "),
        first = KNOWN[0]
    );
    let mut limits = HashMap::new();
    for family in families {
        let mut facts = BTreeSet::new();
        let _ = write!(out, "\n## Family: {family}\n");
        for rule in catalogue().iter().filter(|rule| rule.family() == family) {
            rule_entry(rule, &mut limits, &mut facts, &mut out);
        }
    }
    out
}

/// The rule that first has a limit, by the limit's name, default and meaning.
type FirstUse = HashMap<(&'static str, String, &'static str), &'static str>;

fn rule_entry(
    rule: &'static Rule,
    limits: &mut FirstUse,
    known: &mut BTreeSet<String>,
    out: &mut String,
) {
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
        "\n### {}\n\n{}{since}, [{chapter}#{anchor}]({clause}#{anchor}){needs}\n",
        rule.name, rule.severity
    );
    section(rule, Section::Checks, "", out);
    section(rule, Section::Exceptions, "Exceptions", out);
    let shown: Vec<String> =
        rule.limits.iter().map(|limit| limit_line(rule, limit, limits)).collect();
    list("Limits", &shown, out);
    let mut shown = Vec::new();
    for group in rule.facts.chunk_by(|one, other| one.when() == other.when()) {
        let facts = group.iter().map(fact_text).map(|text| {
            let name = text.split(' ').next().unwrap_or_default().to_owned();
            let meant = text.contains(": ");
            if known.insert(text.clone()) || !meant { text } else { name }
        });
        let facts = facts.collect::<Vec<_>>().join("; ");
        shown.push(match group.first().and_then(Fact::when) {
            Some(when) => format!("Only if {when}: {facts}."),
            None => format!("{facts}."),
        });
    }
    if !shown.is_empty() {
        let _ = write!(out, "\n**Facts.** {}\n", shown.join(" "));
    }
    section(rule, Section::Exactly, "Exactly", out);
}

/// A limit; one that several rules share is explained at the first of them.
fn limit_line(rule: &'static Rule, limit: &'static Limit, limits: &mut FirstUse) -> String {
    let value = format!("{} {}", limit.default, limit.unit);
    let key = (limit.name, value.clone(), limit.meaning);
    let first = *limits.entry(key).or_insert(rule.name);
    if first != rule.name {
        return format!("`{}` = {value}, as in [`{first}`](#{first})", limit.name);
    }
    // The head of the chapter states it for all limits without a source.
    let meaning = limit.meaning.trim_end_matches(", no published source");
    let meaning = meaning.trim_end_matches("; common practice");
    format!("`{}` = {value}: {meaning}", limit.name)
}

fn fact_text(fact: &Fact) -> String {
    // The head of the chapter states that values are as recorded.
    let meaning = fact.meaning.trim_end_matches(", as recorded");
    let head = format!("`{}` ({})", fact.name, fact.kind.as_str());
    let name = format!("`{}`", fact.name);
    let of = meaning.strip_prefix(&name).and_then(|rest| rest.strip_prefix(" of the "));
    let whose = ["row", "run", "document", "pipe", "file", "locate", "counter", "party"];
    if meaning == format!("the {}", fact.name.replace('_', " "))
        || of.is_some_and(|of| whose.contains(&of))
    {
        return head;
    }
    format!("{head}: {meaning}")
}

/// A list under a heading; a single item follows the heading.
fn list(heading: &str, items: &[String], out: &mut String) {
    let _ = match items {
        [] => Ok(()),
        [item] => write!(out, "\n**{heading}.** {item}\n"),
        items => write!(out, "\n**{heading}**\n\n- {}\n", items.join("\n- ")),
    };
}

fn section(rule: &Rule, of: Section, heading: &str, out: &mut String) {
    let text = relinked(&rule.section(of));
    match text.as_str() {
        "" => {}
        text if heading.is_empty() => {
            let _ = write!(out, "\n{text}\n");
        }
        // A list of one item needs no list.
        text if text.starts_with("- ") && !text.contains("\n- ") && !text.contains("\n\n") => {
            let _ = write!(out, "\n**{heading}.** {}\n", text[2..].replace("\n  ", "\n"));
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

/// What a problem is, without the advice that follows.
fn first_sentence(text: &str) -> &str {
    text.split_inclusive(". ").next().unwrap_or(text).trim_end()
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

/// What a rule needs, as the head of the chapter names it.
fn need_of(need: Need) -> &'static str {
    match need {
        Need::Codes => "codes",
        Need::Grades => "grades",
        Need::Crs => "crs",
        Need::Today => "today",
        Need::Profile => "profile",
        Need::Files => "files",
        _ => panic!("{need:?} has no name"),
    }
}

/// The chapter of a built-in code list.
fn codes(list: &CodeList) -> String {
    let transcribed = list.codes.iter().any(|code| code.standing.is_some());
    let sources: BTreeSet<&str> =
        list.codes.iter().filter_map(|code| code.source.as_deref()).collect();
    let sources: Vec<&str> = sources.into_iter().collect();
    let mut out = format!(
        "# Codes of {id}\n\n*Generated from `schema/{id}.json`*, which also has labels, ranges, \
         materials, shapes and links. {id} {version} has {count} codes. {about}\n\n\
         *Holds*: characterisation, then quantities, **bold** if required, then *clock, stretch, \
         joint* if not as stated below the heading.",
        id = list.id,
        version = list.version,
        count = list.codes.len(),
        about = match list.description.as_deref().unwrap_or_default() {
            about if transcribed => about,
            about => first_sentence(about),
        }
    );
    out.push_str(if transcribed {
        " The remark tells what *other* is. *Standing*: the number of the [source](#sources) of \
         code and name, which is second-hand, or else its standing; clock, stretch, joint, \
         materials and shapes are from memory unless *use* states otherwise. \\* marks what is \
         from memory if its code is not, … an open place.\n"
    } else {
        " … repeats the beginning of the meaning above, ″ for the cell above. Ranges and \
         definitions without a `source` are common practice, no published source.\n"
    });
    let (column, rule) = if transcribed { (" Standing |", "---|") } else { ("", "") };
    for family in list.codes.chunk_by(|one, other| one.family == other.family) {
        let usual = usual(family);
        let _ = write!(
            out,
            "\n## Family: {}\n\nUsual: {usual}.\n\n\
             | Code | Meaning | Holds |{column}\n|---|---|---|{rule}\n",
            family[0].family
        );
        let (mut above, mut held) = ("", String::new());
        for code in family {
            let meaning = meaning(code);
            let now = holds(code, &usual);
            let same = now == held && now.split(' ').count() > 2;
            let shown = if same { "″".to_owned() } else { now.clone() };
            let mut cells = vec![format!("`{}`", code.code), shortened(meaning, above), shown];
            cells.extend(transcribed.then(|| standing(code, &sources)));
            let cell = |cell: &String| {
                if cell.is_empty() { " |".to_owned() } else { format!(" {cell} |") }
            };
            let _ = writeln!(out, "|{}", cells.iter().map(cell).collect::<String>());
            (above, held) = (meaning, now);
        }
    }
    if transcribed {
        out.push_str("\n## Sources\n\n");
        for (at, source) in sources.iter().enumerate() {
            let _ = writeln!(out, "{}. {source}", at + 1);
        }
    }
    out
}

fn use_of(code: &Code) -> String {
    format!("{}, {}, {}", code.clock.usage, code.continuous, code.joint)
}

/// The usual values of `clock`, `continuous` and `joint`.
fn usual(codes: &[Code]) -> String {
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    for code in codes {
        *counts.entry(use_of(code)).or_default() += 1;
    }
    counts.into_iter().max_by_key(|(_, count)| *count).map_or_else(String::new, |(text, _)| text)
}

/// What a code means. A code in words names itself; one in letters needs its name.
fn meaning(code: &Code) -> &str {
    match &code.meaning {
        Some(meaning) if code.standing.is_none() => meaning,
        _ => code.name(),
    }
}

/// A meaning without the words with which the one above begins as well, if they are several.
fn shortened(meaning: &str, above: &str) -> String {
    let mut begins = 0;
    let ends = meaning.match_indices(' ').map(|(at, _)| at + 1);
    let mut count = 0;
    for end in ends.take_while(|end| above.starts_with(&meaning[..*end])) {
        begins = end;
        count += 1;
    }
    if count < 4 { meaning.to_owned() } else { format!("… {}", &meaning[begins..]) }
}

/// What a code holds: characterisation, quantities, and its use if that is not the usual one.
fn holds(code: &Code, usual: &str) -> String {
    let must = |required: bool, text: String| if required { format!("**{text}**") } else { text };
    let mark = |standing: Option<Standing>| match standing {
        Some(Standing::FromMemory) if code.standing != Some(Standing::FromMemory) => "\\*",
        _ => "",
    };
    let slots = code.characterisation.iter().map(|slot| {
        let values = slot.values.iter().map(|value| {
            // A letter means nothing by itself.
            let label = value.label.get("en").filter(|_| value.value.len() == 1);
            let label = label.map(|label| label.trim_end_matches(", told in the remark"));
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
    let usage = Some(use_of(code)).filter(|text| text != usual).map(|text| format!("*{text}*"));
    slots.chain(quantities).chain(usage).collect::<Vec<_>>().join("; ")
}

/// How far a code can be trusted.
fn standing(code: &Code, sources: &[&str]) -> String {
    let Some(standing) = code.standing else { return String::new() };
    let source =
        code.source.as_deref().and_then(|source| sources.iter().position(|known| *known == source));
    let use_standing = code.use_standing.unwrap_or(standing);
    let parts = [
        source.map(|at| (at + 1).to_string()),
        Some(standing.to_string()).filter(|_| standing != Standing::SecondHand || source.is_none()),
        Some(format!("use {use_standing}")).filter(|_| use_standing != Standing::FromMemory),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
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
