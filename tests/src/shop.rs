//! A shop: invented trails in a folder, and their index beside them.

use std::fs;
use std::path::{Path, PathBuf};

use ohmtrail_index::{Index, rebuild, verify};

use crate::cli::{Ran, run};
use crate::years::{Written, visit};

/// A folder of trails with its index beside it. What cannot be read or written fails the test.
pub struct Shop {
    folder: tempfile::TempDir,
}

#[allow(
    clippy::missing_panics_doc,
    reason = "each fails its test, as the type says"
)]
impl Shop {
    /// An empty one.
    #[must_use]
    pub fn empty() -> Shop {
        let folder = tempfile::tempdir().expect("a folder");
        fs::create_dir(folder.path().join("visits")).expect("a folder");
        Shop { folder }
    }

    /// Visits of a few units over six years.
    #[must_use]
    pub fn of_a_few_units() -> Shop {
        let shop = Shop::empty();
        for number in 0..6 {
            for nth in 0..12 {
                shop.put(&format!("u{number}-{nth:02}.trail"), &visit(number, nth));
            }
        }
        shop
    }

    /// Where all of it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Where its trails are.
    #[must_use]
    pub fn visits(&self) -> PathBuf {
        self.path().join("visits")
    }

    /// Where its index is.
    #[must_use]
    pub fn index(&self) -> PathBuf {
        self.path().join("shop.sqlite")
    }

    /// Puts a trail into it, over one of that name, and says where.
    pub fn put(&self, name: &str, visit: &Written) -> PathBuf {
        let path = self.visits().join(name);
        fs::write(&path, visit.bytes()).expect("a trail");
        path
    }

    /// Makes the index anew; it has as many problems as are named.
    #[must_use]
    pub fn rebuild(&self, problems: usize) -> Index {
        let gathered = rebuild(&self.index(), &[self.visits()], None).expect("rebuilt");
        assert_eq!(gathered.problems.len(), problems, "{gathered:?}");
        self.open()
    }

    /// Opens the index as it stands.
    #[must_use]
    pub fn open(&self) -> Index {
        Index::open(&self.index()).expect("the index")
    }

    /// The index is what its trails say.
    pub fn proven_equal(&self) {
        let compared = verify(&self.index()).expect("compared");
        assert!(compared.equal(), "{:#?}", compared.differences);
        assert!(compared.rows > 0);
    }

    /// The same where so many trails have a problem.
    pub fn proven_equal_with_problems(&self, problems: usize) {
        let compared = verify(&self.index()).expect("compared");
        assert!(compared.equal(), "{:#?}", compared.differences);
        assert_eq!(compared.anew.problems.len(), problems);
    }

    /// Runs `ohmtrail index` on it.
    #[must_use]
    pub fn ask(&self, args: &[&str]) -> Ran {
        let index = self.index();
        let mut all = vec!["index", "--index", index.to_str().expect("text")];
        all.extend(args);
        run(all)
    }
}
