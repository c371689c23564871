//! An S3-compatible store on this machine, that checks signatures and keeps its objects as plain files. It makes file
//! names of whole names of objects, so that a prefix must be short.

use std::fs;
use std::net::SocketAddr;
use std::path::PathBuf;

use hyper::server::conn::http1;
use hyper_util::rt::TokioIo;
use s3s::auth::SimpleAuth;
use s3s::service::S3ServiceBuilder;
use s3s_fs::FileSystem;
use tokio::net::TcpListener;
use tokio::runtime::Runtime;

/// The access key of the store.
pub const KEY: &str = "invented-key";
/// Its secret.
pub const SECRET: &str = "invented-secret-of-the-store";
/// Its bucket.
pub const BUCKET: &str = "shop";

/// A store with one bucket. It ends when it is dropped.
pub struct ObjectStore {
    at: SocketAddr,
    folder: tempfile::TempDir,
    _runtime: Runtime,
}

#[allow(
    clippy::missing_panics_doc,
    reason = "each fails its test, as a server that does not start must"
)]
impl ObjectStore {
    /// Starts one.
    #[must_use]
    pub fn start() -> ObjectStore {
        let folder = tempfile::tempdir().expect("a folder");
        fs::create_dir(folder.path().join(BUCKET)).expect("a bucket");
        let files = FileSystem::new(folder.path()).expect("a store");
        let mut builder = S3ServiceBuilder::new(files);
        builder.set_auth(SimpleAuth::from_single(KEY, SECRET));
        let service = builder.build();
        let mut threads = tokio::runtime::Builder::new_multi_thread();
        let runtime = threads.worker_threads(2).enable_all().build();
        let runtime = runtime.expect("a runtime");
        let listener = runtime.block_on(TcpListener::bind("127.0.0.1:0"));
        let listener = listener.expect("a port");
        let at = listener.local_addr().expect("an address");
        runtime.spawn(async move {
            while let Ok((socket, _)) = listener.accept().await {
                let service = service.clone();
                tokio::spawn(async move {
                    let served = http1::Builder::new();
                    let _ = served.serve_connection(TokioIo::new(socket), service).await;
                });
            }
        });
        ObjectStore {
            at,
            folder,
            _runtime: runtime,
        }
    }

    /// Where it answers.
    #[must_use]
    pub fn at(&self) -> SocketAddr {
        self.at
    }

    /// The files of its objects, by their names in the bucket.
    #[must_use]
    pub fn objects(&self) -> Vec<(String, PathBuf)> {
        let root = self.folder.path().join(BUCKET);
        let mut open = vec![root.clone()];
        let mut all = Vec::new();
        while let Some(folder) = open.pop() {
            for entry in fs::read_dir(folder).expect("its folder") {
                let path = entry.expect("an entry").path();
                if path.is_dir() {
                    open.push(path);
                } else {
                    let name = path.strip_prefix(&root).expect("inside");
                    all.push((name.display().to_string(), path));
                }
            }
        }
        all.sort();
        all
    }
}
