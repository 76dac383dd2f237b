//! Explains a code: its meaning, its characterisations and quantities, its equivalents in other
//! lists, its grades, and the sources of all these.

use std::io::{self, Write};

use obvert::model::lists::{
    Characterisation, Code, CodeList, Fit, GradeScheme, QuantityMeaning, SameAs, Standing,
};
use obvert::model::text::Text;

use crate::render::{capital, strong, wrapped};

/// Prints everything that a list has about a code.
pub(super) fn explain(out: &mut dyn Write, list: &CodeList, code: &Code) -> io::Result<()> {
    writeln!(out, "{} ({}, {} {})\n", strong(&code.code), code.family, list.id, list.version)?;
    wrapped(
        out,
        "",
        &format!("{}. {}", capital(code.name()), code.meaning.as_deref().unwrap_or_default()),
    )?;
    writeln!(out)?;
    for place in &code.characterisation {
        wrapped(out, "  ", &characterisation(place))?;
    }
    for amount in &code.quantities {
        wrapped(out, "  ", &quantity(amount))?;
    }
    let extent = code.clock.extent.map(|extent| format!(", {extent}")).unwrap_or_default();
    writeln!(out, "  clock: {}{extent}", code.clock.usage)?;
    writeln!(out, "  over a stretch: {}", code.continuous)?;
    writeln!(out, "  at a joint: {}", code.joint)?;
    if !code.materials.is_empty() {
        let materials: Vec<&str> =
            code.materials.iter().map(|material| material.as_str()).collect();
        writeln!(out, "  materials: {}", materials.join(", "))?;
    }
    for same in &code.same_as {
        writeln!(out, "  {}", link(code, same))?;
    }
    standing(out, code)?;
    grades(out, list, code)
}

fn values(values: &[Text]) -> String {
    values.iter().map(|value| format!(" {value}")).collect()
}

fn characterisation(place: &Characterisation) -> String {
    let name = |value: &Text, label: Option<&Text>| match label {
        // A letter needs its label, a word does not.
        Some(label) if value.chars().count() <= 2 => format!("{value} {label}"),
        _ => value.to_string(),
    };
    let mut values: Vec<String> =
        place.values.iter().map(|known| name(&known.value, known.label.get("en"))).collect();
    if place.open == Some(true) {
        values.push(
            if values.is_empty() { "values that are not in this list" } else { "and others" }
                .to_owned(),
        );
    }
    let must = if place.required { "required" } else { "optional" };
    format!("characterisation, {} ({must}): {}", place.name, values.join(", "))
}

fn quantity(amount: &QuantityMeaning) -> String {
    let must = if amount.required == Some(true) { "required" } else { "optional" };
    let of = amount
        .of
        .map(|of| format!(" of the {}", of.as_str().replace('-', " ")))
        .unwrap_or_default();
    let range = match (amount.min, amount.max) {
        (Some(min), Some(max)) => format!(", {min} to {max}"),
        _ => String::new(),
    };
    let when = if amount.when.is_empty() {
        String::new()
    } else {
        format!(", with{}", values(&amount.when))
    };
    format!("quantity, {} in {}{of}{range} ({must}{when})", amount.name, amount.unit)
}

fn link(code: &Code, same: &SameAs) -> String {
    let when =
        if same.when.is_empty() { String::new() } else { format!("with{}, ", values(&same.when)) };
    let fit = if same.fit() == Fit::Wider { "part of" } else { "same as" };
    // A quantity that the other code does not have is lost in a translation.
    let lost: Vec<&str> = code
        .amounts(&same.when)
        .filter(|amount| same.quantities.iter().all(|both| both.own != amount.name))
        .map(|amount| amount.name.as_str())
        .collect();
    let lost = if lost.is_empty() {
        String::new()
    } else {
        format!(", without its {}", lost.join(" and "))
    };
    format!("{when}{fit}: {} {}{}{lost}", same.list, same.code, values(&same.characterisation))
}

/// Prints the standing of each part of the code, if the list states it.
fn standing<'c>(out: &mut dyn Write, code: &'c Code) -> io::Result<()> {
    let Some(own) = code.standing else { return Ok(()) };
    let mut parts: Vec<(Standing, Option<&'c Text>, Vec<String>)> = Vec::new();
    let mut add = |standing: Option<Standing>, source: Option<&'c Text>, what: String| {
        let Some(standing) = standing else { return };
        match parts.iter_mut().find(|(known, at, _)| (*known, *at) == (standing, source)) {
            Some((.., whats)) => whats.push(what),
            None => parts.push((standing, source, vec![what])),
        }
    };
    add(Some(own), code.source.as_ref(), "the code, and everything not listed below".to_owned());
    for place in &code.characterisation {
        for value in &place.values {
            add(value.standing, value.source.as_ref(), format!("{} {}", place.name, value.value));
        }
    }
    for amount in &code.quantities {
        let when = if amount.when.is_empty() {
            String::new()
        } else {
            format!(" with{}", values(&amount.when))
        };
        add(amount.standing, amount.source.as_ref(), format!("{}{when}", amount.name));
    }
    add(code.clock.standing, code.clock.source.as_ref(), "clock".to_owned());
    add(code.use_standing, None, "clock, stretch, joint, materials and shapes".to_owned());
    writeln!(out, "\n{}", strong("Standing"))?;
    for (standing, source, whats) in parts {
        let source = source.map(|source| format!(" ({source})")).unwrap_or_default();
        wrapped(
            out,
            "  ",
            &format!("- {}{source}: {}", standing.as_str().replace('-', " "), whats.join(", ")),
        )?;
    }
    wrapped(
        out,
        "  ",
        "Parts from memory were not compared with a source. This list is not the text of the \
         standard, \
         and does not replace it.",
    )
}

/// The grades of the built-in scheme, where it grades this list.
fn grades(out: &mut dyn Write, list: &CodeList, code: &Code) -> io::Result<()> {
    let scheme = GradeScheme::obvert_grades();
    if scheme.code_list.list != list.id {
        return Ok(());
    }
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
        let mut conditions: Vec<String> =
            entry.characterisation.iter().map(ToString::to_string).collect();
        conditions.extend(entry.materials.iter().map(ToString::to_string));
        if let Some(size) = &entry.size {
            match (size.from.filter(|from| *from > 0.0), size.below) {
                (Some(from), Some(below)) => {
                    conditions.push(format!("height {from} mm up to below {below} mm"))
                }
                (Some(from), None) => conditions.push(format!("height from {from} mm")),
                (None, Some(below)) => conditions.push(format!("height below {below} mm")),
                (None, None) => {}
            }
        }
        let conditions = if conditions.is_empty() {
            String::new()
        } else {
            format!(" ({})", conditions.join(", "))
        };
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
            .map(|band| {
                format!(
                    "{} from {} {} of {}",
                    band.grade,
                    band.from,
                    unit(&band.quantity),
                    band.quantity
                )
            })
            .collect();
        let plain = entry.grade.map(|grade| {
            if bands.is_empty() {
                format!("{grade}")
            } else {
                format!("{grade} if that is not recorded")
            }
        });
        let all: Vec<String> = bands.into_iter().chain(plain).collect();
        wrapped(out, "  ", &format!("{}{conditions}: {}", entry.aspect, all.join("; ")))?;
    }
    Ok(())
}
