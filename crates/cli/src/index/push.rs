//! `ohmtrail index push` and `fetch`: trails and rows to where several machines put theirs, and trails back.

use std::collections::{BTreeMap, HashSet};
use std::path::PathBuf;

use ohmtrail_index::{
    Bucket, Fetched, Keys, Problem, PushedRows, PushedTrails, fetch, push_rows, push_trails,
};
use serde_json::{Value, json};

use super::{Args, Place, exit, or_data_folder, problems, problems_json};
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Which store.
#[derive(Debug, clap::Args)]
struct Store {
    /// The store: s3://BUCKET/PREFIX
    #[arg(long, value_name = "PLACE", requires = "endpoint")]
    store: Option<String>,
    /// Where the S3-compatible store answers: https://HOST
    #[arg(long, value_name = "URL", requires = "store")]
    endpoint: Option<String>,
    /// The region that the store is said to be in
    #[arg(long, default_value = "us-east-1", requires = "store")]
    region: String,
    /// A file with the access key that only you may read, of lines such as AWS_ACCESS_KEY_ID=…; without it the
    /// environment has it
    #[arg(long, value_name = "FILE", requires = "store")]
    credentials: Option<PathBuf>,
}

impl Store {
    fn bucket(&self, args: &Args) -> Result<Option<Bucket>, Fail> {
        let (Some(store), Some(endpoint)) = (&self.store, &self.endpoint) else {
            return Ok(None);
        };
        let keys = match &self.credentials {
            Some(path) => Keys::of_file(path)?,
            None => Keys::of_environment()?,
        };
        let ca = args.ca.as_deref();
        Ok(Some(Bucket::new(store, endpoint, &self.region, keys, ca)?))
    }
}

/// What to push where.
#[derive(Debug, clap::Args)]
pub struct Push {
    /// Folders of trails, looked through at any depth, or trails; without one, the daemon's data folder
    #[arg(value_name = "TRAILS")]
    folders: Vec<PathBuf>,
    /// The folder of the shop's own sheets, for the kinds of their parts
    #[arg(long, value_name = "FOLDER")]
    sheets: Option<PathBuf>,
    #[command(flatten)]
    store: Store,
}

impl Push {
    /// Trails to the store, then their rows to the database.
    pub fn run(&self, args: &Args, out: &mut Out) -> Result<Exit, Fail> {
        let bucket = self.store.bucket(args)?;
        let database = match Place::of(args)? {
            Place::Database(database) => Some(database),
            Place::File(_) if args.index.is_some() => {
                return Err(Fail::usage(
                    "an index in a file is not pushed to; name a store with --store, or a database with --database",
                ));
            }
            Place::File(_) => None,
        };
        if bucket.is_none() && database.is_none() {
            return Err(Fail::usage(
                "push where to? Name a store with --store and --endpoint, a database with --database, or both",
            ));
        }
        let folders = or_data_folder(&self.folders)?;
        let trails = bucket.as_ref().map(|b| push_trails(b, &folders));
        let trails = trails.transpose()?;
        let sheets = self.sheets.as_deref();
        let nowhere = BTreeMap::new();
        let addresses = trails.as_ref().map_or(&nowhere, |t| &t.addresses);
        let rows = database
            .as_ref()
            .map(|d| push_rows(d, &folders, sheets, addresses));
        // What was done before is said, whatever comes after it.
        let (rows, failed) = match rows.transpose() {
            Ok(rows) => (rows, None),
            Err(error) => (None, Some(error)),
        };
        let both = [
            trails.as_ref().map(|t| &t.problems),
            rows.as_ref().map(|r| &r.problems),
        ];
        // What is damaged is said by both.
        let mut said = HashSet::new();
        let all = both.into_iter().flatten().flatten();
        let all = all.filter(|p| said.insert((p.path.as_path(), p.what.as_str())));
        let all: Vec<Problem> = all.cloned().collect();
        let names = (
            bucket.as_ref().map(|b| b.name().to_owned()),
            database.map(|d| d.name().to_owned()).unwrap_or_default(),
        );
        if out.json() {
            out.document(&json!({
                "store": trails.as_ref().zip(names.0).map(|(t, name)| trails_json(t, &name)),
                "database": rows.as_ref().map(|r| rows_json(r, &names.1)),
                "problems": problems_json(&all),
            }))?;
        } else {
            if let Some((t, name)) = trails.as_ref().zip(names.0) {
                out.line(&format!(
                    "{name}: {} trails, {} put and {} there already, {} photographs put, {} bytes",
                    t.trails, t.put, t.there, t.photographs, t.bytes
                ))?;
            }
            if let Some(r) = &rows {
                out.line(&format!(
                    "{}: {} trails, {} new, {} grown, {} known better, {} there already",
                    names.1, r.trails, r.new, r.grown, r.known_better, r.there
                ))?;
            }
            problems(&all, out)?;
        }
        match failed {
            Some(error) => Err(error.into()),
            None => Ok(exit(&all)),
        }
    }
}

fn trails_json(t: &PushedTrails, name: &str) -> Value {
    json!({
        "name": name, "trails": t.trails, "put": t.put, "there": t.there, "photographs": t.photographs,
        "bytes": t.bytes,
    })
}

fn rows_json(r: &PushedRows, name: &str) -> Value {
    json!({
        "name": name, "trails": r.trails, "new": r.new, "grown": r.grown, "known_better": r.known_better,
        "there": r.there,
    })
}

/// What to fetch from where.
#[derive(Debug, clap::Args)]
pub struct Fetch {
    /// Where the trails go; what lies there is only ever made longer
    folder: PathBuf,
    #[command(flatten)]
    store: Store,
}

impl Fetch {
    /// Trails from the store.
    pub fn run(&self, args: &Args, out: &mut Out) -> Result<Exit, Fail> {
        let Some(bucket) = self.store.bucket(args)? else {
            return Err(Fail::usage(
                "fetch where from? Name a store with --store and --endpoint",
            ));
        };
        let fetched = fetch(&bucket, &self.folder)?;
        let Fetched {
            trails,
            brought,
            grown,
            there,
            photographs,
            problems: all,
        } = fetched;
        if out.json() {
            out.document(&json!({
                "store": bucket.name(), "trails": trails, "brought": brought, "grown": grown,
                "there": there, "photographs": photographs, "problems": problems_json(&all),
            }))?;
        } else {
            out.line(&format!(
                "{}: {trails} trails, {brought} brought, {grown} grown, {there} there already, {photographs} \
                 photographs brought",
                bucket.name()
            ))?;
            problems(&all, out)?;
        }
        Ok(exit(&all))
    }
}
