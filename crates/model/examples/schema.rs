//! Prints the schema of a survey document.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]
fn main() {
    println!("{}", serde_json::to_string_pretty(&obvert_model::schema::document()).unwrap_or_default());
}
