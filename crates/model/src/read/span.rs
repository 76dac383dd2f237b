//! Finds the line and column of JSON Pointers, in one scan of the source. Readers keep no
//! positions, since a valid document needs none.

use rustc_hash::FxHashMap;

use super::scan;

/// A location in a source.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Span {
    /// Line, from 1; 0 if the source has no such location.
    pub line: usize,
    /// Column, in characters from 1.
    pub column: usize,
    /// Byte offset of the first character.
    pub offset: usize,
    /// Byte offset after the last character.
    pub end: usize,
}

/// The locations found by [`locate_all`].
#[derive(Clone, Debug, Default)]
pub struct Spans(FxHashMap<String, Pair>);

#[derive(Clone, Copy, Debug)]
struct Pair {
    value: Span,
    key: Option<Span>,
}

impl Spans {
    /// The location of the value at a pointer; if there is none, of its nearest ancestor.
    #[must_use]
    pub fn get(&self, pointer: &str) -> Span {
        self.find(pointer).map_or_else(Span::default, |spot| spot.value)
    }

    /// The location of the key of the value at a pointer, including quotes; for an item of a list,
    /// of the value.
    #[must_use]
    pub fn key(&self, pointer: &str) -> Span {
        self.find(pointer).map_or_else(Span::default, |spot| spot.key.unwrap_or(spot.value))
    }

    fn find(&self, pointer: &str) -> Option<Pair> {
        let mut at = pointer;
        loop {
            if let Some(spot) = self.0.get(at) {
                return Some(*spot);
            }
            at = &at[..at.rfind('/')?];
        }
    }
}

/// The location of one pointer.
#[must_use]
pub fn locate(source: &[u8], pointer: &str) -> Span {
    locate_all(source, [pointer]).get(pointer)
}

/// The locations of many pointers, in one scan. Of duplicate keys, the last one counts. The source
/// must be JSON; otherwise the scan ends early and the rest has no location.
#[must_use]
pub fn locate_all<'p>(source: &[u8], pointers: impl IntoIterator<Item = &'p str>) -> Spans {
    let mut trie = Trie::default();
    for pointer in pointers {
        trie.add(pointer);
    }
    let mut scan = Scan { source, at: 0, found: Vec::new() };
    if source.starts_with(b"\xEF\xBB\xBF") {
        scan.at = 3;
    }
    scan.value(&trie, Some(0), None);
    let found = scan.found;
    let mut offsets: Vec<usize> =
        found.iter().flat_map(|f| [Some(f.start), f.key.map(|key| key.0)]).flatten().collect();
    offsets.sort_unstable();
    let mut lines = Lines::new(source);
    let positions: FxHashMap<usize, (usize, usize)> =
        offsets.into_iter().map(|offset| (offset, lines.advance(offset))).collect();
    let place = |offset, end| {
        let (line, column) = positions.get(&offset).copied().unwrap_or_default();
        Span { line, column, offset, end }
    };
    let spots = found.into_iter().map(|f| {
        let spot =
            Pair { value: place(f.start, f.end), key: f.key.map(|(start, end)| place(start, end)) };
        (trie.nodes[f.node].pointer.clone(), spot)
    });
    Spans(spots.collect())
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
        if !pointer.starts_with('/') {
            return;
        }
        let mut node = 0;
        let mut end = 0;
        for token in pointer.split('/').skip(1) {
            end += token.len() + 1;
            let key = token.replace("~1", "/").replace("~0", "~");
            node = match self.nodes[node].children.get(&key) {
                Some(child) => *child,
                None => {
                    let child = self.nodes.len();
                    self.nodes.push(Node {
                        pointer: pointer[..end].to_owned(),
                        children: FxHashMap::default(),
                    });
                    self.nodes[node].children.insert(key, child);
                    child
                }
            };
        }
    }
}

/// Counts lines and characters forward only, so that many locations on one long line cost one pass.
#[derive(Clone, Debug)]
pub(super) struct Lines<'s> {
    source: &'s [u8],
    line: usize,
    column: usize,
    at: usize,
}

impl<'s> Lines<'s> {
    pub(super) fn new(source: &'s [u8]) -> Self {
        // A byte-order mark has no column.
        let at = if source.starts_with(b"\xEF\xBB\xBF") { 3 } else { 0 };
        Self { source, line: 1, column: 1, at }
    }

    pub(super) fn advance(&mut self, to: usize) -> (usize, usize) {
        for byte in self.source.get(self.at..to).unwrap_or_default() {
            match byte {
                b'\n' => (self.line, self.column) = (self.line + 1, 1),
                // Continuation bytes of a character.
                0x80..=0xBF => {}
                _ => self.column += 1,
            }
        }
        self.at = self.at.max(to);
        (self.line, self.column)
    }
}

struct Found {
    node: usize,
    start: usize,
    end: usize,
    key: Option<(usize, usize)>,
}

struct Scan<'s> {
    source: &'s [u8],
    at: usize,
    found: Vec<Found>,
}

impl Scan<'_> {
    fn space(&mut self) {
        self.at = scan::skip_space(self.source, self.at);
    }

    fn next_is(&mut self, byte: u8) -> bool {
        self.space();
        let is = self.source.get(self.at) == Some(&byte);
        if is {
            self.at += 1;
        }
        is
    }

    /// Scans one value. Recursion is only as deep as the pointers.
    fn value(&mut self, trie: &Trie, node: Option<usize>, key: Option<(usize, usize)>) {
        self.space();
        let start = self.at;
        let Some(node) = node else { return self.skip() };
        let mark = self.found.len();
        self.found.push(Found { node, start, end: start, key });
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
                    let key_end = self.at;
                    let key = serde_json::from_slice::<String>(&self.source[key_start..key_end])
                        .unwrap_or_default();
                    if !self.next_is(b':') {
                        return;
                    }
                    self.value(trie, children.get(&key).copied(), Some((key_start, key_end)));
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
                    self.value(trie, children.get(index.to_string().as_str()).copied(), None);
                    index += 1;
                    if !self.next_is(b',') {
                        self.next_is(b']');
                        break;
                    }
                }
            }
            _ => self.skip(),
        }
        self.found[mark].end = self.at;
    }

    /// A string, or the rest of the source if it does not end.
    fn string(&mut self) {
        self.at = scan::string_end(self.source, self.at).unwrap_or(self.source.len());
    }

    /// Skips any value; nothing if none begins here.
    fn skip(&mut self) {
        let cut_off = || if self.begins_value() { self.source.len() } else { self.at };
        self.at = scan::value_end(self.source, self.at).unwrap_or_else(cut_off);
    }

    fn begins_value(&self) -> bool {
        self.source.get(self.at).is_some_and(|byte| !b",:]} \t\n\r".contains(byte))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // RFC 6901 §5: the document and pointers of the standard, with the values that it lists.
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
    fn keys_have_places_of_their_own() {
        let source = "{\"a\": {\n\"b\\u0063\": [1]}}";
        let places = locate_all(source.as_bytes(), ["/a/bc/0", ""]);
        let key = places.key("/a/bc");
        assert_eq!(&source[key.offset..key.end], "\"b\\u0063\"");
        assert_eq!((key.line, key.column), (2, 1));
        assert_eq!(places.key("/a/bc/0"), places.get("/a/bc/0"));
        assert_eq!(places.key("").offset, 0);
    }

    #[test]
    fn a_missing_value_is_placed_at_its_nearest_holder() {
        let source = "{\"a\": {\"b\": 1}}";
        assert_eq!(locate(source.as_bytes(), "/a/c/d").offset, 6);
    }

    #[test]
    fn broken_sources_end_the_scan() {
        for source in
            ["", "{", "[1,", "{\"a", "{\"a\":", "[[[[", "{\"a\":[1,2", "nonsense", "{,}", "[,]"]
        {
            let _ = locate_all(source.as_bytes(), ["/a/0", "/0/0", ""]);
        }
    }
}
