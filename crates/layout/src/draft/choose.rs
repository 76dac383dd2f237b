//! Which field a column is taken for: its heading and the look of its values are held against everything that a column of a survey can hold,
//! the surest choices first.

use std::collections::BTreeSet;

use super::dates;
use super::form::Form;
use super::look::{Look, Near};
use super::moments::{self, WHEN};
use super::ways;
use super::words::{self, Target, Wants, vocabulary};

/// What is one size of a whole pipe.
pub(super) const SIZES: [&str; 2] = ["pipes.height", "pipes.width"];
/// An amount of an observation.
const AMOUNT: &str = "runs.observations.quantities.value";
/// How much surer a size is that is of the pipe than one that can only be of what was seen.
const VARYING: f64 = 0.9;

/// Below this, no proposal is made.
const LEAST: f64 = 0.5;
/// How sure a column is that has no heading that names it, and values that can hardly be anything else.
const BY_VALUES: f64 = 0.55;
/// How well a heading names what its values are words for, and it only leaves room for.
const ROOM: f64 = 0.5;

/// A column as far as it is judged.
pub(super) struct Column {
    /// How it is called in the layout.
    pub(super) heading: String,
    /// The words of its heading; in XML those of the path within the element that it is of, and others that say less surely what it is.
    pub(super) words: Vec<Vec<String>>,
    pub(super) look: Look,
    /// What it can be a field of, by where it stands; anything where that says nothing.
    pub(super) level: Level,
    /// What stands between several values of one cell, where some have several.
    pub(super) several: Option<&'static str>,
    /// Why it is no size of the pipe, where its heading is a word for one and its values change within a run.
    pub(super) varies: Option<String>,
}

impl Column {
    /// How well the words of its heading name a target, from 0 to 1.
    pub(super) fn named(&self, target: &Target) -> f64 {
        let shares = std::iter::once(1.0).chain(std::iter::repeat(0.95));
        self.words.iter().zip(shares).map(|(words, share)| words::named(words, target) * share).fold(0.0, f64::max)
    }

    /// The size that its heading is a word for, and how well.
    fn size(&self) -> Option<(f64, &'static Target)> {
        let sizes = vocabulary().targets.iter().filter(|target| SIZES.contains(&target.to.as_str()));
        let named = sizes.map(|target| (self.named(target), target)).filter(|(named, _)| *named > 0.0);
        named.max_by(|one, other| one.0.total_cmp(&other.0))
    }

    /// Why a size of it can be no amount of what was seen; `None` where it can: its unit is said, and its heading does not say that it is the
    /// pipe's.
    fn unmeasured(&self) -> Option<&'static str> {
        if vocabulary().targets.iter().any(|target| target.to == "pipes.id" && self.named(target) > 0.0) {
            return Some("its heading says that it is the pipe's");
        }
        let unit = self.words.first().and_then(|words| words::unit_in(words)).is_some();
        let amount = self.look.find(|form| matches!(form, Form::Amount(_)).then_some(())).is_some();
        (!unit && !amount).then_some("no unit says what amount of it")
    }
}

/// Where a column stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Level {
    /// In a row that holds all that is known of it.
    Any,
    /// In the element that is around everything.
    Document,
    /// In the element of a pipe.
    Pipe,
    /// In the element of a run, or of a run with what is known of its pipe.
    Run,
    /// In the element of a row, below others.
    Row,
    /// In an element that is beside the rows, and of something else.
    Beside,
}

impl Level {
    /// How well a target fits there.
    fn share(self, to: &str) -> f64 {
        let of_row = to.starts_with("runs.observations.") || to.starts_with("codes") || to == "stretch";
        let of_run = to.starts_with("runs.") && !of_row;
        let of_pipe = to.starts_with("pipes.");
        let of_document = !of_row && !of_run && !of_pipe;
        match self {
            Self::Any => 1.0,
            Self::Beside => 0.0,
            // One recording of a whole run is named once.
            Self::Run if to == "runs.observations.media.id" => 0.95,
            _ if of_row => f64::from(u8::from(self == Self::Row)),
            Self::Document if of_document => 1.0,
            Self::Pipe if of_pipe => 1.0,
            Self::Run if of_run => 1.0,
            // A unit stands beside what it is of.
            _ if to.starts_with("units.") => 1.0,
            // What is said nearer to the row than it need be; a run can be told by a pipe where that has but one.
            Self::Row if of_run || of_pipe => 0.85,
            Self::Run if of_pipe => 0.95,
            Self::Run | Self::Pipe | Self::Row => 0.85,
            Self::Document => 0.7,
        }
    }
}

/// What was chosen for a column.
pub(super) struct Choice {
    pub(super) target: &'static Target,
    pub(super) confidence: f64,
    named: f64,
    fit: f64,
    /// Which of the looks was taken that the column has but for a few values.
    near: Option<usize>,
}

impl Choice {
    /// The look that was taken.
    pub(super) fn look<'c>(&self, column: &'c Column) -> &'c Look {
        self.near(column).map_or(&column.look, |near| &near.look)
    }

    pub(super) fn near<'c>(&self, column: &'c Column) -> Option<&'c Near> {
        column.look.near.get(self.near?)
    }
}

/// How well values fit what a target wants, from 0 to 1; `None` where they cannot be it.
fn fit(target: &Target, look: &Look) -> Option<f64> {
    if look.count == 0 {
        return Some(0.4);
    }
    let is = |form: &Form| look.has(form);
    let amount = look.find(|form| matches!(form, Form::Amount(_)).then_some(())).is_some();
    let clock = look.find(|form| matches!(form, Form::Clock(_)).then_some(())).is_some();
    let moment =
        look.find(|form| matches!(form, Form::Date(_) | Form::Time(_) | Form::DateTime(_)).then_some(())).is_some();
    let number = is(&Form::Number);
    let few = look.distinct.len() <= 25;
    match target.wants {
        Wants::Text if target.to == "codes" && is(&Form::Letters3) => Some(1.0),
        Wants::Text if moment && !number || is(&Form::Picture) || is(&Form::Station) || is(&Form::Duration) => None,
        Wants::Text if number && look.decimals > 0 => None,
        Wants::Text if number => {
            ["pipes.id", "runs.id", "runs.from", "runs.to", "pipes.upstream", "pipes.downstream", "assignment.contract"]
                .contains(&target.to.as_str())
                .then_some(0.6)
        }
        Wants::Text => Some(0.8),
        Wants::Word if number || moment || !few => None,
        // The way of the camera has few words in any language; of materials and shapes there are more than are known.
        Wants::Word if ways::is(target) && known(target, look) == Some(0.0) => None,
        Wants::Word => Some(match known(target, look) {
            Some(share) => 0.5 + 0.5 * share,
            None => 0.7,
        }),
        Wants::Number => number.then_some(1.0),
        Wants::Distance if is(&Form::Station) || is(&Form::FeetAndInches) => Some(1.0),
        Wants::Distance => {
            if number {
                Some(0.9)
            } else {
                amount.then_some(0.7)
            }
        }
        Wants::Amount if amount => Some(1.0),
        Wants::Amount => {
            if number {
                Some(0.8)
            } else {
                is(&Form::FeetAndInches).then_some(0.8)
            }
        }
        Wants::Moment => moment.then_some(1.0),
        Wants::Clock => {
            if clock {
                Some(1.0)
            } else {
                is(&Form::Hour).then_some(0.6)
            }
        }
        Wants::Hour => {
            if is(&Form::Hour) {
                Some(1.0)
            } else {
                (number && !clock).then_some(0.4)
            }
        }
        Wants::Yes => {
            let yes = look.distinct.iter().all(|(value, _)| words::yes(value).is_some()) && look.distinct.len() <= 2;
            yes.then_some(1.0)
        }
        Wants::Grade => is(&Form::Grade).then_some(1.0),
        Wants::Picture if is(&Form::Picture) => (!look.are_mixed()).then_some(1.0),
        Wants::Picture => (!number && !moment && !is(&Form::Duration) && !is(&Form::Recording)).then_some(0.4),
        Wants::Recording => is(&Form::Recording).then_some(1.0),
        Wants::Offset => {
            if is(&Form::Duration) || is(&Form::Minutes) {
                Some(1.0)
            } else {
                number.then_some(0.6)
            }
        }
        Wants::Stretch => look.find(|form| matches!(form, Form::Stretch(..)).then_some(1.0)),
        Wants::Letters => is(&Form::Letters1).then_some(1.0),
        Wants::Year => is(&Form::Year).then_some(1.0),
        Wants::Unit => {
            let lengths = if target.to == "units.section" { ["mm", "in"] } else { ["m", "ft"] };
            look.distinct.iter().all(|(value, _)| lengths.contains(&value.as_str())).then_some(1.0)
        }
    }
}

/// The share of values that the words of a target have a meaning for.
#[allow(clippy::cast_precision_loss)]
fn known(target: &Target, look: &Look) -> Option<f64> {
    target.words.as_ref()?;
    let held = look.distinct.iter().filter(|(value, _)| words::meant(value, target).is_some()).count();
    Some(held as f64 / look.distinct.len().max(1) as f64)
}

/// The best fit, of all values or of those that are left when few are left out.
fn best(target: &Target, look: &Look) -> Option<(f64, Option<usize>)> {
    let whole = fit(target, look).map(|fit| (fit, None));
    let but_few = look.near.iter().enumerate().filter_map(|(index, near)| {
        let sharp = match target.wants {
            Wants::Text => target.to == "codes" && near.look.has(&Form::Letters3),
            Wants::Picture => near.look.has(&Form::Picture),
            Wants::Word | Wants::Unit => false,
            _ => true,
        };
        let fit = fit(target, &near.look).filter(|fit| sharp && *fit >= 0.6)?;
        Some((fit * near.share(), Some(index)))
    });
    // Of two that are alike all values come before some, and then the likelier.
    but_few.chain(whole).max_by(|one, other| one.0.total_cmp(&other.0).then(other.1.cmp(&one.1)))
}

/// Whether values of that look can hardly be anything else, whatever stands above them.
fn speaks(target: &Target, look: &Look, level: Level) -> bool {
    match target.wants {
        // In a table, a time can as well be one of a recording.
        Wants::Moment if level == Level::Run && !look.has(&Form::Number) => fit(target, look).is_some(),
        // Nothing else rises from row to row and begins again with the next run.
        Wants::Distance => look.has(&Form::Station) || look.rises,
        // Four digits can be anything.
        Wants::Clock => look.find(|form| matches!(form, Form::Clock(Some(_))).then_some(())).is_some(),
        Wants::Picture => look.has(&Form::Picture),
        Wants::Recording => look.has(&Form::Recording),
        Wants::Stretch => look.find(|form| matches!(form, Form::Stretch(..)).then_some(())).is_some(),
        Wants::Text => target.to == "codes" && (look.has(&Form::Letters3) || are_codes(look)),
        // Two letters can be short for anything.
        Wants::Word => {
            known(target, look) == Some(1.0) && look.distinct.iter().any(|(value, _)| value.chars().count() > 3)
        }
        Wants::Moment => {
            look.find(|form| matches!(form, Form::Date(_) | Form::DateTime(_)).then_some(())).is_some()
                && !look.has(&Form::Number)
        }
        _ => false,
    }
}

/// Whether most values are words that a code is known for.
fn are_codes(look: &Look) -> bool {
    let some = look.distinct.iter().take(50);
    let known = some.clone().filter(|(value, _)| super::codes::is_known(value)).count();
    known > 2 && known * 10 >= some.len() * 6
}

/// How many columns can hold a target.
fn most(target: &Target) -> usize {
    match target.to.as_str() {
        "runs.observations.characterisation" | AMOUNT | "runs.observations.media.id" => 9,
        _ => 1,
    }
}

/// Whether a target comes into question for a column at all: ways of the camera name no run, and dates, and what stands below a word for them, name no pipe and no run, even where
/// no pattern reads them.
fn in_question(column: &Column, target: &Target) -> bool {
    if column.varies.is_some() && SIZES.contains(&target.to.as_str()) {
        return false;
    }
    if target.to == "runs.id" && ways::are_in(&column.look) {
        return false;
    }
    let below_dates = column.words.first().is_some_and(|words| dates::named(words));
    let barred = below_dates || is_name(target) && are_dates(&column.look);
    matches!(target.wants, Wants::Moment | Wants::Year) || !barred
}

fn is_name(target: &Target) -> bool {
    ["pipes.id", "runs.id"].contains(&target.to.as_str())
}

/// Whether most values are dates, in whatever way of writing.
fn are_dates(look: &Look) -> bool {
    let dates = look.distinct.iter().filter(|(value, _)| dates::is_date(value)).count();
    dates > 0 && dates * 3 >= look.distinct.len() * 2
}

/// The choice of a target for a column; `None` where it is too unsure.
fn judge(column: &Column, target: &'static Target) -> Option<Choice> {
    if !in_question(column, target) {
        return None;
    }
    let place = column.level.share(&target.to);
    let (fit, near) = best(target, &column.look)?;
    // Numbers of that size can be anything, but below a word for dates or times of day.
    if target.wants == Wants::Moment && near.is_none() && dates::are_counted(&column.look) && !dates::are_named(column)
    {
        return None;
    }
    let (look, share) = match near.and_then(|near| column.look.near.get(near)) {
        // All are pictures, whatever stands between several.
        Some(near) if target.wants == Wants::Picture && column.look.are_mixed() => (&near.look, 1.0),
        Some(near) => (&near.look, near.share()),
        None => (&column.look, 1.0),
    };
    let mut named = column.named(target);
    if target.to == AMOUNT && column.varies.is_some() && column.unmeasured().is_none() {
        let size = column.size().map_or(0.0, |(named, _)| named);
        named = named.max(size * VARYING);
    }
    if ways::is(target) && ways::are_in(look) && ways::has_room(column) {
        named = named.max(ROOM);
    }
    let confidence = match named {
        0.0 if look.count > 0 && speaks(target, look, column.level) => BY_VALUES * share,
        0.0 => return None,
        _ => 0.6 * named + 0.4 * fit,
    };
    // Where everything stands in one row, from and to are those of the run sooner than those of a clock.
    let alone = column.level == Level::Any && column.words.first().is_some_and(|words| words.len() == 1);
    let doubt = if alone && target.wants == Wants::Hour { 0.8 } else { 1.0 };
    let confidence = confidence * place * doubt;
    (confidence >= LEAST).then_some(Choice { target, confidence, named, fit, near })
}

/// The best target for each column, the surest choices first.
pub(super) fn choose(columns: &[Column]) -> Vec<Option<Choice>> {
    let mut all: Vec<(usize, usize, Choice)> = Vec::new();
    for (index, column) in columns.iter().enumerate() {
        let found = vocabulary().targets.iter().enumerate();
        all.extend(found.filter_map(|(order, target)| Some((index, order, judge(column, target)?))));
    }
    all.sort_by(|one, other| {
        other.2.confidence.total_cmp(&one.2.confidence).then(one.0.cmp(&other.0)).then(one.1.cmp(&other.1))
    });
    let moments = moments::columns(&all, columns);
    let mut chosen: Vec<Option<Choice>> = columns.iter().map(|_| None).collect();
    for (column, _, choice) in all {
        let taken = chosen.iter().flatten().filter(|other| other.target.to == choice.target.to).count();
        let is_free = match choice.target.to.as_str() {
            WHEN => moments.contains(&column),
            _ => taken < most(choice.target),
        };
        if chosen[column].is_none() && is_free {
            chosen[column] = Some(choice);
        }
    }
    chosen
}

/// Values with their lines, the first three of them.
pub(super) fn lines(values: &[(String, usize)]) -> String {
    let said: Vec<String> = values.iter().take(3).map(|(value, line)| format!("line {line} has {value:?}")).collect();
    let more =
        if values.len() > 3 { format!(", and {} other values do not fit", values.len() - 3) } else { String::new() };
    format!("{}{more}", said.join(", "))
}

/// What a heading says that is a word for a size, of a column that is none of the pipe.
fn varying(column: &Column) -> String {
    let why = column.varies.as_deref().unwrap_or_default();
    let what = column.size().map_or("a size", |(_, size)| &size.is);
    format!("the heading has a word for {what}, but {why}, so that it is one of what was seen")
}

/// Why a column was taken for what it was.
pub(super) fn reason(choice: &Choice, column: &Column) -> String {
    let what = &choice.target.is;
    let heading = match choice.named {
        named if named > column.named(choice.target) && ways::is(choice.target) => {
            format!("the heading leaves room for {what}")
        }
        named if named > column.named(choice.target) => varying(column),
        0.0 => "the heading says nothing".to_owned(),
        named if named >= 0.9 => format!("the heading is a word for {what}"),
        _ => format!("a part of the heading is a word for {what}"),
    };
    if let Some(near) = choice.near(column) {
        let look = match choice.target.wants {
            Wants::Yes => "words for yes and no".to_owned(),
            Wants::Picture => match near.look.between_files() {
                Some(between) => format!("files of pictures, with {between:?} between several"),
                None => "files of pictures".to_owned(),
            },
            wants => called(wants, &near.look),
        };
        return format!(
            "{heading}, and {} of {} values look like {look}; {}",
            near.look.count,
            near.all(),
            lines(&near.odd)
        );
    }
    if choice.named == 0.0 && choice.target.wants == Wants::Distance && column.look.rises {
        return format!("{heading}, but its lengths rise from row to row and begin again near zero");
    }
    if choice.named == 0.0 && choice.target.to == "codes" && are_codes(&column.look) {
        return format!(
            "{heading}, but codes are known for most of its {} different values",
            column.look.distinct.len()
        );
    }
    let values = match column.look.count {
        0 => "and there are no values to judge by".to_owned(),
        1 => "and the one value can be it".to_owned(),
        count if choice.fit >= 0.9 => format!("and all {count} values look like it"),
        count => format!("and {count} values can be it"),
    };
    format!("{heading}, {values}")
}

/// What values look like that are taken for what is wanted.
fn called(wants: Wants, look: &Look) -> String {
    let suits = |form: &Form| match wants {
        Wants::Moment => matches!(form, Form::Date(_) | Form::Time(_) | Form::DateTime(_)),
        Wants::Distance | Wants::Amount => {
            matches!(form, Form::Number | Form::Station | Form::FeetAndInches | Form::Amount(_))
        }
        Wants::Clock | Wants::Hour => matches!(form, Form::Clock(_) | Form::Hour),
        Wants::Offset => matches!(form, Form::Duration | Form::Minutes | Form::Number),
        Wants::Grade => *form == Form::Grade,
        Wants::Year => *form == Form::Year,
        Wants::Number => *form == Form::Number,
        Wants::Letters => *form == Form::Letters1,
        _ => true,
    };
    look.forms.iter().rfind(|form| suits(form)).map_or_else(|| "it".to_owned(), ToString::to_string)
}

/// Why nothing was chosen for a column: what its heading is a word for, and which value is none or which column was taken for it.
pub(super) fn unchosen(index: usize, columns: &[Column], choices: &[Option<Choice>]) -> String {
    let column = &columns[index];
    if column.level == Level::Beside {
        return "it stands in an element that repeats beside the rows, so that it is of none of them".to_owned();
    }
    if column.varies.is_some() {
        let rest = column.unmeasured().map(|why| format!(", and {why}")).unwrap_or_default();
        return format!("{}{rest}", varying(column));
    }
    let all = vocabulary()
        .targets
        .iter()
        .filter(|target| column.level.share(&target.to) > 0.0 && in_question(column, target));
    let mut best: Vec<(f64, &Target)> = all.map(|target| (column.named(target), target)).collect();
    best.retain(|(named, _)| *named >= 0.5);
    best.sort_by(|one, other| other.0.total_cmp(&one.0));
    let Some((named, first)) = best.first() else {
        if are_dates(&column.look) {
            return "its values are dates, and its heading is no word for when something began".to_owned();
        }
        return "neither its heading nor its values say what it holds".to_owned();
    };
    let heading = if *named >= 0.9 { "the heading" } else { "a part of the heading" };
    if column.look.count == 0 && first.to == WHEN {
        return format!("{heading} is a word for {}, and there are no values to judge by", first.is);
    }
    let taken = |target: &Target| {
        let of = |choice: &&Option<Choice>| choice.as_ref().is_some_and(|choice| choice.target.to == target.to);
        let full = choices.iter().filter(of).count() >= most(target);
        choices.iter().position(|choice| of(&choice)).filter(|_| full)
    };
    if let Some((target, other)) = best.iter().find_map(|(_, target)| {
        best_fit(target, column)?;
        Some((target, taken(target)?))
    }) {
        return format!("{heading} is a word for {}, which {:?} was taken for", target.is, columns[other].heading);
    }
    // Judged alone, a value tells whether it is one that does not fit.
    let wrong = column.look.distinct.iter().filter(|(value, line)| {
        let alone = column.look.alone(value, *line);
        best.iter().all(|(_, target)| fit(target, &alone).is_none())
    });
    let wrong: Vec<(String, usize)> = wrong.cloned().collect();
    let meant: BTreeSet<&str> =
        best.iter().filter(|(own, _)| own >= named).map(|(_, target)| target.is.as_str()).collect();
    let what = if meant.len() > 3 { first.is.clone() } else { meant.into_iter().collect::<Vec<_>>().join(", or for ") };
    match wrong.is_empty() {
        true => format!("{heading} is a word for {what}, and its values are not"),
        false => format!("{heading} is a word for {what}, and its values are not: {}", lines(&wrong)),
    }
}

/// How well the values of a column fit a target.
fn best_fit(target: &Target, column: &Column) -> Option<f64> {
    best(target, &column.look).map(|(fit, _)| fit)
}
