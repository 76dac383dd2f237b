//! Streets whose pipes are recorded the wrong way round. Each of their pipes contradicts its runs,
//! its inverts and its path, but that is one mistake.

use std::collections::BTreeMap;

use crate::support::elevations::{any_invert_mismatch, consistent, exceeds};
use crate::support::map_lengths::{ENDS_SLACK, four_in_five};
use crate::support::run_extent::direction_contradicts;
use crate::views::{Ending, PipeView};

/// How many pipes of a street must be the wrong way round.
const MIN_PIPES: usize = 3;

/// A street whose pipes are the wrong way round.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct ReversedStreet {
    /// Its name; `None` for the pipes that name none.
    pub(crate) street: Option<String>,
    /// The first of its pipes that is.
    pub(crate) first: usize,
    /// How many of its pipes are.
    pub(crate) pipes: usize,
    /// How many of its pipes were compared.
    pub(crate) of: usize,
}

impl ReversedStreet {
    /// Whether a pipe is in the street.
    pub(crate) fn has(&self, view: &PipeView<'_>) -> bool {
        self.street.as_deref() == view.pipe.street.as_ref().map(|street| street.as_str())
    }

    /// Its name in words.
    pub(crate) fn name(&self) -> String {
        self.street.as_ref().map_or_else(String::new, |street| format!(" in {street:?}"))
    }
}

/// The streets of which at least three pipes, and four in five of those compared, are the wrong way
/// round. `pipes` are the pipes that can be compared, and whether they are.
pub(crate) fn reversed<'d>(
    pipes: impl Iterator<Item = (PipeView<'d>, bool)>,
) -> Vec<ReversedStreet> {
    let mut streets: BTreeMap<Option<&str>, (Option<usize>, usize, usize)> = BTreeMap::new();
    for (view, wrong) in pipes {
        let street = view.pipe.street.as_ref().map(|street| street.as_str());
        let (first, some, of) = streets.entry(street).or_default();
        *of += 1;
        if wrong {
            *some += 1;
            first.get_or_insert(view.index);
        }
    }
    let found = streets.into_iter().filter_map(|(street, (first, pipes, of))| {
        let street = street.map(str::to_owned);
        (pipes >= MIN_PIPES && four_in_five(pipes, of)).then_some(ReversedStreet {
            street,
            first: first?,
            pipes,
            of,
        })
    });
    found.collect()
}

/// The streets that are the wrong way round by the structures that their runs name.
pub(crate) fn reversed_by_runs(ending: &Ending<'_>) -> Vec<ReversedStreet> {
    let compared = ending.survey.pipes().filter_map(|view| {
        let mut named = ending
            .runs_of(&view.pipe.id)
            .filter(|summary| summary.run.from.is_some() || summary.run.to.is_some())
            .peekable();
        named.peek()?;
        Some((view, named.all(|summary| direction_contradicts(view.pipe, &summary.run))))
    });
    reversed(compared)
}

/// How far a pipe rises in the direction of flow, in metres; 0 or less if it falls. `None` if that is
/// unknown, or if another rule reports its inverts.
pub(crate) fn rise(view: &PipeView<'_>) -> Option<f64> {
    let survey = view.survey;
    let (upper, lower) = view.inverts()?;
    let own = view.pipe.inverts.as_ref();
    let reliable = |own: bool, structure: Option<_>| {
        own || structure.is_none_or(|row| consistent(survey, row))
    };
    let reliable = reliable(own.is_some_and(|row| row.upstream.is_some()), view.upstream())
        && reliable(own.is_some_and(|row| row.downstream.is_some()), view.downstream());
    (reliable && !any_invert_mismatch(view))
        .then_some((lower - upper) * survey.head.units.length.metres())
}

/// The streets whose pipes rise in the direction of flow by more than `slack`.
pub(crate) fn reversed_by_inverts(ending: &Ending<'_>, slack: f64) -> Vec<ReversedStreet> {
    let pipes = ending.survey.pipes();
    reversed(pipes.filter_map(|view| Some((view, exceeds(rise(&view)?, slack)))))
}

/// Whether the path of a pipe leads from its downstream to its upstream structure.
pub(crate) fn path_reversed(view: &PipeView<'_>) -> bool {
    let map_lengths = view.survey.map_lengths();
    let gaps = map_lengths.end_gaps(view);
    let turned = map_lengths.end_gaps_reversed(view);
    let near = |gap: &Option<f64>| gap.is_some_and(|gap| gap <= ENDS_SLACK);
    gaps.iter().all(|gap| gap.is_some_and(|gap| gap > ENDS_SLACK)) && turned.iter().all(near)
}

/// The streets whose paths are drawn against the flow.
pub(crate) fn reversed_by_paths(ending: &Ending<'_>) -> Vec<ReversedStreet> {
    let pipes = ending.survey.pipes().filter(|view| view.pipe.path.len() >= 2);
    reversed(pipes.map(|view| (view, path_reversed(&view))))
}
