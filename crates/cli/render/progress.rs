//! A progress line for commands that take longer than a second. It is shown only on a terminal: in
//! a pipe or a log it would be noise.

use std::io::{IsTerminal, Write};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// The time before the line is shown, and between two updates.
const INTERVAL: Duration = Duration::from_secs(1);

/// A step of a command. Its line is removed when it is dropped.
pub(crate) struct Stage(Option<(Sender<String>, JoinHandle<()>)>);

/// Starts a step. Its text and the seconds since its start are shown on standard error, if that is
/// a terminal.
pub(crate) fn stage(text: impl Into<String>) -> Stage {
    if !std::io::stderr().is_terminal() {
        return Stage(None);
    }
    let mut text = text.into();
    let (sender, updates) = channel::<String>();
    let thread = std::thread::spawn(move || {
        let start = Instant::now();
        let (mut shown, mut due) = (false, start + INTERVAL);
        loop {
            match updates.recv_timeout(due.saturating_duration_since(Instant::now())) {
                Ok(update) => text = update,
                Err(RecvTimeoutError::Disconnected) => break,
                Err(RecvTimeoutError::Timeout) => {}
            }
            if Instant::now() >= due {
                (shown, due) = (true, due + INTERVAL);
                let seconds = start.elapsed().as_secs();
                // Return to the start of the line, and clear it.
                let _ = write!(std::io::stderr(), "\r\x1b[2K{text}, {seconds} s");
            }
        }
        if shown {
            let _ = write!(std::io::stderr(), "\r\x1b[2K");
        }
    });
    Stage(Some((sender, thread)))
}

impl Stage {
    /// Changes the text.
    pub(crate) fn update(&self, text: impl FnOnce() -> String) {
        if let Some((sender, _)) = &self.0 {
            let _ = sender.send(text());
        }
    }
}

impl Drop for Stage {
    fn drop(&mut self) {
        if let Some((sender, thread)) = self.0.take() {
            drop(sender);
            let _ = thread.join();
        }
    }
}
