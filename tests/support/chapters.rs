//! The chapters of the specification: their paths, and the links between them.

#![allow(dead_code)]

use std::collections::BTreeMap;

use super::support::root;

/// Every Markdown file below `spec/` with its text, by its path relative to `spec/`.
pub(crate) fn chapters() -> BTreeMap<String, String> {
    let base = root().join("spec");
    let (mut chapters, mut folders) = (BTreeMap::new(), vec![base.clone()]);
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).expect("a folder") {
            let path = entry.expect("entry").path();
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            let name =
                path.strip_prefix(&base).expect("below spec").to_string_lossy().replace('\\', "/");
            if name.ends_with(".md") {
                chapters.insert(name, std::fs::read_to_string(&path).expect("a chapter"));
            }
        }
    }
    chapters
}

/// The paths of the chapters in reading order, from the table of contents.
pub(crate) fn in_order() -> Vec<String> {
    let contents =
        std::fs::read_to_string(root().join("spec/SUMMARY.md")).expect("the table of contents");
    let targets = contents.split("](").skip(1).filter_map(|rest| rest.split(')').next());
    targets.map(str::to_owned).collect()
}

/// The path of a chapter by the short name that rules use, such as `runs`.
pub(crate) fn path_of(name: &str) -> Option<String> {
    let file = format!("/{name}.md");
    in_order().into_iter().find(|path| path.ends_with(&file))
}

/// The relative link from one chapter to another.
pub(crate) fn link(from: &str, to: &str) -> String {
    let (here, there): (Vec<&str>, Vec<&str>) =
        (from.split('/').collect(), to.split('/').collect());
    let last = here.len().min(there.len()) - 1;
    let same = here.iter().zip(&there).take(last).take_while(|(here, there)| here == there).count();
    let up = "../".repeat(here.len() - 1 - same);
    up + &there[same..].join("/")
}

/// The target of a link in a chapter: the path of the other chapter, and the anchor.
pub(crate) fn target<'a>(from: &str, link: &'a str) -> (String, &'a str) {
    let (file, anchor) = link.split_once('#').unwrap_or((link, ""));
    if file.is_empty() {
        return (from.to_owned(), anchor);
    }
    let mut parts: Vec<&str> = from.split('/').collect();
    parts.pop();
    for part in file.split('/') {
        match part {
            ".." => drop(parts.pop()),
            part => parts.push(part),
        }
    }
    (parts.join("/"), anchor)
}

/// The targets of the links in a text, without links to other sites.
pub(crate) fn links(text: &str) -> impl Iterator<Item = &str> {
    let targets = text.split("](").skip(1).filter_map(|rest| rest.split(')').next());
    targets.filter(|target| !target.contains("://"))
}

/// The anchor of a heading.
pub(crate) fn slug(heading: &str) -> String {
    let kept = heading
        .to_lowercase()
        .chars()
        .filter(|c| c.is_alphanumeric() || *c == ' ' || *c == '-')
        .collect::<String>();
    kept.replace(' ', "-")
}

/// The anchors of a chapter's headings.
pub(crate) fn anchors(text: &str) -> Vec<String> {
    text.lines()
        .filter_map(|line| line.trim_start_matches('#').strip_prefix(' '))
        .map(slug)
        .collect()
}
