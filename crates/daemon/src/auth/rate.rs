//! How often one address may ask: a bucket of tokens for each, of which every request takes one
//! and which refills steadily. The clock is an argument, and memory is bounded.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};
use std::time::Duration;

/// The most addresses that are told apart.
const MOST: usize = 1024;

/// The buckets.
#[derive(Debug)]
pub struct Rate {
    per_second: f64,
    burst: f64,
    buckets: HashMap<IpAddr, Bucket>,
}

#[derive(Debug, Clone, Copy)]
struct Bucket {
    tokens: f64,
    at: Duration,
}

impl Rate {
    /// So many requests a second, and so many at once.
    #[must_use]
    pub fn new(per_second: u32, burst: u32) -> Self {
        Rate {
            per_second: f64::from(per_second.max(1)),
            burst: f64::from(burst.max(1)),
            buckets: HashMap::new(),
        }
    }

    /// Takes a token of that address.
    ///
    /// # Errors
    /// How long to wait until there is one.
    pub fn take(&mut self, from: IpAddr, now: Duration) -> Result<(), Duration> {
        let from = whole_network(from);
        if !self.buckets.contains_key(&from) && self.buckets.len() >= MOST {
            self.forget(now);
        }
        let full = Bucket {
            tokens: self.burst,
            at: now,
        };
        let bucket = self.buckets.entry(from).or_insert(full);
        bucket.tokens = refilled(bucket, now, self.per_second, self.burst);
        bucket.at = now;
        if bucket.tokens < 1.0 {
            return Err(Duration::from_secs_f64(
                (1.0 - bucket.tokens) / self.per_second,
            ));
        }
        bucket.tokens -= 1.0;
        Ok(())
    }

    /// Forgets the fuller half: they lose the least by it.
    fn forget(&mut self, now: Duration) {
        let fill = |b: &Bucket| refilled(b, now, self.per_second, self.burst);
        let mut fills: Vec<f64> = self.buckets.values().map(fill).collect();
        fills.sort_by(f64::total_cmp);
        let middle = fills.get(fills.len() / 2).copied().unwrap_or(0.0);
        let (per_second, burst) = (self.per_second, self.burst);
        self.buckets
            .retain(|_, b| refilled(b, now, per_second, burst) < middle);
    }
}

fn refilled(bucket: &Bucket, now: Duration, per_second: f64, burst: f64) -> f64 {
    let since = now.saturating_sub(bucket.at).as_secs_f64();
    (bucket.tokens + since * per_second).min(burst)
}

/// One host may use any address of its /64 (RFC 4291, section 2.5.1), so that counts as one.
fn whole_network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(v6) => {
            let [a, b, c, d, ..] = v6.segments();
            IpAddr::V6(Ipv6Addr::new(a, b, c, d, 0, 0, 0, 0))
        }
        v4 => v4,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::LOCALHOST);

    fn ms(ms: u64) -> Duration {
        Duration::from_millis(ms)
    }

    #[test]
    fn a_burst_passes_and_then_the_steady_rate() {
        let mut rate = Rate::new(10, 3);
        for _ in 0..3 {
            rate.take(HERE, ms(0)).expect("the burst");
        }
        let wait = rate.take(HERE, ms(0)).expect_err("no more");
        assert_eq!(wait, ms(100));
        assert!(rate.take(HERE, ms(99)).is_err());
        rate.take(HERE, ms(101)).expect("refilled");
        assert!(rate.take(HERE, ms(102)).is_err());
        // Never more than the burst, however long nobody asked.
        for _ in 0..3 {
            rate.take(HERE, ms(60_000)).expect("the burst");
        }
        assert!(rate.take(HERE, ms(60_000)).is_err());
    }

    #[test]
    fn addresses_do_not_cost_each_other_and_a_network_is_one() {
        let mut rate = Rate::new(1, 1);
        let v6 = |text: &str| -> IpAddr { text.parse().expect("an address") };
        rate.take(v6("2001:db8::1"), ms(0)).expect("first");
        assert!(
            rate.take(v6("2001:db8::ffff:2"), ms(0)).is_err(),
            "the same /64"
        );
        rate.take(v6("2001:db8:0:1::1"), ms(0)).expect("another");
        rate.take(HERE, ms(0)).expect("another");
        assert!(
            rate.take(v6("::ffff:127.0.0.1"), ms(0)).is_err(),
            "the same, mapped"
        );
    }

    #[test]
    fn memory_is_bounded_and_the_busy_are_remembered() {
        let mut rate = Rate::new(1, 4);
        for _ in 0..4 {
            rate.take(HERE, ms(0)).expect("the burst");
        }
        for i in 0..100_000_u32 {
            let _ = rate.take(IpAddr::V4(i.into()), ms(1));
            assert!(rate.buckets.len() <= MOST);
        }
        assert!(rate.take(HERE, ms(2)).is_err(), "still counted");
    }
}
