//! The sources of the runs that are checked: a reader, a document in memory, or a reader on another
//! thread.
//!
//! The pipeline reads the next runs on one thread while the rules check the previous ones on
//! another. Reading takes about as long as all rules together, so two processors halve the time.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{IntoIter, Sender, channel, sync_channel};
use std::thread::{Builder, scope};

use obvert_model::read::RunReader;
use obvert_model::tables::{Observation, Run};

/// How many observations are sent at once: waking a thread for each run costs more than checking
/// the run.
const BATCH: usize = 250;

/// How many batches may wait. They are in memory in addition to the batch that is being read and
/// the one that is being checked.
const WAITING: usize = 1;

/// The runs of a survey, in order. It does not return errors: the caller that made it asks for the
/// error afterwards.
pub(crate) trait RunSource {
    /// The next run; `None` after the last.
    fn next_run(&mut self) -> Option<Run>;

    /// Takes back the observations of a run, so that a reader can reuse the memory.
    fn recycle(&mut self, observations: Vec<Observation>) {
        drop(observations);
    }

    /// Whether the runs ended in the middle of the survey, so that nothing can be said about it as
    /// a whole.
    fn is_broken_off(&self) -> bool {
        false
    }
}

/// The runs of a reader. An error ends them and is kept.
pub(crate) struct Pulled<'r, R: RunReader + ?Sized> {
    reader: &'r mut R,
    error: Option<R::Error>,
    is_harmless: fn(&R::Error) -> bool,
}

impl<'r, R: RunReader + ?Sized> Pulled<'r, R> {
    /// `is_harmless` states whether an error leaves every run readable.
    pub(crate) fn new(reader: &'r mut R, is_harmless: fn(&R::Error) -> bool) -> Self {
        Self { reader, error: None, is_harmless }
    }

    /// The error that ended the runs.
    pub(crate) fn into_error(self) -> Option<R::Error> {
        self.error
    }
}

impl<R: RunReader + ?Sized> RunSource for Pulled<'_, R> {
    fn next_run(&mut self) -> Option<Run> {
        if self.error.is_some() {
            return None;
        }
        self.reader.next_run().unwrap_or_else(|error| {
            self.error = Some(error);
            None
        })
    }

    fn recycle(&mut self, observations: Vec<Observation>) {
        self.reader.recycle(observations);
    }

    fn is_broken_off(&self) -> bool {
        self.error.as_ref().is_some_and(|error| !(self.is_harmless)(error))
    }
}

/// The runs of a document that is in memory.
pub(crate) struct Borrowed<'d>(pub(crate) std::slice::Iter<'d, Run>);

impl RunSource for Borrowed<'_> {
    fn next_run(&mut self) -> Option<Run> {
        self.0.next().cloned()
    }
}

/// Calls `work` on a new thread, with runs that are read on this thread. If the system has no
/// threads, it calls `work` on this one.
pub(crate) fn on_two_threads<T: Send>(
    runs: &mut dyn RunSource,
    work: impl Fn(&mut dyn RunSource) -> T + Sync,
) -> T {
    let work = &work;
    scope(|scope| {
        let (sender, receiver) = sync_channel::<Vec<Run>>(WAITING);
        let (back, returned) = channel();
        let broken_off = Arc::new(AtomicBool::new(false));
        let mut received = Received {
            batches: receiver.into_iter(),
            batch: Vec::new().into_iter(),
            back,
            broken_off: Arc::clone(&broken_off),
        };
        let Ok(worker) = Builder::new().spawn_scoped(scope, move || work(&mut received)) else {
            return work(runs);
        };
        loop {
            let (mut batch, mut observations) = (Vec::new(), 0);
            while observations < BATCH {
                let Some(run) = runs.next_run() else { break };
                observations += run.observations.len().max(1);
                batch.push(run);
            }
            returned.try_iter().for_each(|observations| runs.recycle(observations));
            // Sending fails only if `work` has returned or panicked.
            if batch.is_empty() || sender.send(batch).is_err() {
                break;
            }
        }
        broken_off.store(runs.is_broken_off(), Ordering::Release);
        drop(sender);
        worker.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    })
}

struct Received {
    batches: IntoIter<Vec<Run>>,
    batch: std::vec::IntoIter<Run>,
    back: Sender<Vec<Observation>>,
    /// Whether the runs ended in the middle of the survey. It is known when they have ended.
    broken_off: Arc<AtomicBool>,
}

impl RunSource for Received {
    fn next_run(&mut self) -> Option<Run> {
        loop {
            match self.batch.next() {
                Some(run) => return Some(run),
                None => self.batch = self.batches.next()?.into_iter(),
            }
        }
    }

    fn recycle(&mut self, observations: Vec<Observation>) {
        // If the reader has ended, they are dropped here.
        let _ = self.back.send(observations);
    }

    fn is_broken_off(&self) -> bool {
        self.broken_off.load(Ordering::Acquire)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Runs, and the number of calls for one.
    struct CountedRuns(Vec<Run>, usize);

    impl RunSource for CountedRuns {
        fn next_run(&mut self) -> Option<Run> {
            self.1 += 1;
            self.0.pop()
        }
    }

    fn runs(count: usize) -> CountedRuns {
        let run = |id: usize| {
            let run = format!(r#"{{ "id": "{id}", "pipe": "P", "direction": "downstream" }}"#);
            serde_json::from_str(&run).expect("a run")
        };
        CountedRuns((0..count).rev().map(run).collect(), 0)
    }

    fn ids(runs: &mut dyn RunSource) -> Vec<usize> {
        std::iter::from_fn(|| runs.next_run())
            .map(|run| run.id.as_str().parse().expect("number"))
            .collect()
    }

    #[test]
    fn every_run_arrives_once_and_in_order() {
        for count in [0, 1, BATCH - 1, BATCH, 10 * BATCH + 7] {
            assert_eq!(
                on_two_threads(&mut runs(count), |runs| ids(runs)),
                (0..count).collect::<Vec<_>>()
            );
        }
    }

    #[test]
    fn it_is_known_whether_the_runs_were_broken_off() {
        struct Broken;
        impl RunSource for Broken {
            fn next_run(&mut self) -> Option<Run> {
                None
            }
            fn is_broken_off(&self) -> bool {
                true
            }
        }
        let ask = |runs: &mut dyn RunSource| (runs.next_run().is_none(), runs.is_broken_off());
        assert_eq!(on_two_threads(&mut Broken, ask), (true, true));
        assert_eq!(on_two_threads(&mut runs(0), ask), (true, false));
    }

    #[test]
    fn reading_stops_soon_after_the_work_has_ended() {
        let mut source = runs(100 * BATCH);
        assert_eq!(
            on_two_threads(&mut source, |runs| runs.next_run().map(|run| run.id.to_string()))
                .as_deref(),
            Some("0")
        );
        assert!(source.1 < 10 * BATCH, "{}", source.1);
    }

    #[test]
    fn a_panic_among_the_rules_is_passed_on() {
        let checked = std::panic::catch_unwind(|| {
            on_two_threads(&mut runs(10 * BATCH), |runs| {
                let first = runs.next_run();
                assert!(first.is_none(), "there is a run");
            });
        });
        assert!(checked.is_err());
    }
}
