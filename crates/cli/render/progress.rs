//! What is going on, for a person at a terminal who waits longer than a second. Nobody else is
//! told: in a pipe or a log a line that moves is noise.

use std::io::{IsTerminal, Write};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// How long somebody waits without asking what is going on.
const PATIENCE: Duration = Duration::from_secs(1);

/// What is going on until it is dropped.
pub(crate) struct Stage(Option<(Sender<String>, JoinHandle<()>)>);

/// Says what is going on from now on, on standard error where that is a terminal: what is done, and
/// for how many seconds.
pub(crate) fn stage(what: impl Into<String>) -> Stage {
    if !std::io::stderr().is_terminal() {
        return Stage(None);
    }
    let mut what = what.into();
    let (tell, told) = channel::<String>();
    let thread = std::thread::spawn(move || {
        let began = Instant::now();
        let (mut shown, mut due) = (false, began + PATIENCE);
        loop {
            match told.recv_timeout(due.saturating_duration_since(Instant::now())) {
                Ok(now) => what = now,
                Err(RecvTimeoutError::Disconnected) => break,
                Err(RecvTimeoutError::Timeout) => {}
            }
            if Instant::now() >= due {
                (shown, due) = (true, due + PATIENCE);
                let seconds = began.elapsed().as_secs();
                // Back to the beginning of the line, and what stood there is wiped out.
                let _ = write!(std::io::stderr(), "\r\x1b[2K{what}, {seconds} s");
            }
        }
        if shown {
            let _ = write!(std::io::stderr(), "\r\x1b[2K");
        }
    });
    Stage(Some((tell, thread)))
}

impl Stage {
    /// Says something else from now on.
    pub(crate) fn say(&self, what: impl FnOnce() -> String) {
        if let Some((tell, _)) = &self.0 {
            let _ = tell.send(what());
        }
    }
}

impl Drop for Stage {
    fn drop(&mut self) {
        if let Some((tell, thread)) = self.0.take() {
            drop(tell);
            let _ = thread.join();
        }
    }
}
