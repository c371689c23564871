//! Readings or bytes that were kept, as a session: with the pauses they had, or as fast as they are
//! taken.

use std::time::Duration;

use ohmtrail_core::reading::Reading;
use ohmtrail_core::units::Micros;

use crate::driver::{Driver, Outcome};
use crate::session::{Feed, Gone, Piece, Session, SessionEvent};

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

/// A session of kept bytes, put through a driver again at the times at which they came. What was
/// sent to the meter is what the driver asks; where it asks something else, as after a line that
/// was opened anew, it is started again. To be called within a tokio runtime with time enabled.
pub fn bytes(
    pieces: Vec<Piece>,
    start: impl Fn() -> Box<dyn Driver> + Send + Sync + 'static,
    pace: Pace,
) -> Session {
    Session::spawn(move |feed| async move {
        let mut last = None;
        let mut driver = start();
        let mut up = false;
        for piece in pieces {
            if let (Some(before), Pace::Original) = (last, pace) {
                tokio::time::sleep(Duration::from_micros(piece.at.since(before))).await;
            }
            last = Some(piece.at);
            if again(&piece, &mut driver, &start, &mut up, &feed)
                .await
                .is_none()
            {
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

/// Puts one piece through the driver; none if nobody receives any more.
async fn again(
    piece: &Piece,
    driver: &mut Box<dyn Driver>,
    start: &impl Fn() -> Box<dyn Driver>,
    up: &mut bool,
    feed: &Feed,
) -> Option<()> {
    let at = piece.at;
    if piece.sent {
        // What the driver did of itself before this, at the times when it wanted to.
        let mut asked = None;
        while asked.is_none()
            && let Some(wake) = driver.wake().filter(|wake| *wake <= at)
        {
            asked = driver.poll(wake).map(<[u8]>::to_vec);
            if asked.is_none() && driver.wake() == Some(wake) {
                break;
            }
        }
        if asked.as_deref() != Some(&piece.bytes) {
            *driver = start();
            driver.poll(at);
        }
    } else {
        let mut rest = piece.bytes.as_slice();
        feed.count(|tally| tally.bytes += rest.len() as u64);
        loop {
            let pushed = driver.push(rest, at);
            rest = pushed.rest;
            feed.count(|tally| {
                tally.used += pushed.used as u64;
                tally.skipped += pushed.skipped as u64;
            });
            let open = match pushed.outcome {
                Outcome::Hungry => break,
                Outcome::Got(reading) => {
                    let first = SessionEvent::Up { at, gap_us: 0 };
                    (std::mem::replace(up, true) || feed.send(first).await)
                        && feed.reading(reading).await
                }
                Outcome::Rejected(reason) => {
                    feed.count(|tally| tally.reject(reason));
                    feed.send(SessionEvent::Rejected { at, reason }).await
                }
            };
            if !open {
                return None;
            }
        }
    }
    while let Some(told) = driver.told() {
        if !feed.send(SessionEvent::Told { at, told }).await {
            return None;
        }
    }
    Some(())
}
