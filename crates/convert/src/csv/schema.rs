//! The description of the tables: `datapackage.json` (Data Package v2) with a Table Schema for each
//! table, so that any tool that supports these standards can validate a package, including its
//! references, without knowing this format.

use obvert_model::tables::Head;
use serde::Serialize;

use super::file_of;
use crate::tables::keys;
use crate::tables::plan::{AXES, Column, ID, Kind, Moment, ORDER, Plan, Table, plan};

/// The name of the file that describes a package.
pub(super) const FILE: &str = "datapackage.json";

/// The values that Data Package v2 gives for `$schema`.
const PACKAGE_PROFILE: &str = "https://datapackage.org/profiles/2.0/datapackage.json";
const SCHEMA_PROFILE: &str = "https://datapackage.org/profiles/2.0/tableschema.json";

#[derive(Serialize)]
struct Package<'p> {
    #[serde(rename = "$schema")]
    schema: &'static str,
    name: &'static str,
    id: &'p str,
    title: &'static str,
    created: &'p str,
    resources: Vec<Resource<'p>>,
}

#[derive(Serialize)]
struct Resource<'p> {
    name: &'p str,
    r#type: &'static str,
    path: String,
    title: String,
    description: &'p str,
    format: &'static str,
    mediatype: &'static str,
    encoding: &'static str,
    dialect: Dialect,
    schema: TableSchema<'p>,
}

/// RFC 4180.
#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Dialect {
    header: bool,
    delimiter: &'static str,
    line_terminator: &'static str,
    quote_char: &'static str,
    double_quote: bool,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct TableSchema<'p> {
    #[serde(rename = "$schema")]
    schema: &'static str,
    fields: Vec<Field<'p>>,
    fields_match: &'static str,
    primary_key: Vec<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    foreign_keys: Vec<ForeignKey<'p>>,
    missing_values: [&'static str; 1],
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Field<'p> {
    name: &'p str,
    title: String,
    description: String,
    r#type: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    delimiter: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    item_type: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rdf_type: Option<&'static str>,
    #[serde(skip_serializing_if = "Constraints::is_empty")]
    constraints: Constraints<'p>,
}

#[derive(Default, Serialize)]
struct Constraints<'p> {
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    required: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    minimum: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    maximum: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pattern: Option<&'p str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    r#enum: Option<&'p [String]>,
}

impl Constraints<'_> {
    fn is_empty(&self) -> bool {
        !self.required
            && self.minimum.is_none()
            && self.maximum.is_none()
            && self.pattern.is_none()
            && self.r#enum.is_none()
    }
}

#[derive(Serialize)]
struct ForeignKey<'p> {
    fields: Vec<&'p str>,
    reference: Reference<'p>,
}

#[derive(Serialize)]
struct Reference<'p> {
    /// Absent if a table refers to itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    resource: Option<&'p str>,
    fields: Vec<String>,
}

/// The schema of each table by its file name, in the order of the package: the contents of
/// `schema/tables`.
#[must_use]
pub fn table_schemas() -> Vec<(String, String)> {
    let tables = plan().tables.iter();
    tables
        .map(|table| (format!("{}.json", table.name), text(&table_schema(plan(), table))))
        .collect()
}

/// The text of `datapackage.json`.
pub(super) fn package(head: &Head) -> String {
    let plan = plan();
    let resources = plan.tables.iter().map(|table| Resource {
        name: &table.name,
        r#type: "table",
        path: file_of(table),
        title: title(&table.name),
        description: &table.description,
        format: "csv",
        mediatype: "text/csv",
        encoding: "utf-8",
        dialect: Dialect {
            header: true,
            delimiter: ",",
            line_terminator: "\r\n",
            quote_char: "\"",
            double_quote: true,
        },
        schema: table_schema(plan, table),
    });
    text(&Package {
        schema: PACKAGE_PROFILE,
        name: "obvert-survey",
        id: &head.id,
        title: "Pipe inspection survey in the obvert format",
        created: &head.issued,
        resources: resources.collect(),
    })
}

fn text(value: &impl Serialize) -> String {
    // Plain structures of text and numbers can always be serialized.
    let mut text = serde_json::to_string_pretty(value).unwrap_or_default();
    text.push('\n');
    text
}

fn table_schema<'p>(plan: &'p Plan, table: &'p Table) -> TableSchema<'p> {
    let parent = plan.parent(table).filter(|_| !table.keys.is_empty());
    let mut fields: Vec<Field<'p>> = table
        .keys
        .iter()
        .map(|key| Field {
            name: &key.heading,
            title: title(&key.heading),
            description: format!(
                "The {} that this row belongs to.",
                title(&key.heading).to_lowercase()
            ),
            r#type: if key.number { "integer" } else { "string" },
            delimiter: None,
            item_type: None,
            rdf_type: None,
            constraints: Constraints { required: true, ..Constraints::default() },
        })
        .collect();
    if table.ordered {
        fields.push(Field {
            name: ORDER,
            title: title(ORDER),
            description: "The position of this row in its list, from 1.".to_owned(),
            r#type: "integer",
            delimiter: None,
            item_type: None,
            rdf_type: None,
            constraints: Constraints { required: true, minimum: Some(1), ..Constraints::default() },
        });
    }
    fields.extend(table.columns.iter().map(|column| field(column)));

    let mut foreign_keys = Vec::new();
    if let Some(parent) = parent {
        foreign_keys.push(ForeignKey {
            fields: table.keys.iter().map(|key| key.heading.as_str()).collect(),
            reference: Reference { resource: Some(&parent.name), fields: parent.primary_key() },
        });
    }
    for column in &table.columns {
        if let Some(target) = keys::reference(&table.name, &column.heading) {
            foreign_keys.push(ForeignKey {
                fields: vec![&column.heading],
                reference: Reference {
                    resource: (target != table.name).then_some(target),
                    fields: vec![ID.to_owned()],
                },
            });
        }
    }
    TableSchema {
        schema: SCHEMA_PROFILE,
        fields,
        // What the reader accepts: columns in any order; optional columns may be missing.
        fields_match: "superset",
        primary_key: table.primary_key(),
        foreign_keys,
        missing_values: [""],
    }
}

fn field<'p>(column: &'p Column) -> Field<'p> {
    let (minimum, maximum) = match column.kind {
        Kind::Number | Kind::Whole => bounds(column),
        _ => (None, None),
    };
    let r#type = type_name(&column.kind);
    let mut description = column.description.clone();
    if let Kind::List(_) = column.kind {
        description.push_str(r" Several items are separated by semicolons; a semicolon or backslash in an item is preceded by a backslash.");
    }
    if column.kind == Kind::Extensions && column.keys.len() > 1 {
        description.push_str(" A bare {} means that the object exists without any value.");
    }
    Field {
        name: &column.heading,
        title: title(&column.heading),
        description,
        r#type,
        delimiter: matches!(column.kind, Kind::List(_)).then_some(";"),
        item_type: match &column.kind {
            Kind::List(item) => Some(type_name(item)),
            _ => None,
        },
        rdf_type: rdf_type(column),
        constraints: Constraints {
            required: column.required,
            minimum,
            maximum,
            // Patterns of Table Schema match the whole text without anchors, as in XML Schema.
            pattern: column.pattern.as_deref().map(unanchored),
            r#enum: match &column.kind {
                Kind::Word(words) => Some(words),
                _ => None,
            },
        },
    }
}

fn type_name(kind: &Kind) -> &'static str {
    match kind {
        Kind::Text | Kind::Word(_) => "string",
        Kind::Number => "number",
        Kind::Whole => "integer",
        Kind::Bool => "boolean",
        Kind::List(_) => "list",
        Kind::Extensions => "object",
        Kind::Json => "any",
    }
}

/// Times are strings in Table Schema, since its own types would lose the offset and the precision
/// as written, and a pattern can check them; `rdfType` gives their meaning.
fn rdf_type(column: &Column) -> Option<&'static str> {
    Some(match column.moment()? {
        Moment::Time => "http://www.w3.org/2001/XMLSchema#dateTime",
        Moment::Day => "http://www.w3.org/2001/XMLSchema#date",
    })
}

fn unanchored(pattern: &str) -> &str {
    let pattern = pattern.strip_suffix(r"(?!\n)").unwrap_or(pattern);
    let pattern = pattern.strip_suffix('$').unwrap_or(pattern);
    pattern.strip_prefix('^').unwrap_or(pattern)
}

/// The limits of a number: those of the field, or those of all numbers of the format (RFC 7493
/// section 2.2).
fn bounds(column: &Column) -> (Option<i64>, Option<i64>) {
    const LARGEST: i64 = (1 << 53) - 1;
    match (&column.kind, column.bounds) {
        (Kind::Number, _) => (Some(-LARGEST), Some(LARGEST)),
        (_, Some([least, greatest])) => (i64::try_from(least).ok(), i64::try_from(greatest).ok()),
        (_, None) => (None, None),
    }
}

/// A name as plain words: `counter.zero_text` becomes `Counter zero text`; the coordinates of a
/// position remain x and y.
fn title(name: &str) -> String {
    let words = name.trim_start_matches('$').replace(['.', '_'], " ");
    if AXES.contains(&name) {
        return words;
    }
    let mut letters = words.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use super::*;

    #[test]
    fn numbers_have_the_limits_of_the_json_schema() {
        let schemas = table_schemas();
        let limits = |table: &str, heading: &str| {
            let (_, text) = schemas.iter().find(|(name, _)| name == table).unwrap();
            let schema: Value = serde_json::from_str(text).unwrap();
            let fields = schema["fields"].as_array().unwrap();
            let field = fields.iter().find(|field| field["name"] == heading).unwrap();
            (field["constraints"]["minimum"].as_i64(), field["constraints"]["maximum"].as_i64())
        };
        assert_eq!(limits("pipes.json", "laid"), (Some(0), Some(9999)));
        assert_eq!(limits("observations.json", "grades.structural"), (Some(0), Some(255)));
        let far = 9_007_199_254_740_991;
        assert_eq!(limits("observations.json", "at"), (Some(-far), Some(far)));
        assert_eq!(limits("pipe_paths.json", "x"), (Some(-far), Some(far)));
        assert_eq!(limits("structures.json", "position.y"), (Some(-far), Some(far)));
        assert_eq!(limits("quantities.json", "order"), (Some(1), None));
    }

    #[test]
    fn patterns_are_without_anchors() {
        assert_eq!(unanchored(r"^a+$(?!\n)"), "a+");
        assert_eq!(unanchored("a+"), "a+");
    }

    #[test]
    fn titles_are_plain_words() {
        assert_eq!(title("counter.zero_text"), "Counter zero text");
        assert_eq!(title("$schema"), "Schema");
        assert_eq!(title("x"), "x");
    }
}
