//! The XML Schema (1.0) of surveys in XML, made from the shape of the format, so that it never
//! disagrees with the types. It contains all rules that XML Schema 1.0 can express: the order,
//! number and names of elements, vocabularies, patterns, ranges, and unique ids in a table.

use obvert_model::shape::{self, Field, ObjectShape, Shape};

use super::{NAMESPACE, names, text};

/// 2⁵³ − 1, the largest magnitude of a number (RFC 7493 section 2.2).
const LARGEST: &str = "9007199254740991";
/// The types that do not depend on the tables.
const TYPES: &str = r#"
  <xs:simpleType name="characters">
    <xs:annotation><xs:documentation>Any text that is not white space alone. White space at its ends does not count.</xs:documentation></xs:annotation>
    <xs:restriction base="xs:string">
      <xs:pattern value="[ \t\n\r]*[^ \t\n\r][\s\S]*"/>
    </xs:restriction>
  </xs:simpleType>
  <xs:complexType name="text">
    <xs:annotation><xs:documentation>A text. With encoding="json" it is written as a JSON string: a text that XML 1.0 cannot hold, or that starts or ends with white space.</xs:documentation></xs:annotation>
    <xs:simpleContent>
      <xs:extension base="characters">
        <xs:attribute name="encoding">
          <xs:simpleType>
            <xs:restriction base="xs:token">
              <xs:enumeration value="json"/>
            </xs:restriction>
          </xs:simpleType>
        </xs:attribute>
      </xs:extension>
    </xs:simpleContent>
  </xs:complexType>
  <xs:simpleType name="number">
    <xs:annotation><xs:documentation>A number as JSON writes it, within the range in which a double holds every whole number.</xs:documentation></xs:annotation>
    <xs:restriction base="xs:double">
      <xs:pattern value="-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+\-]?[0-9]+)?"/>
      <xs:minInclusive value="-LARGEST"/>
      <xs:maxInclusive value="LARGEST"/>
    </xs:restriction>
  </xs:simpleType>
  <xs:simpleType name="whole">
    <xs:annotation><xs:documentation>A whole number from zero up, without a sign or leading zeros.</xs:documentation></xs:annotation>
    <xs:restriction base="xs:nonNegativeInteger">
      <xs:pattern value="0|[1-9][0-9]*"/>
      <xs:maxInclusive value="LARGEST"/>
    </xs:restriction>
  </xs:simpleType>
  <xs:simpleType name="flag">
    <xs:annotation><xs:documentation>true or false.</xs:documentation></xs:annotation>
    <xs:restriction base="xs:boolean">
      <xs:pattern value="true|false"/>
    </xs:restriction>
  </xs:simpleType>
  <xs:simpleType name="numbers">
    <xs:list itemType="number"/>
  </xs:simpleType>
  <xs:simpleType name="position">
    <xs:annotation><xs:documentation>Two numbers: easting or longitude, then northing or latitude.</xs:documentation></xs:annotation>
    <xs:restriction base="numbers">
      <xs:length value="2"/>
    </xs:restriction>
  </xs:simpleType>
"#;

/// The XML Schema of surveys in XML, as in `schema/obvert.xsd`.
#[must_use]
pub fn xsd() -> String {
    let mut page = Page { text: String::new(), level: 1 };
    page.text.push_str("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    page.text.push_str(&format!(
        "<xs:schema xmlns:xs=\"http://www.w3.org/2001/XMLSchema\" xmlns=\"{NAMESPACE}\" xmlns:o=\"{NAMESPACE}\"\n    \
         targetNamespace=\"{NAMESPACE}\" elementFormDefault=\"qualified\">\n"
    ));
    page.documentation(
        "An obvert pipe inspection survey in XML. Generated from the schema of the format; do not edit. One element for each key, in this order; unknown values are left out.",
    );
    page.root();
    page.text.push_str(TYPES.trim_start_matches('\n').replace("LARGEST", LARGEST).as_str());
    page.extensions();
    for object in shape::objects() {
        page.object(object);
    }
    page.text.push_str("</xs:schema>\n");
    page.text
}

struct Page {
    text: String,
    level: usize,
}

impl Page {
    fn line(&mut self, line: &str) {
        for _ in 0..self.level {
            self.text.push_str("  ");
        }
        self.text.push_str(line);
        self.text.push('\n');
    }

    fn within(&mut self, open: &str, close: &str, content: impl FnOnce(&mut Self)) {
        self.line(open);
        self.level += 1;
        content(self);
        self.level -= 1;
        self.line(close);
    }

    fn documentation(&mut self, description: &str) {
        let plain = description.split_whitespace().collect::<Vec<_>>().join(" ");
        if !plain.is_empty() {
            let plain = text::escape(&plain);
            self.line(&format!(
                "<xs:annotation><xs:documentation>{plain}</xs:documentation></xs:annotation>"
            ));
        }
    }

    /// The root, with the constraint that ids are unique in a table.
    fn root(&mut self) {
        let document = shape::document();
        let tables = identified(document);
        self.within(
            &format!("<xs:element name=\"{}\" type=\"{}\">", names::ROOT, document.name),
            "</xs:element>",
            |page| {
                page.unique(&tables);
            },
        );
    }

    fn unique(&mut self, tables: &[(String, String)]) {
        for (name, path) in tables {
            self.within(&format!("<xs:unique name=\"{name}\">"), "</xs:unique>", |page| {
                page.line(&format!("<xs:selector xpath=\"{path}\"/>"));
                page.line("<xs:field xpath=\"o:id\"/>");
            });
        }
    }

    fn extensions(&mut self) {
        let pattern =
            obvert_model::schema::document()["$defs"]["Extensions"]["propertyNames"]["pattern"]
                .as_str()
                .map(pattern);
        let (list, item) = (names::EXTENSION, names::EXTENSION_NAME);
        self.within("<xs:complexType name=\"extensions\">", "</xs:complexType>", |page| {
            page.documentation(
                "Data that the format does not define, each by its reverse domain name, with its value as JSON.",
            );
            page.within("<xs:sequence>", "</xs:sequence>", |page| {
                page.within(
                    &format!("<xs:element name=\"{list}\" maxOccurs=\"unbounded\">"),
                    "</xs:element>",
                    |page| {
                        page.line("<xs:complexType>");
                        page.line("  <xs:simpleContent>");
                        page.line("    <xs:extension base=\"characters\">");
                        page.level += 3;
                        page.within(
                            &format!("<xs:attribute name=\"{item}\" use=\"required\">"),
                            "</xs:attribute>",
                            |page| {
                                page.restricted("xs:token", pattern.iter().map(|text| ("pattern", text.clone(), None)));
                            },
                        );
                        page.level -= 3;
                        page.line("    </xs:extension>");
                        page.line("  </xs:simpleContent>");
                        page.line("</xs:complexType>");
                    },
                );
            });
        });
    }

    fn object(&mut self, object: &ObjectShape) {
        self.within(
            &format!("<xs:complexType name=\"{}\">", object.name),
            "</xs:complexType>",
            |page| {
                page.documentation(&object.description);
                page.within("<xs:sequence>", "</xs:sequence>", |page| {
                    for field in &object.fields {
                        page.field(object, field);
                    }
                });
            },
        );
    }

    fn field(&mut self, object: &ObjectShape, field: &Field) {
        let least = if field.required { "" } else { " minOccurs=\"0\"" };
        self.element(
            &format!("name=\"{}\"{least}", names::element(&field.name)),
            object,
            field,
            &field.shape,
            &field.description,
        );
    }

    fn element(
        &mut self,
        head: &str,
        object: &ObjectShape,
        field: &Field,
        shape: &Shape,
        description: &str,
    ) {
        let named = match shape {
            Shape::Object(name) => Some(name.as_str()),
            Shape::Text if field.pattern.is_none() => Some("text"),
            Shape::Number => Some("number"),
            Shape::Bool => Some("flag"),
            Shape::Position => Some("position"),
            Shape::Extensions => Some("extensions"),
            _ => None,
        };
        let open = named.map_or_else(
            || format!("<xs:element {head}>"),
            |name| format!("<xs:element {head} type=\"{name}\">"),
        );
        // The ids of observations are unique in their run.
        let tables = match shape {
            Shape::Object(name) if object.name == "Document" => identified(shape::object(name)),
            _ => Vec::new(),
        };
        if named.is_some() && description.is_empty() && tables.is_empty() {
            return self.line(&open.replace("\">", "\"/>"));
        }
        self.within(&open, "</xs:element>", |page| {
            page.documentation(description);
            match shape {
                Shape::List(item) => page.list(object, field, item),
                Shape::Word(words) => {
                    let meanings = meanings(field);
                    let words = words.iter().map(|word| {
                        let meaning = meanings
                            .iter()
                            .find(|(known, _)| *known == word.as_str())
                            .map(|(_, text)| (*text).to_owned());
                        ("enumeration", word.clone(), meaning)
                    });
                    page.restricted("xs:token", words);
                }
                Shape::Whole => {
                    let limit = field.bounds.map(|[_, greatest]| greatest);
                    page.restricted(
                        "whole",
                        limit.map(|limit| ("maxInclusive", limit.to_string(), None)).into_iter(),
                    );
                }
                Shape::Text => {
                    if let Some(text) = &field.pattern {
                        page.restricted(
                            "xs:token",
                            std::iter::once(("pattern", pattern(text), None)),
                        );
                    }
                }
                _ => {}
            }
            page.unique(&tables);
        });
    }

    fn list(&mut self, object: &ObjectShape, field: &Field, item: &Shape) {
        self.within("<xs:complexType>", "</xs:complexType>", |page| {
            page.within("<xs:sequence>", "</xs:sequence>", |page| {
                let head = format!(
                    "name=\"{}\" minOccurs=\"0\" maxOccurs=\"unbounded\"",
                    names::item(item)
                );
                page.element(&head, object, field, item, "");
            });
        });
    }

    /// A restriction by facets, each with its meaning.
    fn restricted(
        &mut self,
        base: &str,
        facets: impl Iterator<Item = (&'static str, String, Option<String>)>,
    ) {
        let open = format!("<xs:restriction base=\"{base}\">");
        self.within("<xs:simpleType>", "</xs:simpleType>", |page| {
            page.within(&open, "</xs:restriction>", |page| {
                facets.for_each(|(facet, value, meaning)| page.facet(facet, &value, meaning));
            });
        });
    }

    fn facet(&mut self, facet: &str, value: &str, meaning: Option<String>) {
        let open = format!("<xs:{facet} value=\"{}\"", text::escape(value));
        let Some(meaning) = meaning else { return self.line(&format!("{open}/>")) };
        self.within(&format!("{open}>"), &format!("</xs:{facet}>"), |page| {
            page.documentation(&meaning);
        });
    }
}

/// The words of a vocabulary with their meanings, from the description of its field.
fn meanings(field: &Field) -> Vec<(&str, &str)> {
    let lines = field.description.lines();
    lines.filter_map(|line| line.strip_prefix("- `")?.split_once("`: ")).collect()
}

/// The tables in an object whose rows have ids, with a name and a path each. Rows that only refer
/// to others (`MediaRef`) may repeat an id.
fn identified(object: &ObjectShape) -> Vec<(String, String)> {
    let tables = object.fields.iter().filter_map(|field| {
        let Shape::List(item) = &field.shape else { return None };
        let Shape::Object(row) = item.as_ref() else { return None };
        let own =
            shape::object(row).field("id").is_some_and(|id| id.required) && !row.ends_with("Ref");
        let list = names::element(&field.name);
        own.then(|| (format!("{list}_by_id"), format!("o:{list}/o:{}", names::item(item))))
    });
    tables.collect()
}

/// A pattern of the JSON Schema in the dialect of XML Schema: always anchored, without lookahead,
/// and strict about hyphens in character classes.
fn pattern(ecma: &str) -> String {
    let bare = ecma.trim_end_matches(r"(?!\n)");
    let bare = bare.strip_prefix('^').unwrap_or(bare);
    let bare = bare.strip_suffix('$').unwrap_or(bare);
    bare.replace("-]", r"\-]")
}
