//! The fast path and the diagnostic path give the same verdict for any change of a document.

use obvert_model::read::{
    self, IdWatch, PartialReader, Problem, ProblemKind, ReadError, ReadableRuns, Reader,
};
use obvert_model::tables::Document;
use proptest::prelude::*;
use proptest::sample::{Index, select};
use serde_json::Value;

use super::generate;
use super::tree::Tree;

/// One change of one node of a document.
#[derive(Clone, Debug)]
pub(crate) enum Change {
    /// Another value in its place.
    Replace(Tree),
    /// One key or item removed.
    Drop(Index),
    /// A key under another name.
    Rename(Index, String),
    /// A duplicate key with the same value.
    Twice(Index),
    /// A duplicate key with another value.
    TwiceOther(Index, Tree),
    /// A key that may be unknown.
    Add(String, Tree),
    /// An object replaced by the list of its values.
    ObjectToList,
    /// A list replaced by an object with the indexes as keys.
    ListToObject,
    /// A duplicate item, with its id.
    Repeat(Index),
    /// Wrapped in a list.
    Wrap,
    /// Wrapped in an object.
    AsKey,
    /// The keys in reverse order.
    Reverse,
    /// One character of a text added, removed or replaced.
    Spell(Index, Option<char>),
}

fn leaf() -> impl Strategy<Value = Tree> {
    let token = select(vec![
        "null",
        "true",
        "false",
        "0",
        "-0",
        "-0.0",
        "3.0",
        "3.5",
        "-1",
        "1e2",
        "1E-7",
        "255",
        "256",
        "9999",
        "10000",
        "4294967295",
        "4294967296",
        "4294967295.0",
        "9007199254740991",
        "9007199254740991.0",
        "9007199254740992",
        "9007199254740993",
        "-9007199254740991",
        "-9007199254740992",
        "18446744073709551615",
        "18446744073709551616",
        "-9223372036854775809",
        "1e16",
        "1e308",
        "-1e308",
        "1e309",
        "-1e400",
        "1e999999999999",
        "0e99999",
        "5e-324",
        "1e-400",
        "0.1000000000000000055511151231257827",
    ]);
    let word = select(vec![
        "",
        " ",
        "manhole",
        "downstream",
        "other",
        "ft",
        "0.1",
        "0.2",
        "0.3",
        "EPSG:6594",
        "en",
        "2026-05-06",
        "2026-05-06T09:31:00Z",
        "2026-05-06T09:31:00Z\n",
        "2026-02-30T23:59:60+23:59",
        "image/jpeg",
        "org.example.x",
        "12.4",
        "true",
        "null",
    ]);
    prop_oneof![
        3 => token.prop_map(|token| Tree::Token(token.to_owned())),
        2 => word.prop_map(|word| Tree::Text(word.to_owned())),
        1 => Just(Tree::List(vec![])),
        1 => Just(Tree::Object(vec![])),
        1 => generate::text().prop_map(Tree::Text),
    ]
}

fn key() -> impl Strategy<Value = String> {
    prop_oneof![
        select(vec![
            "id",
            "runs",
            "pipes",
            "observations",
            "at",
            "to",
            "extensions",
            "length",
            "kind",
            "x",
            "",
            "a/b~c",
            "Id",
            "org.example.x",
            "org",
            "obvert",
            "clock",
            "position",
            "path",
            "unit",
            "value"
        ])
        .prop_map(str::to_owned),
        generate::text(),
    ]
}

pub(crate) fn change() -> impl Strategy<Value = Change> {
    let any_index = any::<Index>();
    prop_oneof![
        4 => leaf().prop_map(Change::Replace),
        2 => any_index.prop_map(Change::Drop),
        2 => (any::<Index>(), key()).prop_map(|(at, name)| Change::Rename(at, name)),
        1 => any::<Index>().prop_map(Change::Twice),
        1 => (any::<Index>(), leaf()).prop_map(|(at, tree)| Change::TwiceOther(at, tree)),
        2 => (key(), leaf()).prop_map(|(name, tree)| Change::Add(name, tree)),
        1 => Just(Change::ObjectToList),
        1 => Just(Change::ListToObject),
        2 => any::<Index>().prop_map(Change::Repeat),
        1 => Just(Change::Wrap),
        1 => Just(Change::AsKey),
        1 => Just(Change::Reverse),
        2 => (any::<Index>(), prop::option::of(select(vec!['-', 'Z', ':', '0', 'a', ' ', '\n', 'é'])))
            .prop_map(|(at, c)| Change::Spell(at, c)),
    ]
}

/// Applies a change, or returns false if it does not apply to the node.
pub(crate) fn apply(node: &mut Tree, change: Change) -> bool {
    let taken = |node: &mut Tree| std::mem::replace(node, Tree::Token("null".into()));
    match (change, &mut *node) {
        (Change::Replace(other), _) => *node = other,
        (Change::Wrap, _) => *node = Tree::List(vec![taken(node)]),
        (Change::AsKey, Tree::Text(text)) => {
            *node = Tree::Object(vec![(text.clone(), Tree::Token("null".into()))])
        }
        (Change::Drop(at), Tree::Object(entries)) if !entries.is_empty() => {
            drop(entries.remove(at.index(entries.len())))
        }
        (Change::Drop(at), Tree::List(items)) if !items.is_empty() => {
            drop(items.remove(at.index(items.len())))
        }
        (Change::Rename(at, name), Tree::Object(entries)) if !entries.is_empty() => {
            let at = at.index(entries.len());
            entries[at].0 = name;
        }
        (Change::Twice(at), Tree::Object(entries)) if !entries.is_empty() => {
            entries.push(entries[at.index(entries.len())].clone());
        }
        (Change::TwiceOther(at, tree), Tree::Object(entries)) if !entries.is_empty() => {
            let key = entries[at.index(entries.len())].0.clone();
            entries.push((key, tree));
        }
        (Change::Add(name, tree), Tree::Object(entries)) => entries.push((name, tree)),
        (Change::ObjectToList, Tree::Object(entries)) => {
            *node =
                Tree::List(std::mem::take(entries).into_iter().map(|(_, value)| value).collect());
        }
        (Change::ListToObject, Tree::List(items)) => {
            let entries = std::mem::take(items).into_iter().enumerate();
            *node = Tree::Object(entries.map(|(index, item)| (index.to_string(), item)).collect());
        }
        (Change::Repeat(at), Tree::List(items)) if !items.is_empty() => {
            items.push(items[at.index(items.len())].clone());
        }
        (Change::Reverse, Tree::Object(entries)) => entries.reverse(),
        (Change::Spell(at, c), Tree::Text(text)) => {
            let mut chars: Vec<char> = text.chars().collect();
            match c {
                Some(c) => chars.insert(at.index(chars.len() + 1), c),
                None if !chars.is_empty() => drop(chars.remove(at.index(chars.len()))),
                None => {}
            }
            *text = chars.into_iter().collect();
        }
        _ => return false,
    }
    true
}

fn check(tree: &Tree) -> Result<bool, TestCaseError> {
    let source = tree.source(&mut || false);
    // The diagnostic path alone, from the value; none if a number of the source does not fit a
    // value.
    let value: Option<Value> = serde_json::from_str(&source).ok();
    let alone = value.map(|value| read::value_problems(&value));
    let outcome = read::document(source.as_bytes());
    let by_slices = sliced(&source);
    prop_assert_eq!(by_slices.as_ref().ok(), outcome.as_ref().ok(), "read by slices\n{}", source);
    match outcome {
        Ok(_) => {
            let agrees = alone.as_ref().is_some_and(Vec::is_empty) && !tree.has_twin_keys();
            prop_assert!(agrees, "read, but the diagnosis finds {:#?}\n{}", alone, source);
            prop_assert_eq!(
                read::diagnose(source.as_bytes()).map(|diagnosis| diagnosis.problems).ok(),
                Some(vec![])
            );
            Ok(true)
        }
        Err(ReadError::Structure(problems)) => {
            prop_assert!(!problems.is_empty());
            check_parts(&source, &problems)?;
            for problem in &problems {
                prop_assert!(problem.line > 0 && problem.column > 0, "{}", problem);
            }
            if let Some(alone) = &alone {
                let of = |problems: &[Problem]| {
                    let others = problems.iter().filter(|p| p.kind != ProblemKind::DuplicateKey);
                    let mut pairs: Vec<_> = others.map(|p| (p.kind, p.pointer.clone())).collect();
                    pairs.sort();
                    pairs
                };
                prop_assert_eq!(of(alone), of(&problems));
            }
            let found = match &alone {
                Some(alone) => !alone.is_empty() || tree.has_twin_keys(),
                // The message of the typed reader, if the diagnosis finds nothing.
                None => {
                    let words = by_slices.as_ref().map_or_else(ReadError::problems, |_| &[]);
                    problems
                        .iter()
                        .all(|problem| words.iter().all(|word| word.message != problem.message))
                }
            };
            prop_assert!(found, "only the typed reader refuses: {:#?}\n{}", problems, source);
            Ok(false)
        }
        Err(error) => {
            Err(TestCaseError::fail(format!("JSON was called something else: {error}\n{source}")))
        }
    }
}

/// Run by run, a document with structural problems is the same as in one piece: its problems, and
/// what is readable.
fn check_parts(source: &str, problems: &[Problem]) -> Result<(), TestCaseError> {
    let Ok(whole) = read::diagnose(source.as_bytes()) else { return Ok(()) };
    prop_assert_eq!(&whole.problems, problems, "{}", source);
    let Ok(Some(mut reader)) = PartialReader::new(source.as_bytes()) else { return Ok(()) };
    let mut runs = Vec::new();
    while let Some(found) = reader.next_run().expect("JSON") {
        runs.extend(found.run);
    }
    let readable = reader.into_readable();
    let Some(remains) = whole.into_remains() else { return Ok(()) };
    let Some(readable) = readable else {
        return Err(TestCaseError::fail(format!("nothing is readable\n{source}")));
    };
    prop_assert_eq!(&readable.head, &remains.document.head, "{}", source);
    prop_assert_eq!(&readable.left_out, &remains.left_out, "{}", source);
    prop_assert_eq!(readable.in_place(), remains.in_place(), "{}", source);
    prop_assert_eq!(&runs, &remains.document.runs, "{}", source);
    let again = ReadableRuns::new(source.as_bytes(), &readable).expect("runs");
    prop_assert_eq!(&again.collect::<Vec<_>>(), &runs, "{}", source);
    for (index, run) in runs.iter().enumerate() {
        let stub = &readable.runs[index];
        prop_assert_eq!((&stub.id, &stub.pipe), (&run.id, &run.pipe));
        for row in 0..=run.observations.len() {
            let pointer = format!("/runs/{index}/observations/{row}");
            prop_assert_eq!(readable.original(&pointer), remains.original(&pointer));
        }
    }
    Ok(())
}

/// The document, with its runs read one by one from the last to the first.
fn sliced(source: &str) -> Result<Document, ReadError> {
    let mut slices = Reader::new(source.as_bytes())?.into_slices();
    let head = slices.head().clone();
    let found: Vec<_> = slices.by_ref().collect::<Result<_, _>>()?;
    let mut ids = IdWatch::default();
    let mut runs = Vec::new();
    for slice in found.iter().rev() {
        let run = slice.read()?;
        ids.run_at(slice.index(), &run);
        runs.insert(0, run);
    }
    slices.finish([ids])?;
    Ok(Document { head, runs })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn the_two_paths_agree(value in generate::document(), changes in prop::collection::vec((any::<Index>(), change()), 24)) {
        // Each change on a fresh copy, since one problem can hide another.
        for (at, change) in changes {
            let mut tree = Tree::of(&value);
            let index = at.index(tree.count());
            if let Some(node) = tree.node(index) {
                apply(node, change);
            }
            check(&tree)?;
        }
    }

    #[test]
    fn the_two_paths_agree_on_several_changes_at_once(
        value in generate::document(),
        changes in prop::collection::vec((any::<Index>(), change()), 2..8),
    ) {
        let mut tree = Tree::of(&value);
        for (at, change) in changes {
            let index = at.index(tree.count());
            if let Some(node) = tree.node(index) {
                apply(node, change);
            }
        }
        check(&tree)?;
    }
}

/// The same changes at every node of a document with every field, which random tests may miss.
#[test]
fn the_two_paths_agree_at_every_node() {
    let whole = include_bytes!("../../../../tests/corpus/structure/valid-every-field.json");
    let value: Value = serde_json::from_slice(whole).unwrap();
    let count = Tree::of(&value).count();
    let token = |text: &str| Change::Replace(Tree::Token(text.to_owned()));
    let text = |text: &str| Change::Replace(Tree::Text(text.to_owned()));
    let changes = [
        token("null"),
        token("true"),
        token("7"),
        token("-7.5"),
        token("9007199254740992"),
        token("1e400"),
        text(""),
        Change::Replace(Tree::List(vec![])),
        Change::Replace(Tree::Object(vec![])),
        Change::ObjectToList,
        Change::ListToObject,
        Change::AsKey,
        Change::Wrap,
        Change::Reverse,
        Change::Add("x".into(), Tree::Token("1".into())),
    ];
    let (mut accepted, mut refused) = (0, 0);
    for index in 0..count {
        for change in &changes {
            let mut tree = Tree::of(&value);
            if !apply(tree.node(index).unwrap(), change.clone()) {
                continue;
            }
            match check(&tree) {
                Ok(true) => accepted += 1,
                Ok(false) => refused += 1,
                Err(error) => panic!("{change:?} at node {index}: {error}"),
            }
        }
        // Every key removed, and every key duplicated.
        for of in 0..64 {
            let mut tree = Tree::of(&value);
            let Some(Tree::Object(entries)) = tree.node(index) else { break };
            if of >= entries.len() {
                break;
            }
            let entry = entries.remove(of);
            if let Err(error) = check(&tree) {
                panic!("without key {of} at node {index}: {error}");
            }
            let Some(Tree::Object(entries)) = tree.node(index) else { break };
            entries.push(entry.clone());
            entries.push(entry);
            assert!(matches!(check(&tree), Ok(false)), "duplicate key {of} at node {index}");
        }
    }
    // Some changes leave the document valid, such as another number; most do not.
    assert!(accepted > 100 && refused > 1000, "{accepted} {refused}");
}
