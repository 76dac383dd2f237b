//! Checks that a list or a scheme makes sense, before the first survey is graded with it: a missing
//! band would otherwise only show as an unexpected grade.

use std::collections::BTreeMap;

use rustc_hash::FxHashMap;

use super::list_problems::values_problems;
use super::{Band, Code, CodeList, Family, GradeEntry, GradeScheme, Labels, PeakMethod};
use crate::tables::Aspect;
use crate::text::nearest;

mod cases;

use cases::cases;

words! {
    /// The kind of a problem of a code list or a grade scheme.
    pub ListProblemKind {
        /// A code, a place of a characterisation, a value, an amount, a step or a link is a
        /// duplicate.
        Duplicate = "duplicate",
        /// An empty list or label.
        Empty = "empty",
        /// A link to the code itself, or to a code, characterisation or amount that does not exist.
        Link = "link",
        /// An ambiguous translation.
        Ambiguous = "ambiguous",
        /// An empty range: its end is not above its start.
        EmptyRange = "empty-range",
        /// A required place after an optional one, so that a recorded value could belong to either.
        Order = "order",
        /// Two statements that contradict each other.
        Contradiction = "contradiction",
        /// The scheme grades another list, or another version of it.
        OtherList = "other-list",
        /// A code, characterisation, amount or aspect that is not defined.
        Unknown = "unknown",
        /// Amounts without a band.
        Gap = "gap",
        /// Amounts in two bands.
        Overlap = "overlap",
        /// A grade outside the scale, or without a step on it.
        OffScale = "off-scale",
        /// An entry that is never used, since earlier entries cover all of its cases.
        Unreachable = "unreachable",
        /// A case without a grade.
        NotGraded = "not-graded",
    }
}

/// One problem of a code list or a grade scheme.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ListProblem {
    /// Its kind.
    pub kind: ListProblemKind,
    /// Its location, as a JSON Pointer (RFC 6901) into the list or scheme.
    pub pointer: String,
    /// What is wrong and what to do: lower case, no full stop.
    pub message: String,
    /// The nearest valid spelling, if there is one.
    pub suggestion: Option<String>,
}

impl std::fmt::Display for ListProblem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.pointer, self.message)?;
        match &self.suggestion {
            Some(near) => write!(f, "; did you mean {near:?}?"),
            None => Ok(()),
        }
    }
}

#[derive(Default)]
pub(super) struct Problems(pub(super) Vec<ListProblem>);

impl Problems {
    pub(super) fn add(
        &mut self,
        kind: ListProblemKind,
        pointer: impl Into<String>,
        message: impl Into<String>,
    ) {
        self.0.push(ListProblem {
            kind,
            pointer: pointer.into(),
            message: message.into(),
            suggestion: None,
        });
    }

    /// Reports an unknown word, with the nearest known one.
    pub(super) fn unknown<'w>(
        &mut self,
        kind: ListProblemKind,
        pointer: impl Into<String>,
        message: impl Into<String>,
        word: &str,
        words: impl Iterator<Item = &'w str>,
    ) {
        let suggestion = nearest(word, words).map(str::to_owned);
        self.0.push(ListProblem {
            kind,
            pointer: pointer.into(),
            message: message.into(),
            suggestion,
        });
    }

    /// Reports every repetition of a name, at `pointer` and its index.
    pub(super) fn duplicates<'n>(
        &mut self,
        pointer: &str,
        what: &str,
        names: impl Iterator<Item = &'n str>,
    ) {
        let mut first: FxHashMap<&str, usize> = FxHashMap::default();
        for (index, name) in names.enumerate() {
            let earlier = *first.entry(name).or_insert(index);
            if earlier != index {
                self.add(
                    ListProblemKind::Duplicate,
                    format!("{pointer}/{index}"),
                    format!("the {what} {name:?} is a duplicate of {pointer}/{earlier}; keep one"),
                );
            }
        }
    }

    /// Reports every label that an earlier entry has in the same language.
    pub(super) fn duplicate_labels<'n>(
        &mut self,
        items: impl Iterator<Item = (String, &'n str, &'n Labels)>,
    ) {
        let mut first: FxHashMap<(&str, &str), &str> = FxHashMap::default();
        for (at, own, labels) in items {
            for (language, label) in labels {
                let earlier = *first.entry((language, label)).or_insert(own);
                if earlier != own {
                    let message = format!(
                        "{label:?} is also the {language} name of {earlier:?}; give each its own name"
                    );
                    self.add(ListProblemKind::Duplicate, format!("{at}/label/{language}"), message);
                }
            }
        }
    }
}

impl GradeScheme {
    /// What does not make sense in the scheme together with the list that it grades, in its order;
    /// empty if all is well.
    ///
    /// Every combination of conditions is tried: each material class, each range of sizes, each
    /// characterisation, and each of these unknown. So an entry that is never used and a case
    /// without a grade are found however the conditions are spread over the entries.
    #[must_use]
    pub fn problems(&self, list: &CodeList) -> Vec<ListProblem> {
        let mut problems = Problems::default();
        if self.code_list.list != list.id || self.code_list.version != list.version {
            let (wanted, given) = (&self.code_list, (&*list.id, &*list.version));
            let message = format!(
                "the scheme grades version {} of {} but is used with version {} of {}; use the matching list",
                &*wanted.version, &*wanted.list, given.1, given.0
            );
            problems.add(ListProblemKind::OtherList, "/code_list", message);
        }
        self.scale_problems(&mut problems);
        let codes = list.by_code();
        let mut groups: BTreeMap<(&str, Aspect), Vec<usize>> = BTreeMap::new();
        for (index, entry) in self.entries.iter().enumerate() {
            match codes.get(entry.code.as_str()) {
                Some(code) => {
                    self.entry_problems(entry, code, &format!("/entries/{index}"), &mut problems)
                }
                None => {
                    let message = format!("the code list has no code {:?}", &*entry.code);
                    let all = list.codes.iter().map(|code| code.code.as_str());
                    let at = format!("/entries/{index}/code");
                    problems.unknown(ListProblemKind::Unknown, at, message, &entry.code, all);
                }
            }
            groups.entry((&entry.code, entry.aspect)).or_default().push(index);
        }
        for ((code, _), indexes) in &groups {
            if let Some(code) = codes.get(code) {
                self.reach_problems(code, indexes, &mut problems);
            }
        }
        for code in &list.codes {
            let aspect = match code.family {
                Family::Structural => Aspect::Structural,
                Family::Operational => Aspect::Operational,
                Family::Construction | Family::Level | Family::Housekeeping => continue,
            };
            if self.aspects.contains(&aspect) && !groups.contains_key(&(code.code.as_str(), aspect))
            {
                let message = format!("the {aspect} code {:?} has no {aspect} grade", &*code.code);
                problems.add(ListProblemKind::NotGraded, "/entries", message);
            }
        }
        for (name, span) in
            [("interval", &self.rollup.interval), ("per_length", &self.rollup.per_length)]
        {
            if span.value <= 0.0 {
                let message =
                    format!("{} {} is not a length; use a number above 0", span.value, span.unit);
                problems.add(ListProblemKind::EmptyRange, format!("/rollup/{name}"), message);
            }
        }
        self.peak_problems(&mut problems);
        problems.0
    }

    fn peak_problems(&self, problems: &mut Problems) {
        let Some(peak) = &self.rollup.peak else { return };
        let summed = peak.method != PeakMethod::WorstGrade;
        let message = match &peak.length {
            None if summed => {
                format!(
                    "{} needs the length over which grades are summed; set it in length",
                    peak.method
                )
            }
            Some(_) if !summed => "the worst grade takes no length; remove it".to_owned(),
            Some(length) if length.value <= 0.0 => {
                format!("{} {} is not a length; use a number above 0", length.value, length.unit)
            }
            _ => return,
        };
        problems.add(ListProblemKind::EmptyRange, "/rollup/peak/length", message);
    }

    fn scale_problems(&self, problems: &mut Problems) {
        let (best, worst) = (self.scale.best.get(), self.scale.worst.get());
        if best == worst {
            problems.add(
                ListProblemKind::EmptyRange,
                "/scale",
                "the best and the worst grade are the same",
            );
        }
        let grades: Vec<String> =
            self.scale.steps.iter().map(|step| step.grade.to_string()).collect();
        problems.duplicates("/scale/steps", "step", grades.iter().map(String::as_str));
        for (index, step) in self.scale.steps.iter().enumerate() {
            let at = format!("/scale/steps/{index}");
            if !(best.min(worst)..=best.max(worst)).contains(&step.grade.get()) {
                problems.add(
                    ListProblemKind::OffScale,
                    &at,
                    format!("the step {} is outside the scale", step.grade),
                );
            }
            if step.label.is_empty() {
                problems.add(
                    ListProblemKind::Empty,
                    format!("{at}/label"),
                    "the step has no name; add a label in at least one language",
                );
            }
        }
        for (what, grade) in [("best", self.scale.best), ("worst", self.scale.worst)] {
            if !self.is_step(grade.get()) {
                problems.add(
                    ListProblemKind::OffScale,
                    format!("/scale/{what}"),
                    format!("the grade {grade} has no step; add one"),
                );
            }
        }
        if self.aspects.is_empty() {
            problems.add(
                ListProblemKind::Empty,
                "/aspects",
                "the scheme has no aspect; add at least one",
            );
        }
        problems.duplicates(
            "/aspects",
            "aspect",
            self.aspects.iter().map(|aspect| aspect.as_str()),
        );
        if self.entries.is_empty() {
            problems.add(ListProblemKind::Empty, "/entries", "the scheme grades no code");
        }
    }

    fn is_step(&self, grade: u8) -> bool {
        self.scale.steps.iter().any(|step| step.grade.get() == grade)
    }

    fn entry_problems(&self, entry: &GradeEntry, code: &Code, at: &str, problems: &mut Problems) {
        if !self.aspects.contains(&entry.aspect) {
            let message =
                format!("the scheme does not have the aspect {:?}", entry.aspect.as_str());
            problems.add(ListProblemKind::Unknown, format!("{at}/aspect"), message);
        }
        values_problems(code, &entry.characterisation, &format!("{at}/characterisation"), problems);
        if let Some(size) = &entry.size {
            let (from, below) = (size.from.unwrap_or(0.0), size.below.unwrap_or(f64::INFINITY));
            if from >= below {
                let message =
                    format!("the range of sizes from {from} to below {below} mm is empty");
                problems.add(ListProblemKind::EmptyRange, format!("{at}/size"), message);
            }
        }
        let grades = entry
            .bands
            .iter()
            .enumerate()
            .map(|(index, band)| (format!("{at}/bands/{index}"), band.grade));
        for (at, grade) in grades.chain(entry.grade.map(|grade| (format!("{at}/grade"), grade))) {
            if !self.is_step(grade.get()) {
                problems.add(
                    ListProblemKind::OffScale,
                    at,
                    format!("the grade {grade} is not a step of the scale"),
                );
            }
        }
        band_problems(&entry.bands, code, at, problems);
        let quantity = entry
            .bands
            .first()
            .and_then(|band| code.quantities.iter().find(|q| q.name == band.quantity));
        // A required amount may still be missing; the checker reports that, and the observation has
        // no grade.
        if entry.grade.is_none() && quantity.is_none_or(|quantity| quantity.required != Some(true))
        {
            let message = if entry.bands.is_empty() {
                "the entry has neither bands nor a grade"
            } else {
                "the entry has no grade for an amount that was not recorded"
            };
            problems.add(ListProblemKind::NotGraded, at, message);
        }
    }

    /// Tries every case of one code and aspect on the entries, as grading does: the first that fits
    /// is used.
    fn reach_problems(&self, code: &Code, indexes: &[usize], problems: &mut Problems) {
        let entries: Vec<&GradeEntry> =
            indexes.iter().filter_map(|index| self.entries.get(*index)).collect();
        let mut taken = vec![false; entries.len()];
        let mut ungraded = None;
        for case in cases(code, &entries) {
            match entries.iter().position(|entry| case.fits(entry)) {
                Some(first) => taken[first] = true,
                None if ungraded.is_none() => ungraded = Some(case),
                None => {}
            }
        }
        for ((entry, index), taken) in entries.iter().zip(indexes).zip(taken) {
            if !taken {
                let message = format!(
                    "no {:?} gets here: the earlier entries cover all cases of this one; remove or move it",
                    &*entry.code
                );
                problems.add(ListProblemKind::Unreachable, format!("/entries/{index}"), message);
            }
        }
        if let (Some(case), Some(last), Some(entry)) = (ungraded, indexes.last(), entries.last()) {
            let message = format!(
                "{:?} {case} gets no grade; add an entry without conditions last",
                &*entry.code
            );
            problems.add(ListProblemKind::NotGraded, format!("/entries/{last}"), message);
        }
    }
}

fn band_problems(bands: &[Band], code: &Code, at: &str, problems: &mut Problems) {
    let Some(first) = bands.first() else { return };
    for (index, band) in bands.iter().enumerate() {
        let at = format!("{at}/bands/{index}");
        if band.quantity != first.quantity {
            let message = format!(
                "the entry has bands of {:?} and of {:?}; grade by one amount",
                &*first.quantity, &*band.quantity
            );
            problems.add(ListProblemKind::Contradiction, &at, message);
        }
        if band.below.is_some_and(|below| below <= band.from) {
            let message = format!(
                "the band from {} to below {} is empty",
                band.from,
                band.below.unwrap_or_default()
            );
            problems.add(ListProblemKind::EmptyRange, &at, message);
        }
    }
    let Some(quantity) = code.quantities.iter().find(|quantity| quantity.name == first.quantity)
    else {
        let names = || code.quantities.iter().map(|quantity| quantity.name.as_str());
        let has = names().collect::<Vec<_>>().join(", ");
        let has = if has.is_empty() { "none at all".to_owned() } else { has };
        let message = format!(
            "the code {:?} has no amount {:?}; it has {has}",
            &*code.code, &*first.quantity
        );
        let at = format!("{at}/bands/0/quantity");
        return problems.unknown(ListProblemKind::Unknown, at, message, &first.quantity, names());
    };
    let unit = quantity.unit;
    if quantity.min.is_none_or(|min| first.from > min) {
        let message = match quantity.min {
            Some(min) => format!("amounts from {min} to below {} {unit} have no band", first.from),
            None => format!(
                "amounts below {} {unit} have no band; give the amount a min in the code list",
                first.from
            ),
        };
        problems.add(ListProblemKind::Gap, format!("{at}/bands/0"), message);
    }
    for (index, two) in bands.windows(2).enumerate() {
        let at = format!("{at}/bands/{}", index + 1);
        let (end, next) = (two[0].below.unwrap_or(f64::INFINITY), two[1].from);
        if end < next {
            problems.add(
                ListProblemKind::Gap,
                at,
                format!("amounts from {end} to below {next} {unit} have no band"),
            );
        } else if end > next {
            problems.add(
                ListProblemKind::Overlap,
                at,
                format!("amounts from {next} {unit} are in the previous band too"),
            );
        }
    }
    let end = bands.last().and_then(|band| band.below);
    if let Some(end) = end.filter(|end| quantity.max.is_none_or(|max| *end <= max)) {
        let message = format!("amounts from {end} {unit} have no band; leave the last band open");
        problems.add(ListProblemKind::Gap, format!("{at}/bands/{}", bands.len() - 1), message);
    }
}
