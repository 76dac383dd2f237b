//! The slow road, open only once the fast one has failed: look at the whole document again and report every
//! structural problem at once, each with its place and the nearest valid spelling.

use super::error::ReadError;
#[cfg(not(feature = "diagnose"))]
use super::error::{Problem, ProblemKind};
use super::stopped::{encoding, syntax};

/// What a source is read as: each has a schema of its own that the slow road holds it against.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Subject {
    Document,
    /// A document of the first draft, as its own schema has it.
    #[cfg(feature = "diagnose")]
    Document0_1,
    CodeList,
    GradeScheme,
    Profile,
    Layout,
}

/// Explains why a document could not be read. `first` is what the fast road stumbled over.
pub(super) fn explain(source: &[u8], first: &serde_json::Error) -> ReadError {
    explain_as(source, first, Subject::Document)
}

/// Explains why a source could not be read as what it was taken for.
pub(crate) fn explain_as(source: &[u8], first: &serde_json::Error, subject: Subject) -> ReadError {
    #[cfg(not(feature = "diagnose"))]
    let _ = subject;
    if source.iter().all(u8::is_ascii_whitespace) {
        return ReadError::Empty;
    }
    if let Some(error) = encoding(source) {
        return error;
    }
    #[cfg(feature = "diagnose")]
    {
        whole::problems(source, first, subject).unwrap_or_else(|error| syntax(source, 0, &error))
    }
    #[cfg(not(feature = "diagnose"))]
    {
        if !first.is_data() {
            return syntax(source, 0, first);
        }
        // The rest of the source has not been looked at; it may not even be JSON.
        if let Err(error) = serde_json::from_slice::<serde::de::IgnoredAny>(source) {
            return syntax(source, 0, &error);
        }
        ReadError::Structure(vec![Problem {
            line: first.line(),
            column: first.column(),
            ..Problem::new(ProblemKind::WrongType, "", first.to_string())
        }])
    }
}

/// Holds a source against the schema of its subject and says everything that is wrong with it.
#[cfg(feature = "diagnose")]
pub(crate) fn hold(source: &[u8], subject: Subject) -> Result<(), ReadError> {
    if source.iter().all(u8::is_ascii_whitespace) {
        return Err(ReadError::Empty);
    }
    if let Some(error) = encoding(source) {
        return Err(error);
    }
    match whole::collect(source, None, subject) {
        Ok(problems) if problems.is_empty() => Ok(()),
        Ok(problems) => Err(ReadError::Structure(problems)),
        Err(error) => Err(syntax(source, 0, &error)),
    }
}

#[cfg(feature = "diagnose")]
pub(crate) use whole::nearest;
#[cfg(feature = "diagnose")]
pub use whole::{document_value, value_problems};

/// The nearest of the valid spellings; without the slow road nobody looks for one.
#[cfg(not(feature = "diagnose"))]
pub(crate) fn nearest<'w>(_: &str, _: impl Iterator<Item = &'w str>) -> Option<String> {
    None
}

#[cfg(feature = "diagnose")]
mod whole {
    use std::cell::RefCell;
    use std::fmt;
    use std::sync::OnceLock;

    use jsonschema::error::ValidationErrorKind as Kind;
    use serde::de::{DeserializeSeed, Deserializer, MapAccess, SeqAccess, Visitor};
    use serde_json::{Map, Number, Value};

    use super::super::error::{Problem, ProblemKind, ReadError};
    use super::super::huge;
    use super::super::ids;
    use super::super::span::{Span, locate_all};
    use super::Subject;

    /// Every structural problem of a source that is JSON; `Err` when it is not JSON after all, further down than the
    /// fast road came.
    pub(super) fn problems(
        source: &[u8],
        first: &serde_json::Error,
        subject: Subject,
    ) -> Result<ReadError, serde_json::Error> {
        collect(source, Some(first), subject).map(ReadError::Structure)
    }

    /// The problems, in the order of the source. Where there is none, `first` is one.
    pub(super) fn collect(
        source: &[u8],
        first: Option<&serde_json::Error>,
        subject: Subject,
    ) -> Result<Vec<Problem>, serde_json::Error> {
        let (tame, tokens) = huge::tame(source);
        let twice = RefCell::new(Vec::new());
        let mut reader = serde_json::Deserializer::from_slice(&tame);
        let value = Loose { pointer: String::new(), twice: &twice }.deserialize(&mut reader)?;
        reader.end()?;
        let mut problems: Vec<Problem> = twice
            .into_inner()
            .into_iter()
            .map(|pointer| problem(ProblemKind::DuplicateKey, pointer, "this key stands twice in one object".into()))
            .collect();
        problems.extend(problems_as(&value, subject));
        if let Some(first) = first.filter(|_| problems.is_empty()) {
            // The two roads disagree. The verdict stays that of the stricter one.
            problems.push(problem(ProblemKind::WrongType, String::new(), first.to_string()));
        }
        once(&mut problems);
        if subject == Subject::Document {
            super::super::mend::mend(&value, &mut problems);
        }
        let places = locate_all(source, problems.iter().map(|p| p.pointer.as_str()));
        for problem in &mut problems {
            let value = places.get(&problem.pointer);
            if let Some(token) = tokens.get(&value.offset) {
                problem.message = problem.message.replace(&huge::stand_in(token).to_string(), token);
            }
            let place = if problem.kind.is_of_key() { places.key(&problem.pointer) } else { value };
            (problem.line, problem.column) = (place.line, place.column);
        }
        problems.sort_by(|a, b| (a.line, a.column, a.kind, &a.pointer).cmp(&(b.line, b.column, b.kind, &b.pointer)));
        Ok(problems)
    }

    /// The value of a source that is JSON, as structural problems are found in it: of a key that stands twice the last one,
    /// another number for one that no double holds. `None` for what is not JSON.
    #[must_use]
    pub fn document_value(source: &[u8]) -> Option<Value> {
        let twice = RefCell::new(Vec::new());
        let source = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
        let tame = huge::tame(source).0;
        let mut reader = serde_json::Deserializer::from_slice(&tame);
        Loose { pointer: String::new(), twice: &twice }.deserialize(&mut reader).ok()
    }

    /// One problem a kind and place, whatever number of schema keywords it offends: a word of the wrong type offends
    /// both `type` and `enum`. Only of missing keys there may be several in one object.
    fn once(problems: &mut Vec<Problem>) {
        let mut seen = rustc_hash::FxHashSet::default();
        problems.retain(|p| p.kind == ProblemKind::MissingKey || seen.insert((p.kind, p.pointer.clone())));
    }

    /// Every structural problem of a value: what a reader of another form calls, which has a document as a value and
    /// knows its own places. Empty when the value is a valid document.
    #[must_use]
    pub fn value_problems(value: &Value) -> Vec<Problem> {
        problems_as(value, Subject::Document)
    }

    fn problems_as(value: &Value, subject: Subject) -> Vec<Problem> {
        let mut problems = Vec::new();
        let schema = schema(subject);
        for error in schema.validator.iter_errors(value) {
            translate(&error, schema, &mut problems);
        }
        if subject.is_document() {
            problems.extend(ids::twice_in(value).into_iter().map(|twice| twice.problem(Span::default())));
        }
        once(&mut problems);
        problems
    }

    fn problem(kind: ProblemKind, pointer: String, message: String) -> Problem {
        Problem::new(kind, pointer, message)
    }

    struct Schema {
        subject: Subject,
        value: Value,
        validator: jsonschema::Validator,
    }

    impl Subject {
        fn is_document(self) -> bool {
            matches!(self, Self::Document | Self::Document0_1)
        }

        /// The key that says which version of its form a source is in.
        fn version_pointer(self) -> &'static str {
            match self {
                Self::Document | Self::Document0_1 => "/obvert",
                Self::CodeList => "/code_list",
                Self::GradeScheme => "/grade_scheme",
                Self::Profile => "/profile",
                Self::Layout => "/layout",
            }
        }

        fn noun(self) -> &'static str {
            match self {
                Self::Document | Self::Document0_1 => "document",
                Self::CodeList => "code list",
                Self::GradeScheme => "grade scheme",
                Self::Profile => "profile",
                Self::Layout => "layout",
            }
        }
    }

    fn schema(subject: Subject) -> &'static Schema {
        // One for each subject, the last one included.
        const SUBJECTS: usize = Subject::Layout as usize + 1;
        static SCHEMAS: [OnceLock<Schema>; SUBJECTS] = [const { OnceLock::new() }; SUBJECTS];
        SCHEMAS[subject as usize].get_or_init(|| {
            let value = match subject {
                Subject::Document => crate::schema::document(),
                Subject::Document0_1 => crate::versions::schema("0.1").unwrap_or_default(),
                Subject::CodeList => crate::lists::CodeList::schema(),
                Subject::GradeScheme => crate::lists::GradeScheme::schema(),
                Subject::Profile => crate::profile::Profile::schema(),
                Subject::Layout => crate::layout::Layout::schema(),
            };
            // The schema is our own and covered by a test: it compiles.
            #[allow(clippy::expect_used)]
            let validator = jsonschema::validator_for(&value).expect("the schema compiles");
            Schema { subject, value, validator }
        })
    }

    const EMPTY: &str = "empty text; leave the key out when the value is not known";

    fn child(pointer: &str, key: &str) -> String {
        format!("{pointer}/{}", key.replace('~', "~0").replace('/', "~1"))
    }

    fn show(value: &Value) -> String {
        let text = value.to_string();
        if text.chars().count() > 60 { format!("{}…", text.chars().take(60).collect::<String>()) } else { text }
    }

    fn type_name(value: &Value) -> &'static str {
        match value {
            Value::Null => "null",
            Value::Bool(_) => "true or false",
            Value::Number(_) => "a number",
            Value::String(_) => "a text",
            Value::Array(_) => "a list",
            Value::Object(_) => "an object",
        }
    }

    fn translate(error: &jsonschema::ValidationError<'_>, schema: &'static Schema, problems: &mut Vec<Problem>) {
        let at = error.instance_path().to_string();
        let instance = error.instance();
        let mut add = |kind, pointer, message, suggestion| {
            problems.push(Problem { suggestion, ..Problem::new(kind, pointer, message) });
        };
        if instance.is_null() {
            let message = "null is never written; leave the key out when the value is not known".to_owned();
            return add(ProblemKind::NullValue, at, message, None);
        }
        match error.kind() {
            Kind::AdditionalProperties { unexpected } | Kind::UnevaluatedProperties { unexpected } => {
                let object = schema.holder(&error.schema_path().to_string());
                let known = object.map(keys_of).unwrap_or_default();
                for key in unexpected {
                    if object.is_some_and(|object| object.get("patternProperties").is_some()) {
                        let message = format!("{key:?} is not a language tag (BCP 47), such as en or pt-BR");
                        add(ProblemKind::TextForm, child(&at, key), message, None);
                        continue;
                    }
                    let near = nearest(key, known.iter().copied());
                    let own = match schema.subject {
                        Subject::Document | Subject::Document0_1 => "; data of your own goes under \"extensions\"",
                        // Without a near one it helps to see what there is.
                        _ if near.is_none() => &format!("; what can stand here: {}", known.join(", ")),
                        _ => "",
                    };
                    let message = format!("unknown key {key:?}{own}");
                    add(ProblemKind::UnknownKey, child(&at, key), message, near);
                }
            }
            Kind::Required { property } => {
                let key = property.as_str().unwrap_or_default();
                let message = format!("the key {key:?} is missing");
                problems
                    .push(Problem { key: Some(key.to_owned()), ..Problem::new(ProblemKind::MissingKey, at, message) });
            }
            Kind::Type { kind } => {
                let wanted = expected_type(kind);
                let (kind, message) = if wanted.starts_with("a whole") && instance.is_number() {
                    (ProblemKind::NumberRange, format!("{} is not a whole number", show(instance)))
                } else {
                    (
                        ProblemKind::WrongType,
                        format!("expected {wanted}, found {}: {}", type_name(instance), show(instance)),
                    )
                };
                add(kind, at, message, None);
            }
            Kind::Enum { options } => {
                let words: Vec<&str> = options.as_array().into_iter().flatten().filter_map(Value::as_str).collect();
                let list = words.join(", ");
                match instance.as_str() {
                    Some("") => add(ProblemKind::EmptyText, at, EMPTY.to_owned(), None),
                    // A document of another version is no slip of the pen: no word is near.
                    Some(version) if at == schema.subject.version_pointer() => {
                        let noun = schema.subject.noun();
                        let older = schema.subject == Subject::Document && crate::versions::KNOWN.contains(&version);
                        let hint = if older { "; obvert migrate brings a JSON document to it" } else { "" };
                        let message = format!(
                            "the {noun} is of version {version:?} of the format; this reader knows {list}{hint}"
                        );
                        add(ProblemKind::UnknownWord, at, message, None);
                    }
                    Some(word) => {
                        let near = nearest(word, words.iter().copied());
                        add(ProblemKind::UnknownWord, at, format!("{word:?} is none of: {list}"), near);
                    }
                    // The type is reported for itself.
                    None => {}
                }
            }
            Kind::Minimum { limit } | Kind::Maximum { limit } => {
                let side = if matches!(error.kind(), Kind::Minimum { .. }) { "below" } else { "above" };
                let message = format!("{} is {side} {limit}, the limit of what can stand here", show(instance));
                add(ProblemKind::NumberRange, at, message, None);
            }
            Kind::MinLength { .. } => add(ProblemKind::EmptyText, at, EMPTY.to_owned(), None),
            Kind::Pattern { .. } if instance.as_str() == Some("") => {
                add(ProblemKind::EmptyText, at, EMPTY.to_owned(), None);
            }
            Kind::Pattern { .. } => {
                let form = schema.form_at(&error.schema_path().to_string());
                add(ProblemKind::TextForm, at, format!("{} is not {form}", show(instance)), None);
            }
            Kind::MinItems { .. } | Kind::MaxItems { .. } => {
                let message =
                    format!("a position is two numbers, easting or longitude first; found {}", show(instance));
                add(ProblemKind::WrongType, at, message, None);
            }
            Kind::MinProperties { .. } => {
                add(ProblemKind::MissingKey, at, "empty extensions; leave the key out".to_owned(), None);
            }
            Kind::PropertyNames { error } => {
                let message =
                    format!("{} is not a reverse domain name, such as org.example.dispatch", show(error.instance()));
                let pointer = error.instance().as_str().map_or_else(|| at.clone(), |key| child(&at, key));
                add(ProblemKind::TextForm, pointer, message, None);
            }
            _ => add(ProblemKind::WrongType, at, error.to_string(), None),
        }
    }

    fn expected_type(kind: &jsonschema::error::TypeKind) -> String {
        let one = |name: &str| match name {
            "string" => "a text".to_owned(),
            "integer" => "a whole number".to_owned(),
            "number" => "a number".to_owned(),
            "boolean" => "true or false".to_owned(),
            "array" => "a list".to_owned(),
            "object" => "an object".to_owned(),
            other => other.to_owned(),
        };
        match kind {
            jsonschema::error::TypeKind::Single(name) => one(&name.to_string()),
            jsonschema::error::TypeKind::Multiple(names) => {
                names.into_iter().map(|name| one(&name.to_string())).collect::<Vec<_>>().join(" or ")
            }
        }
    }

    impl Schema {
        /// The schema object that holds the keyword at a schema path such as `/$defs/Pipe/additionalProperties`.
        fn holder(&'static self, schema_path: &str) -> Option<&'static Value> {
            let parent = schema_path.rsplit_once('/').map_or("", |(parent, _)| parent);
            let mut node = &self.value;
            for token in parent.split('/').skip(1) {
                // A path goes through `$ref` as a step of its own.
                if token == "$ref" {
                    node = self.value.pointer(node.get("$ref")?.as_str()?.strip_prefix('#')?)?;
                } else {
                    let key = token.replace("~1", "/").replace("~0", "~");
                    node = match node {
                        Value::Array(items) => items.get(key.parse::<usize>().ok()?)?,
                        _ => node.get(&key)?,
                    };
                }
            }
            Some(node)
        }

        fn form_at(&'static self, schema_path: &str) -> &'static str {
            let comment = self.holder(schema_path).and_then(|node| node.get("$comment")?.as_str());
            comment.unwrap_or("of the form that belongs here")
        }
    }

    fn keys_of(object: &'static Value) -> Vec<&'static str> {
        let properties = object.get("properties").and_then(Value::as_object);
        properties.map(|properties| properties.keys().map(String::as_str).collect()).unwrap_or_default()
    }

    /// The nearest of the valid spellings, when it is near enough to be meant.
    pub(crate) fn nearest<'w>(word: &str, words: impl Iterator<Item = &'w str>) -> Option<String> {
        let plain = |text: &str| text.to_lowercase().replace(['-', '_', ' '], "");
        let meant = plain(word);
        words
            .map(|candidate| (strsim::normalized_damerau_levenshtein(&meant, &plain(candidate)), candidate))
            .filter(|(likeness, _)| *likeness >= 0.6)
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, candidate)| candidate.to_owned())
    }

    /// Reads any JSON into a value and notes keys that stand twice.
    struct Loose<'t> {
        pointer: String,
        twice: &'t RefCell<Vec<String>>,
    }

    impl<'de> DeserializeSeed<'de> for Loose<'_> {
        type Value = Value;
        fn deserialize<D: Deserializer<'de>>(self, source: D) -> Result<Value, D::Error> {
            source.deserialize_any(self)
        }
    }

    impl<'de> Visitor<'de> for Loose<'_> {
        type Value = Value;
        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("JSON")
        }
        fn visit_unit<E>(self) -> Result<Value, E> {
            Ok(Value::Null)
        }
        fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
            Ok(Value::Bool(value))
        }
        fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
            Ok(Value::Number(value.into()))
        }
        fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
            Ok(Value::Number(value.into()))
        }
        fn visit_f64<E>(self, value: f64) -> Result<Value, E> {
            Ok(Number::from_f64(value).map_or(Value::Null, Value::Number))
        }
        fn visit_str<E>(self, value: &str) -> Result<Value, E> {
            Ok(Value::String(value.to_owned()))
        }
        fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Value, A::Error> {
            let mut items = Vec::new();
            loop {
                let seed = Loose { pointer: format!("{}/{}", self.pointer, items.len()), twice: self.twice };
                match seq.next_element_seed(seed)? {
                    Some(item) => items.push(item),
                    None => return Ok(Value::Array(items)),
                }
            }
        }
        fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Value, A::Error> {
            let mut entries = Map::new();
            while let Some(key) = map.next_key::<String>()? {
                let pointer = child(&self.pointer, &key);
                if entries.contains_key(&key) {
                    self.twice.borrow_mut().push(pointer.clone());
                }
                let value = map.next_value_seed(Loose { pointer, twice: self.twice })?;
                entries.insert(key, value);
            }
            Ok(Value::Object(entries))
        }
    }
}
