//! The JSON reader: any order of keys, errors in any place, runs read in any order and on several
//! threads.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::sync::Mutex;

use obvert_model::read::{self, IdWatch, ProblemKind, ReadError, Reader, RunReader, RunSlice};
use obvert_model::tables::{Document, Run};
use obvert_model::write;

const HEAD: &str = r#""obvert": "0.2", "id": "d", "issued": "2026-05-06T16:20:00-05:00",
  "units": { "length": "ft", "section": "in" }, "coding": { "list": "obvert-terms", "version": "1" }"#;
const PIPES: &str =
    r#""pipes": [ { "id": "L-101", "upstream": "LM-014", "downstream": "LM-015" } ]"#;
const RUNS: &str = r#""runs": [
    { "id": "R1", "pipe": "L-101", "direction": "downstream", "remark": "a \"]}\" \\" },
    { "id": "R2", "pipe": "L-101", "direction": "upstream", "observations": [
      { "id": "1", "at": 0, "code": "start" }, { "id": "2", "at": 12.5, "code": "end" } ] },
    { "id": "R3", "pipe": "L-101", "direction": "upstream", "extensions": { "org.example.x": [[], {}] } } ]"#;
const EXTENSIONS: &str =
    r#""extensions": { "org.example.runs": { "runs": [ { "direction": 1 } ] } }"#;

/// A document with these parts.
fn of(parts: &[&str]) -> String {
    format!("{{ {} }}", parts.join(", "))
}

/// The result of the reader, run by run.
fn pull(source: &str) -> Result<Document, ReadError> {
    let mut reader = Reader::new(source.as_bytes())?;
    let mut runs = Vec::new();
    while let Some(run) = reader.next_run()? {
        assert!(source[reader.offset()..].starts_with(['{', ' ']), "{}", reader.offset());
        runs.push(run);
    }
    assert!(reader.next_run()?.is_none(), "a reader that has ended has ended");
    Ok(Document { head: reader.head().clone(), runs })
}

/// The number of runs before the error, and the error.
fn runs_before_error(source: &str) -> (usize, ReadError) {
    let mut reader = match Reader::new(source.as_bytes()) {
        Ok(reader) => reader,
        Err(error) => return (0, error),
    };
    let mut count = 0;
    loop {
        match reader.next_run() {
            Ok(Some(_)) => count += 1,
            Ok(None) => panic!("valid: {source}"),
            Err(error) => {
                assert!(matches!(reader.next_run(), Ok(None)), "an error is returned once");
                return (count, error);
            }
        }
    }
}

fn plain(source: &str) -> Result<Document, serde_json::Error> {
    serde_json::from_str(source)
}

fn permutations<'p>(parts: &[&'p str]) -> Vec<Vec<&'p str>> {
    if parts.is_empty() {
        return vec![Vec::new()];
    }
    let mut all = Vec::new();
    for (index, first) in parts.iter().enumerate() {
        let mut others = parts.to_vec();
        others.remove(index);
        all.extend(permutations(&others).into_iter().map(|mut rest| {
            rest.insert(0, first);
            rest
        }));
    }
    all
}

#[test]
fn keys_can_be_in_any_order() {
    let expected = plain(&of(&[HEAD, PIPES, EXTENSIONS, RUNS])).unwrap();
    assert_eq!(expected.runs.len(), 3);
    for order in permutations(&[HEAD, PIPES, RUNS, EXTENSIONS]) {
        let source = of(&order);
        assert_eq!(pull(&source).unwrap(), expected, "{source}");
        assert_eq!(read::document(source.as_bytes()).unwrap(), expected, "{source}");
        let marked = format!("\u{FEFF}\n{source} \r\n\t");
        assert_eq!(Reader::new(marked.as_bytes()).unwrap().head(), &expected.head);
    }
    let escaped =
        of(&[HEAD, PIPES, EXTENSIONS, RUNS]).replace("\"runs\": [\n", "\"r\\u0075ns\": [\n");
    assert_eq!(pull(&escaped).unwrap(), expected);
    let none = plain(&of(&[HEAD, PIPES])).unwrap();
    for source in [
        of(&[HEAD, PIPES]),
        of(&[HEAD, "\"runs\": []", PIPES]),
        of(&[HEAD, PIPES, "\"runs\": [ ]"]),
    ] {
        assert_eq!(pull(&source).unwrap(), none, "{source}");
    }
}

#[test]
fn the_reader_refuses_what_serde_refuses_at_any_location() {
    let orders: Vec<String> =
        permutations(&[HEAD, PIPES, RUNS, EXTENSIONS]).iter().map(|order| of(order)).collect();
    let spoilt = [
        ("\"R1\"", "null"),
        ("\"R2\"", "7"),
        ("\"R3\"", "\"\""),
        ("\"direction\": \"downstream\"", "\"direction\": \"down\""),
        (
            "\"upstream\", \"observations\"",
            "\"upstream\", \"direction\": \"upstream\", \"observations\"",
        ),
        ("12.5", "1e400"),
        ("12.5", "12.5.1"),
        ("12.5", "012"),
        ("\"code\": \"end\" } ]", "\"code\": \"end\" }, ]"),
        ("] } }", "] } , }"),
        ("\\\"]}", "\\x]}"),
        (" },\n    { \"id\": \"R2\"", " } { \"id\": \"R2\""),
        (" },\n    { \"id\": \"R2\"", " },, { \"id\": \"R2\""),
        (" },\n    { \"id\": \"R2\"", " }; { \"id\": \"R2\""),
        ("\"runs\": [\n", "\"runs\": [,"),
        ("\"runs\": [\n", "\"runs\": {"),
        ("\"runs\": [\n", "\"runs\": ["),
        ("\"runs\": [\n", "\"runz\": ["),
        ("\"runs\": [\n", "\"runs\" ["),
        ("{ \"id\": \"R1\"", "[ \"id\", \"R1\""),
        ("\"id\": \"d\"", "\"id\": \"d\", \"id\": \"e\""),
        ("\"id\": \"d\"", "\"idd\": \"d\""),
        ("\"id\": \"d\", ", ""),
        ("\"upstream\": \"LM-014\", ", ""),
        ("\"org.example.runs\"", "\"runs\""),
    ];
    for source in &orders {
        for (from, to) in spoilt {
            assert!(source.contains(from), "{from}");
            let source = source.replacen(from, to, 1);
            let outcome = plain(&source);
            assert_eq!(
                pull(&source).ok(),
                outcome.as_ref().ok().cloned(),
                "{from} -> {to}: {outcome:?}\n{source}"
            );
            assert_eq!(
                read::document(source.as_bytes()).ok(),
                outcome.ok(),
                "{from} -> {to}\n{source}"
            );
        }
        for end in (0..source.len()).filter(|end| source.is_char_boundary(*end)) {
            assert!(pull(&source[..end]).is_err(), "cut off: {}", &source[..end]);
        }
        for behind in ["x", "{}", ",", "]", "}", "\u{FEFF}", "\0"] {
            assert!(pull(&format!("{source}{behind}")).is_err(), "{behind}");
        }
        let (start, end) = (source.find('{').unwrap(), source.rfind('}').unwrap());
        assert!(
            pull(&format!("{}, \"runs\": []}}", &source[start..end])).is_err(),
            "duplicate runs"
        );
        assert!(pull(&format!("{}, {RUNS}}}", &source[start..end])).is_err(), "duplicate runs");
        assert!(
            pull(&format!("{}, {}}}", &source[start..end], RUNS.replace("\"runs\"", "\"runz\"")))
                .is_err()
        );
    }
}

#[test]
fn an_error_comes_after_the_runs_before_it_with_its_location() {
    let document = of(&[HEAD, PIPES, RUNS]);
    let (count, error) = runs_before_error(&document.replace("\"R3\"", "3"));
    assert_eq!(count, 2);
    let [problem] = error.problems() else { panic!("{error}") };
    assert_eq!((problem.line, problem.column), (6, 13), "{problem}");

    let (count, error) = runs_before_error(&document.replace("\"at\": 12.5", "\"at\": 12,5"));
    assert_eq!(count, 1);
    let ReadError::Syntax { line, column, message } = error else { panic!("{error}") };
    assert_eq!((line, column), (5, 70), "{message}");
    assert!(message.contains("decimal comma"), "{message}");

    // The text after the runs belongs to the document too.
    let unknown = of(&[HEAD, PIPES, RUNS, &RUNS.replace("\"runs\"", "\"runz\"")]);
    let (count, error) = runs_before_error(&unknown);
    assert_eq!(count, 3);
    assert!(error.problems()[0].message.contains("runz"), "{error}");
    let duplicate = of(&[HEAD, PIPES, RUNS, RUNS]);
    let (count, error) = runs_before_error(&duplicate);
    assert_eq!(count, 3);
    assert!(error.problems()[0].message.contains("duplicate key"), "{error}");
    assert_eq!(runs_before_error(&format!("{document} x")).0, 0);
    assert!(matches!(runs_before_error("").1, ReadError::Empty));
    assert!(matches!(Reader::new(b" \xFC").map(|_| ()), Err(ReadError::Encoding { line: 1, .. })));
}

#[test]
fn runs_nest_as_deeply_as_in_their_document() {
    for order in permutations(&[HEAD, PIPES, RUNS]) {
        for (levels, valid) in [(123, true), (124, false), (200, false), (60, true)] {
            let nested = format!("{}{}", "[".repeat(levels), "]".repeat(levels));
            for key in ["extensions", "extensi\\u006fns"] {
                let source = of(&order)
                    .replace("[[], {}]", &nested)
                    .replace("\"extensions\"", &format!("\"{key}\""));
                assert_eq!(plain(&source).is_ok(), valid, "serde_json, {levels}");
                assert_eq!(pull(&source).is_ok(), valid, "{levels} {key}");
                let slices = Reader::new(source.as_bytes()).unwrap().into_slices();
                let runs: Result<Vec<Run>, _> =
                    slices.map(|slice| slice.and_then(|slice| slice.read())).collect();
                assert_eq!(runs.is_ok(), valid, "{levels} {key}");
                if !valid {
                    assert!(
                        matches!(runs_before_error(&source), (2, ReadError::Syntax { .. })),
                        "{levels} {key}"
                    );
                }
            }
        }
    }
}

#[test]
fn duplicate_ids_are_reported_after_the_last_run() {
    for order in permutations(&[HEAD, PIPES, RUNS]) {
        let source = of(&order)
            .replace("\"R3\"", "\"R1\"")
            .replace("\"id\": \"2\", \"at\"", "\"id\": \"1\", \"at\"");
        let (count, error) = runs_before_error(&source);
        assert_eq!(count, 3);
        let found: Vec<_> = error
            .problems()
            .iter()
            .map(|p| (p.kind, p.pointer.as_str(), p.other.as_deref()))
            .collect();
        let expected = [
            (ProblemKind::DuplicateId, "/runs/1/observations/1/id", Some("/runs/1/observations/0")),
            (ProblemKind::DuplicateId, "/runs/2/id", Some("/runs/0")),
        ];
        assert_eq!(found, expected);
        assert!(error.problems().iter().all(|problem| problem.line > 1), "{error}");
    }
    let head = of(&[
        HEAD,
        &PIPES.replace("} ]", "}, { \"id\": \"L-101\", \"upstream\": \"LM-014\" } ]"),
        RUNS,
    ]);
    let (count, error) = runs_before_error(&head);
    assert_eq!((count, error.problems().len()), (3, 1));
    assert_eq!(error.problems()[0].pointer, "/pipes/1/id");
}

#[test]
fn slices_can_be_read_in_any_order() {
    for order in permutations(&[HEAD, PIPES, RUNS, EXTENSIONS]) {
        let source = of(&order);
        let expected = plain(&source).unwrap();
        let mut slices = Reader::new(source.as_bytes()).unwrap().into_slices();
        let found: Vec<RunSlice<'_>> = slices.by_ref().collect::<Result<_, _>>().unwrap();
        let mut ids = IdWatch::default();
        let mut runs: Vec<(usize, Run)> = Vec::new();
        for slice in found.iter().rev() {
            assert_eq!(&source[slice.offset()..slice.offset() + slice.text().len()], slice.text());
            let run = slice.read().unwrap();
            ids.run_at(slice.index(), &run);
            runs.push((slice.index(), run));
        }
        runs.reverse();
        assert_eq!(slices.head(), &expected.head);
        slices.finish([ids]).unwrap();
        assert_eq!(runs, expected.runs.into_iter().enumerate().collect::<Vec<_>>());
    }
}

#[test]
fn unread_parts_can_still_be_sliced() {
    let source = of(&[HEAD, PIPES, &RUNS.replace("\"R3\"", "\"R1\"")]);
    let mut reader = Reader::new(source.as_bytes()).unwrap();
    assert_eq!(reader.next_run().unwrap().unwrap().id.as_str(), "R1");
    let mut slices = reader.into_slices();
    let mut ids = IdWatch::default();
    let slice = slices.next().unwrap().unwrap();
    assert_eq!(slice.index(), 1);
    ids.run_at(slice.index(), &slice.read().unwrap());
    let last = slices.next().unwrap().unwrap();
    ids.run_at(last.index(), &last.read().unwrap());
    let error = slices.finish([ids]).unwrap_err();
    assert_eq!(error.problems()[0].other.as_deref(), Some("/runs/0"));

    // After an error the document stays invalid, whatever is called next.
    let failed = || {
        let mut reader = Reader::new(source.as_bytes()).unwrap();
        while let Ok(Some(_)) = reader.next_run() {}
        reader
    };
    let mut slices = failed().into_slices();
    assert_eq!(slices.by_ref().count(), 0);
    assert!(slices.finish([]).is_err());
    assert!(failed().into_document().is_err());
}

#[test]
fn slices_of_a_broken_list_end_with_an_error() {
    for (from, to) in
        [("\"R1\"", "R1\""), (" },\n    { \"id\": \"R2\"", " } { \"id\": \"R2\""), ("} ]", "} ")]
    {
        let source = of(&[HEAD, PIPES, RUNS]).replacen(from, to, 1);
        let Ok(reader) = Reader::new(source.as_bytes()) else { continue };
        let mut slices = reader.into_slices();
        let found: Vec<_> = slices.by_ref().collect();
        let read = found.iter().all(|slice| slice.as_ref().is_ok_and(|slice| slice.read().is_ok()));
        assert!(!read, "{source}");
        assert_eq!(found.iter().all(Result::is_ok), slices.finish([]).is_ok(), "{source}");
    }
    // Without any slice, the end of the source is still checked.
    let source = of(&[HEAD, PIPES, RUNS, &RUNS.replace("\"runs\"", "\"runz\"")]);
    let slices = Reader::new(source.as_bytes()).unwrap().into_slices();
    assert!(slices.finish([]).is_err());
}

#[test]
fn slices_read_on_threads_give_the_same_document_and_the_same_verdict() {
    let row = |index: usize| {
        format!(r#"{{ "id": "R{index}", "pipe": "L-101", "direction": "upstream" }}"#)
    };
    let rows = |ids: Vec<usize>| {
        of(&[
            HEAD,
            &format!("\"runs\": [{}]", ids.into_iter().map(row).collect::<Vec<_>>().join(",")),
        ])
    };
    for (source, twins) in [
        (rows((0..500).collect()), vec![]),
        (rows((0..500).map(|index| index % 499).collect()), vec!["/runs/499/id"]),
        (rows((0..500).map(|index| index % 250 % 249).collect()).replace("R1\"", "R0\""), vec![]),
    ] {
        let mut slices = Reader::new(source.as_bytes()).unwrap().into_slices();
        let shared = Mutex::new(&mut slices);
        let work = || {
            let (mut runs, mut ids) = (Vec::new(), IdWatch::default());
            loop {
                let next = shared.lock().unwrap().next();
                let Some(slice) = next else { return (runs, ids) };
                let slice = slice.unwrap();
                let run = slice.read().unwrap();
                ids.run_at(slice.index(), &run);
                runs.push((slice.index(), run));
            }
        };
        let parts = std::thread::scope(|scope| {
            let threads: Vec<_> = (0..3).map(|_| scope.spawn(work)).collect();
            threads.into_iter().map(|thread| thread.join().unwrap()).collect::<Vec<_>>()
        });
        let (runs, watches): (Vec<_>, Vec<_>) = parts.into_iter().unzip();
        let mut runs: Vec<(usize, Run)> = runs.into_iter().flatten().collect();
        runs.sort_by_key(|(index, _)| *index);
        let runs: Vec<Run> = runs.into_iter().map(|(_, run)| run).collect();
        assert_eq!(runs, plain(&source).unwrap().runs);
        let problems =
            |outcome: Result<(), ReadError>| outcome.err().map(|error| error.problems().to_vec());
        let threaded = problems(slices.finish(watches));
        assert_eq!(threaded, problems(pull(&source).map(|_| ())), "{source}");
        let pointers: Vec<String> =
            threaded.into_iter().flatten().map(|problem| problem.pointer).collect();
        assert!(twins.is_empty() || pointers == twins, "{pointers:?}");
    }
}

#[test]
fn a_reader_dropped_early_has_not_read_the_rest() {
    let source = of(&[HEAD, PIPES, &RUNS.replace("\"R3\"", "3")]);
    let mut reader = Reader::new(source.as_bytes()).unwrap();
    for id in ["R1", "R2"] {
        assert_eq!(reader.next_run().unwrap().map(|run| run.id.to_string()).as_deref(), Some(id));
    }
    drop(reader);
    // The same through a reference and a box, as in code for any format.
    let mut reader: Box<dyn RunReader<Error = ReadError> + '_> =
        Box::new(Reader::new(source.as_bytes()).unwrap());
    let by_reference = &mut reader;
    assert_eq!(
        by_reference.next_run().unwrap().map(|run| run.id.to_string()).as_deref(),
        Some("R1")
    );
}

#[test]
fn a_read_error_stops_writing() {
    let source = of(&[HEAD, PIPES, &RUNS.replace("\"R3\"", "3")]);
    let mut text = Vec::new();
    let error =
        write::from_reader(&mut Reader::new(source.as_bytes()).unwrap(), &mut text).unwrap_err();
    assert!(matches!(error, write::FromReaderError::Read(ReadError::Structure(_))), "{error}");
    let text = String::from_utf8(text).unwrap();
    assert!(text.contains("\"R2\"") && read::document(text.as_bytes()).is_err(), "{text}");

    struct Full;
    impl std::io::Write for Full {
        fn write(&mut self, _: &[u8]) -> std::io::Result<usize> {
            Err(std::io::Error::other("the disk is full"))
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }
    let mut reader = pull(&of(&[HEAD, PIPES, RUNS])).unwrap().into_reader();
    let error = write::from_reader(&mut reader, Full).unwrap_err();
    assert_eq!(error.to_string(), "cannot write");
    assert_eq!(std::error::Error::source(&error).unwrap().to_string(), "the disk is full");
}

#[test]
fn a_diagnosis_has_the_problems_and_the_value() {
    let valid = of(&[HEAD, PIPES, RUNS]);
    let diagnosis = read::diagnose(format!("\u{FEFF}{valid}").as_bytes()).unwrap();
    assert_eq!(diagnosis.problems, []);
    assert_eq!(diagnosis.into_remains().map(|remains| remains.document), plain(&valid).ok());

    let wrong = valid
        .replace("\"downstream\", \"remark\"", "\"Downstream\", \"remark\"")
        .replace("\"R3\"", "\"R2\"");
    let wrong = wrong.replace("\"at\": 12.5", "\"at\": 1e999, \"at\": 12.5");
    let diagnosis = read::diagnose(wrong.as_bytes()).unwrap();
    let found: Vec<_> =
        diagnosis.problems.iter().map(|problem| (problem.kind, problem.pointer.as_str())).collect();
    let expected = [
        (ProblemKind::UnknownWord, "/runs/0/direction"),
        (ProblemKind::DuplicateKey, "/runs/1/observations/1/at"),
        (ProblemKind::DuplicateId, "/runs/2/id"),
    ];
    assert_eq!(found, expected);
    assert_eq!(diagnosis.value["runs"][1]["observations"][1]["at"], 12.5);
    assert_eq!(read::document(wrong.as_bytes()).unwrap_err().problems(), diagnosis.problems);
    let first = pull(&wrong).unwrap_err();
    assert_eq!((first.problems().len(), first.problems()[0].line), (1, 3), "{first}");
    assert_eq!(first.with_all_problems(wrong.as_bytes()).problems(), diagnosis.problems);
    // A run requires a direction.
    let remains = diagnosis.into_remains().unwrap();
    assert_eq!((remains.document.runs.len(), remains.original("/runs/0").as_str()), (2, "/runs/1"));

    assert!(matches!(read::diagnose(b"{\"a\": }"), Err(ReadError::Syntax { .. })));
    assert!(matches!(read::diagnose(b" \n"), Err(ReadError::Empty)));
}

#[test]
fn only_a_run_has_a_direction() {
    // By this key the reader recognises that the last row of a source is a run.
    let named = |object: &str| {
        let object = obvert_model::shape::object(object);
        object.fields.iter().any(|field| field.name == "direction" && field.required)
    };
    for field in &obvert_model::shape::document().fields {
        if let obvert_model::shape::Shape::List(item) = &field.shape {
            let obvert_model::shape::Shape::Object(name) = &**item else { continue };
            assert_eq!(named(name), field.name == "runs", "{}", field.name);
        }
    }
}
