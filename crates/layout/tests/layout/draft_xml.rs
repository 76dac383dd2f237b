//! Layouts drafted from XML.

use obvert_layout::{self as layout, Draft};
use obvert_model::layout::Layout;

use super::draft::compared;
use super::{json, read};

const C: &[u8] = include_bytes!("../../../../examples/layouts/office-c.xml");
const E: &[u8] = include_bytes!("office-e.xml");

fn c() -> Layout {
    Layout::read(include_bytes!("../../../../examples/layouts/office-c.layout.json")).unwrap()
}

fn draft(source: &str) -> Draft {
    layout::draft(source.as_bytes(), "t.xml").unwrap()
}

fn draft_error(source: &[u8]) -> String {
    layout::draft(source, "t.xml").unwrap_err().to_string()
}

/// The draft gets at least four of five paths of office C right unaided, the target the project
/// sets itself.
#[test]
fn the_draft_of_attributes_has_most_paths_right() {
    let draft = layout::draft(C, "c.xml").unwrap();
    let (right, wrong) = compared(&draft, &c());
    println!("{right} of {} right; {wrong:#?}\n{:#?}", c().columns.len(), draft.open);
    assert!(right * 5 >= c().columns.len() * 4, "{right}: {wrong:#?}");
    assert_eq!(draft.layout.xml.as_ref().unwrap().rows.as_str(), "Works/Line/Look/Note");
    assert_eq!(draft.columns.len(), c().columns.len());
    for drafted in &draft.columns {
        assert!(!drafted.reason.is_empty() && drafted.sample.is_some(), "{drafted:?}");
    }
}

/// Elements instead of attributes, wrappers around lists, values after the lists, several files,
/// and manholes next to the pipes.
#[test]
fn the_draft_of_elements_has_most_paths_right() {
    let draft = layout::draft(E, "e.xml").unwrap();
    let (pipe, visit, finding) = (
        "SewerSurvey/Pipes/Pipe",
        "SewerSurvey/Pipes/Pipe/Visits/Visit",
        "SewerSurvey/Pipes/Pipe/Visits/Visit/Findings/Finding",
    );
    let expected = [
        ("SewerSurvey", "/Order/Number", "assignment.contract"),
        ("SewerSurvey", "/Order/Customer", "assignment.owner"),
        (pipe, "/Name", "pipes.id"),
        (pipe, "/UpperManhole", "pipes.upstream"),
        (pipe, "/LowerManhole", "pipes.downstream"),
        (pipe, "/Size/@unit", "units.section"),
        (pipe, "/Size", "pipes.height"),
        (pipe, "/MadeOf", "pipes.material"),
        (pipe, "/Length/@unit", "units.length"),
        (pipe, "/Length", "pipes.length"),
        (pipe, "/Road", "pipes.street"),
        (visit, "/Began", "runs.started"),
        (visit, "/CameraWent", "runs.direction"),
        (visit, "/Inspector", "runs.operator"),
        (visit, "/Recording", "runs.observations.media.id"),
        (finding, "/Distance", "runs.observations.at"),
        (finding, "/Seen", "codes"),
        (finding, "/Counter", "runs.observations.media.offset"),
        (finding, "/Clock/From", "runs.observations.clock.from"),
        (finding, "/Clock/To", "runs.observations.clock.to"),
        (finding, "/Extent", "runs.observations.quantities.value"),
        (finding, "/AtJoint", "runs.observations.joint"),
        (finding, "/Grade", "runs.observations.grades"),
        (finding, "/Pictures/File", "runs.observations.media.id"),
        (finding, "/Comment", "runs.observations.remark"),
    ];
    let is = |path: &str| {
        draft
            .columns
            .iter()
            .find(|column| column.heading == path)
            .and_then(|column| column.to.clone())
    };
    let wrong: Vec<_> = expected
        .iter()
        .map(|(element, below, to)| (format!("{element}{below}"), *to))
        .filter(|(path, to)| is(path).as_deref() != Some(to))
        .collect();
    println!("{} of {} right; {wrong:#?}", expected.len() - wrong.len(), expected.len());
    assert!((expected.len() - wrong.len()) * 5 >= expected.len() * 4, "{wrong:#?}");
    assert_eq!(draft.layout.xml.as_ref().unwrap().rows.as_str(), finding);
    for guess in [
        format!("{finding} is a row: 7 in all, up to 4 within one <Findings>"),
        format!("{visit} is the run of the rows in it"),
        format!("{pipe} is the pipe of the rows in it"),
    ] {
        assert!(
            draft.guesses.iter().any(|one| one.starts_with(&guess)),
            "{guess}: {:#?}",
            draft.guesses
        );
    }
    // Content outside any row is reported, and so is an amount whose adjacent unit no field takes.
    let adjacent =
        draft.columns.iter().find(|column| column.heading.ends_with("/Manhole/Cover")).unwrap();
    assert!(
        adjacent.to.is_none()
            && adjacent.reason.starts_with("it is in a repeated element outside the rows")
    );
}

/// A drafted layout reads the file it was drafted from, with the same result as the layout written
/// by hand, except for what is open.
#[test]
fn drafts_read_their_own_files() {
    for (source, pipes, runs, observations) in [(C, 1, 1, 5), (E, 2, 2, 7)] {
        let draft = layout::draft(source, "t.xml").unwrap();
        assert_eq!(draft.layout.problems(), [], "{:#?}", draft.open);
        let document = read(source, &draft.layout).0.document;
        let rows: usize = document.runs.iter().map(|run| run.observations.len()).sum();
        assert_eq!(
            (document.head.pipes.len(), document.runs.len(), rows),
            (pipes, runs, observations)
        );
    }
    let drafted = json(&read(C, &layout::draft(C, "t.xml").unwrap().layout).0.document);
    let by_hand = json(&read(C, &c()).0.document);
    for pointer in [
        "/units",
        "/coding",
        "/grading",
        "/assignment",
        "/structures",
        "/runs/0/observations",
        "/runs/0/outcome",
    ] {
        assert_eq!(drafted.pointer(pointer), by_hand.pointer(pointer), "{pointer}");
    }
    let files = json(&read(E, &layout::draft(E, "t.xml").unwrap().layout).0.document);
    let media = files["runs"][0]["observations"][1]["media"].as_array().unwrap();
    let ids: Vec<&str> = media.iter().map(|one| one["id"].as_str().unwrap()).collect();
    assert_eq!(ids.len(), 3, "{media:#?}");
    assert!(ids.contains(&"P-204-up.mp4") && ids.contains(&"p204_002.jpg"), "{ids:?}");
}

/// One value of a path that does not fit, and a root that holds nothing except rows.
#[test]
fn rows_directly_below_the_root_hold_everything() {
    let row = |at: &str, grade: &str| {
        format!(
            "<Row Pipe=\"P1\" Upstream=\"A\" Downstream=\"B\" Distance=\"{at}\" Code=\"roots.fine\" Grade=\"{grade}\"/>\n"
        )
    };
    let text = format!(
        "<Rows>\n{}{}{}{}</Rows>",
        row("1,5", "2"),
        row("2,5", "3"),
        row("3,5", "bad"),
        row("9,5", "4")
    );
    let draft = draft(&text);
    let to: Vec<&str> =
        draft.columns.iter().map(|column| column.to.as_deref().unwrap_or("nothing")).collect();
    let expected = [
        "pipes.id",
        "pipes.upstream",
        "pipes.downstream",
        "runs.observations.at",
        "runs.observations.code",
        "runs.observations.grades",
    ];
    assert_eq!(to, expected);
    assert_eq!(draft.layout.xml.as_ref().unwrap().decimal_mark.as_deref(), Some(","));
    let grade = draft.columns.last().unwrap();
    assert!(
        grade
            .reason
            .ends_with("3 of 4 values look like whole numbers up to 10; line 4 has \"bad\""),
        "{}",
        grade.reason
    );
    let sound = text.replace("bad", "5");
    assert_eq!(read(sound.as_bytes(), &draft.layout).0.document.runs[0].observations.len(), 4);
}

/// The role of an element follows from its name if that is clear, otherwise from its position: a
/// root that is the run, runs of one observation each, and sibling records of several kinds, of
/// which one is the row.
#[test]
fn the_role_of_an_element_follows_from_its_name_or_position() {
    let to = |draft: &Draft| -> Vec<(String, String)> {
        let to =
            |column: &layout::Drafted| column.to.clone().unwrap_or_else(|| "nothing".to_owned());
        draft.columns.iter().map(|column| (column.heading.clone(), to(column))).collect()
    };
    let expected = |of: &[(&str, &str)]| -> Vec<(String, String)> {
        of.iter().map(|(path, to)| ((*path).to_owned(), (*to).to_owned())).collect()
    };
    let root = draft(
        "<Inspection no='7' pipe='P-9' start='M1' end='M2' date='2026-05-06' time='10:00' diameter='300'>\
         <Observation dist='0.0' code='run.start'/><Observation dist='4.5' code='roots.fine' clock='3-5.5'/>\
         <Observation dist='9.5' code='run.finish'/></Inspection>",
    );
    let fields = [
        ("Inspection/@no", "runs.id"),
        ("Inspection/@pipe", "pipes.id"),
        ("Inspection/@start", "runs.from"),
        ("Inspection/@end", "runs.to"),
        ("Inspection/@date", "runs.started"),
        ("Inspection/@time", "runs.started"),
        ("Inspection/@diameter", "pipes.height"),
        ("Inspection/Observation/@dist", "runs.observations.at"),
        ("Inspection/Observation/@code", "runs.observations.code"),
        ("Inspection/Observation/@clock", "runs.observations.clock"),
    ];
    assert_eq!(to(&root), expected(&fields));
    let single = draft(
        "<Runs><Run id='1'><Line>P1</Line><Upstream>A</Upstream><Downstream>B</Downstream><Seen><At>1.5</At><Code>hole</Code></Seen></Run>\
         <Run id='2'><Line>P2</Line><Upstream>B</Upstream><Downstream>C</Downstream><Seen><At>2.5</At><Code>hole</Code></Seen></Run></Runs>",
    );
    assert_eq!(single.layout.xml.as_ref().unwrap().rows.as_str(), "Runs/Run");
    assert!(single.columns.iter().all(|column| column.to.is_some()), "{:#?}", single.columns);
    let kinds = draft(
        "<Job number='5'><Pipe id='P1' us='A' ds='B'><Defect at='1.5' code='roots.fine' grade='2'/><Defect at='2.5' code='hole'/>\
         <Branch at='3.5' code='connection.saddle'/><Branch at='4.5' code='connection.saddle'/></Pipe></Job>",
    );
    let fields = [
        ("Job/@number", "assignment.contract"),
        ("Job/Pipe/@id", "pipes.id"),
        ("Job/Pipe/@us", "pipes.upstream"),
        ("Job/Pipe/@ds", "pipes.downstream"),
        ("Job/Pipe/Defect/@at", "runs.observations.at"),
        ("Job/Pipe/Defect/@code", "runs.observations.code"),
        ("Job/Pipe/Defect/@grade", "runs.observations.grades"),
        ("Job/Pipe/Branch/@at", "nothing"),
        ("Job/Pipe/Branch/@code", "nothing"),
    ];
    assert_eq!(to(&kinds), expected(&fields));
}

/// Prefixes stay in the paths, as they do when the file is read, and do not affect the meaning of a
/// name.
#[test]
fn names_with_prefixes_are_drafted_and_read() {
    let text = String::from_utf8_lossy(C).replace(
        "<Works ",
        "<w:Works xmlns:w=\"https://works.example/1\" xmlns=\"https://works.example/2\" ",
    );
    let text = text
        .replace("</Works>", "</w:Works>")
        .replace("<Line ", "<w:Line ")
        .replace("</Line>", "</w:Line>");
    let draft = draft(&text);
    assert_eq!(draft.layout.xml.as_ref().unwrap().rows.as_str(), "w:Works/w:Line/Look/Note");
    assert!(draft.columns.iter().all(|column| column.to.is_some()), "{:#?}", draft.columns);
    assert_eq!(read(text.as_bytes(), &draft.layout).0.document.runs.len(), 1);
    assert!(
        draft.open.iter().any(|open| open.starts_with("the file declares namespaces (xmlns)")),
        "{:#?}",
        draft.open
    );
    let message = "the paths have prefixes (\"w\"), and a layout does not declare their namespaces: other files must have the same prefixes to be \
                read, and writing needs a layout whose paths have none";
    assert!(draft.open.iter().any(|open| open == message), "{:#?}", draft.open);
    // Names that could not be read back are not written.
    let (survey, _) = read(text.as_bytes(), &draft.layout);
    let refused = layout::write(&survey.document, &draft.layout, &[]).unwrap_err().to_string();
    let message = "the layout draft has the prefix \"w\" in \"w:Works/w:Line/Look/Note\", but a layout does not declare namespaces, so what it \
                writes could not be read; write by a layout whose paths have no prefixes";
    assert_eq!(refused, message);
    // Attributes that any file can have are no reason to refuse.
    let lang = layout::draft(&with_language(), "t.xml").unwrap();
    assert!(
        lang.columns.iter().any(|column| column.heading == "Works/@xml:lang"),
        "{:#?}",
        lang.columns
    );
    assert!(!lang.open.iter().any(|open| open.contains("prefixes")), "{:#?}", lang.open);
    let (survey, _) = read(&with_language(), &lang.layout);
    layout::write(&survey.document, &lang.layout, &[]).unwrap();
    // Another prefix for the same namespace makes another name.
    let other = text.replace("w:", "x:").replace("xmlns:w=", "xmlns:x=");
    let messages = super::refused(other.as_bytes(), &draft.layout);
    let message = "the root element is <x:Works>, and the layout draft has <w:Works>; prefixes are compared literally, \
                   without their namespaces; use the same ones in both";
    assert!(messages[0].ends_with(message), "{messages:?}");
}

fn with_language() -> Vec<u8> {
    String::from_utf8_lossy(C).replace("<Works ", "<Works xml:lang=\"en\" ").into_bytes()
}

/// A draft refuses what the XML reader refuses, with the same message (OWASP's advice: no document
/// types at all).
#[test]
fn sources_that_are_not_xml_with_rows_are_refused() {
    let with = |from: &str, to: &str| {
        let text = String::from_utf8_lossy(C);
        assert!(text.contains(from));
        text.replacen(from, to, 1).into_bytes()
    };
    let evil = "<!DOCTYPE Works [<!ENTITY x SYSTEM \"file:///etc/hostname\">]>\n<Works ";
    let own = format!("<survey xmlns=\"{}\"><a/><a/></survey>", obvert_convert::xml::NAMESPACE);
    let deep = "<a>".repeat(100);
    for (source, message) in [
        (with("<Works ", evil), "t.xml:3:1: document type declarations are not read"),
        (with("job=\"LK-2026-11\"", "job=\"&job;\""), "&job;"),
        (with("</Look>", "</Lock>"), "not well-formed XML"),
        (C[..500].to_vec(), "the file is cut off"),
        (
            b"<Works job=\"1\"><Line ref=\"2\"><Look at=\"1\"/></Line></Works>".to_vec(),
            "t.xml:1: no element is repeated in another one",
        ),
        (
            b"<Works><Note>a</Note><Note>b</Note></Works>".to_vec(),
            "no element is repeated in another one",
        ),
        (own.into_bytes(), "this is already a survey in the XML of the format"),
        (deep.into_bytes(), "elements are nested more than 64 deep"),
        (
            (0..600).fold("<a>".to_owned(), |all, n| format!("{all}<b{n} c=\"1\"/>")).into_bytes(),
            "the file has more than 500 different paths",
        ),
        (b"<html><body><p>Larkmoor</p>".to_vec(), "the file is cut off"),
    ] {
        let refusal = draft_error(&source);
        assert!(refusal.contains(message), "{message}: {refusal}");
    }
}

/// Text next to elements, Latin-1, and more rows than the sample, the last of which have another
/// path.
#[test]
fn long_files_and_texts_next_to_elements_are_reported() {
    let text = String::from_utf8_lossy(C).replace("<Look ", "seen by night\n<Look ");
    let mixed = draft(&text);
    assert!(
        mixed
            .open
            .iter()
            .any(|open| open.contains("\"seen by night\" is text next to elements in <Line>")),
        "{:#?}",
        mixed.open
    );
    let latin = "<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?><S><Rohr Straße=\"x\" Länge=\"1,5\"/><Rohr Straße=\"y\" Länge=\"2,5\"/></S>";
    let latin: Vec<u8> =
        latin.chars().map(|letter| u8::try_from(u32::from(letter)).unwrap()).collect();
    let drafted = layout::draft(&latin, "t.xml").unwrap();
    let to: Vec<_> = drafted.columns.iter().map(|column| column.to.as_deref()).collect();
    assert_eq!(to, [Some("pipes.street"), Some("pipes.length")]);
    let text = String::from_utf8_lossy(C);
    let note = "      <Note m=\"18.62\" what=\"fracture-complex\" from=\"8\" to=\"4\" mm=\"5\" pic=\"LM015_002.jpg\" grade=\"4\"/>\n";
    assert!(text.contains(note));
    let long = text
        .replace(note, &note.repeat(20_000))
        .replace("    </Look>", "<Note m=\"30\" what=\"end\" remark=\"done\"/></Look>");
    let drafted = draft(&long);
    assert!(
        drafted.guesses.iter().any(|guess| guess == "based on the first 10000 values of each path"),
        "{:#?}",
        drafted.guesses
    );
    assert_eq!(drafted.columns.last().unwrap().to.as_deref(), Some("runs.observations.remark"));
}
