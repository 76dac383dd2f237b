//! See the rule's documentation below.

use obvert_model::edit::Edit;

use crate::sink::Sink;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// The path of a media file is not relative, or cannot exist on every computer.
    ///
    /// # Exactly
    /// A path is not portable if it contains `://` or `\`, begins with `/`, has `:` as its second
    /// character, or has a part between `/` that
    ///
    /// - is empty, `.` or `..`;
    /// - ends in a dot or a space;
    /// - has a control character or one of `< > : " | ? *`;
    /// - is longer than 255 bytes of UTF-8; or
    /// - is, up to its first dot, without spaces at its end and ignoring case, `con`, `prn`, `aux`,
    ///   `nul`, or `com` or `lpt` with a digit from 1 to 9.
    ///
    /// # Why it matters
    /// An absolute path leads nowhere on another computer, and a name that Windows does not allow
    /// is lost when the delivery is unpacked there.
    ///
    /// # Source
    /// Reserved characters and names: Microsoft, "Naming Files, Paths, and Namespaces", from
    /// memory.
    ///
    /// # Fails
    /// At `/media/0/file`:
    /// ```json
    /// [{"op": "replace", "path": "/media/0/file", "value": "C:\\survey\\lm014_001.jpg"}]
    /// ```
    /// At `/media/0/file`:
    /// ```json
    /// [{"op": "replace", "path": "/media/0/file", "value": "photos\\lm014_001.jpg"}]
    /// ```
    /// At `/media/0/file`:
    /// ```json
    /// [{"op": "replace", "path": "/media/0/file", "value": "photos/../lm014_001.jpg"}]
    /// ```
    /// At `/media/0/file`:
    /// ```json
    /// [{"op": "replace", "path": "/media/0/file", "value": "photos/aux.jpg"}]
    /// ```
    /// At `/media/0/file`:
    /// ```json
    /// [{"op": "replace", "path": "/media/0/file", "value": "photos/is this it?.jpg"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/media/0/file", "value": "Fotos 2026/Schacht Nº 14 (Übersicht).jpg"}]
    /// ```
    ///
    /// # Fix
    /// Put the files in a folder next to the document and name them from there, with `/` between
    /// folders.
    name: "media-path-unportable", severity: Warning, scope: Media, since: "0.1", clause: "media#paths",
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let file = view.media.file.as_str();
    if let Some(why) = unportable(file) {
        let finding = out.report(view.subject("/file"), format!("{file:?} {why}"));
        let slashed = file.replace('\\', "/");
        if slashed != file && unportable(&slashed).is_none() {
            let edits = vec![Edit::replace(view.subject("/file").path, slashed)];
            finding.fix_safely("writes / between folders", edits);
        }
    }
}

/// Why a path is not portable, where it is not.
fn unportable(path: &str) -> Option<&'static str> {
    if path.contains("://") {
        return Some("is an address, not a path relative to the document");
    }
    if path.contains('\\') {
        return Some("has \\ between folders, which only Windows understands");
    }
    if path.starts_with('/') || path.as_bytes().get(1) == Some(&b':') {
        return Some("is an absolute path, not one relative to the document");
    }
    path.split('/').find_map(|part| match part {
        "" | "." | ".." => Some("has an empty part, `.` or `..`"),
        _ if part.ends_with(['.', ' ']) => {
            Some("has a part that ends in a dot or a space, which Windows drops")
        }
        _ if part.chars().any(|c| c.is_control() || "<>:\"|?*".contains(c)) => {
            Some("has a character that Windows does not allow in a name")
        }
        // The limit of most file systems, in bytes or in characters: the stricter of the two.
        _ if part.len() > 255 => {
            Some("has a name of more than 255 bytes, which most file systems do not allow")
        }
        _ if reserved(part) => Some("has a name that Windows reserves for devices"),
        _ => None,
    })
}

fn reserved(part: &str) -> bool {
    let stem = part.split('.').next().unwrap_or(part).trim_end();
    let numbered = |name: &str| {
        stem.len() == 4
            && stem[..3].eq_ignore_ascii_case(name)
            && (b'1'..=b'9').contains(&stem.as_bytes()[3])
    };
    ["con", "prn", "aux", "nul"].iter().any(|name| stem.eq_ignore_ascii_case(name))
        || (stem.is_ascii() && (numbered("com") || numbered("lpt")))
}

#[cfg(test)]
mod tests {
    use super::unportable;

    // Microsoft, "Naming Files, Paths, and Namespaces", from memory.
    #[test]
    fn names_that_some_computers_refuse() {
        for path in [
            "a/COM1",
            "lpt9.txt",
            "x/nul",
            "a?.jpg",
            "a/b.jpg ",
            "a./b",
            "C:x.jpg",
            "/a",
            "\\\\pc\\a",
            "a//b",
        ] {
            assert!(unportable(path).is_some(), "{path}");
        }
        assert!(unportable(&"x".repeat(256)).is_some());
        assert!(
            unportable("https://larkmoor.example/a.jpg").is_some_and(|why| why.contains("address"))
        );
    }

    #[test]
    fn names_that_only_look_like_it() {
        for path in [
            "com/lpt/console.jpg",
            "COM10.jpg",
            "com0",
            "auxiliary/a.jpg",
            ".hidden",
            "a..b/ç ü.jpg",
            "nul-1.jpg",
        ] {
            assert_eq!(unportable(path), None, "{path}");
        }
        assert_eq!(unportable(&"x".repeat(255)), None);
    }
}
