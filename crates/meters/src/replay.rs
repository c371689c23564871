//! Readings that were kept, as a session: with the pauses they had, or as fast as they are taken.

use std::time::Duration;

use ohmtrail_core::reading::Reading;
use ohmtrail_core::units::Micros;

use crate::session::{Gone, Session, SessionEvent};

/// How fast a replay runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Pace {
    /// With the pauses between the readings as they were.
    #[default]
    Original,
    /// Without pauses.
    Fast,
}

/// A session of kept readings, each with the time at which it came; the readings are passed on
/// unchanged, with their own times. A time that steps back makes no pause. To be called within a
/// tokio runtime with time enabled.
pub fn session<I>(readings: I, pace: Pace) -> Session
where
    I: IntoIterator<Item = (Micros, Reading)>,
    I::IntoIter: Send + 'static,
{
    let readings = readings.into_iter();
    Session::spawn(move |feed| async move {
        let mut last = None;
        for (at, reading) in readings {
            match last {
                None => {
                    if !feed.send(SessionEvent::Up { at, gap_us: 0 }).await {
                        return;
                    }
                }
                Some(before) if pace == Pace::Original => {
                    tokio::time::sleep(Duration::from_micros(at.since(before))).await;
                }
                Some(_) => {}
            }
            last = Some(at);
            if !feed.reading(reading).await {
                return;
            }
        }
        feed.send(SessionEvent::Gone {
            at: last.unwrap_or_default(),
            why: Gone::End,
        })
        .await;
    })
}
