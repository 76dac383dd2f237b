//! Recognises JSON files of other kinds than the one that an argument expects. Without this, a
//! profile in the place of a survey would be reported as a survey with every key missing.

use serde_json::{Map, Value};

/// A kind of JSON file, by the key that states its version.
pub(crate) struct Kind {
    key: &'static str,
    /// Its name, as lists and messages use it.
    pub(crate) name: &'static str,
    /// The option that takes such a file.
    pub(crate) option: Option<&'static str>,
}

/// The kinds that the command reads. A grade scheme also names a code list, so it comes first.
const KINDS: [Kind; 6] = [
    Kind { key: "obvert", name: "survey", option: None },
    Kind { key: "layout", name: "layout", option: Some("--layout") },
    Kind { key: "profile", name: "profile", option: Some("--profile") },
    Kind { key: "grade_scheme", name: "grade scheme", option: Some("--grade-scheme") },
    Kind { key: "code_list", name: "code list", option: Some("--code-list") },
    Kind { key: "report", name: "report", option: Some("--baseline") },
];

/// The kind of a JSON file, if its first keys state one.
pub(crate) fn kind_of(bytes: &[u8]) -> Option<&'static Kind> {
    let start = String::from_utf8_lossy(&bytes[..bytes.len().min(1024)]);
    let has_key = |kind: &&Kind| {
        let quoted = format!("\"{}\"", kind.key);
        start.split(&quoted).skip(1).any(|after| after.trim_start().starts_with(':'))
    };
    // A large survey is not parsed for this, because it states its version at the start.
    let first = KINDS.iter().find(has_key)?;
    if first.key == "obvert" {
        return Some(first);
    }
    let keys: Map<String, Value> = serde_json::from_slice(bytes).ok()?;
    KINDS.iter().find(|kind| keys.get(kind.key).is_some_and(Value::is_string))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_are_known_by_their_key() {
        let name = |text: &str| kind_of(text.as_bytes()).map(|kind| kind.name);
        assert_eq!(name(r#"{"obvert": "0.2", "profile": "x"}"#), Some("survey"));
        assert_eq!(name(r#"{"layout": "0.1"}"#), Some("layout"));
        assert_eq!(name(r#"{"grade_scheme": "0.1", "code_list": {}}"#), Some("grade scheme"));
        assert_eq!(name(r#"{"id": "x", "code_list": "0.1"}"#), Some("code list"));
        assert_eq!(name(r#"{"rows": [{"profile": "0.1"}]}"#), None);
        assert_eq!(name(r#"{"profile": {}}"#), None);
        assert_eq!(name(r#"["layout"]"#), None);
        assert_eq!(name("layout"), None);
        let report = r#"{"report": "0.4", "tool": {"name": "obvert"}}"#;
        assert_eq!(name(report), Some("report"));
    }
}
