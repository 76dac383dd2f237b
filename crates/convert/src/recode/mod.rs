//! Translation from one code list to another: the same survey, coded in the list that the receiving
//! office uses.
//!
//! Codes are translated by the `same_as` links of the two lists. Nothing is lost silently: an
//! observation without equivalent becomes the other list's general remark; details that a link does
//! not carry are written to the remark's text; and the original coding is kept under [`ORIGINAL`]
//! in the observation's extensions if translating back would not find it. So translating back gives
//! the original document. Grades, ratings and the grade scheme stay as recorded: a translation does
//! not evaluate.
//!
//! ```
//! use obvert_convert::recode;
//! use obvert_model::lists::CodeList;
//! # let source = br#"{ "obvert": "0.2", "id": "x", "issued": "2026-05-06T16:20:00-05:00",
//! #   "units": { "length": "m", "section": "mm" }, "coding": { "list": "obvert-terms", "version": "1" },
//! #   "structures": [{ "id": "A", "kind": "manhole" }, { "id": "B", "kind": "manhole" }],
//! #   "pipes": [{ "id": "P", "upstream": "A", "downstream": "B" }],
//! #   "runs": [{ "id": "R", "pipe": "P", "direction": "downstream", "observations": [
//! #     { "id": "1", "at": 3, "code": "crack.longitudinal", "clock": { "at": 12 } },
//! #     { "id": "2", "at": 9, "code": "hole", "clock": { "at": 1 }, "quantities": [{ "value": 2, "unit": "in" }] }
//! #   ] }] }"#;
//! let document = obvert_model::read::document(source)?;
//! let (terms, standard) = (CodeList::obvert_terms(), CodeList::en_13508_2());
//! let (translated, losses) = recode::document(&document, terms, standard)?;
//! let rows = &translated.runs[0].observations;
//! assert_eq!((rows[0].code.as_str(), rows[1].code.as_str()), ("BAB", "BAC"));
//! assert_eq!(rows[1].remark.as_deref(), Some("hole [obvert-terms hole], size 2 in"));
//! assert_eq!(losses.losses[0].message, "hole becomes BAC B of en-13508-2, which means more than that");
//!
//! let (back, _) = recode::document(&translated, standard, terms)?;
//! assert_eq!(back, document);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod original;
mod words;

use std::collections::{BTreeMap, BTreeSet, HashMap};

use obvert_model::lists::{
    Code, CodeList, Crosswalk, Lost, NoEquivalent, Role, Standing, Translated,
};
use obvert_model::tables::{Document, Head, Observation, Run};
use obvert_model::text::Text;

use crate::{ConvertError, LossKind, LossReport};
pub use original::ORIGINAL;
use original::{Coded, Original};
use words::{Phrase, several};

/// Translates a document to another code list.
///
/// The report names every observation without an equivalent and every detail that a link does not
/// carry, by pointers that are valid in both documents. Equal losses have equal messages. Its notes
/// list the codes of a transcribed list that were transcribed from memory.
///
/// # Errors
/// When the document is not coded in `from`, or `to` has no code for a general remark.
pub fn document(
    document: &Document,
    from: &CodeList,
    to: &CodeList,
) -> Result<(Document, LossReport), ConvertError> {
    let mut recoder = Recoder::new(&document.head, from, to)?;
    let mut translated =
        Document { head: recoder.head(&document.head), runs: document.runs.clone() };
    translated.runs.iter_mut().for_each(|run| recoder.run(run));
    Ok((translated, recoder.finish()))
}

/// Translates a survey that is read run by run; [`fn@document`] translates a whole document.
#[derive(Debug)]
pub struct Recoder<'l> {
    /// Both directions; `None` if both lists are the same.
    ways: Option<(Direction<'l>, Direction<'l>)>,
    lists: [Memory<'l>; 2],
    /// The number of runs that have been translated.
    runs: usize,
    report: LossReport,
}

impl<'l> Recoder<'l> {
    /// Prepares the translation of the document with a head.
    ///
    /// # Errors
    /// As [`fn@document`].
    pub fn new(head: &Head, from: &'l CodeList, to: &'l CodeList) -> Result<Self, ConvertError> {
        let coding = &head.coding;
        let refused = |message| Err(ConvertError::Refused { message });
        if coding.list != from.id || coding.version != from.version {
            return refused(format!(
                "the document is coded in {} {}, not in {} {}",
                coding.list, coding.version, from.id, from.version
            ));
        }
        let mut recoder = Self {
            ways: None,
            lists: [Memory::new(from), Memory::new(to)],
            runs: 0,
            report: LossReport::default(),
        };
        if from.id == to.id && from.version == to.version {
            return Ok(recoder);
        }
        let language = head.language.as_ref().map_or("en", |language| language.as_str());
        let (Some(there), Some(back)) =
            (Direction::new(from, to, language), Direction::new(to, from, language))
        else {
            let without = if Direction::new(from, to, language).is_none() { to } else { from };
            return refused(format!(
                "the code list {} {} has no code with the role remark, which observations without an equivalent need; choose another list",
                without.id, without.version
            ));
        };
        recoder.ways = Some((there, back));
        Ok(recoder)
    }

    /// The head of the translated document.
    #[must_use]
    pub fn head(&self, head: &Head) -> Head {
        let mut head = head.clone();
        head.coding.list = self.lists[1].list.id.clone();
        head.coding.version = self.lists[1].list.version.clone();
        head
    }

    /// Translates the next run.
    pub fn run(&mut self, run: &mut Run) {
        let Some((there, back)) = &self.ways else { return };
        for (row, observation) in run.observations.iter_mut().enumerate() {
            let at = format!("/runs/{}/observations/{row}", self.runs);
            self.lists[0].look(observation);
            let step = Step::take(observation, there, back);
            for (kind, key, message) in step.losses {
                self.report.add(kind, format!("{at}{key}"), message);
            }
            if let Some(note) = step.note {
                self.report.note(at, note);
            }
            *observation = step.row;
            self.lists[1].look(observation);
        }
        self.runs += 1;
    }

    /// The losses, and other notes.
    #[must_use]
    pub fn finish(mut self) -> LossReport {
        for memory in &self.lists {
            let words = memory.words();
            if !words.is_empty() {
                let words: Vec<&str> = words.iter().map(String::as_str).collect();
                self.report.note(
                    "/coding",
                    format!(
                        "of {}, {} are from memory only; compare them with the text of the list before relying on them",
                        memory.list.id,
                        several(&words)
                    ),
                );
            }
        }
        self.report
    }
}

/// One direction.
#[derive(Debug)]
struct Direction<'l> {
    crosswalk: Crosswalk<'l>,
    /// The code of an observation without an equivalent.
    remark: &'l Code,
    /// The language of the lists that remarks are written in.
    language: String,
}

impl<'l> Direction<'l> {
    fn new(from: &'l CodeList, to: &'l CodeList, language: &str) -> Option<Self> {
        let remark = to.codes.iter().find(|code| code.role == Some(Role::Remark))?;
        Some(Self { crosswalk: Crosswalk::new(from, to), remark, language: language.to_owned() })
    }

    /// A translated coding, without regard to its original that may be kept elsewhere; and the
    /// losses, each with its key.
    fn plain(&self, coded: &Coded) -> (Coded, Vec<KeyedLoss>) {
        match self.crosswalk.translate(&coded.code, &coded.characterisation, &coded.quantities) {
            Ok(carried) => self.carried(coded, carried),
            Err(none) => self.general_remark(coded, &none),
        }
    }

    fn phrase<'p>(&'p self, coded: &'p Coded) -> Phrase<'p> {
        Phrase { list: self.crosswalk.from, language: &self.language, coded }
    }

    /// A coding with an equivalent.
    fn carried(&self, coded: &Coded, carried: Translated<'_>) -> (Coded, Vec<KeyedLoss>) {
        let becomes = format!(
            "becomes {} of {}",
            in_words(carried.code.code.as_str(), &carried.characterisation),
            self.crosswalk.to.id
        );
        let losses: Vec<KeyedLoss> =
            carried.lost.iter().map(|lost| loss(coded, lost, &becomes)).collect();
        let is_lost = |place| {
            let mut lost = carried.lost.iter();
            lost.any(|lost| matches!(lost, Lost::Amount(own, _) if *own == place))
        };
        let remark = match losses.is_empty() {
            true => coded.remark.clone(),
            false => self.phrase(coded).remark(self.crosswalk.code(&coded.code), is_lost),
        };
        let code = carried.code.code.clone();
        let (characterisation, quantities) = (carried.characterisation, carried.quantities);
        (Coded { code, characterisation, quantities, remark }, losses)
    }

    /// A coding without an equivalent.
    fn general_remark(&self, coded: &Coded, none: &NoEquivalent<'_>) -> (Coded, Vec<KeyedLoss>) {
        let (own, to) = (in_words(&coded.code, &coded.characterisation), &self.crosswalk.to.id);
        let why = match none {
            NoEquivalent::Unknown => {
                format!("{:?} is not a code of {}", &*coded.code, self.crosswalk.from.id)
            }
            NoEquivalent::Missing(_) => format!("{own} has no equivalent in {to}"),
            NoEquivalent::Ambiguous(_, could) => {
                let could: Vec<&str> = could.iter().map(|code| code.code.as_str()).collect();
                let could = several(&could);
                format!("{own} could be any of {could} in {to}, and no recorded value decides")
            }
        };
        let message = format!("{why}; it becomes {}, {}", self.remark.code, self.remark.name());
        let remark = self.phrase(coded).remark(self.crosswalk.code(&coded.code), |_| true);
        let coded = Coded {
            code: self.remark.code.clone(),
            characterisation: Vec::new(),
            quantities: Vec::new(),
            remark,
        };
        (coded, vec![(LossKind::Translated, "/code".to_owned(), message)])
    }
}

/// A loss, with its kind, its key in the observation, and its message.
type KeyedLoss = (LossKind, String, String);

/// A detail of a coding that a link does not carry.
fn loss(coded: &Coded, lost: &Lost<'_>, becomes: &str) -> KeyedLoss {
    let own = in_words(&coded.code, &coded.characterisation);
    match lost {
        Lost::Meaning => {
            let message = format!("{own} {becomes}, which means more than that");
            (LossKind::Translated, "/code".to_owned(), message)
        }
        Lost::Choice(others) => {
            let others: Vec<&str> = others.iter().map(|code| code.code.as_str()).collect();
            let message = format!("{own} {becomes}, and could as well be {}", several(&others));
            (LossKind::Translated, "/code".to_owned(), message)
        }
        Lost::Characterisation(place) => {
            let values = coded.characterisation.iter().skip(*place);
            let values: Vec<&str> = values.map(|value| value.as_str()).collect();
            let message =
                format!("{} {becomes}, which cannot hold {}", coded.code, several(&values));
            (LossKind::Dropped, format!("/characterisation/{place}"), message)
        }
        Lost::Amount(place, name) => {
            let what = name.map_or_else(|| "a further amount".to_owned(), |n| format!("its {n}"));
            let message = format!("{} {becomes}, which cannot hold {what}", coded.code);
            (LossKind::Dropped, format!("/quantities/{place}"), message)
        }
    }
}

/// A code with its characterisation.
fn in_words(code: &str, characterisation: &[Text]) -> String {
    let values: String = characterisation.iter().map(|value| format!(" {value}")).collect();
    format!("{code}{values}")
}

/// A translated observation, with losses and notes; each with its key.
struct Step {
    row: Observation,
    losses: Vec<KeyedLoss>,
    note: Option<&'static str>,
}

impl Step {
    fn take(row: &Observation, there: &Direction<'_>, back: &Direction<'_>) -> Self {
        let coded = Coded::of(row);
        let kept = Original::of(row);
        let mut note = None;
        if let Some(kept) = kept.as_ref().filter(|kept| kept.is_of(there.crosswalk.to)) {
            let (again, _) = back.plain(&kept.coded);
            if again == coded {
                let restored = kept.restored(row, kept.coded.remark.clone());
                // Otherwise it is another program's extension and is kept. This terminates, since
                // the restored observation has one layer less.
                if Self::take(&restored, back, there).row == *row {
                    return Self { row: restored, losses: Vec::new(), note };
                }
            } else if again.same_but_for_remark(&coded) && there.plain(&coded).0 != kept.coded {
                let message = "the remark was changed after the translation; it is kept, and the original remark is lost";
                let losses = vec![(LossKind::Changed, "/remark".to_owned(), message.to_owned())];
                return Self { row: kept.restored(row, coded.remark), losses, note };
            } else {
                note = Some(
                    "it was coded again after the translation, so its original coding is not restored",
                );
            }
        }
        let (translated, losses) = there.plain(&coded);
        let found = back.plain(&translated).0 == coded;
        let mut row = translated.put_into(row.clone());
        // Another program's extension that names one of the two lists would be taken for an
        // original.
        let taken =
            |kept: &Original| kept.is_of(there.crosswalk.from) || kept.is_of(there.crosswalk.to);
        if !found || kept.as_ref().is_some_and(taken) {
            row = Original::keep(row, there.crosswalk.from, coded);
        }
        Self { row, losses, note }
    }
}

/// What of a list a document uses and what was transcribed from memory: codes, and values of
/// characterisations of other codes.
#[derive(Debug)]
struct Memory<'l> {
    list: &'l CodeList,
    codes: HashMap<&'l str, &'l Code>,
    used: BTreeSet<&'l str>,
    values: BTreeSet<(&'l str, usize, &'l str)>,
}

impl<'l> Memory<'l> {
    fn new(list: &'l CodeList) -> Self {
        Self {
            list,
            codes: list.codes.iter().map(|code| (code.code.as_str(), code)).collect(),
            used: BTreeSet::new(),
            values: BTreeSet::new(),
        }
    }

    fn look(&mut self, row: &Observation) {
        let is = |standing: Option<Standing>| standing == Some(Standing::FromMemory);
        let Some(code) = self.codes.get(row.code.as_str()).copied() else { return };
        let mut amounts = code.amounts(&row.characterisation).take(row.quantities.len());
        if is(code.standing) || amounts.any(|amount| is(amount.standing)) {
            self.used.insert(&code.code);
        }
        // A value without a standing has that of its code.
        let places = code.characterisation.iter().zip(&row.characterisation).enumerate();
        for (number, (place, value)) in places {
            let known = place.values.iter().find(|known| known.value == *value);
            if let Some(known) = known.filter(|known| is(known.standing.or(code.standing))) {
                self.values.insert((&code.code, number, &known.value));
            }
        }
    }

    /// What is from memory, for a note: `the codes BCC and BDD`, `the characterisations A, B of BAF`.
    fn words(&self) -> Vec<String> {
        let mut words = Vec::new();
        if !self.used.is_empty() {
            let codes: Vec<&str> = self.used.iter().copied().collect();
            words.push(format!("the codes {}", several(&codes)));
        }
        let mut by_place: BTreeMap<(&str, usize), Vec<&str>> = BTreeMap::new();
        for (code, place, value) in &self.values {
            by_place.entry((code, *place)).or_default().push(value);
        }
        for ((code, place), values) in by_place {
            let name = self.codes.get(code).and_then(|code| code.characterisation.get(place));
            let name = name.map_or("characterisation", |place| place.name.as_str());
            words.push(format!("the {name} {} of {code}", several(&values)));
        }
        words
    }
}
