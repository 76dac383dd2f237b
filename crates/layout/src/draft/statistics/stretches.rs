//! The marks of the start and the end of stretches: two words before or after a number.

use super::Sample;
use super::recognise::Test;
use crate::draft::vocabulary;

/// The text around a number, with # for it; `None` if there is no such text, or another number.
fn mark(value: &str) -> Option<String> {
    let start = value.find(|letter: char| letter.is_ascii_digit())?;
    let end = start
        + value[start..]
            .find(|letter: char| !letter.is_ascii_digit())
            .unwrap_or(value.len() - start);
    let mark = format!("{}#{}", &value[..start], &value[end..]);
    (mark != "#" && !mark.contains(|letter: char| letter.is_ascii_digit())).then_some(mark)
}

/// Whether a value is one of the two most frequent marks.
pub(super) fn test(values: &[Sample]) -> Test<'static> {
    let mut marks: Vec<(String, usize)> = Vec::new();
    for mark in values.iter().filter_map(|(value, _)| mark(value)) {
        match marks.iter_mut().find(|(own, _)| *own == mark) {
            Some((_, times)) => *times += 1,
            None => marks.push((mark, 1)),
        }
    }
    marks.sort_by_key(|(_, times)| std::cmp::Reverse(*times));
    marks.truncate(2);
    Box::new(move |value| mark(value).is_some_and(|own| marks.iter().any(|(mark, _)| *mark == own)))
}

/// A mark, and its numbers, each with its index among the values.
type Numbered<'v> = (String, Vec<(&'v str, usize)>);

/// The two marks of all values, the start first.
pub(super) fn marks(values: &[Sample]) -> Option<(String, String)> {
    let mut marks: Vec<Numbered<'_>> = Vec::new();
    for (order, (value, _)) in values.iter().enumerate() {
        let mark = mark(value)?;
        let number = value.trim_matches(|letter: char| !letter.is_ascii_digit());
        match marks.iter_mut().find(|(own, _)| *own == mark) {
            Some((_, numbers)) => numbers.push((number, order)),
            None => marks.push((mark, vec![(number, order)])),
        }
        if marks.len() > 2 {
            return None;
        }
    }
    let [(one, ones), (other, others)] = marks.as_slice() else { return None };
    // The mark that comes first with a number is the start, unless its words contradict that.
    let comes_first = |(number, order): &(&str, usize)| {
        others.iter().find(|(own, _)| own == number).map(|(_, other)| order < other)
    };
    let order: Vec<bool> = ones.iter().filter_map(comes_first).collect();
    let first = order.iter().filter(|first| **first).count();
    let says =
        |mark: &str, word: &str| vocabulary::in_code_words(mark).iter().any(|own| own == word);
    let is_turned = says(one, "finish") || says(other, "start") || first * 2 < order.len();
    let (start, finish) = if is_turned { (other, one) } else { (one, other) };
    (order.len() * 2 >= others.len().min(ones.len()) && !order.is_empty())
        .then(|| (start.clone(), finish.clone()))
}
