//! What the runs of a rating add up to, and how that is said. More than one rule asks which runs a rating is of.

use obvert_model::lists::GradeScheme;
use obvert_model::tables::Aspect;

use crate::grading::{Tally, tidy};
use crate::views::{RatingView, RunSummary};

/// The runs that a rating is of, in the order of the document and each once: those that it names, or all runs of its
/// pipe. `None` where it names a run that the document does not have.
pub(crate) fn runs<'d>(view: &RatingView<'d>) -> Option<Vec<&'d RunSummary>> {
    let (ending, rating) = (view.ending, view.rating);
    if rating.runs.is_empty() {
        return Some(ending.runs_of(&rating.pipe).collect());
    }
    let mut runs: Vec<&RunSummary> = rating.runs.iter().map(|run| ending.run(run)).collect::<Option<_>>()?;
    runs.sort_by_key(|summary| summary.index);
    runs.dedup_by_key(|summary| summary.index);
    Some(runs)
}

/// The grades of several runs, rolled up.
pub(crate) struct Rolled<'d> {
    pub(crate) tally: Tally,
    runs: &'d [&'d RunSummary],
    scheme: &'d GradeScheme,
}

impl<'d> Rolled<'d> {
    /// Rolls the grades of some runs up.
    pub(crate) fn new(runs: &'d [&'d RunSummary], aspect: Aspect, scheme: &'d GradeScheme) -> Self {
        let mut tally = Tally::default();
        for summary in runs {
            tally.join(summary.tally(aspect), scheme);
        }
        Self { tally, runs, scheme }
    }

    /// The length that was surveyed, in metres; `None` where a run does not say how far it went.
    fn metres(&self) -> Option<f64> {
        self.runs.iter().map(|summary| summary.travelled).sum()
    }

    /// The sum for each of the scheme's lengths.
    pub(crate) fn per_length(&self) -> Option<f64> {
        self.tally.per_length(self.metres()?, self.scheme)
    }

    /// The runs, for a message.
    fn names(&self) -> String {
        match self.runs {
            [one] => one.run.id.to_string(),
            [one, other] => format!("{} and {}", one.run.id, other.run.id),
            [one, rest @ ..] => format!("{} and {} other runs", one.run.id, rest.len()),
            [] => "no run".to_owned(),
        }
    }

    pub(crate) fn say_peak(&self) -> String {
        match (self.tally.peak(self.scheme), self.scheme.rollup.peak.as_ref().and_then(|peak| peak.length.as_ref())) {
            (Some(peak), None) => format!("the worst grade in {} is {peak}", self.names()),
            (Some(peak), Some(over)) => {
                format!(
                    "the grades in one length of {} {} of {} add up to {} at most",
                    over.value,
                    over.unit,
                    self.names(),
                    tidy(peak)
                )
            }
            (None, _) => format!("{} has no such grade", self.names()),
        }
    }

    pub(crate) fn say_total(&self) -> String {
        let count = self.tally.count;
        format!(
            "the grades in {} add up to {} ({count} counted, {})",
            self.names(),
            tidy(self.tally.total),
            self.rule()
        )
    }

    pub(crate) fn say_count(&self) -> String {
        format!("{} grades count in {}, {}", self.tally.count, self.names(), self.rule())
    }

    pub(crate) fn say_mean(&self) -> String {
        let (total, count) = (tidy(self.tally.total), self.tally.count);
        match self.tally.mean() {
            Some(mean) => format!("{total} ÷ {count} = {} in {}", tidy(mean), self.names()),
            None => format!("{} has no grade to take the mean of", self.names()),
        }
    }

    pub(crate) fn say_per_length(&self, is: f64) -> String {
        let (total, metres) = (tidy(self.tally.total), self.metres().map_or(0.0, tidy));
        let per = &self.scheme.rollup.per_length;
        format!("{total} over {metres} m in {} is {} for each {} {}", self.names(), tidy(is), per.value, per.unit)
    }

    /// How a stretch is counted.
    fn rule(&self) -> String {
        let interval = &self.scheme.rollup.interval;
        format!("a stretch once for each {} {} begun", interval.value, interval.unit)
    }
}
