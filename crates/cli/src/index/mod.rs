//! `ohmtrail index …`: the shop index over all visits, and what it says.

mod push;
mod say;
mod trend;

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use clap::builder::PossibleValuesParser;
use clap::{Subcommand, ValueEnum};
use ohmtrail_daemon::config::Places;
use ohmtrail_index::{
    Comparison, Database, EXPORTED, Error, Format, Gathered, Index, Problem, rebuild, rebuild_in,
    verify, verify_in,
};
use serde_json::{Value, json};

use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// What to do with which index.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The index; without it `index.sqlite` in the daemon's data folder
    #[arg(long, value_name = "FILE", global = true)]
    index: Option<PathBuf>,
    /// A PostgreSQL database in place of a file: postgres://USER@HOST:PORT/NAME; a password is better set
    /// as PGPASSWORD
    #[arg(long, value_name = "URL", global = true, conflicts_with = "index")]
    database: Option<String>,
    /// Certificates that the database's and the store's must lead up to, in place of those that browsers trust
    #[arg(long, value_name = "FILE", global = true)]
    ca: Option<PathBuf>,
    /// Ask after simulated units; without it after real ones
    #[arg(long, global = true)]
    simulated: bool,
    /// What to do.
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Form {
    /// Comma-separated values, a header line
    Csv,
    /// An object a line
    Jsonl,
    /// Apache Parquet
    Parquet,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Make the index anew from the trails
    ///
    /// The old one stays until the new one is whole. A damaged trail is named, what is whole of it is
    /// indexed, and the rest goes on.
    Rebuild {
        /// Folders of trails, looked through at any depth, or trails; without one, those of the index
        /// that is there, or else the daemon's data folder. With --database they must be named
        #[arg(value_name = "TRAILS")]
        folders: Vec<PathBuf>,
        /// The folder of the shop's own sheets, for the kinds of their parts
        #[arg(long, value_name = "FOLDER")]
        sheets: Option<PathBuf>,
        /// With --database: visits that it has and these folders have not may go
        #[arg(long)]
        drop_others: bool,
    },
    /// Read the trails that changed since
    Update {
        /// Folders or trails that belong to the index from now on, beside those that it was made with
        #[arg(value_name = "TRAILS")]
        folders: Vec<PathBuf>,
    },
    /// Make the index anew beside itself, and compare the two row by row
    Verify {
        /// With --database: the folders of trails to hold it against; without one, the daemon's data folder
        #[arg(value_name = "TRAILS")]
        folders: Vec<PathBuf>,
        /// With --database: the folder of the shop's own sheets
        #[arg(long, value_name = "FOLDER")]
        sheets: Option<PathBuf>,
    },
    /// Bring trails to a store, and their rows to a database, that several machines share
    ///
    /// What is there stays; a push that was cut goes on when it is made again (docs/shop-index.md).
    Push(push::Push),
    /// Bring the trails of a store into a folder
    Fetch(push::Fetch),
    /// The units, the latest visited first
    Units {
        /// How many
        #[arg(long, default_value_t = 20)]
        limit: u32,
        /// How many to pass over
        #[arg(long, default_value_t = 0)]
        skip: u32,
    },
    /// Find visits by words: units, work orders, notes, plates, faults; simulated ones too
    Search {
        /// The words: all of them, or how they begin
        #[arg(required = true)]
        words: Vec<String>,
        /// How many
        #[arg(long, default_value_t = 20)]
        limit: u32,
    },
    /// A unit's visits, the latest first
    History {
        /// The unit
        unit: String,
        /// How many
        #[arg(long, default_value_t = 20)]
        limit: u32,
    },
    /// What failed of a unit before, and what failed again
    Door {
        /// The unit
        unit: String,
    },
    /// How a unit's values move, and when one is expected to leave its tolerance
    ///
    /// A forecast is made only where the visits bear it; else it is said why not (docs/shop-index.md).
    Trend {
        /// The unit
        unit: String,
        /// Of this part only
        #[arg(long)]
        part: Option<String>,
    },
    /// Hand a table to other programs
    ///
    /// Simulated visits are in it, too; `visits` says which they are.
    Export {
        /// Which table
        #[arg(value_parser = PossibleValuesParser::new(EXPORTED.iter().map(|t| t.name)))]
        table: String,
        /// In which form
        #[arg(long, value_enum, default_value = "csv")]
        format: Form,
        /// Where to; without it, standard output
        #[arg(long, short)]
        output: Option<PathBuf>,
    },
    /// How often which kind of part was found to have failed, and how
    Kinds {
        /// One kind
        kind: Option<String>,
    },
}

/// Where an index is.
enum Place {
    File(PathBuf),
    Database(Box<Database>),
}

impl Place {
    fn of(args: &Args) -> Result<Place, Fail> {
        if let Some(url) = &args.database {
            let password = std::env::var("PGPASSWORD").ok();
            let database = Database::new(url, password.as_deref(), args.ca.as_deref())?;
            return Ok(Place::Database(Box::new(database)));
        }
        Ok(Place::File(match &args.index {
            Some(path) => path.clone(),
            None => data_folder()?.join("index.sqlite"),
        }))
    }

    fn open(&self) -> Result<Index, Fail> {
        Ok(match self {
            Place::File(path) => Index::open(path)?,
            Place::Database(database) => Index::at(database)?,
        })
    }
}

/// Runs it.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let simulated = args.simulated;
    let place = || Place::of(args);
    let open = || place()?.open();
    match &args.what {
        What::Push(push) => push.run(args, out),
        What::Fetch(fetch) => fetch.run(args, out),
        What::Rebuild {
            folders,
            sheets,
            drop_others,
        } => match place()? {
            Place::File(_) if *drop_others => Err(Fail::usage(
                "--drop-others is for a database: an index in a file is always what its folders have",
            )),
            Place::File(path) => rebuilt(&path, folders, sheets.as_deref(), out),
            Place::Database(_) if folders.is_empty() => Err(Fail::usage(
                "name the folders with all the trails that the database is to be made of; \
                 `ohmtrail index fetch` brings those of the store into one",
            )),
            Place::Database(database) => {
                let sheets = sheets.as_deref();
                let gathered = rebuild_in(&database, folders, sheets, *drop_others)?;
                told(database.name(), &gathered, out)
            }
        },
        What::Update { folders } => match place()? {
            Place::File(path) => {
                let gathered = Index::open(&path)?.update(folders)?;
                told(&path.display().to_string(), &gathered, out)
            }
            Place::Database(_) => Err(Fail::usage(
                "a database gets what changed with `ohmtrail index push --database`",
            )),
        },
        What::Verify { folders, sheets } => match place()? {
            Place::File(path) if folders.is_empty() && sheets.is_none() => {
                let differs = "`ohmtrail index update` reads what changed, `rebuild` makes it anew";
                verified(&path.display().to_string(), &verify(&path)?, differs, out)
            }
            Place::File(_) => Err(Fail::usage(
                "an index in a file knows its folders; they are named with --database only",
            )),
            Place::Database(database) => {
                let folders = or_data_folder(folders)?;
                let compared = verify_in(&database, &folders, sheets.as_deref())?;
                let differs = "`ohmtrail index push` brings what changed, `rebuild` with the folders of all trails \
                               makes it anew";
                verified(database.name(), &compared, differs, out)
            }
        },
        What::Units { limit, skip } => {
            let mut index = open()?;
            let size = index.size(simulated)?;
            say::units(&index.units(simulated, *skip, *limit)?, size, out)
        }
        What::Search { words, limit } => {
            say::visits(&open()?.search(&words.join(" "), *limit)?, true, out)
        }
        What::History { unit, limit } => {
            say::visits(&open()?.history(unit, simulated, *limit)?, false, out)
        }
        What::Door { unit } => say::door(unit, &open()?.door(unit, simulated)?, out),
        What::Trend { unit, part } => {
            let mut trends = open()?.trends(unit, simulated)?;
            if let Some(part) = part {
                trends.retain(|t| t.series.part == *part);
            }
            trend::say(unit, &trends, out)
        }
        What::Export {
            table,
            format,
            output,
        } => export(&mut open()?, table, *format, output.as_deref(), out),
        What::Kinds { kind } => say::kinds(&open()?.statistics(kind.as_deref(), simulated)?, out),
    }
}

/// The folders that were named, or else the daemon's data folder.
fn or_data_folder(folders: &[PathBuf]) -> Result<Vec<PathBuf>, Fail> {
    if folders.is_empty() {
        return Ok(vec![data_folder()?]);
    }
    Ok(folders.to_vec())
}

/// The daemon's data folder.
fn data_folder() -> Result<PathBuf, Fail> {
    Places::of_this_process().data().ok_or_else(|| {
        Fail::usage("neither XDG_DATA_HOME nor HOME says where the data folder is: name an index with --index")
    })
}

fn export(
    index: &mut Index,
    table: &str,
    format: Form,
    to: Option<&Path>,
    out: &mut Out,
) -> Result<Exit, Fail> {
    let format = match format {
        Form::Csv => Format::Csv,
        Form::Jsonl => Format::JsonLines,
        Form::Parquet => Format::Parquet,
    };
    let table = EXPORTED.iter().find(|t| t.name == table);
    let table = table.ok_or_else(|| Fail::usage("there is no such table"))?;
    let Some(path) = to else {
        index.export(table, format, &mut *out)?;
        return Ok(Exit::Done);
    };
    let refused = |e: std::io::Error| {
        Fail::new(
            Exit::System,
            format!("{}: cannot be written: {e}", path.display()),
        )
    };
    let mut to = BufWriter::new(File::create_new(path).map_err(refused)?);
    let rows = index.export(table, format, &mut to)?;
    to.flush().map_err(refused)?;
    if out.json() {
        out.document(&json!({
            "table": table.name, "file": path.display().to_string(), "rows": rows,
        }))?;
    }
    Ok(Exit::Done)
}

fn rebuilt(
    path: &Path,
    folders: &[PathBuf],
    sheets: Option<&Path>,
    out: &mut Out,
) -> Result<Exit, Fail> {
    let mut folders = folders.to_vec();
    let mut sheets = sheets.map(Path::to_path_buf);
    match Index::told_at(path) {
        Ok((told, told_sheets)) => {
            if folders.is_empty() {
                folders = told;
            }
            sheets = sheets.or(told_sheets);
        }
        Err(Error::Missing { .. }) => {}
        Err(error) => return Err(error.into()),
    }
    if folders.is_empty() {
        folders.push(data_folder()?);
    }
    let gathered = rebuild(path, &folders, sheets.as_deref())?;
    told(&path.display().to_string(), &gathered, out)
}

fn gathered_json(gathered: &Gathered) -> Value {
    let gone = gathered.gone.iter().map(|path| path.display().to_string());
    json!({
        "trails": gathered.trails,
        "read": gathered.read,
        "entries": gathered.entries,
        "gone": gone.collect::<Vec<_>>(),
        "problems": problems_json(&gathered.problems),
    })
}

/// What a rebuild or an update came to.
fn told(name: &str, gathered: &Gathered, out: &mut Out) -> Result<Exit, Fail> {
    if out.json() {
        let mut document = gathered_json(gathered);
        document["index"] = name.into();
        out.document(&document)?;
    } else {
        out.line(&format!(
            "{name}: {} trails, {} read with {} entries",
            gathered.trails, gathered.read, gathered.entries
        ))?;
        for gone in &gathered.gone {
            out.line(&format!("  gone: {}", say::near(gone)))?;
        }
        problems(&gathered.problems, out)?;
    }
    Ok(exit(&gathered.problems))
}

fn problems(problems: &[Problem], out: &mut Out) -> Result<(), Fail> {
    for problem in problems {
        out.line(&format!("  {}: {}", say::near(&problem.path), problem.what))?;
    }
    Ok(())
}

fn problems_json(problems: &[Problem]) -> Value {
    problems
        .iter()
        .map(|p| json!({"trail": p.path.display().to_string(), "what": p.what}))
        .collect()
}

const fn exit(problems: &[Problem]) -> Exit {
    if problems.is_empty() {
        Exit::Done
    } else {
        Exit::Damaged
    }
}

/// What a comparison came to, and what to do about an index that `differs`.
fn verified(name: &str, compared: &Comparison, differs: &str, out: &mut Out) -> Result<Exit, Fail> {
    if out.json() {
        let mut document = gathered_json(&compared.anew);
        document["index"] = name.into();
        document["equal"] = compared.equal().into();
        document["rows"] = compared.rows.into();
        document["differ"] = compared.differ.into();
        document["differences"] = compared.differences.clone().into();
        out.document(&document)?;
    } else {
        let words = if compared.equal() {
            "what its trails say".to_owned()
        } else {
            format!("not what its trails say; {differs}")
        };
        out.line(&format!("{name}: {words}"))?;
        out.line(&format!(
            "  {} rows of {} trails compared, {} differ",
            compared.rows, compared.anew.trails, compared.differ
        ))?;
        for difference in &compared.differences {
            out.line(&format!("  {difference}"))?;
        }
        problems(&compared.anew.problems, out)?;
    }
    Ok(if compared.equal() {
        exit(&compared.anew.problems)
    } else {
        Exit::Damaged
    })
}
