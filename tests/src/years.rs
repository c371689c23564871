//! Invented visits over the years, for what looks at many of them. Nothing in them was measured: every
//! one says that it is simulated.

use std::sync::LazyLock;

use ohmtrail_circuit::sheet::read_builtin;
use ohmtrail_core::class::{Class, Likely};
use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{
    Act, Acted, Asked, Conclusion, Decision, Entry, Event, Finding, Fitted, GateEvent, Judged,
    LeftState, MeterJoined, Opened, Outcome, Part, PlateEntry, Power, Proved, RepairEnd, Request,
    Role, Stamp, Streamed, Suspect, Take, UnitState,
};

/// 2016-03-01T08:00:00Z, microseconds since 1970.
pub const FIRST_DAY_US: i64 = 1_456_819_200_000_000;
/// Microseconds of a day.
pub const DAY_US: i64 = 86_400_000_000;

/// A visit that is written down event by event.
#[derive(Debug, Clone)]
pub struct Written {
    /// What happened.
    pub entries: Vec<Entry>,
    at: Stamp,
    takes: u32,
}

/// Where the ambient air is measured.
const AMBIENT: &str = "ambient";

impl Written {
    /// A simulated visit of this unit with a built-in sheet, opened then.
    #[must_use]
    pub fn new(unit: &str, sheet: &str, opened_us: i64) -> Written {
        let opened = Opened {
            tool: "ohmtrail (invented)".to_owned(),
            work_order: format!("WO-{} (invented)", opened_us / DAY_US),
            technician: "A. Invented".to_owned(),
            unit: unit.to_owned(),
            sheet: sheet.to_owned(),
            sheet_hash: hash_of(sheet),
            previous: None,
            simulated: true,
        };
        Written::of(opened, opened_us)
    }

    /// A visit that begins so.
    #[must_use]
    pub fn of(opened: Opened, opened_us: i64) -> Written {
        let mut written = Written {
            entries: Vec::new(),
            at: Stamp {
                steady: Micros(5_000_000),
                wall_us: opened_us,
            },
            takes: 0,
        };
        written.say(Event::Opened(opened));
        written.say(Event::MeterJoined(MeterJoined {
            meter: MeterId(1),
            driver: "keyed".to_owned(),
            place: "keyed".to_owned(),
            profile: "an invented meter".to_owned(),
            accuracy_assumed: false,
        }));
        written
    }

    /// An event, a second later.
    pub fn say(&mut self, event: Event) -> &mut Self {
        self.wait(1);
        let at = self.at;
        self.entries.push(Entry { at, event });
        self
    }

    /// Time passes: seconds.
    pub fn wait(&mut self, seconds: u32) -> &mut Self {
        self.at.steady = Micros(self.at.steady.0 + u64::from(seconds) * 1_000_000);
        self.at.wall_us += i64::from(seconds) * 1_000_000;
        self
    }

    /// The technician does something.
    pub fn act(&mut self, act: Act) -> &mut Self {
        self.say(Event::Acted(Acted { ask: None, act }))
    }

    /// A take with the unit off, nothing lifted, its motors cold.
    pub fn dead(
        &mut self,
        function: Function,
        points: [&str; 2],
        value: f64,
        u: f64,
        limits: Option<(f64, f64)>,
    ) -> &mut Self {
        self.take(function, points, Power::Off, value, u, limits)
    }

    /// A take.
    pub fn take(
        &mut self,
        function: Function,
        points: [&str; 2],
        power: Power,
        value: f64,
        u: f64,
        limits: Option<(f64, f64)>,
    ) -> &mut Self {
        self.takes += 1;
        // As the core and the visit name them.
        let source = match function {
            Function::Farads => "marking on the capacitor",
            _ => "what healthy units of this sheet show",
        };
        let verdict = limits.map(|(lower, upper)| {
            let class = match value {
                v if v < lower => Class::Low,
                v if v > upper => Class::High,
                v if v.is_nan() => Class::Open,
                _ => Class::Within,
            };
            Judged {
                class,
                likely: Likely::certain(class),
                lower: Some(lower),
                upper: Some(upper),
                too_close: false,
                source: source.to_owned(),
                status: "invented".to_owned(),
                words: class.word().to_owned(),
            }
        });
        self.say(Event::Took(Take {
            take: self.takes,
            ask: None,
            meter: MeterId(1),
            function,
            points: points.map(str::to_owned),
            state: UnitState {
                power,
                lifted: Vec::new(),
                cooled: power == Power::Off,
            },
            shown: Shown::Value(Decimal {
                mantissa: 1,
                exponent: 0,
            }),
            flags: Flags::default(),
            value,
            uncertainty: u,
            leads: 0.0,
            verdict,
        }))
    }

    /// The air around the unit, °C.
    pub fn air(&mut self, celsius: f64) -> &mut Self {
        self.dead(Function::Celsius, [AMBIENT, AMBIENT], celsius, 0.3, None)
    }

    /// What was found: these faults, or nothing wrong.
    pub fn found(&mut self, faults: &[&str]) -> &mut Self {
        let roles = faults.iter().map(|fault| Role {
            what: (*fault).to_owned(),
            part: Part::RootCause,
            by: Vec::new(),
        });
        self.say(Event::Concluded(Conclusion {
            outcome: if faults.is_empty() {
                Outcome::NoFault
            } else {
                Outcome::Faults
            },
            p: 0.99,
            roles: roles.collect(),
            why: "invented".to_owned(),
        }));
        self.say(Event::Found(Finding {
            faults: faults.iter().map(|f| (*f).to_owned()).collect(),
            alike: Vec::new(),
            p: 0.99,
            consequences: Vec::new(),
            evidence: vec![1],
            ruled_out: Vec::new(),
            unproven: Vec::new(),
        }))
    }

    /// The quote was approved, or declined.
    pub fn decided(&mut self, approved: bool) -> &mut Self {
        self.say(Event::Decided(Decision {
            quote: 1,
            option: approved.then(|| "repair".to_owned()),
            by: "an invented owner".to_owned(),
            means: "telephone".to_owned(),
            paper: [9; 32],
        }))
    }

    /// A part was fitted.
    pub fn fitted(&mut self, part: &str) -> &mut Self {
        self.say(Event::Fitted(Fitted {
            part: part.to_owned(),
            stamp: Vec::new(),
            matches: Some(true),
            words: "the same by every rule".to_owned(),
        }))
    }

    /// A repair came out so.
    pub fn repaired(&mut self, proved: Proved, why: &str) -> &mut Self {
        self.say(Event::RepairEnded(RepairEnd {
            proved,
            why: vec![why.to_owned()],
            proofs: Vec::new(),
        }))
    }

    /// The visit ends.
    pub fn close(&mut self) -> &mut Self {
        self.say(Event::Closed)
    }

    /// The bytes of its trail.
    ///
    /// # Panics
    /// If an entry cannot be encoded.
    #[must_use]
    pub fn bytes(&self) -> Vec<u8> {
        ohmtrail_trail::bytes_of(&self.entries).expect("invented entries are encoded")
    }
}

/// The sheet of the units of [`visit`].
pub const SHEET: &str = "split-heat-pump-1ph";
/// How many visits [`visit`] makes of each unit, a little more than half a year apart.
pub const VISITS_OF_A_UNIT: u32 = 12;

/// The hash of a built-in sheet; of another one, some hash.
fn hash_of(sheet: &str) -> [u8; 32] {
    static USUAL: LazyLock<[u8; 32]> = LazyLock::new(|| read_hash(SHEET));
    if sheet == SHEET {
        *USUAL
    } else {
        read_hash(sheet)
    }
}

fn read_hash(sheet: &str) -> [u8; 32] {
    match read_builtin(sheet) {
        Some(Ok(sheet)) => sheet.hash,
        _ => [7; 32],
    }
}

/// The name of an invented unit.
#[must_use]
pub fn unit(number: u32) -> String {
    format!("invented-{number:05}")
}

/// The `nth` visit of an invented unit: some sixty events. Its capacitor ages, and fails in some units;
/// everything follows from the two numbers.
#[must_use]
pub fn visit(number: u32, nth: u32) -> Written {
    let mut draw = Draw(u64::from(number) << 32 | u64::from(nth) | 1);
    let at = FIRST_DAY_US
        + i64::from(nth) * 197 * DAY_US
        + i64::from(number % 180) * DAY_US
        + i64::from(number % 500) * 61_000_000;
    let years = f64::from(nth) * 197.0 / 365.25;
    let mut visit = Written::new(&unit(number), SHEET, at);
    let plate = |part: &str, key: &str, value: &str| {
        Event::Plate(PlateEntry {
            part: part.to_owned(),
            key: key.to_owned(),
            value: value.to_owned(),
            unit: "uF".to_owned(),
        })
    };
    visit
        .say(plate("run-cap", "capacitance-herm", "35"))
        .say(plate("run-cap", "capacitance-fan", "5"))
        .say(Event::Complaint {
            what: ["nothing-runs", "no-cooling", "trips-the-breaker"][(number % 3) as usize]
                .to_owned(),
            words: "invented words of a customer".to_owned(),
        });
    for ask in 1..=8 {
        visit.say(Event::Asked(Asked {
            ask,
            request: Request::Look {
                what: "contactor.pulled-in".to_owned(),
            },
            why: "it tells most".to_owned(),
            minutes: 1.0,
        }));
        visit.say(Event::Looked {
            ask: Some(ask),
            what: "contactor.pulled-in".to_owned(),
            answer: ask % 2 == 0,
        });
        let readings = (0..8_u32).map(|n| Streamed {
            at: Micros(u64::from(n) * 250_000),
            function: Function::VoltsAc,
            shown: Shown::Value(Decimal {
                mantissa: 2384,
                exponent: -1,
            }),
            flags: Flags::default(),
        });
        visit.say(Event::Readings {
            meter: MeterId(1),
            readings: readings.collect(),
        });
        visit.say(Event::Suspects {
            ranked: vec![Suspect {
                faults: vec!["run-cap.herm-open".to_owned()],
                p: 0.4,
            }],
        });
    }
    let amps = 4.6 + 0.2 * draw.normal();
    visit.take(
        Function::AmpsAc,
        ["comp-start.1", "comp-start.2"],
        Power::On,
        amps,
        0.1,
        Some((3.39, 6.1)),
    );
    visit.act(Act::OpenBreaker).act(Act::LockAndTag);
    for gate in ["proved-dead", "discharged"] {
        visit.say(Event::Gate(GateEvent {
            gate: gate.to_owned(),
            open: true,
            points: vec!["contactor.L1".to_owned(), "contactor.L2".to_owned()],
            why: "invented".to_owned(),
        }));
    }
    let air = 20.0 + 8.0 * draw.normal();
    visit.wait(6 * 3600).act(Act::WaitCool).air(air);
    let ageing = 0.1 + 0.5 * f64::from(number % 10) / 10.0;
    let herm = (35.6 - ageing * years + 0.05 * draw.normal()) * 1e-6;
    let fan = (5.05 - 0.02 * years + 0.01 * draw.normal()) * 1e-6;
    let winding = 0.87 * (234.5 + air) / (234.5 + 25.0) + 0.003 * draw.normal();
    let insulation = 10f64.powf(8.6 - 0.05 * years + 0.05 * draw.normal());
    visit
        .dead(
            Function::Farads,
            ["run-cap.C", "run-cap.HERM"],
            herm,
            0.08e-6,
            Some((32.9e-6, 37.1e-6)),
        )
        .dead(
            Function::Farads,
            ["run-cap.C", "run-cap.FAN"],
            fan,
            0.02e-6,
            Some((4.7e-6, 5.3e-6)),
        )
        .dead(
            Function::Ohms,
            ["compressor.C", "compressor.R"],
            winding,
            0.004,
            Some((0.7, 1.1)),
        )
        .dead(
            Function::Megohms,
            ["compressor.C", "compressor.shell"],
            insulation,
            insulation * 0.17,
            Some((20e6, 1e12)),
        );
    let fault = match draw.unit() {
        x if x < 0.10 => Some("run-cap.herm-open"),
        x if x < 0.16 => Some("run-cap.fan-open"),
        x if x < 0.20 => Some("contactor.coil-open"),
        x if x < 0.22 => Some("fan-motor.run-open"),
        _ => None,
    };
    match fault {
        Some(fault) => {
            let decided = draw.unit();
            visit.found(&[fault]).decided(decided < 0.8);
            if decided < 0.6 {
                visit.fitted(fault.split('.').next().unwrap_or_default());
            }
            &mut visit
        }
        None => visit.found(&[]),
    };
    visit.say(Event::Left(LeftState {
        power: if fault.is_some() {
            Power::Off
        } else {
            Power::On
        },
        locked: fault.is_some(),
        lifted: Vec::new(),
        why: "invented".to_owned(),
    }));
    visit.close();
    visit
}

/// Draws that follow from their seed (splitmix64, S. Vigna's public-domain constants).
struct Draw(u64);

impl Draw {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Standard normal, by Box and Muller.
    fn normal(&mut self) -> f64 {
        let (a, b) = (1.0 - self.unit(), self.unit());
        (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
}
