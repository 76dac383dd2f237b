//! The runs of a conversion on their way from the reader to the writer: translated if that was
//! asked for, and counted for whoever waits.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use obvert::convert::recode::Recoder;
use obvert::convert::{ConvertError, Loss, LossReport};
use obvert::model::read::RunReader;
use obvert::model::tables::{Head, Observation, Run};

use crate::render::progress;

/// How often the stage is told how far it is.
const OFTEN: Duration = Duration::from_millis(200);

/// The runs that a writer asks for.
pub(super) struct Pipeline<'r, 'l> {
    survey: &'r mut dyn RunReader<Error = ConvertError>,
    recoder: Option<Recoder<'l>>,
    /// The head as it is written.
    head: Arc<Head>,
    stage: &'r progress::Stage,
    path: &'r Path,
    /// When the stage was told last.
    told: Instant,
    /// How many observations have passed.
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
            told: Instant::now(),
            observations: 0,
            failed: false,
        }
    }

    /// How many observations have passed, what translating them lost, and whether the survey could
    /// not be read.
    pub(super) fn finish(self) -> (usize, Option<LossReport>, bool) {
        (self.observations, self.recoder.map(Recoder::finish), self.failed)
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
            self.observations += run.observations.len();
            if let Some(recoder) = &mut self.recoder {
                recoder.run(run);
            }
        }
        if run.is_none() || self.told.elapsed() >= OFTEN {
            self.told = Instant::now();
            self.stage.say(|| {
                format!("writing {}, {} observations", self.path.display(), self.observations)
            });
        }
        Ok(run)
    }

    fn recycle(&mut self, observations: Vec<Observation>) {
        self.survey.recycle(observations);
    }
}

/// Reports how a translation went.
pub(super) fn report_recoded(
    all: usize,
    losses: &LossReport,
    (from, to): (&str, &str),
    kept: bool,
) {
    // A loss points into its observation: /runs/0/observations/1/code.
    let row = |loss: &Loss| loss.pointer.split('/').take(5).collect::<Vec<_>>().join("/");
    let with_loss = losses.losses.iter().map(row).collect::<BTreeSet<_>>().len();
    let said = match with_loss {
        0 => "all with nothing lost".to_owned(),
        some if kept => {
            format!(
                "{some} of them with the losses below; their remarks and extensions keep what was lost"
            )
        }
        some => format!("{some} of them with the losses below"),
    };
    let plural = if all == 1 { "" } else { "s" };
    // Whether anybody reads this does not decide whether the survey is written.
    let _ = writeln!(
        anstream::stderr(),
        "{all} observation{plural} translated from {from} to {to}, {said}"
    );
}
