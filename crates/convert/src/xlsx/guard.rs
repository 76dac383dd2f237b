//! Checks before a workbook is given to the library: that it is a workbook, and that it is within
//! the limits for unpacking. The library has no limits.

use super::ZipLimits;
use crate::unpack;

/// Starts a document type declaration, which no workbook has, and with which XML can expand or
/// fetch content.
const DECLARATION: &[u8] = b"<!DOCTYPE";

/// Refuses a file that is not a workbook, or that is beyond the limits for unpacking.
pub(super) fn look_at(workbook: &[u8], limits: ZipLimits) -> Result<(), String> {
    if workbook.starts_with(b"\xD0\xCF\x11\xE0") {
        return Err(
            "an old workbook (.xls), or one with a password; save it as .xlsx without a password"
                .to_owned(),
        );
    }
    if !workbook.starts_with(b"PK") {
        return Err("not a workbook (.xlsx): it is not a zip archive".to_owned());
    }
    let mut archive = unpack::open(workbook)?;
    let mut left = limits.total;
    let mut found = false;
    for index in 0..archive.len() {
        let entry = archive.by_index_raw(index).map_err(|error| unpack::damaged(&error))?;
        let path = unpack::path_of(&entry)?;
        if entry.encrypted() {
            return Err(format!("{path} in it is encrypted; save the workbook without a password"));
        }
        drop(entry);
        found |= path == "[Content_Types].xml";
        let text =
            [".xml", ".rels"].iter().any(|ending| path.to_ascii_lowercase().ends_with(ending));
        let mut last: Vec<u8> = Vec::new();
        let entry = archive
            .by_index(index)
            .map_err(|error| format!("{path} cannot be unpacked: {error}"))?;
        unpack::inflate(entry, &path, limits, &mut left, |piece| {
            if !text {
                return Ok(());
            }
            // A declaration may start in one piece and end in the next.
            last.extend_from_slice(piece);
            if holds(&last, DECLARATION) {
                return Err(format!(
                    "{path} in it has a document type declaration, which no workbook has; save the workbook again"
                ));
            }
            last.drain(..last.len().saturating_sub(DECLARATION.len() - 1));
            Ok(())
        })?;
    }
    if found { Ok(()) } else { Err("a zip archive, but not a workbook (.xlsx)".to_owned()) }
}

fn holds(bytes: &[u8], needle: &[u8]) -> bool {
    let mut rest = bytes;
    while let Some(at) = rest.iter().position(|byte| byte.eq_ignore_ascii_case(&needle[0])) {
        let from = rest.get(at..).unwrap_or_default();
        if from.get(..needle.len()).is_some_and(|begin| begin.eq_ignore_ascii_case(needle)) {
            return true;
        }
        rest = from.get(1..).unwrap_or_default();
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_declaration_is_found_anywhere() {
        assert!(holds(b"<?xml version=\"1.0\"?><<!doctype x>", DECLARATION));
        assert!(!holds(b"<!DOCTYP", DECLARATION));
        assert!(!holds(b"<!-- DOCTYPE -->", DECLARATION));
    }
}
