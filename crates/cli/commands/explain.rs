//! `obvert explain`: explains a rule, a code, a field or a trade term.

mod code;

use std::collections::HashSet;
use std::io::{self, Write};

use obvert::check::{MINIMAL, Rule, Section, catalogue, find};
use obvert::model::lists::{Code, CodeList};
use obvert::model::read::ProblemKind;
use obvert::model::shape::{self, Field, Shape};
use obvert::model::synonyms::{self, Synonym};
use obvert::model::text::nearest;
use obvert::model::versions;

use crate::render::{out, strong, wrapped};
use crate::{Failure, Status};

/// Explains a name.
pub(crate) fn run(name: &str) -> Result<Status, Failure> {
    if let Some(rule) = find(name) {
        return explain_rule(rule);
    }
    if let Some(kind) = ProblemKind::ALL.iter().find(|kind| kind.as_str() == name) {
        return out(|out| {
            writeln!(out, "{} (structure of the document, error)\n", strong(name))?;
            wrapped(out, "", kind.meaning())
        });
    }
    for list in CodeList::built_ins() {
        if let Some(code) = list.codes.iter().find(|code| code.code.eq_ignore_ascii_case(name)) {
            return out(|out| code::explain(out, list, code));
        }
    }
    // A pointer from a finding works like a path of keys.
    let keys: Vec<&str> = name
        .split(['.', '/'])
        .filter(|key| !key.is_empty() && key.parse::<usize>().is_err() && *key != "-")
        .collect();
    if let Some(field) = shape::field(&keys) {
        return explain_field(&keys.join("."), field);
    }
    if let ["profile", below @ ..] = keys.as_slice() {
        match shape::field_in(shape::profile(), below) {
            Some(field) => return explain_field(&keys.join("."), field),
            None if below.is_empty() => return explain_object(shape::profile()),
            None => {}
        }
    }
    if let Some(object) = shape::objects().find(|object| object.name.eq_ignore_ascii_case(name)) {
        return explain_object(object);
    }
    if let Some(new) = versions::renamed(name) {
        return Err(format!("{name:?} was renamed to {new:?}; use the new name").into());
    }
    if let (Some(code), None) = (labelled(name), synonyms::of(name).next()) {
        return out(|out| code::explain(out, CodeList::obvert_terms(), code));
    }
    let found = search(name, &keys);
    if found.is_empty() {
        return Err(unknown(name).into());
    }
    let heading = if synonyms::of(name).next().is_some() {
        format!("{name:?} is a word of the trade; the format's names for it:")
    } else {
        format!("no exact match for {name:?}; related names:")
    };
    out(|out| {
        writeln!(out, "{heading}\n")?;
        let width =
            found.iter().take(MOST).map(|(name, _)| name.chars().count()).max().unwrap_or(0);
        for (name, about) in found.iter().take(MOST) {
            writeln!(out, "  {name:<width$}  {about}")?;
        }
        if found.len() > MOST {
            writeln!(out, "\nand {} more; give a more specific name", found.len() - MOST)?;
        }
        Ok(())
    })
}

/// The code whose label is a name, in any language; `None` if several have it.
fn labelled(name: &str) -> Option<&'static Code> {
    let name = name.trim().to_lowercase();
    let is_label = |code: &&Code| code.label.values().any(|label| label.to_lowercase() == name);
    let mut found = CodeList::obvert_terms().codes.iter().filter(is_label);
    found.next().filter(|_| found.next().is_none())
}

/// How many results of a search are shown.
const MOST: usize = 40;

/// The terms for a synonym, fields that end with these keys, codes that have this word in their
/// name or in a label, and rules and lists of this name.
fn search(name: &str, keys: &[&str]) -> Vec<(String, String)> {
    let wanted = name.to_lowercase();
    let mut found: Vec<(String, String)> = synonyms::of(name).flat_map(terms).collect();
    for list in CodeList::built_ins() {
        let is_list = list.id.eq_ignore_ascii_case(&wanted);
        for code in &list.codes {
            let labelled =
                || code.label.values().any(|label| label.to_lowercase().contains(&wanted));
            let named = code.code.to_lowercase().split('.').any(|part| part == wanted)
                || *code.code.to_lowercase() == wanted;
            if is_list || named || wanted.len() >= 3 && labelled() {
                found.push((code.code.to_string(), about(code, list)));
            }
        }
    }
    let mut fields = Vec::new();
    paths(shape::document(), "", &mut fields);
    paths(shape::profile(), "profile", &mut fields);
    for (path, about) in fields {
        if path.split('.').rev().zip(keys.iter().rev()).filter(|(a, b)| a == *b).count()
            == keys.len()
        {
            found.push((path, first_line(&about)));
        }
    }
    for rule in catalogue().iter().filter(|rule| wanted.len() >= 3 && rule.name.contains(&wanted)) {
        found.push((rule.name.to_owned(), rule.summary()));
    }
    let mut seen = HashSet::new();
    found.retain(|(name, _)| seen.insert(name.clone()));
    found
}

/// The terms of a synonym, with their meaning.
fn terms(synonym: &'static Synonym) -> Vec<(String, String)> {
    let description = |path: &str| {
        shape::field(&path.split('.').collect::<Vec<_>>())
            .map_or("", |field| field.description.as_str())
    };
    let fields = synonym.fields.iter().map(|path| (path.clone(), first_line(description(path))));
    let values = synonym.values.iter().flat_map(|(path, values)| {
        values.iter().map(move |value| {
            // The description of a field lists its values.
            let mark = format!("- `{value}`: ");
            let meaning = description(path)
                .lines()
                .find_map(|line| line.strip_prefix(&mark))
                .unwrap_or_default();
            (format!("{path} = {value}"), meaning.to_owned())
        })
    });
    let codes = CodeList::obvert_terms()
        .codes
        .iter()
        .filter(|code| synonym.codes.iter().any(|named| *named == *code.code));
    let codes = codes.map(|code| (code.code.to_string(), about(code, CodeList::obvert_terms())));
    let rules = synonym
        .rules
        .iter()
        .filter_map(|name| find(name))
        .map(|rule| (rule.name.to_owned(), rule.summary()));
    fields.chain(values).chain(codes).chain(rules).collect()
}

fn about(code: &Code, list: &CodeList) -> String {
    format!("{} ({}, {})", code.name(), code.family, list.id)
}

fn first_line(text: &str) -> String {
    text.lines().next().unwrap_or_default().to_owned()
}

/// The paths of all fields below an object, with their meaning.
fn paths(object: &shape::ObjectShape, above: &str, found: &mut Vec<(String, String)>) {
    for field in &object.fields {
        let path =
            if above.is_empty() { field.name.clone() } else { format!("{above}.{}", field.name) };
        let mut shape = &field.shape;
        while let Shape::List(item) = shape {
            shape = item;
        }
        if let Shape::Object(name) = shape {
            paths(shape::object(name), &path, found);
        }
        found.push((path, field.description.clone()));
    }
}

fn unknown(name: &str) -> String {
    let rules = catalogue().iter().map(|rule| rule.name);
    let kinds = ProblemKind::ALL.iter().map(|kind| kind.as_str());
    let codes = CodeList::built_ins()
        .into_iter()
        .flat_map(|list| &list.codes)
        .map(|code| code.code.as_str());
    let words = synonyms::all().iter().flat_map(|synonym| &synonym.words).map(String::as_str);
    let mut fields = Vec::new();
    paths(shape::document(), "", &mut fields);
    let fields = fields.iter().map(|(path, _)| path.as_str());
    let near = nearest(name, rules.chain(kinds).chain(codes).chain(words).chain(fields));
    match near {
        Some(near) => format!("unknown name {name:?}; did you mean {near:?}?"),
        None => format!(
            "unknown name {name:?}; give a rule (`obvert rules` lists them), a code such as \
             crack.longitudinal, or a field such as runs.observations.at"
        ),
    }
}

fn explain_rule(rule: &Rule) -> Result<Status, Failure> {
    out(|out| {
        writeln!(out, "{} ({}, {})\n", strong(rule.name), rule.family(), rule.severity)?;
        for section in [
            Section::Checks,
            Section::Exceptions,
            Section::Exactly,
            Section::Matters,
            Section::Source,
            Section::Fix,
        ] {
            let text = rule.section(section);
            if !text.is_empty() {
                writeln!(out, "{}", strong(section.heading()))?;
                wrapped(out, "  ", &text)?;
                writeln!(out)?;
            }
        }
        limits_and_facts(out, rule)?;
        let profile = rule.section(Section::Profile);
        if !profile.is_empty() {
            writeln!(out, "{} of the examples", strong(Section::Profile.heading()))?;
            for line in profile.lines().filter(|line| !line.starts_with("```")) {
                writeln!(out, "  {line}")?;
            }
            writeln!(out)?;
        }
        examples(out, rule)?;
        let lines = MINIMAL.lines().count();
        wrapped(
            out,
            "",
            &format!(
                "The examples are JSON Patches (RFC 6902) on a valid survey of {lines} lines, \
                 tests/corpus/bases/minimal.obvert.json. Specification: {}. Since version {}.",
                rule.clause, rule.since
            ),
        )
    })
}

fn limits_and_facts(out: &mut dyn Write, rule: &Rule) -> io::Result<()> {
    if !rule.limits.is_empty() {
        writeln!(out, "{}", strong("Limits"))?;
        for limit in rule.limits {
            let text =
                format!("{} = {} {}: {}", limit.name, limit.default, limit.unit, limit.meaning);
            wrapped(out, "  ", &text)?;
        }
        writeln!(out)?;
    }
    if !rule.facts.is_empty() {
        writeln!(out, "{}", strong("Facts"))?;
        for fact in rule.facts {
            let when = fact.when().map(|when| format!("; only if {when}")).unwrap_or_default();
            let text = format!("{} ({}): {}{when}", fact.name, fact.kind.as_str(), fact.meaning);
            wrapped(out, "  ", &text)?;
        }
        writeln!(out)?;
    }
    Ok(())
}

/// The failing and passing examples, with the location of each failure.
fn examples(out: &mut dyn Write, rule: &Rule) -> io::Result<()> {
    for section in [Section::Fails, Section::Passes] {
        writeln!(out, "{}", strong(section.heading()))?;
        let examples = rule.examples(section).into_iter().chain(rule.delivery_examples(section));
        for example in examples {
            for line in example.patch.lines() {
                writeln!(out, "  {line}")?;
            }
            if section == Section::Fails && !example.path.is_empty() {
                writeln!(out, "  -> {}", example.path)?;
            }
        }
        writeln!(out)?;
    }
    Ok(())
}

fn kind(shape: &Shape) -> String {
    match shape {
        Shape::Object(name) => format!("an object, {name}"),
        Shape::List(item) => format!("a list; each item {}", kind(item)),
        Shape::Text => "text".into(),
        Shape::Word(words) => format!("one of {}", words.join(", ")),
        Shape::Number => "a number".into(),
        Shape::Whole => "a whole number".into(),
        Shape::Bool => "true or false".into(),
        Shape::Single => "a text, a number, or true or false".into(),
        Shape::Position => "two numbers, easting or longitude first".into(),
        _ => "any JSON, by reverse domain name".into(),
    }
}

fn explain_field(path: &str, field: &'static Field) -> Result<Status, Failure> {
    out(|out| {
        writeln!(
            out,
            "{} ({})\n",
            strong(path),
            if field.required { "required" } else { "optional" }
        )?;
        wrapped(out, "", &field.description)?;
        writeln!(out)?;
        // The description of an enum lists its values.
        if !matches!(field.shape, Shape::Word(_)) {
            let form = field
                .form
                .as_ref()
                .map_or_else(|| kind(&field.shape), |form| format!("text, {form}"));
            wrapped(out, "", &format!("Value: {form}."))?;
        }
        let mut shape = &field.shape;
        while let Shape::List(item) = shape {
            shape = item;
        }
        if let Shape::Object(name) = shape {
            writeln!(out)?;
            fields(out, shape::object(name))?;
        }
        Ok(())
    })
}

fn explain_object(object: &'static shape::ObjectShape) -> Result<Status, Failure> {
    out(|out| {
        writeln!(out, "{}\n", strong(&object.name))?;
        wrapped(out, "", &object.description)?;
        writeln!(out)?;
        fields(out, object)
    })
}

fn fields(out: &mut dyn Write, object: &shape::ObjectShape) -> io::Result<()> {
    let width = object.fields.iter().map(|field| field.name.len()).max().unwrap_or(0);
    for field in &object.fields {
        let must = if field.required { "*" } else { " " };
        let first = field.description.lines().next().unwrap_or_default();
        writeln!(out, "  {:<width$}{must} {first}", field.name)?;
    }
    writeln!(out, "\n  * required")
}
