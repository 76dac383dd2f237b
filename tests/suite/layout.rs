//! The layout of the suite's manifests: each key of the head and each case begins a line, so that a change of one case
//! changes a few lines.

use serde_json::Value;

/// The text of a manifest.
pub(crate) fn text(manifest: &Value) -> String {
    let mut lines = Vec::new();
    for (key, value) in
        manifest.as_object().expect("an object").iter().filter(|(key, _)| *key != "cases")
    {
        lines.push(format!("  {}: {}", Value::from(key.as_str()), spaced(value)));
    }
    let cases: Vec<String> =
        manifest["cases"].as_array().expect("cases").iter().map(case).collect();
    lines.push(format!("  \"cases\": [\n{}\n  ]", cases.join(",\n")));
    format!("{{\n{}\n}}\n", lines.join(",\n"))
}

/// Short facts share a line; what is longer begins a new one.
fn case(case: &Value) -> String {
    let mut text = String::from("    {");
    for (number, (key, value)) in case.as_object().expect("an object").iter().enumerate() {
        let breaks = matches!(
            key.as_str(),
            "about" | "base" | "settings" | "patch" | "expect" | "also" | "ratings"
        );
        text.push_str(match (number, breaks) {
            (0, _) => "",
            (_, true) => ",\n     ",
            (_, false) => ", ",
        });
        text.push_str(&format!("{}: {}", Value::from(key.as_str()), spaced(value)));
    }
    text + "}"
}

/// JSON on one line, with a space after a colon and a comma.
fn spaced(value: &Value) -> String {
    match value {
        Value::Array(items) => {
            format!("[{}]", items.iter().map(spaced).collect::<Vec<_>>().join(", "))
        }
        Value::Object(map) => {
            let inside: Vec<String> = map
                .iter()
                .map(|(key, value)| format!("{}: {}", Value::from(key.as_str()), spaced(value)))
                .collect();
            format!("{{{}}}", inside.join(", "))
        }
        plain => plain.to_string(),
    }
}
