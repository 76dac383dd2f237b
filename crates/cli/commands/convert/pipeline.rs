//! The runs of a conversion between the reader and the writer: translated if requested, and counted
//! for the progress line.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use obvert::convert::recode::Recoder;
use obvert::convert::{ConvertError, Loss, LossReport};
use obvert::model::read::RunReader;
use obvert::model::tables::{Head, Observation, Run};

use crate::render::{count, progress};

/// The time between two updates of the progress line.
const INTERVAL: Duration = Duration::from_millis(200);

/// The runs as the writer reads them.
pub(super) struct Pipeline<'r, 'l> {
    survey: &'r mut dyn RunReader<Error = ConvertError>,
    recoder: Option<Recoder<'l>>,
    /// The head as it is written.
    head: Arc<Head>,
    stage: &'r progress::Stage,
    path: &'r Path,
    /// The last update of the progress line.
    updated: Instant,
    /// The number of runs and of observations so far.
    runs: usize,
    observations: usize,
    /// Whether the survey could not be read.
    failed: bool,
}

impl<'r, 'l> Pipeline<'r, 'l> {
    pub(super) fn new(
        survey: &'r mut dyn RunReader<Error = ConvertError>,
        mut recoder: Option<Recoder<'l>>,
        stage: &'r progress::Stage,
        path: &'r Path,
    ) -> Self {
        let head = match &mut recoder {
            Some(recoder) => Arc::new(recoder.head(survey.head())),
            None => survey.share_head(),
        };
        Self {
            survey,
            recoder,
            head,
            stage,
            path,
            updated: Instant::now(),
            runs: 0,
            observations: 0,
            failed: false,
        }
    }

    /// The number of runs and of observations, what translating them lost, and whether the survey
    /// could not be read.
    pub(super) fn finish(self) -> (usize, usize, Option<LossReport>, bool) {
        (self.runs, self.observations, self.recoder.map(Recoder::finish), self.failed)
    }
}

impl RunReader for Pipeline<'_, '_> {
    type Error = ConvertError;

    fn head(&self) -> &Head {
        &self.head
    }

    fn share_head(&self) -> Arc<Head> {
        Arc::clone(&self.head)
    }

    fn next_run(&mut self) -> Result<Option<Run>, ConvertError> {
        let mut run = self.survey.next_run().inspect_err(|_| self.failed = true)?;
        if let Some(run) = &mut run {
            self.runs += 1;
            self.observations += run.observations.len();
            if let Some(recoder) = &mut self.recoder {
                recoder.run(run);
            }
        }
        if run.is_none() || self.updated.elapsed() >= INTERVAL {
            self.updated = Instant::now();
            self.stage.update(|| {
                format!("writing {}, {} observations", self.path.display(), self.observations)
            });
        }
        Ok(run)
    }

    fn recycle(&mut self, observations: Vec<Observation>) {
        self.survey.recycle(observations);
    }
}

/// Reports the result of a translation.
pub(super) fn report_recoded(
    all: usize,
    losses: &LossReport,
    (from, to): (&str, &str),
    kept: bool,
) {
    // A loss points into its observation: /runs/0/observations/1/code.
    let row = |loss: &Loss| loss.pointer.split('/').take(5).collect::<Vec<_>>().join("/");
    let with_loss = losses.losses.iter().map(row).collect::<BTreeSet<_>>().len();
    let result = match with_loss {
        0 => "all without loss".to_owned(),
        some if kept => {
            format!(
                "{some} of them with the losses below; remarks and extensions keep the original"
            )
        }
        some => format!("{some} of them with the losses below"),
    };
    // The survey is written whether or not standard error can be written.
    let _ = writeln!(
        anstream::stderr(),
        "{} translated from {from} to {to}, {result}",
        count(all, "observation")
    );
}
