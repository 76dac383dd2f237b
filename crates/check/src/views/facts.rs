//! What is looked up for the rows of a run, once for all rules: a survey has millions of rows, and
//! looking a name up costs more than most rules do.

use std::cell::OnceCell;

use obvert_model::lists::{Code, Role};
use obvert_model::tables::{Aspect, Observation, Run};

use super::{PipeView, RunView, Survey};
use crate::grading::{Entries, Grader, Judgement, Linked, judge};
use crate::support::cross_section::CrossSection;

/// What is looked up for an observation.
#[derive(Clone, Copy, Debug)]
pub(crate) struct RowFacts<'r> {
    /// Its code, if the code list has it.
    pub(crate) code: Option<&'r Code>,
    /// The entries of the grade scheme for the code.
    pub(crate) entries: Option<&'r Entries<'r>>,
    /// The code in the list that the scheme grades, if that is another list than the document's.
    pub(crate) via: Option<&'r Code>,
    /// Its grade by the scheme in each aspect.
    pub(crate) judged: [Option<Judgement<'r>>; 2],
    /// Where its media begin among those of the run.
    pub(crate) media: usize,
}

/// What is looked up for the rows of one run. The memory is reused for the next run.
#[derive(Debug, Default)]
pub(crate) struct Facts<'s> {
    rows: Vec<RowFacts<'s>>,
    changes: Vec<usize>,
    media: Vec<Option<usize>>,
    pipe: Option<usize>,
}

impl<'s> Facts<'s> {
    /// Looks everything up for a run.
    pub(crate) fn gather(&mut self, survey: &'s Survey<'s>, run: &Run, index: usize) {
        self.rows.clear();
        self.changes.clear();
        self.media.clear();
        self.pipe = survey.pipe_index(&run.pipe);
        for (row, observation) in run.observations.iter().enumerate() {
            let (code, entries) = survey
                .known(&observation.code)
                .map_or((None, None), |(code, entries)| (Some(code), entries));
            if changes_cross_section(code) {
                self.changes.push(row);
            }
            let mut facts = RowFacts {
                code,
                entries,
                via: None,
                judged: [None, None],
                media: self.media.len(),
            };
            if let Some((grader, linked)) = across(survey, observation) {
                facts.via = Some(linked.code);
                facts.entries = grader.entries(&linked.code.code);
            }
            self.rows.push(facts);
            self.media.extend(
                observation.media.iter().map(|reference| survey.media_index(&reference.id)),
            );
        }
        // Only now are all changes of the cross-section known.
        for (row, observation) in run.observations.iter().enumerate() {
            let RowFacts { code: Some(code), entries: Some(entries), .. } = self.rows[row] else {
                continue;
            };
            let section = CrossSection::at(&self.view(survey, run, index).row(row));
            let linked = across(survey, observation).map(|(_, linked)| linked);
            let whole = linked.as_ref().is_none_or(|linked| linked.whole);
            let (code, seen) =
                linked.as_ref().map_or((code, observation), |linked| (linked.code, &linked.row));
            let of = |aspect| {
                let judgement = judge(entries.of(aspect), code, seen, &section);
                // The document's list may have no place for the amount that the scheme's bands
                // need.
                let plain = judgement.entry.is_some_and(|entry| entry.bands.is_empty());
                let sure = linked.is_none() || whole && (plain || judgement.band.is_some());
                Some(Judgement { certain: judgement.certain && sure, ..judgement })
            };
            self.rows[row].judged = [of(Aspect::Structural), of(Aspect::Operational)];
        }
    }

    /// The run with what was looked up.
    pub(crate) fn view<'r>(
        &'r self,
        survey: &'r Survey<'r>,
        run: &'r Run,
        index: usize,
    ) -> RunView<'r>
    where
        's: 'r,
    {
        RunView {
            survey,
            run,
            index,
            pipe: self.pipe.map(|index| PipeView {
                survey,
                pipe: &survey.head.pipes[index],
                index,
            }),
            changes: &self.changes,
            facts: &self.rows,
            media: &self.media,
            marks: OnceCell::new(),
            disorder: OnceCell::new(),
            breaches: OnceCell::new(),
            unusual_texts: OnceCell::new(),
            duplicates: OnceCell::new(),
            repeated_rows: OnceCell::new(),
            overlapping_stretches: OnceCell::new(),
        }
    }
}

/// The row as the scheme's list has it, if the scheme grades another list than the document's.
fn across<'s>(survey: &'s Survey<'s>, row: &Observation) -> Option<(&'s Grader<'s>, Linked<'s>)> {
    let grader = survey.grader.as_ref().filter(|grader| grader.links.is_some())?;
    Some((grader, grader.linked(row)?))
}

/// Whether a code records a change of the cross-section.
fn changes_cross_section(code: Option<&Code>) -> bool {
    let role = code.and_then(|code| code.role);
    matches!(role, Some(Role::MaterialChange | Role::SizeChange | Role::ShapeChange))
}
