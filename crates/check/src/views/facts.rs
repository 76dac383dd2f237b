//! Looks up the code, grade entries and media of each row once, for all rules. A survey has
//! millions of rows, and a lookup by name costs more than most rules.

use std::cell::OnceCell;

use obvert_model::lists::{Code, Role};
use obvert_model::tables::{Aspect, Observation, Run};

use super::{PipeView, RunView, Survey};
use crate::grading::{Entries, Grader, Judgement, Linked, judge};
use crate::support::cross_section::CrossSection;

/// The results of the lookups for an observation.
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
    /// The index of its first media reference among those of the run.
    pub(crate) media: usize,
}

/// The results of the lookups for the rows of one run. The memory is reused for the next run.
#[derive(Debug, Default)]
pub(crate) struct Facts<'s> {
    rows: Vec<RowFacts<'s>>,
    changes: Vec<usize>,
    media: Vec<Option<usize>>,
    pipe: Option<usize>,
}

impl<'s> Facts<'s> {
    /// Does all lookups for a run.
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
            if let Some((grader, linked)) = linked_row(survey, observation) {
                facts.via = Some(linked.code);
                facts.entries = grader.entries(&linked.code.code);
            }
            self.rows.push(facts);
            self.media.extend(
                observation.media.iter().map(|reference| survey.media_index(&reference.id)),
            );
        }
        // Grades depend on changes of the cross-section, all of which are known now.
        for (row, observation) in run.observations.iter().enumerate() {
            let RowFacts { code: Some(code), entries: Some(entries), .. } = self.rows[row] else {
                continue;
            };
            let section = CrossSection::at(&self.view(survey, run, index).row(row));
            let linked = linked_row(survey, observation).map(|(_, linked)| linked);
            let complete = linked.as_ref().is_none_or(|linked| linked.complete);
            let (code, graded_row) =
                linked.as_ref().map_or((code, observation), |linked| (linked.code, &linked.row));
            let of = |aspect| {
                let judgement = judge(entries.of(aspect), code, graded_row, &section);
                // The document's code list may not record the amount that the scheme's bands need.
                let no_bands = judgement.entry.is_some_and(|entry| entry.bands.is_empty());
                let certain =
                    linked.is_none() || complete && (no_bands || judgement.band.is_some());
                Some(Judgement { certain: judgement.certain && certain, ..judgement })
            };
            self.rows[row].judged = [of(Aspect::Structural), of(Aspect::Operational)];
        }
    }

    /// The run with the results.
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
            decimals: OnceCell::new(),
            disorder: OnceCell::new(),
            violations: OnceCell::new(),
            unusual_texts: OnceCell::new(),
            duplicates: OnceCell::new(),
            repeated_rows: OnceCell::new(),
            overlapping_stretches: OnceCell::new(),
            shift: OnceCell::new(),
            terms: OnceCell::new(),
            late_offsets: OnceCell::new(),
        }
    }
}

/// The row in the scheme's code list, if the scheme grades another list than the document's.
fn linked_row<'s>(
    survey: &'s Survey<'s>,
    row: &Observation,
) -> Option<(&'s Grader<'s>, Linked<'s>)> {
    let grader = survey.grader.as_ref().filter(|grader| grader.links.is_some())?;
    Some((grader, grader.linked(row)?))
}

/// Whether a code records a change of the cross-section.
fn changes_cross_section(code: Option<&Code>) -> bool {
    let role = code.and_then(|code| code.role);
    matches!(role, Some(Role::MaterialChange | Role::SizeChange | Role::ShapeChange))
}
