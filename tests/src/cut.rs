//! A line that is cut after so many bytes: a proxy between a client and a server of this machine.

use std::io::{self, Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;

/// A line to a server that carries so many bytes towards it, over all its connections, and is dead from then
/// on: every connection is cut, and new ones are cut at once.
pub struct Line {
    at: SocketAddr,
    left: Arc<AtomicU64>,
}

#[allow(
    clippy::missing_panics_doc,
    reason = "each fails its test: a socket of this machine"
)]
impl Line {
    /// A line to this server.
    #[must_use]
    pub fn to(server: SocketAddr, bytes: u64) -> Line {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let at = listener.local_addr().expect("an address");
        let left = Arc::new(AtomicU64::new(bytes));
        let open: Arc<Mutex<Vec<TcpStream>>> = Arc::default();
        let shared = Arc::clone(&left);
        thread::spawn(move || {
            for client in listener.incoming().flatten() {
                let _ = carry(client, server, &shared, &open);
            }
        });
        Line { at, left }
    }

    /// Where a client finds it.
    #[must_use]
    pub fn at(&self) -> SocketAddr {
        self.at
    }

    /// How many bytes it carried, of one that was to carry so many.
    #[must_use]
    pub fn carried(&self, of: u64) -> u64 {
        of - self.left.load(Ordering::SeqCst)
    }

    /// Whether it was cut.
    #[must_use]
    pub fn is_cut(&self) -> bool {
        self.left.load(Ordering::SeqCst) == 0
    }
}

fn carry(
    client: TcpStream,
    server: SocketAddr,
    left: &Arc<AtomicU64>,
    open: &Arc<Mutex<Vec<TcpStream>>>,
) -> io::Result<()> {
    if left.load(Ordering::SeqCst) == 0 {
        return client.shutdown(Shutdown::Both);
    }
    let server = TcpStream::connect(server)?;
    let all = [client.try_clone()?, server.try_clone()?];
    open.lock().expect("nobody panicked").extend(all);
    let (mut from, mut to) = (client.try_clone()?, server.try_clone()?);
    let (left, open) = (Arc::clone(left), Arc::clone(open));
    thread::spawn(move || {
        let mut bytes = [0; 4096];
        while let Ok(n @ 1..) = from.read(&mut bytes) {
            let take = |left: u64| Some(left.saturating_sub(n as u64));
            let had = left.fetch_update(Ordering::SeqCst, Ordering::SeqCst, take);
            let may = usize::try_from(had.unwrap_or(0)).map_or(n, |had| had.min(n));
            if to.write_all(&bytes[..may]).is_err() {
                break;
            }
            if left.load(Ordering::SeqCst) == 0 {
                for one in open.lock().expect("nobody panicked").drain(..) {
                    let _ = one.shutdown(Shutdown::Both);
                }
                break;
            }
        }
        let _ = to.shutdown(Shutdown::Write);
    });
    let (mut from, mut to) = (server, client);
    thread::spawn(move || {
        let _ = io::copy(&mut from, &mut to);
        let _ = to.shutdown(Shutdown::Write);
    });
    Ok(())
}
