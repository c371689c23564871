//! Standard input while something else is waited for, too.

use std::io::BufRead;

use tokio::sync::mpsc;

/// Its lines, from a thread of its own; closed where it ends or cannot be read.
pub fn read_lines() -> mpsc::UnboundedReceiver<String> {
    let (to, from) = mpsc::unbounded_channel();
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines().map_while(Result::ok) {
            if to.send(line).is_err() {
                break;
            }
        }
    });
    from
}
