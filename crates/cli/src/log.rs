//! What happens on the way, to standard error.

use tracing::level_filters::LevelFilter;

/// How much the command line asks for.
#[derive(Debug, Clone, Copy)]
pub struct Verbosity {
    /// `--quiet`.
    pub quiet: bool,
    /// How many times `--verbose`.
    pub verbose: u8,
}

impl Verbosity {
    /// The level it asks for; `usual` if it asks for none.
    pub fn level_or(self, usual: LevelFilter) -> LevelFilter {
        match (self.quiet, self.verbose) {
            (true, _) => LevelFilter::ERROR,
            (false, 0) => usual,
            (false, 1) => LevelFilter::INFO,
            (false, 2) => LevelFilter::DEBUG,
            (false, _) => LevelFilter::TRACE,
        }
    }
}

/// Starts the log: lines for people, or a JSON object with its time on each line.
pub fn start(level: LevelFilter, json: bool) {
    let log = tracing_subscriber::fmt()
        .with_max_level(level)
        .with_writer(std::io::stderr)
        .with_ansi(false)
        .with_target(false);
    if json {
        log.json().flatten_event(true).init();
    } else {
        log.without_time().init();
    }
}
