//! Finds the meters on serial ports by listening at all of them at once, and names what advertises
//! by radio.

use std::path::PathBuf;
use std::time::Duration;

use ohmtrail_meters::guess::{Guess, listen};
use ohmtrail_meters::radio::{self, Advertiser, RadioError};
use ohmtrail_meters::session::Clock;
use ohmtrail_meters::spec::StreamSpec;
use serde_json::json;
use tokio::sync::mpsc;

use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// What is on these ports. What was tried, and why something was chosen, is told as it happens: on
/// standard error, or as JSON lines.
pub async fn find(
    ports: Vec<PathBuf>,
    ask: bool,
    radio: bool,
    clock: Clock,
    out: &mut Out,
) -> Result<Vec<StreamSpec>, Fail> {
    let radio = radio.then(|| tokio::spawn(radio::listen(RADIO)));
    let (to, mut from) = mpsc::unbounded_channel();
    let mut tasks = Vec::new();
    for port in &ports {
        let (port, to) = (port.clone(), to.clone());
        tasks.push(tokio::spawn(async move {
            let name = port.clone();
            listen(&port, ask, clock, move |words| {
                // Whoever does not listen any more has ended the program.
                let _ = to.send((name.clone(), words));
            })
            .await
        }));
    }
    drop(to);
    while let Some((port, words)) = from.recv().await {
        say(&port.display().to_string(), &words, out)?;
    }
    let mut found = Vec::new();
    for (port, task) in ports.iter().zip(tasks) {
        let port = port.display().to_string();
        match task.await.map_err(|e| Fail::new(Exit::System, e))? {
            Ok(Guess::Found(spec)) => found.push(*spec),
            Ok(Guess::Silent) if ask => say(&port, "silent, and nobody answered", out)?,
            Ok(Guess::Silent) => {
                let words = "silent: switch the meter on, and its data link too; one that only \
                             speaks when asked is asked with --ask";
                say(&port, words, out)?;
            }
            Ok(Guess::NotUnderstood) => {
                let words = "bytes come, and no driver understands them: a box that writes lines \
                             needs a profile; name the meter with --meter";
                say(&port, words, out)?;
            }
            Err(e) => say(&port, &e.to_string(), out)?,
        }
    }
    if let Some(radio) = radio {
        let heard = radio.await.map_err(|e| Fail::new(Exit::System, e))?;
        advertising(heard, out)?;
    }
    match (found.is_empty(), ports.is_empty()) {
        (false, _) => Ok(found),
        (true, true) => Err(Fail::new(
            Exit::Meter,
            "no serial port is present: plug the lead in, or name a meter with --meter",
        )),
        (true, false) => Err(Fail::new(Exit::Meter, "no meter was found")),
    }
}

/// How long the radio is listened to: a meter that is on advertises within it, more than once.
const RADIO: Duration = Duration::from_secs(4);

/// Names what advertises. Nothing is connected to: it may be anything.
fn advertising(heard: Result<Vec<Advertiser>, RadioError>, out: &mut Out) -> Result<(), Fail> {
    match heard {
        Err(e) => say("ble", &e.to_string(), out),
        Ok(heard) => heard.iter().try_for_each(|one| {
            let place = format!("ble:{}", one.address);
            let name = one.name.as_deref().unwrap_or("something without a name");
            let words = format!(
                "{name} advertises, {} dBm; if it is the meter, watch it with --meter {place}",
                one.rssi
            );
            say(&place, &words, out)
        }),
    }
}

fn say(port: &str, words: &str, out: &mut Out) -> Result<(), Fail> {
    if out.json() {
        out.json_line(&json!({"port": port, "words": words}))?;
        out.finish()
    } else {
        eprintln!("{port}: {words}");
        Ok(())
    }
}
