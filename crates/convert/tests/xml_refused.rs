//! What the XML reader refuses, and its messages. The rules of well-formedness are those of XML 1.0
//! (fifth edition) and Namespaces in XML 1.0; `tests/interop/test_xml.py` gives the same documents
//! to independent validators.
#![cfg(feature = "xml")]
#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use obvert_convert::{ConvertError, xml};

const DOCUMENT: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<survey xmlns="https://obvert.example/ns/0.2">
  <obvert>0.2</obvert>
  <id>d</id>
  <issued>2026-05-06T16:20:00-05:00</issued>
  <units><length>ft</length><section>in</section></units>
  <crs>EPSG:6594</crs>
  <vertical>NAVD 88</vertical>
  <coding><list>l</list><version>1</version></coding>
  <extensions><extension name="org.example.x">{"a":[1,null]}</extension></extensions>
  <structures>
    <structure><id>a</id><kind>manhole</kind><position>10 20.5</position></structure>
    <structure><id>b</id><kind>outfall</kind></structure>
  </structures>
  <pipes>
    <pipe><id>p</id><upstream>a</upstream><downstream>b</downstream><length>212.4</length><laid>1968</laid></pipe>
  </pipes>
  <runs>
    <run><id>r</id><pipe>p</pipe><direction>downstream</direction><equipment><item>e</item></equipment><observations>
      <observation><id>1</id><at>0</at><code>x</code><joint>true</joint><media><media_ref><id>m</id></media_ref></media></observation>
      <observation><id>2</id><at>12.4</at><code>y</code><remark>seen</remark></observation>
    </observations></run>
  </runs>
</survey>
"#;

/// Every problem of a source, one per line; empty if it is accepted.
fn problems(source: &[u8]) -> String {
    match xml::read(source, "x.xml") {
        Ok(_) => String::new(),
        Err(ConvertError::Structure(problems)) => {
            problems.iter().map(|problem| format!("{problem}\n")).collect()
        }
        Err(error) => format!("{error}\n"),
    }
}

#[test]
fn the_base_document_of_the_cases_is_accepted() {
    assert_eq!(problems(DOCUMENT.as_bytes()), "");
}

/// The replaced text, its replacement, and the message.
#[test]
fn each_change_is_refused_at_its_location() {
    let cases: &[(&str, &str, &str)] = &[
        // The tags.
        ("</pipes>", "</pipe>", "x.xml:17:3: not well-formed XML"),
        (
            "</survey>\n",
            "",
            "x.xml:24:1: the file ends inside <survey>, which starts on line 2; the file is cut off",
        ),
        ("</survey>\n", "</surv", "x.xml:24:1: not well-formed XML: syntax error: tag not closed"),
        ("</survey>\n", "</survey><survey/>", "a second root element"),
        (
            "</survey>\n",
            "</survey>x",
            "x.xml:24:10: not well-formed XML: text outside the root element",
        ),
        ("</survey>\n", "</survey>&lt;", "text outside the root element"),
        ("</survey>\n", "</survey><![CDATA[]]>", "text outside the root element"),
        ("</survey>\n", "</survey></survey>", "not well-formed XML"),
        ("<id>d</id>", "< id>d</id>", "is not a valid name of an element"),
        ("<id>d</id>", "<id>d</ id>", "not well-formed XML"),
        ("<id>d</id>", "<id / >", "x.xml:4:7: not well-formed XML: this is not an attribute"),
        ("<id>d</id>", "<id>d]]></id>", "]]> in a text"),
        ("<id>d</id>", "<id>d<!-- -- --></id>", "not well-formed XML"),
        ("<id>d</id>", "<id>a & b</id>", "x.xml:4:9: not well-formed XML"),
        (
            "<id>d</id>",
            "<id>&nbsp;</id>",
            "x.xml:4:7: the reference &nbsp; is not defined; use &lt; &gt; &amp;",
        ),
        ("<id>d</id>", "<id>&#1;</id>", "the reference &#1; is not defined"),
        ("<id>d</id>", "<id>&#xFFFE;</id>", "the reference &#xFFFE; is not defined"),
        (
            "<id>d</id>",
            "<id>d\u{1}</id>",
            "x.xml:4:8: XML 1.0 does not allow the character U+0001; write the text as a JSON string",
        ),
        ("<id>d</id>", "<id>d\u{ffff}</id>", "XML 1.0 does not allow the character U+FFFF"),
        ("<id>d</id>", "<o:id>d</o:id>", "x.xml:4:3: not well-formed XML: the prefix \"o\""),
        ("<id>d</id>", "<id o:a='1'>d</id>", "the prefix \"o\" is not declared"),
        ("<id>d</id>", "<id xmlns:o=''>d</id>", "the prefix \"o\" has an empty namespace"),
        (
            "<id>d</id>",
            "<id encoding='json' encoding='json'>\"d\"</id>",
            "the attribute \"encoding\" is duplicated",
        ),
        ("<id>d</id>", "<id encoding=json>\"d\"</id>", "this is not an attribute"),
        // XML features that the format does not use.
        (
            "<survey",
            "<!DOCTYPE survey [<!ENTITY a 'b'>]>\n<survey",
            "x.xml:2:1: document type declarations are not read",
        ),
        (
            "<survey",
            "<!DOCTYPE survey SYSTEM 'file:///etc/passwd'>\n<survey",
            "document type declarations are not read",
        ),
        (
            "<survey",
            "<?xml-stylesheet href='a'?>\n<survey",
            "x.xml:2:1: the format has no processing instructions",
        ),
        ("<id>d</id>", "<id><?php x ?>d</id>", "the format has no processing instructions"),
        ("<?xml version", " <?xml version", "the XML declaration must be first"),
        (
            "version=\"1.0\"",
            "version=\"1.1\"",
            "x.xml:1:1: XML version \"1.1\" is not supported; save the document as XML 1.0",
        ),
        (
            "encoding=\"UTF-8\"",
            "encoding=\"ISO-8859-1\"",
            "the encoding is \"ISO-8859-1\"; save the document as UTF-8 and declare it",
        ),
        ("encoding=\"UTF-8\"", "standalone=\"maybe\"", "write the XML declaration as"),
        ("version=\"1.0\" ", "", "write the XML declaration as"),
        // The namespace and the version.
        (
            "ns/0.2",
            "ns/0.3",
            "x.xml:2:1: the document has version \"0.3\" of the format; this reader supports version \"0.2\"",
        ),
        (" xmlns=\"https://obvert.example/ns/0.2\"", "", "has no namespace; write <survey xmlns="),
        (
            "https://obvert.example/ns/0.2",
            "http://www.example.org/x",
            "is in the namespace \"http://www.example.org/x\"",
        ),
        (
            "<obvert>0.2<",
            "<obvert>0.3<",
            "x.xml:3:3: /obvert: the document is of version \"0.3\" of the format",
        ),
        // Elements.
        (
            "<vertical>NAVD 88</vertical>",
            "<vertcal>NAVD 88</vertcal>",
            "x.xml:8:3: /vertcal: unknown element <vertcal> in <survey>; put your own data into <extensions>; did you mean \"vertical\"?",
        ),
        (
            "<kind>outfall</kind>",
            "<Kind>outfall</Kind>",
            "x.xml:13:26: /structures/1/Kind: unknown element <Kind> in <structure>; put your own data into <extensions>; did you mean \"kind\"?",
        ),
        (
            "<id>d</id>",
            "<id>d</id><id>e</id>",
            "x.xml:4:13: /id: the element <id> is duplicated in <survey>; keep one",
        ),
        (
            "<id>d</id>",
            "<x xmlns='http://www.example.org/x'><y/></x><id>d</id>",
            "the element <x> is in the namespace \"http://www.example.org/x\"",
        ),
        (
            "<id>d</id>",
            "<id xmlns=''>d</id>",
            "x.xml:4:3: /id: the element <id> has no namespace; use that of the format",
        ),
        (
            "<list>l</list><version>1</version>",
            "<version>1</version><list>l</list>",
            "x.xml:9:31: <list> is after <version>; put elements in the order of the schema, where <list> is before version, extensions",
        ),
        (
            "<pipe><id>p</id>",
            "<pipes><id>p</id></pipes><pipe><id>p</id>",
            "unknown element <pipes> in <pipes>",
        ),
        (
            "<item>e</item>",
            "<equipment>e</equipment>",
            "x.xml:19:78: /runs/0/equipment/equipment: unknown element <equipment> in <equipment>, which contains <item>",
        ),
        ("<item>e</item>", "e", "text between the elements of <equipment>: \"e\""),
        (
            "<media_ref><id>m</id></media_ref>",
            "<item>m</item>",
            "unknown element <item> in <media>",
        ),
        (
            "  <units>",
            "  some words <units>",
            "x.xml:6:3: the document: text between the elements of <survey>: \"some words\"",
        ),
        (
            "<id>d</id>",
            "<id><b>d</b></id>",
            "x.xml:4:7: /id: the element <b> is in <id>, which contains text only; remove the tags",
        ),
        (
            "<at>12.4</at>",
            "<at>12<b/>.4</at>",
            "the element <b> is in <at>, which contains text only; remove the tags",
        ),
        ("<section>in</section>", "", "x.xml:6:3: /units: the key \"section\" is missing"),
        // Attributes.
        (
            "<structure><id>b",
            "<structure id='b'><id>b",
            "x.xml:13:16: /structures/1/@id: unknown attribute \"id\" of <structure>; write values as elements",
        ),
        ("<survey ", "<survey version='0.1' ", "unknown attribute \"version\" of <survey>"),
        ("<remark>", "<remark enconding='json'>", "did you mean \"encoding\"?"),
        ("<remark>", "<remark xml:space='preserve'>", "unknown attribute \"xml:space\""),
        (
            "<remark>",
            "<remark encoding='base64'>",
            "unknown encoding \"base64\"; use \"json\" or no encoding",
        ),
        (
            "<remark>",
            "<remark encoding='json'>",
            "must be a JSON string in double quotation marks; found \"seen\"",
        ),
        (
            "<at>12.4</at>",
            "<at encoding='json'>12.4</at>",
            "unknown attribute \"encoding\" of <at>",
        ),
        (
            "<remark>",
            "<remark xmlns:i='http://www.w3.org/2001/XMLSchema-instance' i:nil='true'>",
            "unknown attribute \"i:nil\"",
        ),
        // Values.
        (
            "<remark>seen</remark>",
            "<remark/>",
            "x.xml:21:57: /runs/0/observations/1/remark: empty text",
        ),
        ("<remark>seen</remark>", "<remark> \n </remark>", "empty text"),
        ("<remark>seen</remark>", "<remark encoding='json'>\"\"</remark>", "empty text"),
        (
            "12.4</at>",
            "12,4</at>",
            "x.xml:21:30: /runs/0/observations/1/at: expected a number as JSON writes it, such as 0.5 or -12; found \"12,4\"",
        ),
        ("12.4</at>", "+12.4</at>", "expected a number"),
        ("12.4</at>", ".5</at>", "expected a number"),
        ("12.4</at>", "012.4</at>", "expected a number"),
        ("12.4</at>", "NaN</at>", "expected a number"),
        ("12.4</at>", "INF</at>", "expected a number"),
        ("12.4</at>", "</at>", "expected a number"),
        ("12.4</at>", "12.4 ft</at>", "expected a number"),
        ("12.4</at>", "9007199254740993</at>", "/runs/0/observations/1/at: "),
        ("12.4</at>", "1e400</at>", "/runs/0/observations/1/at: "),
        ("<laid>1968</laid>", "<laid>1968.0</laid>", "expected a whole number"),
        ("<laid>1968</laid>", "<laid>-1</laid>", "expected a whole number"),
        ("<laid>1968</laid>", "<laid>10000</laid>", "10000 is above the limit of 9999"),
        (
            "<joint>true</joint>",
            "<joint>1</joint>",
            "x.xml:20:54: /runs/0/observations/0/joint: expected true or false; found \"1\"",
        ),
        ("<joint>true</joint>", "<joint>True</joint>", "expected true or false"),
        (
            "10 20.5",
            "10,20.5",
            "expected two numbers separated by a space, easting or longitude first; found \"10,20.5\"",
        ),
        ("10 20.5", "10", "expected two numbers"),
        ("10 20.5", "10 20 30", "expected two numbers"),
        ("<kind>outfall<", "<kind>out-fall<", "did you mean \"outfall\"?"),
        (
            "16:20:00-05:00",
            "16:20:00",
            "x.xml:5:3: /issued: \"2026-05-06T16:20:00\" is not a date, time and offset",
        ),
        ("EPSG:6594", "6594", "/crs: \"6594\" is not authority:code"),
        (
            "<structure><id>b",
            "<structure><id>a",
            "x.xml:13:16: /structures/1/id: the id \"a\" is a duplicate",
        ),
        (
            "<observation><id>2",
            "<observation><id encoding='json'>\"\\u0031\"",
            "the id \"1\" is a duplicate",
        ),
        // Extensions.
        (
            " name=\"org.example.x\"",
            "",
            "<extension> has no \"name\"; add it, a reverse domain name",
        ),
        ("name=\"org.example.x\"", "name=\"example\"", "is not a reverse domain name"),
        (
            "name=\"org.example.x\"",
            "nam=\"org.example.x\"",
            "unknown attribute \"nam\" of <extension>; write values as elements; did you mean \"name\"?",
        ),
        ("{\"a\":[1,null]}", "{'a'}", "the value of an extension is not JSON"),
        ("{\"a\":[1,null]}", "", "an extension has no value"),
        ("{\"a\":[1,null]}", "{\"a\":1,\"a\":2}", "duplicate key \"a\""),
        ("{\"a\":[1,null]}", "9007199254740993", "the value of an extension is not JSON"),
        (
            "{\"a\":[1,null]}",
            "<a/>",
            "the element <a> is in <extension>, which contains text only; remove the tags",
        ),
        ("<extension name=\"org.example.x\">{\"a\":[1,null]}</extension>", "", "/extensions: "),
        (
            "</extensions>",
            "<extension name=\"org.example.x\">1</extension></extensions>",
            "the extension \"org.example.x\" is duplicated",
        ),
    ];
    let mut failures = String::new();
    for (what, with, says) in cases {
        assert!(DOCUMENT.contains(what), "{what}");
        let messages = problems(DOCUMENT.replacen(what, with, 1).as_bytes());
        let well_put = |line: &str| line.starts_with("x.xml:") && !line.ends_with('.');
        if !messages.contains(says) || !messages.lines().all(well_put) {
            failures.push_str(&format!(
                "{what:?} as {with:?}\n reported: {messages} expected: {says}\n"
            ));
        }
    }
    assert!(failures.is_empty(), "{failures}");
}

#[test]
fn all_problems_are_reported_in_the_order_of_the_file() {
    let changed = DOCUMENT
        .replace("<vertical>", "<vertcal>")
        .replace("</vertical>", "</vertcal>")
        .replace("<kind>outfall", "<kind>outfal")
        .replace("<at>12.4", "<at>12,4")
        .replace("<joint>true", "<joint>yes")
        .replace("<upstream>a</upstream>", "");
    let messages = problems(changed.as_bytes());
    let lines: Vec<&str> =
        messages.lines().map(|line| line.split(": ").nth(1).unwrap_or_default()).collect();
    assert_eq!(
        lines,
        [
            "/vertcal",
            "/structures/1/kind",
            "/pipes/0",
            "/runs/0/observations/0/joint",
            "/runs/0/observations/1/at"
        ],
        "{messages}"
    );
}

#[test]
fn a_file_of_another_kind_is_recognised() {
    let wide = |big: bool, mark: bool| -> Vec<u8> {
        let units = mark.then_some(0xFEFF).into_iter().chain(DOCUMENT.encode_utf16());
        units.flat_map(|unit| if big { unit.to_be_bytes() } else { unit.to_le_bytes() }).collect()
    };
    let latin: Vec<u8> =
        DOCUMENT.replace("seen", "gesehen \u{e9}").chars().map(|letter| letter as u8).collect();
    let cases: Vec<(Vec<u8>, &str)> = vec![
        (Vec::new(), "x.xml:1: the source is empty"),
        (b" \n".to_vec(), "the source is empty"),
        (b"\xEF\xBB\xBF".to_vec(), "the source is empty"),
        (b"<".to_vec(), "not well-formed XML"),
        (b"<!-- only a comment -->".to_vec(), "the file has no <survey> element"),
        (
            wide(false, true),
            "x.xml:1: not UTF-8 text (it starts like UTF-16 or UTF-32); save the document as UTF-8",
        ),
        (wide(true, true), "it starts like UTF-16"),
        (wide(false, false), "it starts like UTF-16"),
        (wide(true, false), "it starts like UTF-16"),
        (
            latin,
            "x.xml:21: not UTF-8 text (it looks like an older single-byte encoding); save the document as UTF-8",
        ),
        (DOCUMENT.as_bytes().iter().copied().chain([0xC3]).collect(), "it ends inside a character"),
        (b"PK\x03\x04rest".to_vec(), "a zip archive"),
        (b"\x1f\x8b\x08".to_vec(), "a gzip archive"),
        (b"\x89PNG\r\n\x1a\n\0\0".to_vec(), "not UTF-8 text (it looks binary)"),
        (b"{\"obvert\": \"0.1\"}".to_vec(), "this looks like JSON, not XML"),
        (b"id,at,code\n1,2,3\n".to_vec(), "not XML: it does not start with a tag"),
    ];
    for (source, says) in cases {
        let messages = problems(&source);
        assert!(messages.contains(says), "{says}: {messages}");
    }
}

#[test]
fn a_document_truncated_anywhere_is_refused() {
    let complete = DOCUMENT.trim_end();
    for end in 0..complete.len() {
        assert!(!problems(&complete.as_bytes()[..end]).is_empty(), "cut off at {end}");
    }
}

/// A document type with growing entities (CWE-776), one that fetches a file (CWE-611), deeply
/// nested elements, and excessive namespaces.
#[test]
fn attacks_end_early() {
    let bomb = "<!DOCTYPE survey [<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;\">]><survey>&b;</survey>";
    assert!(problems(bomb.as_bytes()).contains("document type declarations are not read"));
    let fetch = "<!DOCTYPE survey [<!ENTITY a SYSTEM \"file:///etc/passwd\">]><survey>&a;</survey>";
    assert!(problems(fetch.as_bytes()).contains("document type declarations are not read"));
    let deep = DOCUMENT.replace("<id>d</id>", &"<a>".repeat(100_000));
    assert!(problems(deep.as_bytes()).contains("elements are nested more than 64 deep"));
    let json = DOCUMENT.replace("{\"a\":[1,null]}", &"[".repeat(100_000));
    assert!(problems(json.as_bytes()).contains("recursion limit exceeded"));
    let bindings: String = (0..1000).map(|n| format!(" xmlns:a{n}='x'")).collect();
    let bound = DOCUMENT.replace("<id>d", &format!("<id{bindings}>d"));
    assert!(problems(bound.as_bytes()).contains("not well-formed XML"));
    let many: String = (0..20_000).map(|n| format!("<x{n}/>")).collect();
    let unknown = DOCUMENT.replace("<id>d</id>", &format!("<id>d</id>{many}"));
    assert_eq!(problems(unknown.as_bytes()).lines().count(), 20_000);
}
