//! Both clocks: the steady one orders everything and measures every wait, the wall clock only names
//! the moment. A step of the wall clock moves nothing.

use std::fmt;
use std::sync::Arc;
use std::time::{SystemTime, UNIX_EPOCH};

use ohmtrail_core::units::Micros;
use ohmtrail_meters::session::Clock;
use ohmtrail_trail::event::Stamp;

/// The wall clock, microseconds since 1970; zero before.
#[must_use]
pub fn wall_us() -> i64 {
    SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .ok()
        .and_then(|d| i64::try_from(d.as_micros()).ok())
        .unwrap_or(0)
}

/// The two clocks that everything in the daemon shares.
#[derive(Clone)]
pub struct Clocks {
    /// The steady one, from the daemon's start.
    pub steady: Clock,
    wall: Arc<dyn Fn() -> i64 + Send + Sync>,
}

impl Clocks {
    /// The system's clocks, the steady one at zero now.
    #[must_use]
    pub fn start() -> Self {
        Clocks::with_wall(wall_us)
    }

    /// With another wall clock, in microseconds since 1970.
    #[must_use]
    pub fn with_wall(wall: impl Fn() -> i64 + Send + Sync + 'static) -> Self {
        Clocks {
            steady: Clock::start(),
            wall: Arc::new(wall),
        }
    }

    /// Now, on both.
    #[must_use]
    pub fn now(&self) -> Stamp {
        Stamp {
            steady: self.steady.now(),
            wall_us: (self.wall)(),
        }
    }

    /// The wall clock's time at a moment of the steady one, by what both say now.
    #[must_use]
    pub fn wall_at(&self, moment: Micros) -> i64 {
        let now = self.now();
        let ago = i64::try_from(now.steady.since(moment)).unwrap_or(0);
        now.wall_us.saturating_sub(ago)
    }
}

impl fmt::Debug for Clocks {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Clocks").field("now", &self.now()).finish()
    }
}
