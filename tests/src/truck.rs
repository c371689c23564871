//! A daemon with two simulated meters on their ports, which can be killed and started again in place.

use std::time::Duration;

use ohmtrail_core::reading::Function;
use ohmtrail_meters::driver::driver;
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::sim::face::Moves;
use ohmtrail_meters::sim::meter::{SimConfig, SimMeter};
use serde_json::json;
use tempfile::TempDir;

use crate::client::Daemon;
use crate::technician::FRAMES;

fn meter(frame: &str, interval: Duration, moves: Moves) -> SimMeter {
    SimMeter::start(SimConfig {
        entry: driver(frame).expect("built in"),
        profile: Profile::simulated(frame).expect("built in"),
        seed: 7,
        interval,
        moves,
    })
    .expect("a simulated meter")
}

/// The daemon, its meters and its data.
pub struct Truck {
    /// Its data folder.
    pub data: TempDir,
    /// The meters, by the frames of [`FRAMES`].
    pub meters: Vec<SimMeter>,
    daemon: Option<Daemon>,
    address: String,
}

impl Truck {
    /// Starts all of it; a meter sends a frame in each interval.
    ///
    /// # Panics
    /// If something does not start, as everywhere here.
    #[must_use]
    pub fn new(interval: Duration) -> Self {
        let moves = Moves {
            ranging: 0,
            ..Moves::default()
        };
        Truck::moving(interval, moves)
    }

    /// The same, with these moves of the meters' displays when their probes are moved.
    ///
    /// # Panics
    /// If something does not start.
    #[must_use]
    pub fn moving(interval: Duration, moves: Moves) -> Self {
        Truck::with(FRAMES.map(|frame| meter(frame, interval, moves)).into())
    }

    /// Starts the daemon alone.
    ///
    /// # Panics
    /// If it does not start.
    #[must_use]
    pub fn without_meters() -> Self {
        Truck::with(Vec::new())
    }

    fn with(meters: Vec<SimMeter>) -> Self {
        let mut truck = Truck {
            data: tempfile::tempdir().expect("a folder"),
            meters,
            daemon: None,
            address: "127.0.0.1:0".to_owned(),
        };
        truck.start();
        truck
    }

    /// Starts the daemon where it was before.
    ///
    /// # Panics
    /// If it does not serve.
    pub fn start(&mut self) {
        let meters = self.meters.iter().zip(FRAMES).enumerate();
        let args: Vec<String> = meters
            .flat_map(|(n, (meter, frame))| {
                let place = meter.path().display();
                let spec = format!("meter-{}=serial:{place},frame={frame}", n + 1);
                ["--meter".to_owned(), spec]
            })
            .collect();
        let daemon = Daemon::start_at(&self.address, self.data.path(), &args);
        self.address = daemon.base.trim_start_matches("http://").to_owned();
        self.daemon = Some(daemon);
    }

    /// Kills the daemon, as a power cut would.
    ///
    /// # Panics
    /// If it does not run.
    pub fn kill(&mut self) {
        self.daemon.take().expect("it runs").kill();
    }

    /// The daemon.
    ///
    /// # Panics
    /// If it does not run.
    #[must_use]
    pub fn daemon(&self) -> &Daemon {
        self.daemon.as_ref().expect("it runs")
    }

    /// The probes touch nothing.
    ///
    /// # Panics
    /// If a meter cannot show that.
    pub fn air(&self) {
        for (meter, function) in self
            .meters
            .iter()
            .zip([Function::VoltsAc, Function::AmpsAc])
        {
            meter.set(function, 0.0).expect("shown");
        }
    }

    /// Volunteers a thousand values to a visit; gives how many it then has.
    ///
    /// # Panics
    /// If one is not kept.
    pub fn thousand_takes(&self, visit: &str) -> usize {
        let take = json!({
            "function": "celsius", "points": ["ambient", "ambient"], "display": "31.5", "unit": "Cel",
        });
        for _ in 0..1000 {
            let taken = self.daemon().post(&format!("{visit}/takes"), &take);
            assert_eq!(taken.status, 200, "{}", taken.text());
            // As many as one address may ask for.
            std::thread::sleep(Duration::from_millis(11));
        }
        let view = self.daemon().get(visit).good();
        view["takes"].as_array().map_or(0, Vec::len)
    }
}
