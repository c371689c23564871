//! The daemon's parts, put together without its sockets.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use ohmtrail_daemon::clock::Clocks;
use ohmtrail_daemon::index::Shop;
use ohmtrail_daemon::meters::Meters;
use ohmtrail_daemon::metrics::Metrics;
use ohmtrail_daemon::sheets::{Beforehand, Sheets};
use ohmtrail_daemon::visits::{Context, New, Visit, Visits};
use tokio::runtime::Handle;
use tokio::sync::watch;

/// Longer than anything here takes.
pub const PATIENCE: Duration = Duration::from_secs(30);

/// Meters and visits.
pub struct House {
    pub context: Arc<Context>,
    pub visits: Visits,
    stop: watch::Sender<bool>,
}

impl House {
    /// In this folder, with these clocks.
    pub fn open(folder: &Path, clocks: Clocks) -> House {
        let metrics = Arc::new(Metrics::default());
        let (stop, stopped) = watch::channel(false);
        let own_clocks = clocks.clone();
        let context = Arc::new(Context {
            meters: Arc::new(Meters::new(clocks.clone(), Arc::clone(&metrics))),
            clocks,
            sheets: Sheets::new(&folder.join("sheets"), Beforehand::default()),
            index: Shop::open(folder, own_clocks).expect("a folder"),
            metrics,
            stop: stopped,
            runtime: Handle::current(),
        });
        let visits = Visits::open_folder(&folder.join("visits"), Arc::clone(&context));
        House {
            visits: visits.expect("a folder"),
            context,
            stop,
        }
    }

    /// A new visit on an invented unit.
    pub async fn visit(&self) -> Arc<Visit> {
        let new = New {
            sheet: "control-loop-24v".to_owned(),
            unit: "an invented unit".to_owned(),
            complaint: Some(("no-pull-in".to_owned(), String::new())),
            simulated: true,
            ..New::default()
        };
        self.visits.open(new).await.expect("opened")
    }

    /// Stops it, with everything on disk.
    pub async fn stop(self) {
        self.stop.send_replace(true);
        let stopped = tokio::time::timeout(PATIENCE, self.visits.stopped());
        stopped.await.expect("it stops");
        self.context.meters.stop();
        self.context.index.stop();
    }
}
