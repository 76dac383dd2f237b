//! File names as URI references (RFC 3986), which SARIF requires.

/// A file name as a URI reference: relative as it was given, or a `file` URI if it is absolute.
pub(super) fn of_file(file: &str) -> String {
    let slashed = file.replace('\\', "/");
    if matches!(slashed.as_bytes(), [letter, b':', b'/', ..] if letter.is_ascii_alphabetic()) {
        return format!("file:///{}:{}", &slashed[..1], encoded(&slashed[2..]));
    }
    match slashed.strip_prefix("//") {
        // A network share: the host comes first.
        Some(share) if file.starts_with('\\') => format!("file://{}", encoded(share)),
        _ if slashed.starts_with('/') => format!("file://{}", encoded(&slashed)),
        _ => encoded(slashed.strip_prefix("./").unwrap_or(&slashed)),
    }
}

/// A path with every byte escaped that is reserved in a URI, or not allowed.
pub(super) fn encoded(path: &str) -> String {
    let mut out = String::new();
    for byte in path.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
                out.push(char::from(byte))
            }
            _ => {
                out.push('%');
                for nibble in [byte >> 4, byte & 15] {
                    out.push(char::from(b"0123456789ABCDEF"[usize::from(nibble)]));
                }
            }
        }
    }
    out
}
