//! `ohmtrail quote …`: what a repair costs, and what was decided on it; both come into the trail of
//! the visit that found the fault.

use std::fs;
use std::path::PathBuf;

use clap::Subcommand;
use ohmtrail_daemon::after::{self, AfterError};
use ohmtrail_daemon::clock::Clocks;
use ohmtrail_trail::Hash;
use ohmtrail_trail::event::{Event, Quote};
use ohmtrail_visit::{Book, Input, Record, Totals, money};
use serde_json::json;

use crate::ended::Which;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// What to do.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Add a quote to the trail of a visit that has ended; it replaces the one before
    Add {
        #[command(flatten)]
        which: Which,
        /// The quote's file
        #[arg(long, value_name = "PATH")]
        from: PathBuf,
    },
    /// Show the quote that stands, and what was decided
    Show {
        #[command(flatten)]
        which: Which,
    },
    /// Say what was decided on the quote that stands
    Decide {
        #[command(flatten)]
        which: Which,
        /// The head hash on the write-up that it was decided on
        #[arg(long, value_name = "HASH")]
        paper: Hash,
        /// The option that was approved
        #[arg(long, value_name = "NAME", required_unless_present = "declined")]
        option: Option<String>,
        /// The repair was declined
        #[arg(long, conflicts_with = "option")]
        declined: bool,
        /// Who decided
        #[arg(long, value_name = "WHO")]
        by: String,
        /// By what means it was told, such as "signed on the paper"
        #[arg(long, value_name = "HOW")]
        means: String,
    },
}

/// Runs it.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    match &args.what {
        What::Add { which, from } => {
            let name = from.display().to_string();
            let text = fs::read_to_string(from).map_err(|e| Fail::input(format!("{name}: {e}")))?;
            let quote = ohmtrail_paper::quote(&name, &text).map_err(Fail::input)?;
            for event in say(which, Input::Quote(quote))? {
                if let Event::Quoted(quote) = event {
                    show(&quote, out)?;
                }
            }
        }
        What::Show { which } => {
            let ended = which.read()?;
            let book = Book::new(&ended.bundle).map_err(Fail::input)?;
            let record = Record::of(&book, &ended.entries);
            let quote = record.quote.as_ref();
            let quote = quote.ok_or_else(|| {
                Fail::input(format!("{}: nothing was quoted yet", which.trail.display()))
            })?;
            show(quote, out)?;
            for (decision, _) in &record.decisions {
                if out.json() {
                    out.json_line(&json!({ "decision": decision }))?;
                } else {
                    out.line(&decided(
                        decision.option.as_deref(),
                        decision.quote,
                        &decision.by,
                    ))?;
                }
            }
        }
        What::Decide {
            which,
            paper,
            option,
            by,
            means,
            ..
        } => {
            let input = Input::Decide {
                option: option.clone(),
                by: by.clone(),
                means: means.clone(),
                paper: paper.0,
            };
            for event in say(which, input)? {
                let Event::Decided(decision) = event else {
                    continue;
                };
                if out.json() {
                    out.json_line(&json!({ "decision": decision }))?;
                } else {
                    out.line(&decided(option.as_deref(), decision.quote, by))?;
                }
            }
        }
    }
    Ok(Exit::Done)
}

fn say(which: &Which, input: Input) -> Result<Vec<Event>, Fail> {
    let ended = which.read()?;
    let book = Book::new(&ended.bundle).map_err(Fail::input)?;
    let kept = after::say(&book, &which.trail, input, Clocks::start().now());
    let kept = kept.map_err(|e| match e {
        AfterError::Trail(error) => Fail::from(error),
        other => Fail::input(format!("{}: {other}", which.trail.display())),
    })?;
    Ok(kept.into_iter().map(|k| k.entry.event).collect())
}

fn decided(option: Option<&str>, quote: u32, by: &str) -> String {
    match option {
        Some(option) => format!("option {option} of quote {quote}: approved by {by}"),
        None => format!("quote {quote}: declined by {by}"),
    }
}

fn show(quote: &Quote, out: &mut Out) -> Result<(), Fail> {
    if out.json() {
        return out.json_line(&json!({ "quote": quote }));
    }
    out.line(&format!(
        "quote {}, holds until {}",
        quote.version, quote.valid_until
    ))?;
    for option in &quote.options {
        let totals = Totals::of(option).unwrap_or_default();
        let word = if option.recommended {
            ", recommended"
        } else {
            ""
        };
        out.line(&format!(
            "option {}: {}; {} {}, of that tax {}{word}",
            option.name,
            option.title,
            quote.currency,
            money(totals.gross, quote.decimals),
            money(totals.tax, quote.decimals)
        ))?;
    }
    Ok(())
}
