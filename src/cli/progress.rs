//! A progress bar on a terminal for long work; nothing in a pipe.

use std::io::IsTerminal;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Work shorter than this shows no bar.
const PATIENCE: Duration = Duration::from_millis(700);

/// A bar that may be invisible.
pub struct Bar {
    bar: ProgressBar,
    began: std::time::Instant,
    /// Whether anybody is to see it.
    wanted: bool,
}

/// A bar for bytes of logs on standard error; never shown when quiet or in a pipe.
pub fn bar(quiet: bool) -> Bar {
    let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {percent:>3} % of {total_bytes}, {eta} left") {
        bar.set_style(style);
    }
    Bar { bar, began: std::time::Instant::now(), wanted: !quiet && std::io::stderr().is_terminal() }
}

impl Bar {
    /// Shows how far the work is, once it has taken a while.
    pub fn update(&self, done: u64, total: u64) {
        if !self.wanted || self.began.elapsed() < PATIENCE {
            return;
        }
        if self.bar.is_hidden() {
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
        }
        self.bar.set_length(total);
        self.bar.set_position(done);
    }

    /// Takes the bar off the terminal.
    pub fn clear(&self) {
        self.bar.finish_and_clear();
    }
}
