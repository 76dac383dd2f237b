//! The shape of a document as data: the fields of each object, their order and kind. It is derived
//! from the JSON Schema, and so from the Rust types. Converters, the generated parts of the
//! specification and `explain` use it, so a new field needs no change there.
//!
//! ```
//! use obvert_model::shape::{self, Shape};
//!
//! let length = shape::field(&["pipes", "length"]).ok_or("no such field")?;
//! assert_eq!((&length.shape, length.measures()), (&Shape::Number, Some("units.length")));
//! # Ok::<(), &str>(())
//! ```

use std::collections::BTreeMap;
use std::sync::OnceLock;

use serde_json::Value;

/// A kind of value.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Shape {
    /// An object of the format, by the name of its type; [`object`] has its fields.
    Object(String),
    /// A list of values of one shape.
    List(Box<Shape>),
    /// Text of any form.
    Text,
    /// One of a vocabulary's words.
    Word(Vec<String>),
    /// A number.
    Number,
    /// A whole number.
    Whole,
    /// A boolean.
    Bool,
    /// A text, a number, or true or false.
    Single,
    /// A position: two numbers, easting or longitude first.
    Position,
    /// Extensions: any JSON by reverse domain name.
    Extensions,
    /// Texts by language tag.
    Labels,
}

/// One object of the format.
#[derive(Debug, PartialEq)]
pub struct ObjectShape {
    /// The name of its type, for example `Pipe`.
    pub name: String,
    /// What it is.
    pub description: String,
    /// Its fields, in the order in which they are written.
    pub fields: Vec<Field>,
}

/// One field of an object.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    /// Its key.
    pub name: String,
    /// Whether it is required.
    pub required: bool,
    /// What it means, with its unit; for a vocabulary with a line for each word, as a Markdown
    /// list.
    pub description: String,
    /// The form of its text, as a regular expression, if it has one.
    pub pattern: Option<String>,
    /// That form in words, with an example.
    pub form: Option<String>,
    /// The unit of its number, if it has one.
    pub unit: Option<String>,
    /// The table that its id, or each of its ids, refers to, as a dotted path such as
    /// `runs.observations`; `None` if it is not an id.
    pub id_of: Option<String>,
    /// The minimum and maximum, if it is a whole number.
    pub bounds: Option<[u64; 2]>,
    /// The kind of its value.
    pub shape: Shape,
}

impl Field {
    /// For a length, the field of the document that declares its unit: `units.length` or
    /// `units.section`.
    #[must_use]
    pub fn measures(&self) -> Option<&'static str> {
        match self.unit.as_deref() {
            Some("the document's length unit") => Some("units.length"),
            Some("the document's section unit") => Some("units.section"),
            _ => None,
        }
    }

    /// Whether it is free text or free data: a text that is not an id and has no form, labels, or
    /// extensions.
    #[must_use]
    pub fn is_free(&self) -> bool {
        match self.shape {
            Shape::Text => self.pattern.is_none() && self.id_of.is_none(),
            Shape::Labels | Shape::Extensions => true,
            _ => false,
        }
    }
}

impl ObjectShape {
    /// The field of a name.
    #[must_use]
    pub fn field(&self, name: &str) -> Option<&Field> {
        self.fields.iter().find(|field| field.name == name)
    }
}

/// The shape of a survey document.
#[must_use]
pub fn document() -> &'static ObjectShape {
    object("Document")
}

/// The shape of a submission profile. [`object`] finds its objects, but [`objects`] does not list
/// them, since no survey has them.
#[must_use]
pub fn profile() -> &'static ObjectShape {
    object("Profile")
}

/// The shape of a code list; see [`profile`].
#[must_use]
pub fn code_list() -> &'static ObjectShape {
    object("CodeList")
}

/// The shape of a grade scheme; see [`profile`].
#[must_use]
pub fn grade_scheme() -> &'static ObjectShape {
    object("GradeScheme")
}

/// The shape of a layout; see [`profile`].
#[must_use]
pub fn layout() -> &'static ObjectShape {
    object("Layout")
}

/// The shape of an object by the name of its type. An unknown name gives an object without fields.
#[must_use]
pub fn object(name: &str) -> &'static ObjectShape {
    static NONE: ObjectShape =
        ObjectShape { name: String::new(), description: String::new(), fields: Vec::new() };
    shapes().get(name).or_else(|| companions().get(name)).unwrap_or(&NONE)
}

/// The field at a path of keys, without the indexes of lists: `["runs", "observations", "at"]`.
#[must_use]
pub fn field(path: &[&str]) -> Option<&'static Field> {
    field_in(document(), path)
}

/// The field at a path of keys from an object.
#[must_use]
pub fn field_in(mut holder: &'static ObjectShape, path: &[&str]) -> Option<&'static Field> {
    let mut found = None;
    for key in path {
        let field = holder.field(key)?;
        found = Some(field);
        let mut shape = &field.shape;
        while let Shape::List(item) = shape {
            shape = item;
        }
        holder = match shape {
            Shape::Object(name) => object(name),
            _ => object(""),
        };
    }
    found
}

/// Every object of the format by the name of its type.
pub fn objects() -> impl Iterator<Item = &'static ObjectShape> {
    shapes().values()
}

fn shapes() -> &'static BTreeMap<String, ObjectShape> {
    static SHAPES: OnceLock<BTreeMap<String, ObjectShape>> = OnceLock::new();
    SHAPES.get_or_init(|| {
        let schema = crate::schema::document();
        let mut shapes = BTreeMap::new();
        build(&schema, "Document", &schema, &mut shapes);
        shapes
    })
}

/// The objects of the other files of the format: profiles, code lists, grade schemes and layouts.
fn companions() -> &'static BTreeMap<String, ObjectShape> {
    static SHAPES: OnceLock<BTreeMap<String, ObjectShape>> = OnceLock::new();
    SHAPES.get_or_init(|| {
        let mut shapes = BTreeMap::new();
        for (name, schema) in [
            ("Profile", crate::profile::Profile::schema()),
            ("CodeList", crate::lists::CodeList::schema()),
            ("GradeScheme", crate::lists::GradeScheme::schema()),
            ("Layout", crate::layout::Layout::schema()),
        ] {
            build(&schema, name, &schema, &mut shapes);
        }
        shapes
    })
}

fn build(root: &Value, name: &str, schema: &Value, shapes: &mut BTreeMap<String, ObjectShape>) {
    if shapes.contains_key(name) {
        return;
    }
    let required: Vec<&str> =
        schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    let fields = schema["properties"].as_object().into_iter().flatten().map(|(key, field)| Field {
        name: key.clone(),
        required: required.contains(&key.as_str()),
        description: describe(root, field),
        pattern: field["pattern"].as_str().map(str::to_owned),
        form: field["pattern"].as_str().and(field["$comment"].as_str()).map(str::to_owned),
        unit: comment(field, "unit: "),
        id_of: comment(field, crate::schema::ID_OF),
        bounds: field["minimum"]
            .as_u64()
            .zip(field["maximum"].as_u64())
            .map(|(least, most)| [least, most]),
        shape: shape(root, field, shapes),
    });
    let fields = fields.collect();
    shapes.insert(
        name.to_owned(),
        ObjectShape { name: name.to_owned(), description: text(schema, "description"), fields },
    );
}

/// What a field means; for a vocabulary with a line for each word.
fn describe(root: &Value, field: &Value) -> String {
    let mut description = text(field, "description");
    let name = field["$ref"].as_str().and_then(|path| path.strip_prefix("#/$defs/"));
    if let Some(vocabulary) =
        name.map(|name| &root["$defs"][name]).filter(|target| target["enum"].is_array())
    {
        if let Some((_, words)) = text(vocabulary, "description").split_once("\n- ") {
            description.push_str("\n- ");
            description.push_str(words);
        }
    }
    description
}

/// The rest of the comment of a value, or of the items of a list, after its first words.
fn comment(field: &Value, begins: &str) -> Option<String> {
    let of = |schema: &Value| Some(schema["$comment"].as_str()?.strip_prefix(begins)?.to_owned());
    of(field).or_else(|| of(&field["items"]))
}

fn text(schema: &Value, key: &str) -> String {
    schema[key].as_str().unwrap_or_default().to_owned()
}

fn shape(root: &Value, field: &Value, shapes: &mut BTreeMap<String, ObjectShape>) -> Shape {
    if let Some(name) = field["$ref"].as_str().and_then(|path| path.strip_prefix("#/$defs/")) {
        let target = &root["$defs"][name];
        if name == "Extensions" {
            return Shape::Extensions;
        }
        if target["properties"].is_object() {
            build(root, name, target, shapes);
            return Shape::Object(name.to_owned());
        }
        return shape(root, target, shapes);
    }
    if let Some(words) = field["enum"].as_array() {
        return Shape::Word(words.iter().filter_map(Value::as_str).map(str::to_owned).collect());
    }
    match field["type"].as_str() {
        Some("array") if field["maxItems"] == 2 => Shape::Position,
        Some("array") => Shape::List(Box::new(shape(root, &field["items"], shapes))),
        Some("number") => Shape::Number,
        Some("integer") => Shape::Whole,
        Some("boolean") => Shape::Bool,
        Some("object") => Shape::Labels,
        None if field["type"].is_array() => Shape::Single,
        _ => Shape::Text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_come_in_the_order_of_writing() {
        let keys: Vec<&str> = document().fields.iter().map(|field| field.name.as_str()).collect();
        assert_eq!(keys.first(), Some(&"$schema"));
        assert_eq!(keys.last(), Some(&"runs"));
        assert!(document().fields.iter().all(|field| !field.description.is_empty()));
    }

    // An editor shows the description and not the comment that holds the unit.
    #[test]
    fn a_description_names_the_unit() {
        for field in objects().flat_map(|object| &object.fields) {
            let Some(unit) = &field.unit else { continue };
            let word = match unit.as_str() {
                "hours of a clock face" => "",
                other => other.strip_prefix("the document's ").unwrap_or(other),
            };
            assert!(
                field.description.to_lowercase().contains(word),
                "{}: {} ({unit})",
                field.name,
                field.description
            );
        }
    }

    #[test]
    fn every_kind_of_value_is_known() {
        let shape = |path: &[&str]| field(path).map(|field| field.shape.clone());
        assert_eq!(shape(&["runs", "observations", "at"]), Some(Shape::Number));
        assert_eq!(shape(&["pipes", "path"]), Some(Shape::List(Box::new(Shape::Position))));
        assert_eq!(shape(&["runs", "observations", "joint"]), Some(Shape::Bool));
        assert_eq!(shape(&["media", "bytes"]), Some(Shape::Whole));
        assert_eq!(shape(&["pipes", "extensions"]), Some(Shape::Extensions));
        assert_eq!(
            shape(&["units", "length"]),
            Some(Shape::Word(vec!["ft".into(), "us-ft".into(), "m".into()]))
        );
        assert_eq!(shape(&["runs", "nothing"]), None);
        let unit = |path: &[&str]| field(path).and_then(|field| field.unit.as_deref());
        assert_eq!(unit(&["runs", "observations", "at"]), Some("the document's length unit"));
        assert_eq!(unit(&["pipes", "height"]), Some("the document's section unit"));
        assert_eq!(unit(&["pipes", "laid"]), None);
        let id_of = |path: &[&str]| field(path).and_then(|field| field.id_of.as_deref());
        assert_eq!(id_of(&["pipes", "upstream"]), Some("structures"));
        assert_eq!(id_of(&["runs", "equipment"]), Some("equipment"));
        assert_eq!(id_of(&["runs", "observations", "id"]), Some("runs.observations"));
        assert_eq!(id_of(&["runs", "observations", "code"]), None);
        let free = |path: &[&str]| field(path).map(Field::is_free);
        assert_eq!(free(&["runs", "remark"]), Some(true));
        assert_eq!(free(&["pipes", "extensions"]), Some(true));
        assert_eq!(free(&["runs", "pipe"]), Some(false));
        assert_eq!(free(&["runs", "started"]), Some(false));
        assert_eq!(field(&["pipes", "laid"]).and_then(|field| field.bounds), Some([0, 9999]));
        assert_eq!(field(&["runs", "observations", "at"]).and_then(|field| field.bounds), None);
        let of_profile = field_in(profile(), &["fields", "where", "field"]);
        assert_eq!(of_profile.map(|field| &field.shape), Some(&Shape::Text));
        // The name of an object of a survey is not that of an object of another file.
        assert_eq!(
            code_list().field("codes").map(|field| &field.shape),
            Some(&Shape::List(Box::new(Shape::Object("Code".into()))))
        );
        assert_eq!(object("Code").field("label").map(|field| &field.shape), Some(&Shape::Labels));
        assert_eq!(
            grade_scheme().field("rollup").map(|field| &field.shape),
            Some(&Shape::Object("Rollup".into()))
        );
        assert!(companions().keys().all(|name| !shapes().contains_key(name)));
        assert!(
            objects().all(|object| !object.description.is_empty() && !object.fields.is_empty())
        );
    }
}
