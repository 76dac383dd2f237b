//! Detects dates, even if no pattern of a layout can read them: they are never names of pipes or
//! runs, which would make a new one for each day.

use super::Column;
use crate::draft::statistics::ColumnStatistics;
use crate::draft::vocabulary::{self, vocabulary};

/// How the names of months start, in all languages of the words, without accents.
const MONTHS: &[&str] = &[
    "jan", "ene", "gen", "feb", "fev", "mar", "maart", "mrt", "apr", "abr", "avr", "may", "mai",
    "mei", "mag", "jun", "juin", "giu", "jul", "juil", "lug", "aug", "aou", "ago", "sep", "set",
    "oct", "okt", "ott", "nov", "dec", "dez", "dic",
];

/// Whether a text is a day, a month and a year, in any order that identifies the year: it has four
/// digits or is last.
fn is_date(text: &str) -> bool {
    let parts = vocabulary::words(text);
    let number = |part: &str, least: u32, most: u32| {
        part.parse::<u32>().is_ok_and(|is| (least..=most).contains(&is))
    };
    let day = |part: &str| part.len() <= 2 && number(part, 1, 31);
    let year = |part: &str| part.len() == 4 && number(part, 1900, 2099);
    let month = |part: &str| MONTHS.iter().any(|month| part.starts_with(month));
    let parts: Vec<&str> = parts.iter().map(String::as_str).collect();
    match parts.as_slice() {
        [first, name, last] if month(name) => {
            day(first) && (year(last) || last.len() == 2 && number(last, 0, 99))
                || year(first) && day(last)
        }
        [name, first, last] if month(name) => day(first) && year(last),
        [first, second, last] => {
            let marked = text.contains(['.', '/', '-']);
            marked
                && (day(first) && day(second) && year(last)
                    || year(first) && day(second) && day(last))
        }
        _ => false,
    }
}

/// Whether a word of a heading means that its values are dates.
pub(super) fn named(heading: &[String]) -> bool {
    let known = &vocabulary().dates;
    // German joins words: the last part has the meaning.
    heading.iter().any(|word| known.contains(word) || word.ends_with("datum"))
}

/// Whether the heading of a column means that its values are dates or times of day, so that numbers
/// in it are day numbers of a spreadsheet.
pub(super) fn are_named(column: &Column) -> bool {
    let times = |word: &String| vocabulary().times.contains(word) || word.ends_with("zeit");
    column.words.iter().any(|words| named(words) || words.iter().any(times))
}

/// Whether most values are dates, in any notation.
pub(super) fn are_in(statistics: &ColumnStatistics) -> bool {
    let values = &statistics.distinct;
    let dates = values.iter().filter(|(value, _)| is_date(value)).count();
    dates > 0 && dates * 3 >= values.len() * 2
}

#[cfg(test)]
mod tests {
    use super::is_date;

    #[test]
    fn dates_are_distinguished_from_names_of_pipes() {
        for date in [
            "03-May-26",
            "3 May 2026",
            "3. März 2026",
            "May 3, 2026",
            "2026-may-03",
            "03.05.2026",
            "2026.5.3",
        ] {
            assert!(is_date(date), "{date}");
        }
        for name in
            ["MAR-01-26", "P1", "12-45-2026", "1-2-3", "A-12-2026", "May", "2026", "MH 12 May", ""]
        {
            assert!(!is_date(name), "{name}");
        }
    }
}
