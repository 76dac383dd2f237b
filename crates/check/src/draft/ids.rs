//! Finds the common pattern of all ids of a field, such as the way an office numbers its structures.

use std::fmt::Write as _;

/// The maximum number of different shapes of ids. With more, there is no pattern.
const MOST: usize = 3;

/// The shapes of the ids in one field.
#[derive(Clone, Debug, Default)]
pub(super) struct Ids {
    shapes: Vec<Vec<Part>>,
    count: usize,
    /// Whether there are too many shapes for a pattern.
    too_many: bool,
}

/// A sequence of characters of one class.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Part {
    class: Class,
    least: usize,
    most: usize,
    /// The characters, if they are the same in every id.
    same: Option<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Class {
    Upper,
    Lower,
    Digit,
    Other,
}

impl Class {
    fn of(c: char) -> Self {
        match c {
            'A'..='Z' => Self::Upper,
            'a'..='z' => Self::Lower,
            '0'..='9' => Self::Digit,
            _ => Self::Other,
        }
    }
}

fn parts(text: &str) -> Vec<Part> {
    let mut parts: Vec<Part> = Vec::new();
    for c in text.chars() {
        let class = Class::of(c);
        match parts.last_mut().filter(|last| last.class == class) {
            Some(last) => {
                last.least += 1;
                last.most += 1;
                if let Some(same) = &mut last.same {
                    same.push(c);
                }
            }
            None => parts.push(Part { class, least: 1, most: 1, same: Some(c.into()) }),
        }
    }
    parts
}

impl Ids {
    pub(super) fn add(&mut self, text: &str) {
        self.count += 1;
        if self.too_many {
            return;
        }
        let new = parts(text);
        // Separators distinguish shapes: LM-14 and LM/14 are written differently.
        let alike = |old: &Vec<Part>| {
            old.len() == new.len()
                && old.iter().zip(&new).all(|(a, b)| {
                    a.class == b.class && (a.class != Class::Other || a.same == b.same)
                })
        };
        let full = self.shapes.len() == MOST;
        match self.shapes.iter_mut().find(|old| alike(old)) {
            Some(old) => {
                for (part, new) in old.iter_mut().zip(new) {
                    part.least = part.least.min(new.least);
                    part.most = part.most.max(new.most);
                    if part.same != new.same {
                        part.same = None;
                    }
                }
            }
            None if full => self.too_many = true,
            None => self.shapes.push(new),
        }
    }

    pub(super) fn count(&self) -> usize {
        self.count
    }

    /// The pattern (I-Regexp, RFC 9485); `None` if there is none.
    pub(super) fn pattern(&self) -> Option<String> {
        if self.too_many || self.shapes.is_empty() {
            return None;
        }
        let mut shapes: Vec<String> =
            self.shapes.iter().map(|parts| parts.iter().map(regexp).collect()).collect();
        shapes.sort();
        Some(shapes.join("|"))
    }
}

/// A part as a regular expression.
fn regexp(part: &Part) -> String {
    let class = match (part.class, &part.same) {
        // Letters that are always the same are part of the name. Digits may change in the next id.
        (Class::Upper | Class::Lower | Class::Other, Some(same)) => {
            return same.chars().map(escaped).collect();
        }
        (Class::Upper, None) => "[A-Z]",
        (Class::Lower, None) => "[a-z]",
        (Class::Digit, _) => "[0-9]",
        (Class::Other, None) => ".",
    };
    let mut text = class.to_owned();
    let _ = match (part.least, part.most) {
        (1, 1) => Ok(()),
        (least, most) if least == most => write!(text, "{{{least}}}"),
        (least, most) => write!(text, "{{{least},{most}}}"),
    };
    text
}

fn escaped(c: char) -> String {
    if r"()*+.?[\]{|}".contains(c) { format!("\\{c}") } else { c.into() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pattern(ids: &[&str]) -> Option<String> {
        let mut all = Ids::default();
        ids.iter().for_each(|id| all.add(id));
        all.pattern()
    }

    #[test]
    fn a_pattern_matches_all_ids() {
        assert_eq!(pattern(&["LM-101", "LM-102"]).as_deref(), Some("LM-[0-9]{3}"));
        assert_eq!(pattern(&["LM-101", "CB-9"]).as_deref(), Some("[A-Z]{2}-[0-9]{1,3}"));
        assert_eq!(pattern(&["R-01", "R-02R"]).as_deref(), Some("R-[0-9]{2}|R-[0-9]{2}R"));
        assert_eq!(pattern(&["a.b(1)", "a.b(2)"]).as_deref(), Some(r"a\.b\([0-9]\)"));
        assert_eq!(pattern(&["a-1", "a/1"]).as_deref(), Some("a-[0-9]|a/[0-9]"));
        assert_eq!(pattern(&["Ä 1", "Ä 2"]).as_deref(), Some("Ä [0-9]"));
        assert_eq!(pattern(&["a", "1", "A", "-"]), None);
        assert_eq!(pattern(&[]), None);
    }
}
