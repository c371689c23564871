//! A meter behind a TCP port: a bench instrument's raw socket, or a serial port on a network.

use std::time::Duration;

use tokio::net::TcpStream;
use tokio::time::timeout;

use crate::link::OpenError;

/// How long a connection may take to come up.
const CONNECT: Duration = Duration::from_secs(3);

/// Connects.
///
/// # Errors
/// [`OpenError::NoAnswer`] with what the system said.
pub(crate) async fn connect(host: &str, port: u16) -> Result<TcpStream, OpenError> {
    let failed = |detail: String| OpenError::NoAnswer {
        host: host.to_owned(),
        port,
        detail,
    };
    let stream = match timeout(CONNECT, TcpStream::connect((host, port))).await {
        Ok(Ok(stream)) => stream,
        Ok(Err(e)) => return Err(failed(e.to_string())),
        Err(_) => return Err(failed(format!("no answer within {} s", CONNECT.as_secs()))),
    };
    // A question of a few bytes must not wait for more to send.
    stream
        .set_nodelay(true)
        .map_err(|e| failed(e.to_string()))?;
    Ok(stream)
}
