use crate::OutputError;
use std::fmt;
use std::time::Duration;

/// What is worth a log line. Its `Display` is that line without the output's name.
#[derive(Debug)]
pub enum Notice {
    /// Open for the first time.
    Opened,
    /// Open before, or never yet, and now not: no frame gets out.
    Failed {
        /// Why.
        error: OutputError,
        /// Errors of this kind since the last notice of it, this one not counted.
        held_back: u64,
        /// The wait until it is retried; `None` if it is not.
        retry_in: Option<Duration>,
    },
    /// Open, and stays open; a frame did not get through.
    Trouble {
        /// Why.
        error: OutputError,
        /// Errors of this kind since the last notice of it, this one not counted.
        held_back: u64,
    },
    /// Open again.
    Recovered {
        /// Why it was not open, as the last error had it.
        cause: String,
        /// How long no frame got out.
        down: Duration,
        /// Attempts to open it in that time, the last one included.
        attempts: u64,
    },
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Opened => f.write_str("open"),
            Self::Failed { error, held_back, retry_in } => {
                write!(f, "{error}")?;
                held(f, *held_back)?;
                match retry_in {
                    Some(wait) => write!(f, "; tried again in {} s", wait.as_secs()),
                    None => f.write_str("; not tried again before that has changed"),
                }
            }
            Self::Trouble { error, held_back } => {
                write!(f, "{error}")?;
                held(f, *held_back)
            }
            Self::Recovered { cause, down, attempts } => {
                let plural = if *attempts == 1 { "" } else { "s" };
                let seconds = down.as_secs_f64();
                write!(f, "open again after {seconds:.1} s and {attempts} attempt{plural}; before: {cause}")
            }
        }
    }
}

fn held(f: &mut fmt::Formatter<'_>, held_back: u64) -> fmt::Result {
    if held_back == 0 { Ok(()) } else { write!(f, "; {held_back} more since the last such line") }
}
