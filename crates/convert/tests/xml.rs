//! The XML format: every valid document round-trips byte for byte, and errors are reported with
//! their location.
#![cfg(feature = "xml")]
#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use obvert_convert::{ConvertError, xml};
use obvert_model::tables::Document;
use proptest::prelude::*;

fn written(document: &Document) -> String {
    let mut bytes = Vec::new();
    let loss = xml::write(document, &mut bytes).unwrap();
    assert!(loss.is_empty());
    String::from_utf8(bytes).unwrap()
}

#[track_caller]
fn read(text: &str) -> Document {
    match xml::read(text.as_bytes(), "survey.xml") {
        Ok(survey) => survey.document,
        Err(ConvertError::Structure(problems)) => {
            let list: Vec<String> = problems.iter().map(ToString::to_string).collect();
            panic!("{}\n{text}", list.join("\n"));
        }
        Err(error) => panic!("{error}\n{text}"),
    }
}

proptest! {
    #![proptest_config(common::cases(96))]

    #[test]
    fn every_document_round_trips(document in common::documents()) {
        let text = written(&document);
        let again = read(&text);
        common::assert_same(&document, &again);
        prop_assert_eq!(written(&again), text);
    }

    /// No input makes the reader panic.
    #[test]
    fn any_bytes_give_a_verdict(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = xml::read(&bytes, "x");
    }

    /// Closer to the grammar than arbitrary bytes: a valid document with one part replaced.
    #[test]
    fn a_damaged_document_gives_a_verdict(
        at in 0.0..1.0_f64,
        length in 0_usize..20,
        with in prop::sample::select(&["", "<", ">", "&", "\"", "</", "/>", "<a>", "<!--", "<![CDATA[", "]]>", "&#0;", "<?x?>",
            "<!DOCTYPE a>", "\u{0}", "\u{ffff}", "é", " ", "<item>", "</run>", "xmlns=''", "encoding=\"json\""][..]),
    ) {
        let mut text = written(&common::document_of(common::full(1)));
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)]
        let mut from = (text.len() as f64 * at) as usize;
        while !text.is_char_boundary(from) { from -= 1; }
        let mut to = (from + length).min(text.len());
        while !text.is_char_boundary(to) { to += 1; }
        text.replace_range(from..to, with);
        // A document that is still accepted can be written.
        if let Ok(survey) = xml::read(text.as_bytes(), "x") {
            common::assert_same(&survey.document, &read(&written(&survey.document)));
        }
    }
}

#[test]
fn the_handwritten_documents_round_trip() {
    for (name, document) in common::difficult() {
        let text = written(&document);
        let again = xml::read(text.as_bytes(), name)
            .unwrap_or_else(|error| panic!("{name}: {error}\n{text}"));
        common::assert_same(&document, &again.document);
    }
}

#[test]
fn the_layout_has_a_line_for_every_row() {
    let (_, document) = common::difficult()
        .into_iter()
        .find(|(name, _)| name.starts_with("rows that differ"))
        .unwrap();
    let text = written(&document);
    let expected = r#"<?xml version="1.0" encoding="UTF-8"?>
<survey xmlns="https://obvert.example/ns/0.2">
  <obvert>0.2</obvert>
  <id>urn:uuid:7d0f7c1e-58a6-4d5b-9df2-6b8f0c7f4a11</id>
  <issued>2026-05-06T16:20:00-05:00</issued>
  <units><length>ft</length><section>in</section></units>
  <coding><list>obvert-terms</list><version>1</version></coding>
  <structures>
    <structure><id>1</id><kind>manhole</kind><position>0 0</position></structure>
    <structure><id>01</id><kind>other</kind><kind_text>a shaft&#10;of bricks</kind_text></structure>
    <structure><id>1.0</id><kind>outfall</kind><position>-97.5 30.25</position><depth>0</depth></structure>
  </structures>
  <pipes>
    <pipe><id>p1</id><upstream>1</upstream><downstream>01</downstream><path><position>0 0</position></path></pipe>
    <pipe><id>p2</id><upstream>1</upstream><joins><pipe>p1</pipe><clock>3</clock></joins><inverts><downstream>-0.5</downstream></inverts></pipe>
    <pipe><id>p3</id><upstream>1</upstream><path><position>0 0</position><position>0.1 0.2</position><position>1e-7 -3</position></path></pipe>
  </pipes>
  <ratings>
    <rating><id>g</id><pipe>p1</pipe><runs><item>r</item><item>r</item></runs><aspect>structural</aspect></rating>
  </ratings>
  <runs>
    <run><id>r</id><pipe>p1</pipe><direction>downstream</direction><equipment><item>a</item><item>b</item><item>a</item></equipment><counter><zero>pipe-end</zero><checks><counter_check><reading>1</reading><known>1.1</known></counter_check><counter_check><reading>2</reading><known>2</known></counter_check></checks></counter></run>
    <run><id>R</id><pipe>p2</pipe><direction>upstream</direction><observations>
      <observation><id>1</id><at>5</at><continuous>false</continuous><code>a</code><clock></clock><grades></grades></observation>
      <observation><id>2</id><at>3</at><to>1</to><code>b</code><media><media_ref><id>m</id></media_ref><media_ref><id>m</id><offset>0</offset></media_ref></media></observation>
    </observations></run>
  </runs>
</survey>
"#;
    assert_eq!(text, expected);
}

#[test]
fn texts_are_written_so_that_xml_holds_them() {
    for (text, form) in [
        ("a <b> & \"c\"", "<remark>a &lt;b&gt; &amp; \"c\"</remark>"),
        ("]]>", "<remark>]]&gt;</remark>"),
        ("a\r\n\tb", "<remark>a&#13;&#10;&#9;b</remark>"),
        (" a", "<remark encoding=\"json\">\" a\"</remark>"),
        ("a\n", "<remark encoding=\"json\">\"a\\n\"</remark>"),
        (" ", "<remark encoding=\"json\">\" \"</remark>"),
        ("\u{0}<\u{fffe}", "<remark encoding=\"json\">\"\\u0000&lt;\\ufffe\"</remark>"),
        ("\"\"", "<remark>\"\"</remark>"),
        ("\u{a0}a\u{a0}", "<remark>\u{a0}a\u{a0}</remark>"),
        ("007", "<remark>007</remark>"),
    ] {
        let mut value = common::minimal();
        value["runs"] = serde_json::json!([{ "id": "r", "pipe": "p", "direction": "upstream", "remark": text }]);
        let document = common::document_of(value);
        let xml = written(&document);
        assert!(xml.contains(form), "{text:?}: {xml}");
        common::assert_same(&document, &read(&xml));
    }
}

/// Changes that another tool may make without changing the document.
#[test]
fn another_spelling_of_the_same_document_is_the_same() {
    let (_, document) = common::difficult()
        .into_iter()
        .find(|(name, _)| name.starts_with("every field, second"))
        .unwrap();
    let text = written(&document);
    let indented = text
        .replace("><", ">\n\t \t<")
        .replace("<item>", "<item>\r\n  ")
        .replace("</at>", "  </at>");
    let prefixed = text
        .replace("</", "</o:")
        .replace('<', "<o:")
        .replace("<o:/o:", "</o:")
        .replace("<o:?", "<?")
        .replace("xmlns=", "xmlns:o=");
    let marked = format!("\u{feff}{text}");
    let commented =
        text.replace("</", "<!-- a <b> & --></").replacen("<survey", "<!-- x -->\n<survey", 1)
            + "<!-- the end -->\n";
    let located = text.replacen(
        "<survey ",
        "<survey xmlns:xsi='http://www.w3.org/2001/XMLSchema-instance' xsi:schemaLocation='https://obvert.example/ns/0.2 obvert.xsd' ",
        1,
    );
    let bare = text.replacen("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n", "", 1);
    let lower = text.replacen("UTF-8", "utf-8", 1).replacen("?>", " standalone='no' ?>", 1);
    let cdata = text.replace("<id>", "<id><![CDATA[").replace("</id>", "]]></id>");
    let referenced = text.replace("<id>i", "<id>&#x69;").replace("<item>", "<item>&#32;");
    let closed = text
        .replace("<clock></clock>", "<clock/>")
        .replace("</id>", "</id\n>")
        .replace("<id>", "<id >");
    for (what, other) in [
        ("indented", indented),
        ("prefixed", prefixed),
        ("byte-order mark", marked),
        ("comments", commented),
        ("schema location", located),
        ("no declaration", bare),
        ("another declaration", lower),
        ("CDATA", cdata),
        ("references", referenced),
        ("tags", closed),
    ] {
        assert_ne!(other, text, "{what}");
        let again = xml::read(other.as_bytes(), what)
            .unwrap_or_else(|error| panic!("{what}: {error}\n{other}"));
        common::assert_same(&document, &again.document);
    }
}

#[test]
fn an_extension_may_be_as_deep_as_in_json_and_no_deeper() {
    let nested = |levels: usize| {
        let json = format!("{}{}", "[".repeat(levels), "]".repeat(levels));
        let xml = format!(
            "<survey xmlns=\"{}\"><obvert>0.2</obvert><id>d</id><issued>2026-05-06T16:20:00-05:00</issued>\
             <units><length>ft</length><section>in</section></units><coding><list>l</list><version>1</version></coding>\
             <extensions><extension name=\"org.example.x\">{json}</extension></extensions></survey>",
            xml::NAMESPACE
        );
        xml::read(xml.as_bytes(), "deep.xml")
    };
    // The JSON reader decides.
    let deepest = (100..140).take_while(|levels| nested(*levels).is_ok()).last().unwrap();
    let text = common::canonical(&nested(deepest).unwrap().document);
    assert!(obvert_model::read::document(text.as_bytes()).is_ok(), "{deepest}");
    let deeper = text.replace("[[", "[[[").replace("]]", "]]]");
    assert_ne!(deeper, text);
    let one_more = text.replacen('[', "[[", 1).replacen(']', "]]", 1);
    assert!(obvert_model::read::document(one_more.as_bytes()).is_err(), "{deepest}");
}

#[test]
fn every_element_has_its_location() {
    let (_, document) = common::difficult()
        .into_iter()
        .find(|(name, _)| name.starts_with("rows that differ"))
        .unwrap();
    let text = written(&document);
    let survey = xml::read(text.as_bytes(), "lines.xml").unwrap();
    let place = |pointer: &str| {
        survey.places.place(pointer).map(|place| place.to_string()).unwrap_or_default()
    };
    assert_eq!(place(""), "lines.xml:2:1");
    assert_eq!(place("/obvert"), "lines.xml:3:3");
    assert_eq!(place("/structures"), "lines.xml:8:3");
    assert_eq!(place("/structures/1"), "lines.xml:10:5");
    for (pointer, element) in [
        ("/pipes/1/joins/clock", "<clock>3"),
        ("/runs/0/equipment/1", "<item>b"),
        ("/units/section", "<section>"),
        ("/units/none", "<units>"),
        ("/runs/0/counter/checks/2", "<checks>"),
        ("/runs/1/observations/1/media/0/offset", "<media_ref><id>m</id></media_ref>"),
        ("/structures/1/kind_text", "<kind_text>a"),
        ("/pipes/2/path/1", "<position>0.1"),
        ("/runs/1/observations/1/media/1/offset", "<offset>0"),
        ("/runs/0/counter/checks/1/known", "<known>2"),
    ] {
        let place = survey.places.place(pointer).unwrap();
        let line = text.lines().nth(place.line - 1).unwrap();
        let from: String = line.chars().skip(place.column.unwrap() - 1).collect();
        assert!(from.starts_with(element), "{pointer}: {from}");
    }
}

/// The schema is generated from the shape. Independent validators check it in
/// `tests/interop/test_xml.py`. This test checks that it is well formed, complete and
/// deterministic.
#[test]
fn the_schema_has_every_field_of_every_object() {
    use obvert_model::shape::{self, Shape};

    let schema = xml::xsd();
    assert_eq!(schema, xml::xsd());
    assert!(start_tags(&schema).iter().all(|tag| tag.starts_with("xs:")));
    for object in shape::objects() {
        let from = schema.find(&format!("<xs:complexType name=\"{}\">", object.name)).unwrap();
        let type_of = &schema[from..];
        let type_of = &type_of[..type_of.find("\n  </xs:complexType>").unwrap()];
        let mut at = 0;
        for field in &object.fields {
            let name = field.name.trim_start_matches('$');
            let least = if field.required { "" } else { " minOccurs=\"0\"" };
            let element = format!("\n      <xs:element name=\"{name}\"{least}");
            let found = type_of[at..]
                .find(&element)
                .unwrap_or_else(|| panic!("{}/{name} is missing or out of order", object.name));
            at += found + element.len();
            if let Shape::Word(words) = &field.shape {
                let own = &type_of[at..at + type_of[at..].find("\n      </xs:element>").unwrap()];
                assert_eq!(
                    own.matches("<xs:enumeration ").count(),
                    words.len(),
                    "{}/{name}",
                    object.name
                );
                assert!(
                    words.iter().all(|word| own.contains(&format!("value=\"{word}\""))),
                    "{}/{name}",
                    object.name
                );
            }
        }
    }
}

/// The names of the start tags of a text; every tag must be closed in order.
fn start_tags(text: &str) -> Vec<String> {
    let mut open: Vec<&str> = Vec::new();
    let mut names = Vec::new();
    for piece in text.split('<').skip(1) {
        let (tag, _) = piece.split_once('>').unwrap();
        let name = tag.trim_start_matches('/').split([' ', '/', '\n']).next().unwrap();
        match tag {
            tag if tag.starts_with('?') => {}
            tag if tag.starts_with('/') => assert_eq!(open.pop(), Some(name)),
            tag if tag.ends_with('/') => names.push(name.to_owned()),
            _ => {
                open.push(name);
                names.push(name.to_owned());
            }
        }
    }
    assert!(open.is_empty(), "{open:?}");
    names
}

/// A problem inside an extension or after a misplaced element has its exact location.
#[test]
fn locations_below_a_row_are_those_of_the_elements() {
    let (_, document) = common::difficult()
        .into_iter()
        .find(|(name, _)| name.starts_with("every field, first"))
        .unwrap();
    let text = written(&document).replace("><", ">\n<");
    let survey = xml::read(text.as_bytes(), "x").unwrap();
    let line =
        |pointer: &str| text.lines().nth(survey.places.place(pointer).unwrap().line - 1).unwrap();
    assert!(
        line("/runs/1/observations/0/extensions/org.example.one/nth")
            .starts_with("<extension name=\"org.example.one\">")
    );
    assert!(line("/runs/1/counter/checks/1/reading").starts_with("<reading>"));
    assert!(line("/$schema").trim().starts_with("<schema>"));
    let counted = |pointer: &str| survey.places.place(pointer).unwrap().line;
    assert!(
        counted("/runs/1/counter/checks/0/reading") < counted("/runs/1/counter/checks/1/reading")
    );

    let strange = text
        .replace("<counter_check>", "<x/><counter_check>")
        .replace("<reading>", "<readin>")
        .replace("</reading>", "</readin>");
    let Err(ConvertError::Structure(problems)) = xml::read(strange.as_bytes(), "x") else {
        panic!("taken")
    };
    let missing =
        problems.iter().filter(|placed| placed.problem.message.contains("\"reading\" is missing"));
    let lines: Vec<&str> = missing
        .map(|placed| strange.lines().nth(placed.place.as_ref().unwrap().line - 1).unwrap())
        .collect();
    assert_eq!(lines, ["<x/><counter_check>"; 4]);
}
