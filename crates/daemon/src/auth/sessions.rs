//! Sessions: who may ask, after pairing. One private file each, named by the hash of its token, so
//! that whoever reads the folder learns no token, and removing the file ends the session at once,
//! for a daemon that runs as for one that starts later.

use std::fs::{self, File};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use serde::{Deserialize, Serialize};

use super::files;
use super::token::Token;

/// The folder of sessions in the data folder.
const FOLDER: &str = "sessions";
/// How many letters of the hash name a session to people.
const ID: usize = 12;
/// The most sessions that are kept: the ones longest unused go first.
const MOST: usize = 64;
/// The longest name a session may have, characters.
pub const LONGEST_NAME: usize = 40;
/// A session's use is noted at most this often: the file is touched, and storage is spared.
const NOTED_EVERY: Duration = Duration::from_secs(60);

/// The sessions of a data folder.
#[derive(Debug, Clone)]
pub struct Sessions {
    folder: PathBuf,
    lasts: Duration,
}

/// What is kept of a session.
#[derive(Debug, Serialize, Deserialize)]
struct Kept {
    name: String,
    /// Seconds since 1970.
    made: u64,
}

/// A session as it is listed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Session {
    /// What it is called when it is to be ended. Not a secret.
    pub id: String,
    /// The name its holder gave.
    pub name: String,
    /// When it was made, seconds since 1970.
    pub made: u64,
    /// When it was last used, to the minute, seconds since 1970.
    pub used: u64,
    /// When it ends by itself, seconds since 1970.
    pub ends: u64,
}

impl Sessions {
    /// The sessions of that data folder, each of which ends `lasts` after it was made.
    #[must_use]
    pub fn of(data: &Path, lasts: Duration) -> Self {
        Sessions {
            folder: data.join(FOLDER),
            lasts,
        }
    }

    /// Makes one, and returns the only copy of its token.
    ///
    /// # Errors
    /// What the system says.
    pub fn begin(&self, name: &str, now: SystemTime) -> io::Result<Token> {
        files::private_folder(&self.folder)?;
        self.make_room(now)?;
        let token = Token::draw()?;
        let kept = Kept {
            name: clean(name),
            made: seconds(now),
        };
        files::replace(&self.file(&token.hash()), &serde_json::to_vec(&kept)?)?;
        Ok(token)
    }

    /// Whether that token's session is there and has not ended.
    #[must_use]
    pub fn holds(&self, token: &Token, now: SystemTime) -> bool {
        self.lasts_still(&token.hash(), now)
    }

    /// Whether the session of that hash is there and has not ended; its use is noted.
    pub(super) fn lasts_still(&self, hash: &blake3::Hash, now: SystemTime) -> bool {
        let file = self.file(hash);
        let Ok(kept) = read(&file) else {
            return false;
        };
        if seconds(now) >= kept.made.saturating_add(self.lasts.as_secs()) {
            return false;
        }
        note_use(&file, now);
        true
    }

    /// All of them that have not ended, by when they were made.
    ///
    /// # Errors
    /// What the system says.
    pub fn list(&self, now: SystemTime) -> io::Result<Vec<Session>> {
        let mut sessions = Vec::new();
        for (file, hash) in self.files()? {
            let Ok(kept) = read(&file) else {
                continue;
            };
            let ends = kept.made.saturating_add(self.lasts.as_secs());
            let used = fs::metadata(&file).and_then(|m| m.modified());
            if ends > seconds(now) {
                sessions.push(Session {
                    id: hash.chars().take(ID).collect(),
                    name: kept.name,
                    made: kept.made,
                    used: used.map_or(kept.made, seconds),
                    ends,
                });
            }
        }
        sessions.sort_by(|a, b| (a.made, &a.id).cmp(&(b.made, &b.id)));
        Ok(sessions)
    }

    /// Ends the session of that id; false if there is none.
    ///
    /// # Errors
    /// What the system says.
    pub fn end(&self, id: &str) -> io::Result<bool> {
        if id.len() < ID {
            return Ok(false);
        }
        let mut ended = false;
        for (file, hash) in self.files()? {
            if hash.starts_with(id) {
                remove(&file)?;
                ended = true;
            }
        }
        Ok(ended)
    }

    /// Ends all of them, and says how many there were.
    ///
    /// # Errors
    /// What the system says.
    pub fn end_all(&self) -> io::Result<usize> {
        let files = self.files()?;
        for (file, _) in &files {
            remove(file)?;
        }
        Ok(files.len())
    }

    /// Ends what has ended by itself, and the longest unused ones where there are too many.
    fn make_room(&self, now: SystemTime) -> io::Result<()> {
        let mut left = Vec::new();
        for (file, _) in self.files()? {
            let ends = read(&file).map(|k| k.made.saturating_add(self.lasts.as_secs()));
            if ends.is_ok_and(|ends| ends > seconds(now)) {
                let used = fs::metadata(&file).and_then(|m| m.modified());
                left.push((used.unwrap_or(SystemTime::UNIX_EPOCH), file));
            } else {
                remove(&file)?;
            }
        }
        left.sort();
        let over = (left.len() + 1).saturating_sub(MOST);
        left.iter()
            .take(over)
            .try_for_each(|(_, file)| remove(file))
    }

    fn file(&self, hash: &blake3::Hash) -> PathBuf {
        self.folder.join(format!("{hash}.json"))
    }

    /// Every session's file with the hash that it is named by.
    fn files(&self) -> io::Result<Vec<(PathBuf, String)>> {
        let entries = match fs::read_dir(&self.folder) {
            Err(e) if e.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
            entries => entries?,
        };
        let mut files = Vec::new();
        for entry in entries {
            let path = entry?.path();
            let stem = path.file_stem().and_then(|s| s.to_str());
            if let Some(hash) = stem
                && path.extension().is_some_and(|e| e == "json")
                && blake3::Hash::from_hex(hash).is_ok()
            {
                files.push((path.clone(), hash.to_owned()));
            }
        }
        Ok(files)
    }
}

fn read(file: &Path) -> io::Result<Kept> {
    Ok(serde_json::from_slice(&fs::read(file)?)?)
}

fn remove(file: &Path) -> io::Result<()> {
    match fs::remove_file(file) {
        Err(e) if e.kind() == ErrorKind::NotFound => Ok(()),
        done => done,
    }
}

/// Best effort: a session whose use cannot be noted is still one.
fn note_use(file: &Path, now: SystemTime) {
    let noted = fs::metadata(file).and_then(|m| m.modified());
    let is_fresh = noted.is_ok_and(|at| now.duration_since(at).is_ok_and(|d| d < NOTED_EVERY));
    if !is_fresh && let Ok(file) = File::options().append(true).open(file) {
        let noted = file.set_modified(now);
        if let Err(e) = noted {
            tracing::debug!("a session's use is not noted: {e}");
        }
    }
}

/// A name that can be shown anywhere: printable, and not long.
fn clean(name: &str) -> String {
    let printable = name.chars().filter(|c| !c.is_control());
    let name: String = printable.take(LONGEST_NAME).collect();
    let name = name.trim();
    if name.is_empty() { "unnamed" } else { name }.to_owned()
}

fn seconds(at: SystemTime) -> u64 {
    at.duration_since(SystemTime::UNIX_EPOCH)
        .map_or(0, |d| d.as_secs())
}

#[cfg(test)]
mod tests {
    use super::*;

    const DAY: Duration = Duration::from_secs(86_400);

    fn at(seconds: u64) -> SystemTime {
        SystemTime::UNIX_EPOCH + Duration::from_secs(seconds)
    }

    #[test]
    fn a_session_lasts_until_its_end_or_until_it_is_ended() {
        let data = tempfile::tempdir().expect("a folder");
        let sessions = Sessions::of(data.path(), DAY);
        assert_eq!(sessions.list(at(0)).expect("none yet"), []);
        let one = sessions
            .begin("phone\n of\u{7} Ana", at(1000))
            .expect("made");
        let two = sessions.begin("", at(2000)).expect("made");
        assert!(sessions.holds(&one, at(1001)));
        assert!(!sessions.holds(&Token::draw().expect("bits"), at(1001)));
        let list = sessions.list(at(2000)).expect("listed");
        let names: Vec<&str> = list.iter().map(|s| s.name.as_str()).collect();
        assert_eq!(names, ["phone of Ana", "unnamed"]);
        assert_eq!(list[0].ends, 1000 + 86_400);

        assert!(
            !sessions.holds(&one, at(1000 + 86_400)),
            "it ends by itself"
        );
        assert!(sessions.holds(&two, at(1000 + 86_400)));
        assert!(!sessions.end("").expect("no id"), "nothing is not an id");
        assert!(sessions.end(&list[1].id).expect("ended"));
        assert!(!sessions.end(&list[1].id).expect("once only"));
        assert!(!sessions.holds(&two, at(2001)));
        assert_eq!(sessions.end_all().expect("ended"), 1);
        assert!(!sessions.holds(&one, at(1001)));
    }

    #[test]
    fn the_folder_holds_no_token_and_is_private() {
        use std::os::unix::fs::PermissionsExt;
        let data = tempfile::tempdir().expect("a folder");
        let sessions = Sessions::of(data.path(), DAY);
        let token = sessions.begin("phone", at(1)).expect("made").reveal();
        let mut seen = 0;
        for entry in fs::read_dir(data.path().join(FOLDER)).expect("there") {
            let path = entry.expect("an entry").path();
            let text = fs::read_to_string(&path).expect("text");
            assert!(!text.contains(&token) && !path.display().to_string().contains(&token));
            let mode = fs::metadata(&path).expect("there").permissions().mode();
            assert_eq!(mode & 0o777, 0o600);
            seen += 1;
        }
        assert_eq!(seen, 1);
    }

    #[test]
    fn use_is_noted_and_the_longest_unused_make_room() {
        let data = tempfile::tempdir().expect("a folder");
        let sessions = Sessions::of(data.path(), DAY);
        let start = seconds(SystemTime::now());
        let tokens: Vec<Token> = (0..MOST as u64)
            .map(|i| sessions.begin(&format!("n{i}"), at(start)).expect("made"))
            .collect();
        for token in &tokens[1..] {
            assert!(sessions.holds(token, at(start + 600)));
        }
        let list = sessions.list(at(start + 600)).expect("listed");
        assert_eq!(
            list.iter().filter(|s| s.used == start + 600).count(),
            MOST - 1
        );
        let new = sessions.begin("new", at(start + 700)).expect("made");
        assert!(sessions.holds(&new, at(start + 700)));
        assert!(
            !sessions.holds(&tokens[0], at(start + 700)),
            "the one never used"
        );
        assert!(sessions.holds(&tokens[1], at(start + 700)));
    }
}
