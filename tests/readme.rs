//! The console blocks of the README run one after the other, in a folder with only the examples.
//! Lines of `...` match any lines.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use support::{read, root, stderr, stdout};

struct Step {
    line: usize,
    command: String,
    expected: Vec<String>,
}

fn steps(text: &str) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    let mut inside = false;
    for (number, line) in text.lines().enumerate() {
        match line {
            "```console" => inside = true,
            "```" => inside = false,
            _ if !inside => {}
            _ => match line.strip_prefix("$ ") {
                Some(command) => {
                    steps.push(Step {
                        line: number + 1,
                        command: command.to_owned(),
                        expected: Vec::new(),
                    });
                }
                None => steps.last_mut().expect("a command first").expected.push(line.to_owned()),
            },
        }
    }
    steps
}

/// Whether the lines are the expected ones; `...` matches any lines.
fn matches(expected: &[String], lines: &[&str]) -> bool {
    match expected.split_first() {
        None => lines.is_empty(),
        Some((first, rest)) if first == "..." => {
            (0..=lines.len()).any(|skip| matches(rest, &lines[skip..]))
        }
        Some((first, rest)) => {
            lines.first().is_some_and(|line| line.trim_end() == first.trim_end())
                && matches(rest, &lines[1..])
        }
    }
}

fn copy(from: &std::path::Path, to: &std::path::Path) {
    std::fs::create_dir_all(to).expect("folder");
    for entry in std::fs::read_dir(from).expect("folder") {
        let entry = entry.expect("entry");
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).expect("copy");
        }
    }
}

#[test]
fn console_blocks_show_the_real_output() {
    let folder = tempfile::tempdir().expect("folder");
    for examples in
        ["examples/data", "examples/layouts", "examples/profiles", "tests/corpus/versions"]
    {
        copy(&root().join(examples), &folder.path().join(examples));
    }
    let steps = steps(&read("README.md"));
    assert!(steps.len() >= 8, "{} commands", steps.len());
    let mut wrong = Vec::new();
    for step in steps {
        let words: Vec<&str> = step.command.split_whitespace().collect();
        let (name, arguments) = words.split_first().expect("a command");
        assert_eq!(*name, "obvert", "line {}: only obvert itself can be run", step.line);
        let output = support::obvert_in(folder.path(), arguments);
        let text = stdout(&output) + &stderr(&output);
        let lines: Vec<&str> = text.lines().collect();
        if !matches(&step.expected, &lines) {
            wrong.push(format!(
                "README line {}: $ {}\n--- expected\n{}\n--- printed\n{text}",
                step.line,
                step.command,
                step.expected.join("\n")
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The two commands at the top are the first that a newcomer runs; `.ci/run` runs them too.
#[test]
fn the_first_two_commands_are_at_the_top() {
    let readme = read("README.md");
    let check = readme
        .find("cargo run --release -- check examples/data/larkmoor.obvert.json")
        .expect("the first command");
    let test = readme.find("cargo test").expect("the second command");
    assert!(check < test && readme[..check].lines().count() < 20, "they are not at the top");
    let ci = read(".ci/run");
    assert!(
        ci.contains("cargo run --release -- check examples/data/larkmoor.obvert.json")
            && ci.contains("\ncargo test\n")
    );
}
