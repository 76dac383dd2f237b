//! `obvert schema`: the schemas of the format.

use obvert::check::grading::GradeTable;
use obvert::model::layout::Layout;
use obvert::model::lists::{CodeList, GradeScheme};
use obvert::model::profile::Profile;

use super::print;
use crate::{Failure, Status, render};

type Make = fn() -> String;

fn pretty(value: &serde_json::Value) -> String {
    serde_json::to_string_pretty(value).unwrap_or_default() + "\n"
}

const SCHEMAS: &[(&str, &str, Make)] = &[
    ("document", "a survey document (JSON Schema 2020-12)", || {
        pretty(&obvert::model::schema::document())
    }),
    ("code-list", "a code list (JSON Schema 2020-12)", || pretty(&CodeList::schema())),
    ("grade-scheme", "a grade scheme (JSON Schema 2020-12)", || pretty(&GradeScheme::schema())),
    ("profile", "a submission profile (JSON Schema 2020-12)", || pretty(&Profile::schema())),
    ("layout", "the layout of an office's own table (JSON Schema 2020-12)", || {
        pretty(&Layout::schema())
    }),
    ("report", "the report of a check (JSON Schema 2020-12)", || {
        pretty(&obvert::check::Report::schema())
    }),
    ("report-line", "a line of that report as JSON Lines (JSON Schema 2020-12)", || {
        pretty(&obvert::check::output::jsonl::schema())
    }),
    ("fix-log", "the log of `fix` (JSON Schema 2020-12)", || {
        pretty(&obvert::check::fixing::FixLog::schema())
    }),
    ("migration", "the log of `migrate` (JSON Schema 2020-12)", || {
        pretty(&obvert::model::versions::Migration::schema())
    }),
    ("account", "the account of a conversion (JSON Schema 2020-12)", || {
        pretty(&obvert::convert::Account::schema())
    }),
    ("grades", "the table of grades that `grade` prints (JSON Schema 2020-12)", || {
        pretty(&GradeTable::schema())
    }),
    ("xml", "a survey document in XML (XSD 1.0)", obvert::convert::xml::xsd),
];

/// Prints a schema, or lists them.
pub(crate) fn run(name: Option<&str>) -> Result<Status, Failure> {
    let Some(name) = name else {
        return render::out(|out| {
            for (name, title, _) in SCHEMAS {
                writeln!(out, "{name:<14}{title}")?;
            }
            Ok(())
        });
    };
    match SCHEMAS.iter().find(|(known, ..)| *known == name) {
        Some((.., make)) => print(make().as_bytes()),
        None => {
            let names: Vec<&str> = SCHEMAS.iter().map(|(name, ..)| *name).collect();
            Err(format!("there is no schema {name:?}; name one of {}", names.join(", ")).into())
        }
    }
}
