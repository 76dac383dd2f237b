//! A plain `cargo test` at the root must reach every crate: a member that is not a default member is tested by nobody.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::collections::BTreeSet;
use std::process::Command;

use serde_json::Value;

#[test]
fn every_member_is_a_default_member() {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".into());
    let output = Command::new(cargo)
        .args(["metadata", "--format-version", "1", "--no-deps", "--offline"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo metadata");
    let metadata: Value = serde_json::from_slice(&output.stdout).expect("json");
    let ids = |key: &str| -> BTreeSet<String> {
        metadata[key]
            .as_array()
            .expect(key)
            .iter()
            .filter_map(Value::as_str)
            .map(str::to_owned)
            .collect()
    };
    let members = ids("workspace_members");
    assert!(members.len() >= 7, "{members:?}");
    assert_eq!(members, ids("workspace_default_members"));
}

#[test]
fn the_command_has_no_manifest_of_its_own() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    assert!(root.join("crates/cli/main.rs").is_file());
    assert!(!root.join("crates/cli/Cargo.toml").exists());
}

/// The libraries are for embedding: nothing of a terminal may reach them.
#[test]
fn libraries_do_not_depend_on_the_command_line() {
    for crate_name in ["model", "geo", "check", "convert", "layout", "obvert"] {
        let manifest = format!("{}/crates/{crate_name}/Cargo.toml", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(manifest).expect("manifest");
        let dependencies = text.split("[dev-dependencies]").next().unwrap_or_default();
        for terminal in ["clap", "anstream", "anstyle"] {
            assert!(!dependencies.contains(terminal), "{crate_name} depends on {terminal}");
        }
        // A GeoPackage that is written is a file before it is bytes: held in memory, it would outweigh the survey.
        assert!(
            crate_name == "convert" || !dependencies.contains("tempfile"),
            "{crate_name} depends on tempfile"
        );
    }
    let check =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/crates/check/Cargo.toml"))
            .expect("check");
    assert!(!check.contains("obvert-convert"), "check and convert never see each other");
    let convert =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/crates/convert/Cargo.toml"))
            .expect("convert");
    assert!(
        !convert.contains("obvert-layout"),
        "layout depends on convert, not the other way around"
    );
}
