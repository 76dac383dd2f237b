//! The workspace: a plain `cargo test` reaches every crate, crates depend on each other in one
//! direction, and each can be packaged.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

fn cargo(arguments: &[&str]) -> Vec<u8> {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".into());
    let output = Command::new(cargo)
        .args(arguments)
        .arg("--offline")
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo");
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

fn metadata(arguments: &[&str]) -> Value {
    let arguments = [&["metadata", "--format-version", "1"], arguments].concat();
    serde_json::from_slice(&cargo(&arguments)).expect("json")
}

/// The packages of the workspace, by name.
fn packages() -> BTreeMap<String, Value> {
    let packages = metadata(&["--no-deps"])["packages"].as_array().expect("packages").clone();
    packages
        .into_iter()
        .map(|package| (package["name"].as_str().expect("a name").to_owned(), package))
        .collect()
}

fn folder(package: &Value) -> &Path {
    Path::new(package["manifest_path"].as_str().expect("a path")).parent().expect("a folder")
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

#[test]
fn every_member_is_a_default_member() {
    let metadata = metadata(&["--no-deps"]);
    let ids = |key: &str| -> BTreeSet<String> {
        let ids = metadata[key].as_array().expect(key);
        ids.iter().filter_map(Value::as_str).map(str::to_owned).collect()
    };
    let members = ids("workspace_members");
    assert!(members.len() >= 7, "{members:?}");
    assert_eq!(members, ids("workspace_default_members"));
}

#[test]
fn the_command_has_no_manifest_of_its_own() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    assert!(root.join("crates/cli/main.rs").is_file());
    assert!(!root.join("crates/cli/Cargo.toml").exists());
}

/// The libraries are for embedding: nothing of a terminal may reach them.
#[test]
fn libraries_do_not_depend_on_the_command_line() {
    let manifest = |name: &str| {
        read(&Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("crates/{name}/Cargo.toml")))
    };
    for crate_name in ["model", "geo", "check", "convert", "layout", "obvert"] {
        let text = manifest(crate_name);
        let dependencies = text.split("[dev-dependencies]").next().unwrap_or_default();
        for terminal in ["clap", "anstream", "anstyle"] {
            assert!(!dependencies.contains(terminal), "{crate_name} depends on {terminal}");
        }
        // A GeoPackage is written to a file first: in memory it would be larger than the survey.
        assert!(
            crate_name == "convert" || !dependencies.contains("tempfile"),
            "{crate_name} depends on tempfile"
        );
    }
    assert!(!manifest("check").contains("obvert-convert"), "check does not depend on convert");
    assert!(
        !manifest("convert").contains("obvert-layout"),
        "layout depends on convert, not the reverse"
    );
}

/// What a registry shows of a crate, and what its licences require, is there and the same for all.
#[test]
fn every_crate_can_be_published() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let packages = packages();
    let version = &packages["obvert-cli"]["rust_version"];
    assert!(version.is_string());
    for (name, package) in &packages {
        assert_eq!(&package["rust_version"], version, "{name}");
        assert_eq!(package["license"], "MIT OR Apache-2.0", "{name}");
        assert!(package["publish"].is_null(), "{name} is not to be published");
        assert!(package["description"].as_str().is_some_and(|text| text.len() > 30), "{name}");
        let keywords = package["keywords"].as_array().expect("keywords");
        assert!((3..=5).contains(&keywords.len()), "{name}: {keywords:?}");
        assert!(
            keywords.iter().all(|word| word.as_str().is_some_and(|word| word.len() <= 20)),
            "{name}"
        );
        assert!(package["categories"].as_array().is_some_and(|list| !list.is_empty()), "{name}");
        let readme = folder(package).join(package["readme"].as_str().expect("a readme"));
        assert!(read(&readme).starts_with("# "), "{name}");
        for licence in ["LICENSE-APACHE", "LICENSE-MIT"] {
            assert_eq!(read(&folder(package).join(licence)), read(&root.join(licence)), "{name}");
        }
        let docs = &package["metadata"]["docs"]["rs"];
        let is_library = name != "obvert-cli";
        assert!(!is_library || docs["all-features"] == true, "{name}: docs.rs shows all features");
        assert!(
            !is_library || read(&folder(package).join("src/lib.rs")).contains("feature(doc_cfg)"),
            "{name}: docs.rs shows which feature an item needs"
        );
    }
}

/// A package has what it needs, and only that: licences, readme, and every file that its code
/// embeds.
#[test]
fn packages_are_complete() {
    for (name, package) in packages() {
        let listed = cargo(&["package", "--list", "--allow-dirty", "--package", &name]);
        let listed = String::from_utf8(listed).expect("names").replace('\\', "/");
        let files: BTreeSet<&str> = listed.lines().collect();
        let main = if name == "obvert-cli" { "crates/cli/main.rs" } else { "src/lib.rs" };
        for needed in ["Cargo.toml", "README.md", "LICENSE-APACHE", "LICENSE-MIT", main] {
            assert!(files.contains(needed), "{name} lacks {needed}");
        }
        let stray = |file: &&&str| file.contains("tests/") || file.starts_with("target/");
        assert_eq!(files.iter().find(stray), None, "{name}");
        for source in files.iter().filter(|file| file.ends_with(".rs")) {
            for embedded in embedded(&read(&folder(&package).join(source))) {
                let path = joined(source, &embedded);
                assert!(files.contains(path.as_str()), "{name}: {source} embeds {embedded}");
            }
        }
    }
}

/// The paths that a source file embeds by `include_str!` or `include_bytes!`.
fn embedded(source: &str) -> Vec<String> {
    let begins = ["include_str!(\"", "include_bytes!(\""];
    let paths = begins.iter().flat_map(|begin| source.split(begin).skip(1));
    paths.filter_map(|rest| Some(rest.split_once('"')?.0.to_owned())).collect()
}

/// A path relative to a file, without `..`.
fn joined(file: &str, path: &str) -> String {
    let mut parts: Vec<&str> = file.split('/').collect();
    parts.pop();
    for part in path.split('/') {
        match part {
            ".." => drop(parts.pop()),
            part => parts.push(part),
        }
    }
    parts.join("/")
}

/// `rust-version` is true: no dependency needs a newer compiler.
#[test]
fn the_rust_version_is_that_of_the_dependencies() {
    let number = |package: &Value| -> Option<[u32; 3]> {
        let mut parts = package["rust_version"].as_str()?.split('.').map(str::parse);
        let mut next = || parts.next().map_or(Some(0), Result::ok);
        Some([next()?, next()?, next()?])
    };
    let metadata = metadata(&[]);
    let packages = metadata["packages"].as_array().expect("packages");
    let own = packages
        .iter()
        .find(|package| package["name"] == "obvert-cli")
        .and_then(number)
        .expect("a version");
    for package in packages {
        let needs = number(package).unwrap_or_default();
        assert!(needs <= own, "{} {} needs Rust {needs:?}", package["name"], package["version"]);
    }
}

/// The rows of a Markdown table with this header, as cells.
fn table(text: &str, header: &str) -> Vec<Vec<String>> {
    let rows = text.lines().skip_while(|line| *line != header).skip(2);
    rows.take_while(|line| line.starts_with('|'))
        .map(|line| {
            line.trim_matches('|')
                .split(" | ")
                .map(|cell| cell.trim().trim_matches('`').to_owned())
                .collect()
        })
        .collect()
}

/// The features of every crate are described as they are, in its readme and in DEVELOPERS.md.
#[test]
fn features_are_documented_as_they_are() {
    let developers = read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("DEVELOPERS.md"));
    let described = table(&developers, "| Crate | Feature | On by default | What it adds |");
    let mut expected = Vec::new();
    for (name, package) in packages() {
        let features = package["features"].as_object().expect("features");
        let defaults: Vec<&str> = features
            .get("default")
            .and_then(Value::as_array)
            .into_iter()
            .flatten()
            .filter_map(Value::as_str)
            .collect();
        // Features shared by several others add nothing by themselves, and optional dependencies
        // are not features.
        let shared = ["convert", "tables", "map", "default"];
        let public: Vec<(String, bool)> = features
            .keys()
            .filter(|feature| !shared.contains(&feature.as_str()))
            .map(|feature| (feature.clone(), defaults.contains(&feature.as_str())))
            .collect();
        let readme = read(&folder(&package).join("README.md"));
        let mut in_readme: Vec<(String, bool)> =
            table(&readme, "| Feature | On by default | What it adds |")
                .into_iter()
                .map(|row| (row[0].clone(), row[1] == "yes"))
                .collect();
        in_readme.sort();
        assert_eq!(in_readme, public, "the readme of {name}");
        expected
            .extend(public.into_iter().map(|(feature, default)| (name.clone(), feature, default)));
    }
    let mut described: Vec<(String, String, bool)> = described
        .into_iter()
        .map(|row| (row[0].clone(), row[1].clone(), row[2] == "yes"))
        .collect();
    described.sort();
    assert_eq!(described, expected, "DEVELOPERS.md");
}

/// The front page of every library and of its public modules begins with what it does and an
/// example.
#[test]
fn front_pages_have_an_example() {
    for crate_name in ["model", "geo", "obvert"] {
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("crates/{crate_name}/src"));
        let root = read(&source.join("lib.rs"));
        assert!(has_example(&root), "{crate_name}");
        for line in root.lines() {
            let Some(module) =
                line.strip_prefix("pub mod ").and_then(|rest| rest.strip_suffix(';'))
            else {
                continue;
            };
            let (file, folder) =
                (source.join(format!("{module}.rs")), source.join(module).join("mod.rs"));
            let text = read(if file.exists() { &file } else { &folder });
            assert!(has_example(&text), "{crate_name}::{module}");
        }
    }
}

fn has_example(source: &str) -> bool {
    source.lines().take_while(|line| line.starts_with("//!")).any(|line| line == "//! ```")
}
