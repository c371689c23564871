//! What is counted, for whoever watches over the daemon: the OpenMetrics text of `/metrics`.

use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::encoding::text::encode;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::{Histogram, exponential_buckets};
use prometheus_client::registry::{Registry, Unit};

/// A meter by its name.
#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
pub struct Name {
    meter: String,
}

impl Name {
    /// The meter of that name.
    #[must_use]
    pub fn meter(name: &str) -> Self {
        Name {
            meter: name.to_owned(),
        }
    }
}

/// A kind of request, by its route, and how it was answered.
#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
pub struct Asked {
    /// The method.
    pub method: String,
    /// The route as the API's document has it.
    pub route: String,
    /// The status.
    pub status: u16,
}

/// The counters.
#[derive(Debug)]
pub struct Metrics {
    registry: Registry,
    /// Readings of each meter.
    pub readings: Family<Name, Counter>,
    /// Frames that were refused.
    pub refused: Family<Name, Counter>,
    /// Gaps in a meter's readings.
    pub gaps: Family<Name, Counter>,
    /// Times that a meter's driver or task was started again.
    pub restarts: Family<Name, Counter>,
    /// One while a meter's readings come.
    pub up: Family<Name, Gauge>,
    /// Visits that are open.
    pub visits: Gauge,
    /// Times that a visit was opened anew after a failure.
    pub visit_restarts: Counter,
    /// Takes, in all visits.
    pub takes: Counter,
    /// Seconds that an input waited for the disk.
    pub kept: Histogram,
    /// Streams that are watched.
    pub streams: Gauge,
    /// Frames that slow watchers skipped.
    pub skipped: Counter,
    /// Requests.
    pub requests: Family<Asked, Counter>,
}

impl Default for Metrics {
    fn default() -> Self {
        let mut registry = Registry::with_prefix("ohmtrail");
        let metrics = Metrics {
            registry: Registry::default(),
            readings: Family::default(),
            refused: Family::default(),
            gaps: Family::default(),
            restarts: Family::default(),
            up: Family::default(),
            visits: Gauge::default(),
            visit_restarts: Counter::default(),
            takes: Counter::default(),
            kept: Histogram::new(exponential_buckets(0.000_1, 2.0, 16)),
            streams: Gauge::default(),
            skipped: Counter::default(),
            requests: Family::default(),
        };
        let m = &metrics;
        registry.register("readings", "Readings of a meter", m.readings.clone());
        registry.register(
            "refused_frames",
            "Frames of a meter that were refused",
            m.refused.clone(),
        );
        registry.register("meter_gaps", "Gaps in a meter's readings", m.gaps.clone());
        registry.register(
            "meter_restarts",
            "Times a meter's driver was started again",
            m.restarts.clone(),
        );
        registry.register(
            "meter_up",
            "One while a meter's readings come",
            m.up.clone(),
        );
        registry.register("visits_open", "Visits that are open", m.visits.clone());
        registry.register(
            "visit_restarts",
            "Times a visit was opened anew after a failure",
            m.visit_restarts.clone(),
        );
        registry.register("takes", "Takes in all visits", m.takes.clone());
        registry.register_with_unit(
            "kept",
            "Time until an input's events were on disk",
            Unit::Seconds,
            m.kept.clone(),
        );
        registry.register("streams", "Streams that are watched", m.streams.clone());
        registry.register(
            "skipped_frames",
            "Frames that slow watchers skipped",
            m.skipped.clone(),
        );
        registry.register("requests", "Requests answered", m.requests.clone());
        Metrics {
            registry,
            ..metrics
        }
    }
}

impl Metrics {
    /// The OpenMetrics text.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = String::new();
        // Writing to a string cannot fail.
        let _ = encode(&mut text, &self.registry);
        text
    }
}
