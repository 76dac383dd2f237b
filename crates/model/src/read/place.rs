//! From a JSON Pointer back to a line and column: one scan of the source, for just the pointers that are asked for.
//! The readers keep no positions, since a document that is right never needs one.

use rustc_hash::FxHashMap;

/// A place in a source.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// Line, from 1; 0 when the source has no such place.
    pub line: usize,
    /// Column, in characters from 1.
    pub column: usize,
    /// Byte offset of the first character of the value, or of the key for [`locate_all`]'s key places.
    pub offset: usize,
    /// Byte offset behind the last character.
    pub end: usize,
}

/// The places found by [`locate_all`].
#[derive(Clone, Debug, Default)]
pub struct Places(FxHashMap<String, Place>);

impl Places {
    /// The place of a pointer; of the nearest value that holds it where there is no such value.
    #[must_use]
    pub fn get(&self, pointer: &str) -> Place {
        let mut at = pointer;
        loop {
            if let Some(place) = self.0.get(at) {
                return *place;
            }
            match at.rfind('/') {
                Some(slash) => at = &at[..slash],
                None => return Place::default(),
            }
        }
    }
}

/// The place of one pointer.
#[must_use]
pub fn locate(source: &[u8], pointer: &str) -> Place {
    locate_all(source, [pointer]).get(pointer)
}

/// The places of many pointers, in one scan. Where a key stands twice in an object, the later one counts. The
/// source must be JSON; on anything else the scan ends early and what follows has no place.
#[must_use]
pub fn locate_all<'p>(source: &[u8], pointers: impl IntoIterator<Item = &'p str>) -> Places {
    let mut trie = Trie::default();
    for pointer in pointers {
        trie.add(pointer);
    }
    let mut scan = Scan { source, at: 0, found: Vec::new() };
    if source.starts_with(b"\xEF\xBB\xBF") {
        scan.at = 3;
    }
    scan.value(&trie, Some(0));
    let mut found = scan.found;
    found.sort_by_key(|(_, start, _)| *start);
    let mut lines = Lines { source, line: 1, line_start: 0, at: 0 };
    let mut places = FxHashMap::default();
    for (node, start, end) in found {
        let (line, column) = lines.advance(start);
        places.insert(trie.nodes[node].pointer.clone(), Place { line, column, offset: start, end });
    }
    Places(places)
}

#[derive(Default)]
struct Node {
    pointer: String,
    children: FxHashMap<String, usize>,
}

struct Trie {
    nodes: Vec<Node>,
}

impl Default for Trie {
    fn default() -> Self {
        Self { nodes: vec![Node::default()] }
    }
}

impl Trie {
    fn add(&mut self, pointer: &str) {
        let mut node = 0;
        let mut end = 0;
        for token in pointer.split('/').skip(1) {
            end += token.len() + 1;
            let key = token.replace("~1", "/").replace("~0", "~");
            node = match self.nodes[node].children.get(&key) {
                Some(child) => *child,
                None => {
                    let child = self.nodes.len();
                    self.nodes.push(Node { pointer: pointer[..end].to_owned(), children: FxHashMap::default() });
                    self.nodes[node].children.insert(key, child);
                    child
                }
            };
        }
    }
}

struct Lines<'s> {
    source: &'s [u8],
    line: usize,
    line_start: usize,
    at: usize,
}

impl Lines<'_> {
    fn advance(&mut self, to: usize) -> (usize, usize) {
        for (index, byte) in self.source[self.at..to].iter().enumerate() {
            if *byte == b'\n' {
                self.line += 1;
                self.line_start = self.at + index + 1;
            }
        }
        self.at = to;
        let start = if self.line_start == 0 && self.source.starts_with(b"\xEF\xBB\xBF") { 3 } else { self.line_start };
        (self.line, 1 + String::from_utf8_lossy(&self.source[start.min(to)..to]).chars().count())
    }
}

struct Scan<'s> {
    source: &'s [u8],
    at: usize,
    found: Vec<(usize, usize, usize)>,
}

impl Scan<'_> {
    fn space(&mut self) {
        while matches!(self.source.get(self.at), Some(b' ' | b'\t' | b'\n' | b'\r')) {
            self.at += 1;
        }
    }

    fn next_is(&mut self, byte: u8) -> bool {
        self.space();
        let is = self.source.get(self.at) == Some(&byte);
        if is {
            self.at += 1;
        }
        is
    }

    /// Scans one value. Recursion goes only as deep as the pointers that are asked for.
    fn value(&mut self, trie: &Trie, node: Option<usize>) {
        self.space();
        let start = self.at;
        let Some(node) = node else { return self.skip() };
        let mark = self.found.len();
        self.found.push((node, start, start));
        let children = &trie.nodes[node].children;
        match self.source.get(self.at) {
            Some(b'{') if !children.is_empty() => {
                self.at += 1;
                while !self.next_is(b'}') {
                    self.space();
                    let key_start = self.at;
                    if self.source.get(self.at) != Some(&b'"') {
                        return;
                    }
                    self.string();
                    let key = serde_json::from_slice::<String>(&self.source[key_start..self.at]).unwrap_or_default();
                    if !self.next_is(b':') {
                        return;
                    }
                    self.value(trie, children.get(&key).copied());
                    if !self.next_is(b',') {
                        self.next_is(b'}');
                        break;
                    }
                }
            }
            Some(b'[') if !children.is_empty() => {
                self.at += 1;
                let mut index = 0usize;
                while !self.next_is(b']') && self.at < self.source.len() {
                    self.value(trie, children.get(index.to_string().as_str()).copied());
                    index += 1;
                    if !self.next_is(b',') {
                        self.next_is(b']');
                        break;
                    }
                }
            }
            _ => self.skip(),
        }
        self.found[mark].2 = self.at;
    }

    fn string(&mut self) {
        self.at += 1;
        while let Some(byte) = self.source.get(self.at) {
            self.at += 1;
            match byte {
                b'"' => return,
                b'\\' => self.at += 1,
                _ => {}
            }
        }
        self.at = self.source.len();
    }

    fn skip(&mut self) {
        let mut depth = 0usize;
        while let Some(byte) = self.source.get(self.at) {
            match byte {
                b'"' => {
                    self.string();
                    if depth == 0 {
                        return;
                    }
                    continue;
                }
                b'{' | b'[' => depth += 1,
                b'}' | b']' if depth == 0 => return,
                b'}' | b']' => {
                    depth -= 1;
                    if depth == 0 {
                        self.at += 1;
                        return;
                    }
                }
                b',' if depth == 0 => return,
                b' ' | b'\t' | b'\n' | b'\r' if depth == 0 => return,
                _ => {}
            }
            self.at += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // RFC 6901 §5: the document and pointers of the standard; the value found must be the one it lists.
    const RFC_6901: &str = r#"{
      "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8
   }"#;

    #[test]
    fn rfc_6901_section_5() {
        for (pointer, value) in [
            ("/foo", r#"["bar", "baz"]"#),
            ("/foo/0", r#""bar""#),
            ("/", "0"),
            ("/a~1b", "1"),
            ("/c%d", "2"),
            ("/e^f", "3"),
            ("/g|h", "4"),
            ("/i\\j", "5"),
            ("/k\"l", "6"),
            ("/ ", "7"),
            ("/m~0n", "8"),
        ] {
            let place = locate(RFC_6901.as_bytes(), pointer);
            assert_eq!(&RFC_6901[place.offset..place.end], value, "{pointer}");
        }
        let whole = locate(RFC_6901.as_bytes(), "");
        assert_eq!(&RFC_6901[whole.offset..whole.end], RFC_6901);
    }

    #[test]
    fn lines_and_columns_count_characters() {
        let source = "\u{FEFF}{\n  \"é😀\": [1,\r\n  {\"x\": true}]}";
        let place = locate(source.as_bytes(), "/é😀/0");
        assert_eq!((place.line, place.column), (2, 10));
        let place = locate(source.as_bytes(), "/é😀/1/x");
        assert_eq!((place.line, place.column), (3, 9));
    }

    #[test]
    fn a_missing_value_is_placed_at_its_nearest_holder() {
        let source = "{\"a\": {\"b\": 1}}";
        assert_eq!(locate(source.as_bytes(), "/a/c/d").offset, 6);
    }

    #[test]
    fn broken_sources_end_the_scan() {
        for source in ["", "{", "[1,", "{\"a", "{\"a\":", "[[[[", "{\"a\":[1,2", "nonsense", "{,}", "[,]"] {
            let _ = locate_all(source.as_bytes(), ["/a/0", "/0/0", ""]);
        }
    }
}
