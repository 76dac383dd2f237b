//! Compares the versions of code lists and grade schemes.

/// The version that is the same number as `version`, written differently: with a `v`, a leading
/// zero, a trailing `.0`, or white space. Any other version may be one that this program does not
/// know.
pub(crate) fn same_version<'v>(version: &str, available: &[&'v str]) -> Option<&'v str> {
    let wanted = number(version);
    let mut same = available.iter().filter(|known| !wanted.is_empty() && number(known) == wanted);
    same.next().filter(|_| same.next().is_none()).copied()
}

fn number(version: &str) -> String {
    let mut text = version.trim().to_lowercase();
    for prefix in ["version", "v"] {
        text = text.strip_prefix(prefix).map(|rest| rest.trim().to_owned()).unwrap_or(text);
    }
    while let Some(rest) = text.strip_suffix(".0") {
        text = rest.to_owned();
    }
    text.trim_start_matches('0').to_owned()
}

#[cfg(test)]
mod tests {
    use super::same_version;

    #[test]
    fn only_the_spelling_may_differ() {
        for version in ["v1", "V 1", "1.0", "01", " 1 ", "version 1", "1.0.0"] {
            assert_eq!(same_version(version, &["1"]), Some("1"), "{version:?}");
        }
        for version in ["7", "10", "1.1", "", "v", "0", "1a"] {
            assert_eq!(same_version(version, &["1"]), None, "{version:?}");
        }
        assert_eq!(same_version("1", &["v1", "1.0"]), None);
    }
}
