//! `obvert explain`: what a rule, a code or a field means.

mod code;

use obvert::check::{MINIMAL, Rule, Section, catalogue, find};
use obvert::model::lists::CodeList;
use obvert::model::read::ProblemKind;
use obvert::model::shape::{self, Field, Shape};

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
        if let Some(code) = list.codes.iter().find(|code| *code.code == *name) {
            return out(|out| code::explain(out, list, code));
        }
    }
    // A pointer from a finding is as good as a path of keys.
    let keys: Vec<&str> =
        name.split(['.', '/']).filter(|key| !key.is_empty() && key.parse::<usize>().is_err() && *key != "-").collect();
    if let Some(field) = shape::field(&keys) {
        return explain_field(&keys.join("."), field);
    }
    if let Some(object) = shape::objects().find(|object| object.name.eq_ignore_ascii_case(name)) {
        return explain_object(object);
    }
    Err(unknown(name).into())
}

fn unknown(name: &str) -> String {
    let meant = name.to_lowercase();
    let rules = catalogue().iter().map(|rule| rule.name);
    let kinds = ProblemKind::ALL.iter().map(|kind| kind.as_str());
    let codes = CodeList::built_ins().into_iter().flat_map(|list| &list.codes).map(|code| code.code.as_str());
    let near = rules
        .chain(kinds)
        .chain(codes)
        .map(|candidate| (strsim::normalized_damerau_levenshtein(&meant, &candidate.to_lowercase()), candidate))
        .filter(|(likeness, _)| *likeness >= 0.6)
        .max_by(|a, b| a.0.total_cmp(&b.0));
    match near {
        Some((_, near)) => format!("nothing is called {name:?}; did you mean {near:?}?"),
        None => format!(
            "nothing is called {name:?}; give a rule (`obvert rules` lists them), a code such as crack.longitudinal, \
             or a field such as runs.observations.at"
        ),
    }
}

fn explain_rule(rule: &Rule) -> Result<Status, Failure> {
    out(|out| {
        writeln!(out, "{} ({}, {})\n", strong(rule.name), rule.family(), rule.severity)?;
        for section in [Section::Checks, Section::Matters, Section::Source, Section::Fix] {
            let text = rule.section(section);
            if !text.is_empty() {
                writeln!(out, "{}", strong(section.heading()))?;
                wrapped(out, "  ", &text)?;
                writeln!(out)?;
            }
        }
        if !rule.limits.is_empty() {
            writeln!(out, "{}", strong("Limits"))?;
            for limit in rule.limits {
                wrapped(out, "  ", &format!("{} = {} {}: {}", limit.name, limit.default, limit.unit, limit.meaning))?;
            }
            writeln!(out)?;
        }
        for section in [Section::Fails, Section::Passes] {
            writeln!(out, "{}", strong(section.heading()))?;
            for example in rule.examples(section) {
                let after = if section == Section::Fails && !example.path.is_empty() {
                    format!("  -> {}", example.path)
                } else {
                    String::new()
                };
                for line in example.patch.lines() {
                    writeln!(out, "  {line}")?;
                }
                if !after.is_empty() {
                    writeln!(out, "{after}")?;
                }
            }
            writeln!(out)?;
        }
        let lines = MINIMAL.lines().count();
        wrapped(
            out,
            "",
            &format!(
                "The examples are JSON Patches (RFC 6902) on a small valid survey of {lines} lines, which the specification shows. \
             The rule guards {}, since version {}.",
                rule.clause, rule.since
            ),
        )
    })
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
        Shape::Position => "two numbers, easting or longitude first".into(),
        _ => "any JSON by reverse domain name".into(),
    }
}

fn explain_field(path: &str, field: &'static Field) -> Result<Status, Failure> {
    out(|out| {
        writeln!(out, "{} ({})\n", strong(path), if field.required { "required" } else { "optional" })?;
        wrapped(out, "", &field.description)?;
        writeln!(out)?;
        // A vocabulary has been listed word by word.
        if !matches!(field.shape, Shape::Word(_)) {
            wrapped(out, "", &format!("Value: {}.", kind(&field.shape)))?;
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

fn fields(out: &mut dyn std::io::Write, object: &shape::ObjectShape) -> std::io::Result<()> {
    let width = object.fields.iter().map(|field| field.name.len()).max().unwrap_or(0);
    for field in &object.fields {
        let must = if field.required { "*" } else { " " };
        let first = field.description.lines().next().unwrap_or_default();
        writeln!(out, "  {:<width$}{must} {first}", field.name)?;
    }
    writeln!(out, "\n  * required")
}
