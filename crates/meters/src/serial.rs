//! A serial port: opened exclusively, with the frame's line settings.

use std::io::ErrorKind;
use std::os::unix::fs::FileTypeExt;
use std::path::Path;

use tokio_serial::{ClearBuffer, SerialPort, SerialStream};

use crate::driver::{Line, Parity};
use crate::link::OpenError;

/// Opens a port exclusively, with these settings.
///
/// # Errors
/// [`OpenError`] says which of missing, busy, forbidden, no port or refused it is.
pub(crate) fn open_port(path: &Path, line: Line) -> Result<SerialStream, OpenError> {
    let failed = |detail: String| OpenError::Failed {
        path: path.to_path_buf(),
        baud: line.baud,
        detail,
    };
    match std::fs::metadata(path) {
        Ok(meta) if meta.file_type().is_char_device() => {}
        Ok(_) => return Err(OpenError::NotAPort(path.to_path_buf())),
        Err(e) if e.kind() == ErrorKind::NotFound => {
            return Err(OpenError::Missing(path.to_path_buf()));
        }
        Err(e) if e.kind() == ErrorKind::PermissionDenied => {
            return Err(OpenError::Permission(path.to_path_buf()));
        }
        Err(e) => return Err(failed(e.to_string())),
    }
    let name = path
        .to_str()
        .ok_or_else(|| failed("the path is not UTF-8".into()))?;
    let builder = tokio_serial::new(name, line.baud)
        .data_bits(if line.data_bits == 7 {
            tokio_serial::DataBits::Seven
        } else {
            tokio_serial::DataBits::Eight
        })
        .parity(match line.parity {
            Parity::None => tokio_serial::Parity::None,
            Parity::Odd => tokio_serial::Parity::Odd,
        })
        .stop_bits(tokio_serial::StopBits::One)
        .flow_control(tokio_serial::FlowControl::None);
    let mut port = SerialStream::open(&builder).map_err(|e| {
        use tokio_serial::ErrorKind as Kind;
        match e.kind {
            // The library's word for a held port: opened exclusively, or locked.
            Kind::NoDevice => OpenError::Busy(path.to_path_buf()),
            Kind::Io(ErrorKind::NotFound) => OpenError::Missing(path.to_path_buf()),
            Kind::Io(ErrorKind::PermissionDenied) => OpenError::Permission(path.to_path_buf()),
            _ if e.description.contains("typewriter")
                || e.description.contains("ioctl for device") =>
            {
                OpenError::NotAPort(path.to_path_buf())
            }
            _ => failed(e.description),
        }
    })?;
    // The control lines feed an optical lead; a pseudo-terminal has none, and that is no error.
    let _ = port.write_data_terminal_ready(true);
    let _ = port.write_request_to_send(false);
    // What came before the settings were in force is not to be read.
    port.clear(ClearBuffer::Input)
        .map_err(|e| failed(e.description))?;
    Ok(port)
}
