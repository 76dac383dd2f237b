//! Cases for independent validators: some thousand documents, valid or spoilt in one known way,
//! each with the verdict of this reader. `tests/interop/test_cases.py` and
//! `tests/interop/cases.mjs` check the published schema with them, using two other engines.
//!
//! [`Verdict::Beyond`] is only for problems that a schema cannot detect: the reader refuses the
//! document and a validator of the schema alone accepts it. `spec/format/conformance.md` lists
//! these kinds.
//!
//! Equal seeds give equal cases. `OBVERT_CASES` names a file to write them to, `OBVERT_CASES_SEED`
//! another seed than 1, `OBVERT_CASES_EACH` the number of random cases for each way of spoiling,
//! instead of 40.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use obvert_model::read::{self, ProblemKind, ReadError};
use obvert_model::{schema, shape};
use proptest::prelude::*;
use proptest::sample::Index;
use proptest::strategy::ValueTree;
use proptest::test_runner::{RngAlgorithm, TestRng, TestRunner};
use serde_json::{Value, json};

use super::spoil::{self, KINDS, Kind, Verdict};
use super::tree::Tree;
use super::{agreement, generate};

/// The default seed.
struct Chance(TestRunner);

impl Chance {
    fn of(seed: u64) -> Self {
        let mut bytes = [0; 32];
        bytes[..8].copy_from_slice(&seed.to_le_bytes());
        let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &bytes);
        Self(TestRunner::new_with_rng(ProptestConfig::default(), rng))
    }

    fn make<S: Strategy>(&mut self, strategy: &S) -> S::Value {
        strategy.new_tree(&mut self.0).unwrap().current()
    }

    fn below(&mut self, count: usize) -> usize {
        self.make(&any::<Index>()).index(count)
    }
}

struct Case {
    kind: &'static str,
    /// The spoilt field, such as `Pipe.height`.
    at: String,
    source: String,
    refused: bool,
    /// Whether the schema alone refuses it as well.
    schema_refuses: bool,
}

/// The verdict of the reader; panics if it is not the expected one.
fn case_of(kind: &Kind, at: &str, source: String) -> Case {
    let outcome = read::document(source.as_bytes());
    let refused = outcome.is_err();
    let problems: Vec<ProblemKind> = match &outcome {
        Err(ReadError::Structure(problems)) => {
            problems.iter().map(|problem| problem.kind).collect()
        }
        _ => Vec::new(),
    };
    let has = |wanted: &ProblemKind| problems.contains(wanted);
    let duplicated =
        |kind: &ProblemKind| matches!(kind, ProblemKind::DuplicateKey | ProblemKind::DuplicateId);
    let as_expected = match kind.verdict {
        Verdict::Valid => !refused,
        Verdict::Refused(wanted) => has(&wanted),
        Verdict::Beyond(Some(wanted)) => has(&wanted) && problems.iter().all(duplicated),
        Verdict::Beyond(None) => matches!(outcome, Err(ReadError::Syntax { .. })),
        Verdict::Any => true,
    };
    assert!(as_expected, "{} at {at}: {:?}\n{source}", kind.name, outcome.map(|_| ()));
    // Random spoiling may cause a problem that no schema detects.
    let beyond =
        matches!(kind.verdict, Verdict::Beyond(_)) || (refused && problems.iter().all(duplicated));
    Case { kind: kind.name, at: at.to_owned(), source, refused, schema_refuses: refused && !beyond }
}

/// Every way of spoiling at every field of the format, on a document that has all fields.
fn at_every_field(root: &Value, chance: &mut Chance, cases: &mut Vec<Case>) {
    let whole = include_bytes!("../../../../tests/data/every-field.obvert.json");
    let value: Value = serde_json::from_slice(whole).unwrap();
    let mut seen = BTreeSet::new();
    for place in spoil::places(root, &Tree::of(&value)) {
        if !seen.insert(place.name.clone()) {
            continue;
        }
        for kind in KINDS {
            // Every required key once.
            let keys = place.schema["required"]
                .as_array()
                .filter(|_| kind.name == "missing-key")
                .map_or(1, Vec::len);
            for key in 0..keys {
                let mut choose = |count| {
                    if kind.name == "missing-key" { key % count } else { chance.below(count) }
                };
                let mut tree = Tree::of(&value);
                if (kind.spoil)(tree.node(place.index).unwrap(), &place, &mut choose) {
                    cases.push(case_of(kind, &place.name, tree.source(&mut || false)));
                }
            }
        }
    }
}

/// Every way of spoiling a number of times, at a random place of a random document.
fn at_random(
    root: &Value,
    documents: &[Value],
    each: usize,
    chance: &mut Chance,
    cases: &mut Vec<Case>,
) {
    for kind in KINDS {
        let (mut made, mut tried) = (0, 0);
        while made < each {
            tried += 1;
            assert!(tried < each * 100, "{} can hardly be done to any document", kind.name);
            let mut tree = Tree::of(&documents[chance.below(documents.len())]);
            let places = spoil::places(root, &tree);
            // The first possible place from a random one on.
            let start = chance.below(places.len());
            for place in places.iter().cycle().skip(start).take(places.len()) {
                let node = tree.node(place.index).unwrap();
                let mut spoilt = node.clone();
                if (kind.spoil)(&mut spoilt, place, &mut |count| chance.below(count)) {
                    *node = spoilt;
                    cases.push(case_of(kind, &place.name, tree.source(&mut || false)));
                    made += 1;
                    break;
                }
            }
        }
    }
}

/// Generated valid documents, and the same with any change at any place, including extensions.
fn unspoilt_and_arbitrary(documents: &[Value], chance: &mut Chance, cases: &mut Vec<Case>) {
    let changes = agreement::change();
    let kind = |name, verdict| Kind { name, verdict, spoil: |_, _, _| true };
    let (plain, escaped) = (kind("valid", Verdict::Valid), kind("valid-escaped", Verdict::Valid));
    let anything = kind("anything", Verdict::Any);
    for (number, value) in documents.iter().enumerate() {
        let mut tree = Tree::of(value);
        cases.push(case_of(&plain, "", tree.source(&mut || false)));
        if number % 4 == 0 {
            cases.push(case_of(&escaped, "", tree.source(&mut || chance.below(2) == 0)));
        }
        // Not every change is possible everywhere.
        for _ in 0..8 {
            let index = chance.below(tree.count());
            let change = chance.make(&changes);
            if agreement::apply(tree.node(index).unwrap(), change) {
                cases.push(case_of(&anything, "", tree.source(&mut || false)));
                break;
            }
        }
    }
}

fn number_of(variable: &str, otherwise: u64) -> u64 {
    match std::env::var(variable) {
        Ok(text) => {
            text.parse().unwrap_or_else(|_| panic!("{variable} is not a whole number: {text:?}"))
        }
        Err(_) => otherwise,
    }
}

#[test]
fn generated_cases_get_their_verdicts() {
    let each = usize::try_from(number_of("OBVERT_CASES_EACH", 40)).unwrap();
    let seed = number_of("OBVERT_CASES_SEED", 1);
    let mut chance = Chance::of(seed);
    let root = schema::document();
    let generated = generate::document();
    let documents: Vec<Value> = (0..each * 6).map(|_| chance.make(&generated)).collect();
    let mut cases = Vec::new();
    at_every_field(&root, &mut chance, &mut cases);
    at_random(&root, &documents, each, &mut chance, &mut cases);
    unspoilt_and_arbitrary(&documents, &mut chance, &mut cases);
    let trees: Vec<Tree> = documents.iter().map(Tree::of).collect();
    let met: BTreeSet<String> =
        trees.iter().flat_map(|tree| spoil::places(&root, tree)).map(|place| place.name).collect();

    // Every field of every object is in a valid document, and each was spoilt in more than one way.
    for object in shape::objects() {
        for field in &object.fields {
            let name = format!("{}.{}", object.name, field.name);
            assert!(met.contains(&name) || each < 40, "{name} is in no valid document");
            let ways: BTreeSet<&str> =
                cases.iter().filter(|case| case.at == name).map(|case| case.kind).collect();
            assert!(ways.len() > 1, "{name} was spoilt in these ways only: {ways:?}");
        }
    }
    assert!(cases.len() >= 2_000, "{} cases", cases.len());
    let mut counts: BTreeMap<&str, [usize; 2]> = BTreeMap::new();
    for case in &cases {
        counts.entry(case.kind).or_default()[usize::from(case.refused)] += 1;
    }
    println!(
        "seed {seed}, {} cases\n{:<22} {:>8} {:>8}",
        cases.len(),
        "kind",
        "accepted",
        "refused"
    );
    for (kind, [accepted, refused]) in counts {
        println!("{kind:<22} {accepted:>8} {refused:>8}");
    }
    if let Some(path) = std::env::var_os("OBVERT_CASES") {
        let mut out = String::new();
        for case in &cases {
            let word = |refused: bool| if refused { "invalid" } else { "valid" };
            let line = json!({
                "kind": case.kind, "at": case.at, "reader": word(case.refused), "schema": word(case.schema_refuses),
                "source": case.source,
            });
            writeln!(out, "{line}").unwrap();
        }
        std::fs::write(path, out).unwrap();
    }
}
