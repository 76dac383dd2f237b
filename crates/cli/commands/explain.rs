//! `obvert explain`: what a rule, a code or a field means.

use obvert::check::{MINIMAL, Rule, Section, catalogue, find};
use obvert::model::lists::{Code, CodeList, GradeScheme};
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
    let list = CodeList::obvert_terms();
    if let Some(code) = list.codes.iter().find(|code| *code.code == *name) {
        return explain_code(list, code);
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
    Err(unknown(name, list).into())
}

fn unknown(name: &str, list: &CodeList) -> String {
    let rules = catalogue().iter().map(|rule| rule.name);
    let kinds = ProblemKind::ALL.iter().map(|kind| kind.as_str());
    let codes = list.codes.iter().map(|code| code.code.as_str());
    let near = rules
        .chain(kinds)
        .chain(codes)
        .map(|candidate| (strsim::normalized_damerau_levenshtein(name, candidate), candidate))
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

fn explain_code(list: &CodeList, code: &Code) -> Result<Status, Failure> {
    out(|out| {
        writeln!(out, "{} ({}, {} {})\n", strong(&code.code), code.family, list.id, list.version)?;
        wrapped(out, "", &format!("{}. {}", capital(code.name()), code.meaning.as_deref().unwrap_or_default()))?;
        writeln!(out)?;
        for slot in &code.characterisation {
            let values: Vec<&str> = slot.values.iter().map(|value| value.value.as_str()).collect();
            let must = if slot.required { "required" } else { "optional" };
            wrapped(out, "  ", &format!("characterisation, {} ({must}): {}", slot.name, values.join(", ")))?;
        }
        for quantity in &code.quantities {
            let must = if quantity.required == Some(true) { "required" } else { "optional" };
            let of = quantity.of.map(|of| format!(" of the {}", of.as_str().replace('-', " "))).unwrap_or_default();
            let range = match (quantity.min, quantity.max) {
                (Some(min), Some(max)) => format!(", {min} to {max}"),
                _ => String::new(),
            };
            wrapped(out, "  ", &format!("quantity, {} in {}{of}{range} ({must})", quantity.name, quantity.unit))?;
        }
        let extent = code.clock.extent.map(|extent| format!(", {extent}")).unwrap_or_default();
        writeln!(out, "  clock: {}{extent}", code.clock.usage)?;
        writeln!(out, "  over a stretch: {}", code.continuous)?;
        writeln!(out, "  at a joint: {}", code.joint)?;
        if !code.materials.is_empty() {
            let materials: Vec<&str> = code.materials.iter().map(|material| material.as_str()).collect();
            writeln!(out, "  materials: {}", materials.join(", "))?;
        }
        for same in &code.same_as {
            let letters: String = same.characterisation.iter().map(|letter| format!(" {letter}")).collect();
            writeln!(out, "  same as: {} {}{letters}", same.list, same.code)?;
        }
        let scheme = GradeScheme::obvert_grades();
        let entries: Vec<_> = scheme.entries.iter().filter(|entry| entry.code == code.code).collect();
        if !entries.is_empty() {
            writeln!(
                out,
                "\n{} ({} {}; {} best, {} worst)",
                strong("Grades"),
                scheme.id,
                scheme.version,
                scheme.scale.best,
                scheme.scale.worst
            )?;
        }
        for entry in entries {
            let mut conditions: Vec<String> = entry.characterisation.iter().map(ToString::to_string).collect();
            conditions.extend(entry.materials.iter().map(ToString::to_string));
            if let Some(size) = &entry.size {
                match (size.from.filter(|from| *from > 0.0), size.below) {
                    (Some(from), Some(below)) => conditions.push(format!("height {from} mm up to below {below} mm")),
                    (Some(from), None) => conditions.push(format!("height from {from} mm")),
                    (None, Some(below)) => conditions.push(format!("height below {below} mm")),
                    (None, None) => {}
                }
            }
            let conditions =
                if conditions.is_empty() { String::new() } else { format!(" ({})", conditions.join(", ")) };
            let unit = |name: &str| {
                code.quantities
                    .iter()
                    .find(|quantity| *quantity.name == *name)
                    .map(|quantity| quantity.unit.as_str())
                    .unwrap_or_default()
            };
            let bands: Vec<String> = entry
                .bands
                .iter()
                .map(|band| format!("{} from {} {} of {}", band.grade, band.from, unit(&band.quantity), band.quantity))
                .collect();
            let plain = entry.grade.map(|grade| {
                if bands.is_empty() { format!("{grade}") } else { format!("{grade} when that is not recorded") }
            });
            let all: Vec<String> = bands.into_iter().chain(plain).collect();
            wrapped(out, "  ", &format!("{}{conditions}: {}", entry.aspect, all.join("; ")))?;
        }
        Ok(())
    })
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map(|first| first.to_uppercase().chain(chars).collect()).unwrap_or_default()
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
