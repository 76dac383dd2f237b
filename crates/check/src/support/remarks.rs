//! What a remark names: the label of a code, or a word of the trade for one.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use obvert_model::lists::{CodeList, Family};
use obvert_model::synonyms;

use crate::support::terms::group;

/// Remarks that there is no defect, without punctuation.
pub(crate) const NO_DEFECT: [&str; 22] = [
    "no defect",
    "no defects",
    "no damage",
    "ok",
    "okay",
    "all ok",
    "good condition",
    "in good condition",
    "nothing to report",
    "sound",
    "kein schaden",
    "keine schäden",
    "ohne befund",
    "in ordnung",
    "mängelfrei",
    "sans défaut",
    "aucun défaut",
    "rien à signaler",
    "bon état",
    "sin defectos",
    "sin daños",
    "buen estado",
];

/// Words that do not change what a remark names.
const FILLERS: [&str; 36] = [
    "a", "an", "the", "at", "in", "on", "of", "here", "seen", "see", "photo", "small", "large",
    "minor", "major", "slight", "slightly", "severe", "heavy", "light", "medium", "some",
    "several", "left", "right", "top", "bottom", "crown", "side", "approx", "mm", "cm", "percent",
    "o", "clock", "visible",
];

/// The kinds of defects that a code belongs to. People call defects of one kind by each other's
/// names, such as a crack and a fracture.
pub(crate) fn kinds(code: &str) -> Vec<usize> {
    let group = group(code);
    let of = |kind: &[&str]| kind.contains(&group) || kind.contains(&code);
    (0..KINDS.len()).filter(|number| of(KINDS[*number])).collect()
}

/// Groups of codes, or codes, by kind.
const KINDS: [&[&str]; 6] = [
    &[
        "surface-crack",
        "crack",
        "fracture",
        "break",
        "hole",
        "collapse",
        "soil",
        "void",
        "deformation",
        "surface",
        "brick",
        "mortar",
        "porous",
        "weld",
        "seam",
        "lining",
        "repair",
        "connection",
        "joint.damaged",
    ],
    &["joint"],
    &["roots"],
    &["deposit", "obstacle", "soil"],
    &["infiltration", "exfiltration"],
    &["vermin"],
];

/// What remarks can name: labels and synonyms, each with the codes of `obvert-terms`.
pub(crate) fn names() -> &'static BTreeMap<String, Vec<&'static str>> {
    static NAMES: OnceLock<BTreeMap<String, Vec<&'static str>>> = OnceLock::new();
    NAMES.get_or_init(|| {
        let list = CodeList::obvert_terms();
        let codes = list.by_code();
        let is_defect = |code: &str| {
            // Anything can be an obstruction.
            !matches!(code, "blockage" | "obstacle.object" | "connection.blocked")
                && codes.get(code).is_some_and(|known| {
                    matches!(known.family, Family::Structural | Family::Operational)
                })
        };
        let mut names: BTreeMap<String, Vec<&'static str>> = BTreeMap::new();
        for code in &list.codes {
            for label in code.label.values() {
                names.entry(plain(label.as_str())).or_default().push(code.code.as_str());
            }
        }
        for synonym in synonyms::all().iter().filter(|synonym| !synonym.codes.is_empty()) {
            for word in &synonym.words {
                let codes = names.entry(plain(word)).or_default();
                codes.extend(synonym.codes.iter().map(String::as_str));
            }
        }
        // What is built in or flows is often named to say where a defect is.
        names.retain(|name, codes| !name.is_empty() && codes.iter().all(|code| is_defect(code)));
        names.values_mut().for_each(|codes| {
            codes.sort_unstable();
            codes.dedup();
        });
        names
    })
}

/// The words of a text in lower case, without punctuation and digits.
pub(crate) fn words(text: &str) -> Vec<String> {
    let lower = text.to_lowercase();
    let words = lower.split(|c: char| !c.is_alphabetic()).filter(|word| !word.is_empty());
    words.map(str::to_owned).collect()
}

/// The same without fillers.
pub(crate) fn plain(text: &str) -> String {
    let mut words = words(text);
    if words.iter().any(|word| !FILLERS.contains(&word.as_str())) {
        words.retain(|word| !FILLERS.contains(&word.as_str()));
    }
    words.join(" ")
}
