//! An S3-compatible store on this machine, that checks signatures and keeps its objects as plain files. It makes file
//! names of whole names of objects, so that a prefix must be short.

use std::fs;
use std::io::{self, Read, Write};
use std::net::{SocketAddr, TcpListener as Listener, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread;

use hyper::server::conn::http1;
use hyper_util::rt::TokioIo;
use rustls::pki_types::PrivateKeyDer;
use rustls::{ServerConfig, ServerConnection, StreamOwned};
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

/// A request: its method, where it goes with the query, and all its bytes.
struct Request {
    method: String,
    target: String,
    head: Vec<u8>,
    body: Vec<u8>,
}

impl Request {
    fn read(from: &mut impl Read) -> io::Result<Request> {
        let mut head = Vec::new();
        let mut byte = [0];
        while !head.ends_with(b"\r\n\r\n") {
            from.read_exact(&mut byte)?;
            head.extend(byte);
        }
        let text = String::from_utf8_lossy(&head).to_lowercase();
        let length = text.split("content-length:").nth(1);
        let length = length.and_then(|rest| rest.split("\r\n").next()?.trim().parse().ok());
        let mut body = vec![0; length.unwrap_or(0)];
        from.read_exact(&mut body)?;
        let text = String::from_utf8_lossy(&head).into_owned();
        let mut words = text.split(' ').map(str::to_owned);
        Ok(Request {
            method: words.next().unwrap_or_default(),
            target: words.next().unwrap_or_default(),
            head,
            body,
        })
    }
}

/// Answers one request of each connection. It goes on until the test ends.
fn serve(one: impl Fn(TcpStream) -> io::Result<()> + Send + Sync + 'static) -> SocketAddr {
    let listener = Listener::bind("127.0.0.1:0").expect("a port");
    let at = listener.local_addr().expect("an address");
    let one = Arc::new(one);
    thread::spawn(move || {
        for client in listener.incoming().flatten() {
            let one = Arc::clone(&one);
            // Who breaks a line off does not hear more.
            thread::spawn(move || drop(one(client)));
        }
    });
    at
}

/// A store that answers what a test has it answer, by the method and where the request goes with its query.
#[allow(clippy::missing_panics_doc, reason = "a port of this machine")]
#[must_use]
pub fn told(answer: impl Fn(&str, &str) -> (u16, Vec<u8>) + Send + Sync + 'static) -> SocketAddr {
    serve(move |mut client| {
        let request = Request::read(&mut client)?;
        let (status, body) = answer(&request.method, &request.target);
        let length = body.len();
        write!(
            client,
            "HTTP/1.1 {status} told\r\ncontent-length: {length}\r\nconnection: close\r\n\r\n"
        )?;
        client.write_all(&body)
    })
}

/// A page of a listing: these objects with their sizes, and where it goes on.
#[must_use]
pub fn page(objects: &[(String, usize)], next: Option<&str>) -> Vec<u8> {
    let objects = objects.iter().map(|(key, size)| {
        format!(
            "<Contents><Key>{key}</Key><LastModified>2020-01-01T00:00:00.000Z</LastModified>\
             <ETag>&quot;0&quot;</ETag><Size>{size}</Size><StorageClass>STANDARD</StorageClass></Contents>"
        )
    });
    let objects: String = objects.collect();
    let next = next.map(|n| format!("<NextContinuationToken>{n}</NextContinuationToken>"));
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><ListBucketResult \
         xmlns=\"http://s3.amazonaws.com/doc/2006-03-01/\"><Name>{BUCKET}</Name><Prefix></Prefix>\
         <MaxKeys>1000</MaxKeys><EncodingType>url</EncodingType><IsTruncated>{}</IsTruncated>{}{objects}\
         </ListBucketResult>",
        next.is_some(),
        next.unwrap_or_default()
    )
    .into_bytes()
}

/// The same store over TLS, with a certificate for `localhost` that is written to `certificate`.
#[allow(
    clippy::missing_panics_doc,
    reason = "each fails its test, as a server that does not start must"
)]
#[must_use]
pub fn over_tls(store: SocketAddr, certificate: &Path) -> SocketAddr {
    let made = rcgen::generate_simple_self_signed(["localhost".to_owned()]);
    let made = made.expect("a certificate");
    fs::write(certificate, made.cert.pem()).expect("written");
    let key = PrivateKeyDer::try_from(made.signing_key.serialize_der()).expect("a key");
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .expect("versions")
        .with_no_client_auth()
        .with_single_cert(vec![made.cert.der().clone()], key);
    let config = Arc::new(config.expect("a certificate that can be shown"));
    serve(move |client| {
        let tls = ServerConnection::new(Arc::clone(&config)).map_err(io::Error::other)?;
        let mut client = StreamOwned::new(tls, client);
        let request = Request::read(&mut client)?;
        let mut server = TcpStream::connect(store)?;
        let line = request.head.iter().position(|b| *b == b'\n');
        let (first, rest) = request.head.split_at(line.map_or(0, |at| at + 1));
        for part in [first, b"connection: close\r\n", rest, &request.body] {
            server.write_all(part)?;
        }
        io::copy(&mut server, &mut client)?;
        client.conn.send_close_notify();
        client.flush()
    })
}
