//! A survey translated to another code list and back: every loss is reported, and every original
//! value is restored.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::collections::BTreeSet;

use obvert_convert::recode::{self, ORIGINAL};
use obvert_convert::{ConvertError, LossKind, LossReport};
use obvert_model::lists::CodeList;
use obvert_model::tables::{Document, Observation, QuantityUnit};
use proptest::prelude::*;
use serde_json::{Value, json};

/// A city's own list that refers to the standard, which does not refer back, with locations and
/// amounts in another order.
fn town() -> &'static CodeList {
    static LIST: std::sync::OnceLock<CodeList> = std::sync::OnceLock::new();
    LIST.get_or_init(|| {
        let code = |code: &str, more: Value| {
            let mut all = json!({
                "code": code, "family": "structural", "label": { "en": format!("the {code}") },
                "clock": { "use": "optional" }, "continuous": "allowed", "joint": "allowed"
            });
            all.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
            all
        };
        let place = |name: &str, values: &[&str]| {
            let values: Vec<Value> = values.iter().map(|v| json!({ "value": v, "label": { "en": v } })).collect();
            json!({ "name": name, "required": false, "values": values })
        };
        let en = |more: Value| {
            let mut link = json!({ "list": "en-13508-2" });
            link.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
            link
        };
        let both = |own: &str, other: &str| json!({ "own": own, "other": other });
        let list = json!({
            "code_list": "0.1", "id": "larkmoor-terms", "version": "2", "title": "Terms of the town of Larkmoor",
            "codes": [
                code("note", json!({ "role": "remark" })),
                code("1", json!({
                    "characterisation": [place("course", &["along", "across"])],
                    "quantities": [{ "name": "width", "unit": "mm" }],
                    "same_as": [
                        en(json!({ "when": ["along"], "code": "BAB", "characterisation": ["B", "A"], "quantities": [both("width", "width")] })),
                        en(json!({ "when": ["across"], "code": "BAB", "characterisation": ["B", "B"] }))
                    ]
                })),
                code("2", json!({
                    "quantities": [{ "name": "wide", "unit": "mm" }, { "name": "high", "unit": "mm" }],
                    "same_as": [en(json!({ "code": "BCA", "characterisation": ["A"], "quantities": [both("wide", "width"), both("high", "height")] }))]
                })),
                code("3", json!({ "same_as": [en(json!({ "code": "BAN", "fit": "wider" }))] })),
                code("4", json!({}))
            ]
        });
        let list = CodeList::read(list.to_string().as_bytes()).unwrap();
        assert!(list.problems().is_empty(), "{:?}", list.problems());
        list
    })
}

fn lists() -> [&'static CodeList; 3] {
    let [terms, standard] = CodeList::built_ins();
    [terms, standard, town()]
}

/// A summary of one observation: its code, its values, and the number and units of its amounts.
type Pick =
    (prop::sample::Index, Vec<Option<prop::sample::Index>>, Vec<(prop::sample::Index, i32)>, u8);

fn picks() -> impl Strategy<Value = Vec<Pick>> {
    let amount = (any::<prop::sample::Index>(), 0..1000);
    let one = (
        any::<prop::sample::Index>(),
        prop::collection::vec(any::<Option<prop::sample::Index>>(), 0..3),
        prop::collection::vec(amount, 0..3),
        any::<u8>(),
    );
    prop::collection::vec(one, 1..12)
}

/// Codes every observation of a document with a list, mostly validly: some codes, values and
/// amounts are not in the list.
fn coded(document: &Document, list: &CodeList, picks: &[Pick]) -> Document {
    let mut document = document.clone();
    document.head.coding.list = list.id.clone();
    document.head.coding.version = list.version.clone();
    let rows = document.runs.iter_mut().flat_map(|run| &mut run.observations);
    for (row, (code, values, amounts, luck)) in rows.zip(picks.iter().cycle()) {
        // One in sixteen keeps its arbitrary code.
        if luck % 16 == 0 {
            continue;
        }
        let code = code.get(&list.codes);
        row.code = code.code.clone();
        row.characterisation = Vec::new();
        for (at, value) in values.iter().enumerate() {
            let known = code
                .characterisation
                .get(at)
                .map(|place| &place.values)
                .filter(|values| !values.is_empty());
            let word = match (value, known) {
                (Some(value), Some(known)) => value.get(known).value.clone(),
                (Some(_), None) => break,
                (None, _) => "odd".parse().unwrap(),
            };
            row.characterisation.push(word);
        }
        let quantities = amounts
            .iter()
            .map(|(unit, value)| json!({ "value": value, "unit": unit.get(QuantityUnit::ALL) }));
        row.quantities = serde_json::from_value(quantities.collect()).unwrap();
    }
    document
}

fn rows(document: &Document) -> impl Iterator<Item = (String, &Observation)> {
    document.runs.iter().enumerate().flat_map(|(run, rows)| {
        let rows = rows.observations.iter().enumerate();
        rows.map(move |(row, observation)| (format!("/runs/{run}/observations/{row}"), observation))
    })
}

/// Every value that the translation lacks is named in the report and in the remark.
fn accounted(before: &Document, after: &Document, report: &LossReport) {
    let named: BTreeSet<&str> = report.losses.iter().map(|loss| loss.pointer.as_str()).collect();
    for ((at, was), (_, is)) in rows(before).zip(rows(after)) {
        let lost = named.iter().any(|pointer| pointer.starts_with(&format!("{at}/")));
        if !lost {
            assert_eq!(was.remark, is.remark, "{at}");
            let amounts = |row: &Observation| {
                let mut all: Vec<String> =
                    row.quantities.iter().map(|q| serde_json::to_string(q).unwrap()).collect();
                all.sort();
                all
            };
            assert_eq!(amounts(was), amounts(is), "{at}");
        } else {
            let remark = is.remark.as_deref().unwrap_or_default();
            assert!(remark.contains(&*was.code), "{at}: {remark}");
            for value in &was.characterisation {
                assert!(remark.contains(&**value), "{at}: {remark}");
            }
            for amount in was.quantities.iter().filter(|amount| !is.quantities.contains(amount)) {
                assert!(remark.contains(&amount.value.to_string()), "{at}: {remark}");
            }
            assert!(
                was.remark.as_ref().is_none_or(|original| remark.ends_with(&**original)),
                "{at}: {remark}"
            );
        }
        // Everything else is unchanged.
        let mut same = is.clone();
        same.code = was.code.clone();
        same.characterisation = was.characterisation.clone();
        same.quantities = was.quantities.clone();
        same.remark = was.remark.clone();
        same.extensions = was.extensions.clone();
        assert_eq!(same, *was, "{at}");
    }
}

proptest! {
    #![proptest_config(common::cases(96))]

    #[test]
    fn a_translation_and_its_reverse_give_the_same_document(document in common::documents(), picks in picks(), from in 0..3_usize, to in 1..3_usize) {
        let (from, to) = (lists()[from], lists()[(from + to) % 3]);
        let document = coded(&document, from, &picks);
        let (translated, report) = recode::document(&document, from, to).unwrap();
        accounted(&document, &translated, &report);
        // The translated document can be written and read.
        let again = obvert_model::read::document(common::canonical(&translated).as_bytes()).unwrap();
        let (back, _) = recode::document(&again, to, from).unwrap();
        common::assert_same(&document, &back);
    }

    /// Through a third list and back the same way.
    #[test]
    fn a_translation_in_several_steps_is_reversible(document in common::documents(), picks in picks(), start in 0..3_usize) {
        let [a, b, c] = [0, 1, 2].map(|step| lists()[(start + step) % 3]);
        let document = coded(&document, a, &picks);
        let steps = [(a, b), (b, c), (c, a), (a, c), (c, b), (b, a)];
        let end = steps.iter().fold(document.clone(), |at, (from, to)| recode::document(&at, from, to).unwrap().0);
        common::assert_same(&document, &end);
    }

    /// A foreign value under the key of the extension changes nothing.
    #[test]
    fn a_foreign_extension_survives(
        document in common::documents(), picks in picks(), kept in picks(), of in 0..2_usize, back_to in 0..2_usize
    ) {
        let (from, to) = (lists()[of], lists()[1 - of]);
        let mut document = coded(&document, from, &picks);
        let list = lists()[back_to];
        let others = coded(&document, list, &kept);
        let others: Vec<Observation> = rows(&others).map(|(_, row)| row.clone()).collect();
        for (row, other) in document.runs.iter_mut().flat_map(|run| &mut run.observations).zip(others) {
            let original = json!({ ORIGINAL: {
                "list": list.id, "version": list.version, "code": other.code,
                "characterisation": other.characterisation, "quantities": other.quantities
            }});
            let original = original.to_string().replace("\"characterisation\":[],", "").replace(",\"quantities\":[]", "");
            row.extensions = serde_json::from_str(&original).unwrap();
        }
        let (translated, report) = recode::document(&document, from, to).unwrap();
        let (back, _) = recode::document(&translated, to, from).unwrap();
        if report.losses.iter().all(|loss| !loss.message.starts_with("the remark was changed")) {
            common::assert_same(&document, &back);
        }
    }
}

fn survey(rows: Value) -> Document {
    let mut value = common::minimal();
    value["runs"] =
        json!([{ "id": "R", "pipe": "P", "direction": "downstream", "observations": rows }]);
    common::document_of(value)
}

fn translate(document: &Document) -> (Document, LossReport) {
    recode::document(document, CodeList::obvert_terms(), CodeList::en_13508_2()).unwrap()
}

fn translate_back(document: &Document) -> (Document, LossReport) {
    recode::document(document, CodeList::en_13508_2(), CodeList::obvert_terms()).unwrap()
}

fn row(document: &Document) -> Value {
    serde_json::to_value(&document.runs[0].observations[0]).unwrap()
}

#[test]
fn translations_of_each_kind_of_observation() {
    let cases = [
        // The same code, with an amount in the recorded unit.
        (
            json!({ "code": "crack.longitudinal", "quantities": [{ "value": 0.125, "unit": "in" }], "clock": { "at": 3 } }),
            json!({ "code": "BAB", "characterisation": ["B", "A"], "quantities": [{ "value": 0.125, "unit": "in" }], "clock": { "at": 3 } }),
            vec![],
        ),
        // The same code, with more values.
        (
            json!({ "code": "roots.in-connection", "quantities": [{ "value": 35, "unit": "percent" }], "remark": "dense" }),
            json!({ "code": "BBA", "remark": "roots in connection [obvert-terms roots.in-connection], loss 35 %; dense" }),
            vec![
                (
                    LossKind::Translated,
                    "/code",
                    "roots.in-connection becomes BBA of en-13508-2, which means more than that",
                ),
                (
                    LossKind::Dropped,
                    "/quantities/0",
                    "roots.in-connection becomes BBA of en-13508-2, which cannot hold its loss",
                ),
            ],
        ),
        // A value that the other list cannot express.
        (
            json!({ "code": "connection.preformed", "characterisation": ["square"], "quantities": [{ "value": 6, "unit": "in" }] }),
            json!({ "code": "BCA", "characterisation": ["A"], "quantities": [{ "value": 6, "unit": "in" }],
                    "remark": "preformed junction, square (tee) [obvert-terms connection.preformed square]" }),
            vec![(
                LossKind::Dropped,
                "/characterisation/0",
                "connection.preformed becomes BCA A of en-13508-2, which cannot hold square",
            )],
        ),
        // No equivalent.
        (
            json!({ "code": "change.size", "quantities": [{ "value": 200, "unit": "mm" }], "grades": { "structural": 2 } }),
            json!({ "code": "BDB", "remark": "change of size [obvert-terms change.size], height 200 mm", "grades": { "structural": 2 } }),
            vec![(
                LossKind::Translated,
                "/code",
                "change.size has no equivalent in en-13508-2; it becomes BDB, general remark",
            )],
        ),
        // No code at all.
        (
            json!({ "code": "rots.fine", "remark": "by hand" }),
            json!({ "code": "BDB", "remark": "[obvert-terms rots.fine]; by hand" }),
            vec![(
                LossKind::Translated,
                "/code",
                "\"rots.fine\" is not a code of obvert-terms; it becomes BDB, general remark",
            )],
        ),
    ];
    for (before, after, losses) in cases {
        let with = |mut row: Value| {
            row["id"] = json!("1");
            row["at"] = json!(3);
            row
        };
        let document = survey(json!([with(before.clone())]));
        let (translated, report) = translate(&document);
        let mut is = row(&translated);
        let kept = is.as_object_mut().unwrap().remove("extensions");
        assert_eq!(kept.is_some(), !losses.is_empty(), "{before}: {kept:?}");
        assert_eq!(
            is,
            serde_json::to_value(survey(json!([with(after)])).runs[0].observations[0].clone())
                .unwrap()
        );
        let messages: Vec<_> = report
            .losses
            .iter()
            .map(|loss| (loss.kind, loss.pointer.as_str(), loss.message.as_str()))
            .collect();
        let pointer = |(kind, key, message): &(LossKind, &str, &'static str)| {
            (*kind, format!("/runs/0/observations/0{key}"), *message)
        };
        let expected: Vec<_> = losses.iter().map(pointer).collect();
        assert_eq!(
            messages,
            expected
                .iter()
                .map(|(kind, at, message)| (*kind, at.as_str(), *message))
                .collect::<Vec<_>>()
        );
        let (back, _) = translate_back(&translated);
        common::assert_same(&document, &back);
    }
}

#[test]
fn ambiguous_translations_are_not_guessed() {
    let mut document = survey(
        json!([{ "id": "1", "at": 3, "code": "BAB", "characterisation": ["B"], "quantities": [{ "value": 2, "unit": "mm" }] }]),
    );
    document.head.coding =
        serde_json::from_value(json!({ "list": "en-13508-2", "version": "2003+A1:2011" })).unwrap();
    let (translated, report) = translate_back(&document);
    assert_eq!(row(&translated)["code"], "note.remark");
    assert_eq!(row(&translated)["remark"], "fissure, crack [en-13508-2 BAB B], width 2 mm");
    assert_eq!(
        report.losses[0].message,
        "BAB B could be any of crack.longitudinal, crack.circumferential, crack.complex, crack.helical and \
         crack.radiating in obvert-terms, and no recorded value decides; it becomes note.remark, remark"
    );
}

#[test]
fn names_are_in_the_language_of_the_document() {
    let mut document = survey(json!([{ "id": "1", "at": 3, "code": "access.manhole" }]));
    for (language, expected) in
        [("de-AT", "Schacht"), ("fr", "regard de visite"), ("is", "manhole passed")]
    {
        document.head.language = Some(language.parse().unwrap());
        let remark = translate(&document).0.runs[0].observations[0].remark.clone().unwrap();
        assert!(
            remark.to_lowercase().starts_with(&format!("{} [", expected.to_lowercase())),
            "{language}: {remark}"
        );
    }
}

#[test]
fn changes_made_in_the_other_list_are_kept() {
    let document = survey(json!([{ "id": "1", "at": 3, "code": "hole", "remark": "drilled" }]));
    let (mut translated, _) = translate(&document);
    // Another remark: the code is restored, the new remark is kept, and both are reported.
    translated.runs[0].observations[0].remark = Some("seen from the surface".parse().unwrap());
    let (back, report) = translate_back(&translated);
    assert_eq!(
        row(&back),
        json!({ "id": "1", "at": 3, "code": "hole", "remark": "seen from the surface" })
    );
    assert_eq!(
        (report.losses.len(), report.losses[0].pointer.as_str()),
        (1, "/runs/0/observations/0/remark")
    );
    // Another code: the original one is not restored.
    translated.runs[0].observations[0].code = "BAP".parse().unwrap();
    translated.runs[0].observations[0].characterisation.clear();
    let (back, report) = translate_back(&translated);
    assert_eq!((row(&back)["code"].as_str(), report.losses.len()), (Some("void.visible"), 0));
    assert!(
        report.notes.iter().any(|note| note.message.contains("coded again")),
        "{:?}",
        report.notes
    );
}

#[test]
fn entries_from_memory_are_noted() {
    let (_, report) = translate(&survey(json!([
        { "id": "1", "at": 3, "code": "crack.longitudinal" },
        { "id": "2", "at": 4, "code": "joint.displaced", "quantities": [{ "value": 2, "unit": "mm" }] },
        { "id": "3", "at": 5, "code": "run.finish" }
    ])));
    assert!(report.is_empty());
    let notes: Vec<_> = report.notes.iter().map(|note| note.message.as_str()).collect();
    assert_eq!(
        notes,
        [
            "of en-13508-2, the codes BAJ and BCE and the direction B of BAJ are from memory only; compare them with the text of the list before relying on them"
        ]
    );
}

/// An office that counts terminations must not count a run that met the one from the other end, or
/// one that ended where the order said.
#[test]
fn a_run_that_was_not_abandoned_does_not_become_a_termination() {
    for code in ["run.met", "run.as-ordered"] {
        let (translated, report) =
            translate(&survey(json!([{ "id": "1", "at": 3, "code": code }])));
        let row = &translated.runs[0].observations[0];
        assert_eq!(row.code.as_str(), "BDB", "{code}");
        assert!(row.remark.as_deref().unwrap().ends_with(&format!("[obvert-terms {code}]")));
        assert_eq!(report.losses.len(), 1, "{code}");
    }
}

/// The letters for linings are those of the amended edition: a public German catalogue of the codes
/// of EN 13508-2.
#[test]
fn the_amended_letters_for_linings_keep_their_meaning() {
    let letters = [
        ("A", "lining.detached"),
        ("B", "lining.discoloured"),
        ("C", "lining.end-loose"),
        ("D", "lining.wrinkled"),
        ("E", "lining.blistered"),
        ("F", "lining.bulged-outward"),
        ("G", "lining.film-loose"),
        ("H", "lining.seam-loose"),
        ("I", "lining.cracked"),
        ("J", "lining.holed"),
        ("K", "lining.joint-defective"),
        ("L", "lining.soft"),
        ("M", "lining.resin-missing"),
        ("N", "lining.end-unsealed"),
    ];
    let (terms, standard) = (CodeList::obvert_terms(), CodeList::en_13508_2());
    for (letter, code) in letters {
        let row = json!([{ "id": "1", "at": 3, "code": code, "clock": { "at": 3 } }]);
        let document = survey(row);
        let (there, report) = recode::document(&document, terms, standard).unwrap();
        assert!(report.is_empty(), "{code}: {report:?}");
        let row = &there.runs[0].observations[0];
        assert_eq!((row.code.as_str(), row.characterisation[0].as_str()), ("BAK", letter));
        let (back, _) = recode::document(&there, standard, terms).unwrap();
        assert_eq!(back, document, "{code}");
    }
}

#[test]
fn documents_that_cannot_be_translated_are_refused() {
    let document = survey(json!([{ "id": "1", "at": 3, "code": "hole" }]));
    let (terms, standard) = (CodeList::obvert_terms(), CodeList::en_13508_2());
    let refused = |from: &CodeList, to: &CodeList| match recode::document(&document, from, to) {
        Err(ConvertError::Refused { message }) => message,
        other => panic!("{other:?}"),
    };
    assert_eq!(
        refused(standard, terms),
        "the document is coded in obvert-terms 1, not in en-13508-2 2003+A1:2011"
    );
    let mut without = town().clone();
    without.codes.remove(0);
    assert!(
        refused(terms, &without)
            .starts_with("the code list larkmoor-terms 2 has no code with the role remark")
    );
    // Translating to the list already in use changes nothing.
    let (same, report) = recode::document(&document, terms, terms).unwrap();
    assert_eq!((same, report), (document, LossReport::default()));
}
