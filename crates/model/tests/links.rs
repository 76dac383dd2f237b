//! The links between the built-in code lists, the standing of entries in the transcribed list, and
//! translations.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::collections::{BTreeMap, BTreeSet};

use obvert_model::lists::{
    CodeList, Crosswalk, Fit, Lost, NoEquivalent, SameAmount, SameAs, Standing,
};
use obvert_model::number::Amount;
use obvert_model::tables::{Quantity, QuantityUnit};
use obvert_model::text::Text;

/// A link with both ends: list, code, characterisation; list, code, characterisation; amounts.
type Whole = [(String, String, Vec<String>); 2];

fn texts(values: &[Text]) -> Vec<String> {
    values.iter().map(ToString::to_string).collect()
}

fn exact(list: &CodeList) -> BTreeMap<Whole, BTreeSet<(String, String)>> {
    let links =
        list.codes.iter().flat_map(|code| code.same_as.iter().map(move |link| (code, link)));
    let whole = |(code, link): (&obvert_model::lists::Code, &SameAs)| {
        let here = (list.id.to_string(), code.code.to_string(), texts(&link.when));
        let target = (link.list.to_string(), link.code.to_string(), texts(&link.characterisation));
        let amounts = link
            .quantities
            .iter()
            .map(|SameAmount { own, other, .. }| (own.to_string(), other.to_string()));
        ([here, target], amounts.collect())
    };
    links.filter(|(_, link)| link.fit() == Fit::Exact).map(whole).collect()
}

/// Another test checks that every link resolves, since `problems` is empty.
#[test]
fn every_exact_link_is_reversible() {
    let (terms, standard) = (exact(CodeList::obvert_terms()), exact(CodeList::en_13508_2()));
    assert!(terms.len() > 100, "{}", terms.len());
    let turned: BTreeMap<Whole, BTreeSet<(String, String)>> = standard
        .into_iter()
        .map(|([a, b], amounts)| {
            ([b, a], amounts.into_iter().map(|(own, other)| (other, own)).collect())
        })
        .collect();
    assert_eq!(terms, turned);
}

/// The number of codes, each with every first value of its characterisation and without one, and
/// their outcomes: exact, with loss, or none.
fn outcomes(from: &CodeList, to: &CodeList) -> ([usize; 3], Vec<String>) {
    let crosswalk = Crosswalk::new(from, to);
    let mut counts = [0; 3];
    let mut none = Vec::new();
    for code in &from.codes {
        let places = code.characterisation.first();
        let values = places
            .into_iter()
            .flat_map(|place| &place.values)
            .map(|value| vec![value.value.clone()]);
        let bare = places.is_none_or(|place| !place.required).then(Vec::new);
        for characterisation in bare.into_iter().chain(values) {
            match crosswalk.translate(&code.code, &characterisation, &[]) {
                Ok(translated) => counts[usize::from(!translated.lost.is_empty())] += 1,
                Err(_) => {
                    counts[2] += 1;
                    none.push(
                        [vec![code.code.to_string()], texts(&characterisation)].concat().join(" "),
                    );
                }
            }
        }
    }
    (counts, none)
}

/// The specification has these figures; correct them there when you add a link.
#[test]
fn codes_without_an_equivalent_are_counted() {
    let (terms, standard) = (CodeList::obvert_terms(), CodeList::en_13508_2());
    let linked = |list: &CodeList, fit: Fit| {
        list.codes.iter().filter(|code| code.same_as.iter().any(|link| link.fit() == fit)).count()
    };
    let without = terms.codes.iter().filter(|code| code.same_as.is_empty()).count();
    println!(
        "obvert-terms: {} codes, {} exact, {without} without",
        terms.codes.len(),
        linked(terms, Fit::Exact)
    );
    let (to_standard, none) = outcomes(terms, standard);
    println!("to the standard: exact, with loss, none: {to_standard:?}\n{}", none.join("\n"));
    let (from_standard, none) = outcomes(standard, terms);
    println!("from the standard: exact, with loss, none: {from_standard:?}\n{}", none.join("\n"));
    assert_eq!((terms.codes.len(), linked(terms, Fit::Exact), without), (209, 105, 68));
    assert_eq!((standard.codes.len(), linked(standard, Fit::Exact)), (36, 36));
    assert_eq!((to_standard, from_standard), ([156, 68, 99], [116, 13, 16]));
}

/// Read: main codes in public lists of them, table 4 (BAA, BAB, BAC) in an excerpt, BBF and BBG in
/// a lexicon, BCA in a German guideline; the list names each. Everything else is from memory.
#[test]
fn entries_from_memory_are_marked() {
    let list = CodeList::en_13508_2();
    let of = |standing: Standing| -> Vec<&str> {
        let codes = list.codes.iter().filter(|code| code.standing == Some(standing));
        codes.map(|code| code.code.as_str()).collect()
    };
    assert_eq!(of(Standing::Read), ["BCA"]);
    assert_eq!(
        of(Standing::FromMemory),
        ["BAM", "BCC", "BCD", "BCE", "BDA", "BDB", "BDC", "BDD", "BDE", "BDF", "BDG"]
    );
    assert_eq!(of(Standing::SecondHand).len(), 36 - 1 - 11);
    let mut sure = Vec::new();
    for code in &list.codes {
        let standing = code.standing.unwrap();
        if standing != Standing::FromMemory {
            assert!(
                code.source.is_some() && code.use_standing.is_some(),
                "{} names no source",
                code.code
            );
        }
        for place in &code.characterisation {
            for value in &place.values {
                if value.standing.unwrap_or(standing) != Standing::FromMemory
                    && *value.value != *"Z"
                {
                    sure.push(format!("{} {}", code.code, value.value));
                }
            }
            // Unread parts may be incomplete, so the list must not reject codes that the standard
            // may have.
            let unread =
                place.values.iter().any(|value| value.standing == Some(Standing::FromMemory));
            if unread || standing == Standing::FromMemory || place.values.is_empty() {
                assert!(
                    place.open == Some(true) && !place.required,
                    "{} {}",
                    code.code,
                    place.name
                );
            }
        }
        for amount in &code.quantities {
            assert!(amount.required != Some(true), "{} {}", code.code, amount.name);
            if amount.standing.unwrap_or(standing) != Standing::FromMemory {
                sure.push(format!("{} {} {}", code.code, amount.name, amount.unit));
            }
        }
        let labels = code.label.keys().map(|language| language.as_str());
        assert_eq!(
            labels.collect::<Vec<_>>(),
            ["en"],
            "{}: names are this project's own, in one language",
            code.code
        );
    }
    let expected = "BAA A, BAA B, BAA reduction percent, BAA reduction percent, BAB A, BAB B, BAB C, BAB A, BAB B, BAB C, \
        BAB D, BAB E, BAB width mm, BAC A, BAC B, BAC C, BAC length mm, \
        BAK A, BAK B, BAK C, BAK D, BAK E, BAK F, BAK G, BAK H, BAK I, BAK J, BAK K, BAK L, BAK M, BAK N, BBF A, BBF B, BBF C, BBF D, BBH A, BBH B, \
        BBH count count, BCA A, BCA B, BCA C, BCA D, BCA E, BCA F, BCA G, BCA A, BCA B, BCA height mm, BCA width mm";
    assert_eq!(sure.join(", "), expected);
}

fn to_standard() -> Crosswalk<'static> {
    Crosswalk::new(CodeList::obvert_terms(), CodeList::en_13508_2())
}

fn from_standard() -> Crosswalk<'static> {
    Crosswalk::new(CodeList::en_13508_2(), CodeList::obvert_terms())
}

fn words(values: &[&str]) -> Vec<Text> {
    values.iter().map(|value| Text::new(value).unwrap()).collect()
}

fn amount(value: f64, unit: QuantityUnit) -> Quantity {
    Quantity::new(Amount::new(value).unwrap(), unit)
}

/// The code and its characterisation, as one text.
fn translated_text(crosswalk: &Crosswalk<'_>, code: &str, characterisation: &[&str]) -> String {
    match crosswalk.translate(code, &words(characterisation), &[]) {
        Ok(translated) => {
            let lost = if translated.lost.is_empty() { "" } else { " !" };
            [vec![translated.code.code.to_string()], texts(&translated.characterisation)]
                .concat()
                .join(" ")
                + lost
        }
        Err(NoEquivalent::Missing(_)) => "-".to_owned(),
        Err(error) => error.to_string(),
    }
}

#[test]
fn the_most_specific_link_is_taken() {
    let to_standard = to_standard();
    for (code, characterisation, expected) in [
        ("infiltration", &["dripping"][..], "BBF B"),
        ("infiltration", &[], "BBF"),
        // A value that the list does not have is lost, not guessed.
        ("infiltration", &["pouring"], "BBF !"),
        ("surface.spalled", &["chemical"], "BAF B B"),
        ("surface.spalled", &[], "BAF B"),
        ("soil.ingress", &["clay"], "BBD C !"),
        ("hole", &[], "BAC B !"),
        ("bend.curved", &["left"], "BCC A"),
        ("bend.curved", &["up"], "BCC !"),
        ("connection.preformed", &["square"], "BCA A !"),
        ("connection.capped", &[], "BCA G B"),
        ("access.manhole", &[], "-"),
        ("no.such.code", &[], "the code is not in its list"),
    ] {
        assert_eq!(
            translated_text(&to_standard, code, characterisation),
            expected,
            "{code} {characterisation:?}"
        );
    }
    let from_standard = from_standard();
    for (code, characterisation, expected) in [
        ("BAB", &["B", "A"][..], "crack.longitudinal"),
        ("BAF", &["B", "C"], "surface.spalled chemical !"),
        ("BAF", &["Q"], "-"),
        (
            "BAC",
            &[],
            "BAC could be break.displaced or break.missing or collapse; the characterisation that decides is not recorded",
        ),
        ("BAD", &["D"], "collapse !"),
        ("BCA", &["A"], "connection.preformed"),
        ("BCA", &["A", "A"], "connection.preformed !"),
        ("BCA", &["A", "B"], "connection.capped !"),
        ("BCA", &["G", "B"], "connection.capped"),
        ("BBC", &["C"], "deposit.settled compacted"),
    ] {
        assert_eq!(
            translated_text(&from_standard, code, characterisation),
            expected,
            "{code} {characterisation:?}"
        );
    }
}

#[test]
fn amounts_keep_their_recorded_values_in_their_own_places() {
    let inches = amount(1.5, QuantityUnit::Inch);
    let translated =
        to_standard().translate("joint.displaced", &[], std::slice::from_ref(&inches)).unwrap();
    assert_eq!(translated.quantities, std::slice::from_ref(&inches));
    assert_eq!(translated.lost, []);
    // BAJ has one place, for a gap, an offset or an angle, by its characterisation.
    let translated =
        from_standard().translate("BAJ", &words(&["B"]), std::slice::from_ref(&inches)).unwrap();
    assert_eq!(
        (translated.code.code.as_str(), &*translated.quantities),
        ("joint.displaced", std::slice::from_ref(&inches))
    );
    let names = |letter| {
        CodeList::en_13508_2().by_code()["BAJ"]
            .amounts(&[letter])
            .map(|q| q.unit)
            .collect::<Vec<_>>()
    };
    assert_eq!(
        [names("B"), names("C"), names("Z")],
        [vec![QuantityUnit::Millimetre], vec![QuantityUnit::Degrees], vec![]]
    );

    let two = [
        amount(6.0, QuantityUnit::Inch),
        amount(100.0, QuantityUnit::Millimetre),
        amount(3.0, QuantityUnit::Count),
    ];
    let translated = to_standard().translate("connection.saddle", &[], &two).unwrap();
    assert_eq!(translated.quantities, two[..2]);
    assert_eq!(translated.lost, [Lost::Amount(2, None)]);

    let translated = to_standard()
        .translate(
            "infiltration",
            &words(&["flowing"]),
            &[amount(0.2, QuantityUnit::LitresPerSecond)],
        )
        .unwrap();
    assert_eq!(
        (translated.quantities.len(), translated.lost),
        (0, vec![Lost::Amount(0, Some("flow"))])
    );
}

fn own(codes: &str) -> CodeList {
    let source = format!(
        r#"{{"code_list": "0.1", "id": "larkmoor-terms", "version": "1", "title": "Terms of Larkmoor", "codes": [{codes}]}}"#
    );
    CodeList::read(source.as_bytes()).unwrap()
}

fn own_code(code: &str, more: &str) -> String {
    format!(
        r#"{{"code": "{code}", "family": "structural", "label": {{"en": "{code}"}}, "clock": {{"use": "optional"}},
            "continuous": "allowed", "joint": "allowed", {more}}}"#
    )
}

/// A user's list with links to the standard's list, which has none back, can still be translated.
#[test]
fn exact_links_work_in_both_directions() {
    let quantities =
        r#""quantities": [{"name": "depth", "unit": "mm"}, {"name": "gap", "unit": "mm"}],"#;
    let list = own(&[
        own_code(
            "J1",
            &format!(
                r#"{quantities} "same_as": [{{"list": "en-13508-2", "code": "BAJ", "characterisation": ["A"],
                   "quantities": [{{"own": "gap", "other": "gap"}}]}}]"#
            ),
        ),
        own_code("J2", r#""same_as": [{"list": "en-13508-2", "code": "BAJ", "fit": "wider"}]"#),
    ]
    .join(","));
    assert!(list.problems().is_empty(), "{:?}", list.problems());
    let (out, home) = (
        Crosswalk::new(&list, CodeList::en_13508_2()),
        Crosswalk::new(CodeList::en_13508_2(), &list),
    );
    assert_eq!(translated_text(&out, "J1", &[]), "BAJ A");
    assert_eq!(translated_text(&out, "J2", &[]), "BAJ !");
    assert_eq!(translated_text(&home, "BAJ", &["A"]), "J1");
    // A wider link is not reversible, and BAJ without a letter is ambiguous.
    assert_eq!(
        translated_text(&home, "BAJ", &[]),
        "BAJ could be J1; the characterisation that decides is not recorded"
    );
    let [depth, gap] =
        [amount(2.0, QuantityUnit::Millimetre), amount(9.0, QuantityUnit::Millimetre)];
    let translated = out.translate("J1", &[], &[depth, gap.clone()]).unwrap();
    assert_eq!(translated.quantities, std::slice::from_ref(&gap));
    assert_eq!(translated.lost, [Lost::Amount(0, Some("depth"))]);
    // Translated back, the gap would be in the place of the depth, which is worse than losing it.
    let translated = home.translate("BAJ", &words(&["A"]), &[gap]).unwrap();
    assert_eq!(
        (translated.quantities.len(), translated.lost),
        (0, vec![Lost::Amount(0, Some("gap"))])
    );
}

#[test]
fn a_choice_is_named() {
    let link = |code: &str| own_code(code, r#""same_as": [{"list": "en-13508-2", "code": "BAN"}]"#);
    let list = own(&[link("P1"), link("P2")].join(","));
    let home = Crosswalk::new(CodeList::en_13508_2(), &list);
    let translated = home.translate("BAN", &[], &[]).unwrap();
    assert_eq!(translated.code.code.as_str(), "P1");
    let [Lost::Choice(others)] = translated.lost.as_slice() else {
        panic!("{:?}", translated.lost)
    };
    assert_eq!(others.iter().map(|code| code.code.as_str()).collect::<Vec<_>>(), ["P2"]);
}
