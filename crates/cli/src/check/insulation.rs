//! Checks of insulation to ground.

use clap::ValueEnum;
use ohmtrail_core::accuracy::{Circuit, Quantity};
use ohmtrail_core::reading::{Function, Shown};
use ohmtrail_core::rules::insulation::{
    self as rule, FORM_WOUND, HERMETIC_GROUND, Hermetic, Instrument, Insulation, LARGE_HERMETIC,
    OLD, RANDOM_WOUND, Winding, hermetic_bands,
};
use ohmtrail_core::units::{Celsius, Volts};
use ohmtrail_core::verdict::{Limit, Verdict};
use serde_json::json;

use super::Stop;
use super::answer::{Answer, Level};
use super::input::{Bench, rating};
use crate::fail::Fail;

const CAUTION: &str = "dead, locked and discharged; electronics disconnected; never on a compressor \
                       in vacuum; discharge the winding afterwards";

/// `check hermetic`.
#[derive(Debug, clap::Args)]
pub struct HermeticArgs {
    /// The resistance of one pin to the shell, such as 550MOhm, or OL
    ohms: String,
    /// Read with an ohmmeter: it finds a dead ground and misses a weak one
    #[arg(long)]
    ohmmeter: bool,
}

impl HermeticArgs {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let (function, instrument) = if self.ohmmeter {
            (Function::Ohms, Instrument::Ohmmeter)
        } else {
            (Function::Megohms, Instrument::InsulationTester)
        };
        let reading = bench.reading("ohms", &self.ohms, function)?;
        if reading.shown == Shown::Overload {
            return Ok(over(bench, &reading, self.ohmmeter));
        }
        let ohms = Quantity::read(&reading, function, Circuit::Dead, bench.table())
            .map_err(|why| Stop::Void("ohms", why))?;
        let v = rule::hermetic(ohms, instrument)?;
        let (level, words) = asks(v.asks_for);
        Ok(Answer::new(words)
            .verdict("ground", "Ohm", v.ground)
            .found(
                "asks-for",
                word(v.asks_for),
                "what the reading asks for",
                level,
                None,
                json!(v.asks_for),
            )
            .caution(CAUTION))
    }
}

/// The display is over its range.
fn over(bench: &Bench, reading: &ohmtrail_core::reading::Reading, ohmmeter: bool) -> Answer {
    let asks_for = if ohmmeter {
        Hermetic::NotProved
    } else {
        Hermetic::Good
    };
    let (level, words) = asks(asks_for);
    let answer = Answer::new(words).found(
        "asks-for",
        word(asks_for),
        "what the reading asks for",
        level,
        None,
        json!(asks_for),
    );
    let answer = if ohmmeter {
        answer
    } else {
        let verdict = Verdict::read(
            reading,
            reading.function,
            Circuit::Dead,
            bench.table(),
            HERMETIC_GROUND.limit(),
            &hermetic_bands(),
        );
        answer.verdict("ground", "Ohm", verdict)
    };
    answer.caution(CAUTION)
}

fn asks(asks_for: Hermetic) -> (Level, &'static str) {
    match asks_for {
        Hermetic::GroundFault => (
            Level::Fails,
            "A ground fault, surely under 2 MOhm: do not energise it.",
        ),
        Hermetic::HeatAndRepeat => (
            Level::Check,
            "Not surely a ground fault and not over 20 MOhm: heat the crankcase and repeat; do not energise before.",
        ),
        Hermetic::Poor => (Level::Check, "Poor: dry the system and change the oil."),
        Hermetic::Watch => (Level::Check, "Moisture: watch the trend."),
        Hermetic::Good => (Level::Good, "Over every limit of insulation to the shell."),
        Hermetic::NotProved => (
            Level::Open,
            "An ohmmeter finds no ground, which proves nothing: use an insulation tester.",
        ),
    }
}

fn word(asks_for: Hermetic) -> String {
    json!(asks_for)
        .as_str()
        .unwrap_or_default()
        .replace('-', " ")
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum WindingArg {
    /// Random-wound stator, or form-wound under 1 kV
    RandomWound,
    /// Form-wound, after about 1970
    FormWound,
    /// Before about 1970; needs --rated
    Old,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum InsulationArg {
    /// Halves for every 10 K
    Thermoplastic,
    /// Two exponentials that meet at 40 Cel; from memory, so it never condemns
    Thermosetting,
}

/// `check open-motor`.
#[derive(Debug, clap::Args)]
pub struct OpenMotor {
    /// Winding to frame after one minute, such as 120MOhm
    ohms: String,
    /// Temperature of the winding, such as 25Cel
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true)]
    at: String,
    /// How it is wound
    #[arg(long, value_enum, default_value = "random-wound")]
    winding: WindingArg,
    /// Rated volts, for an old winding
    #[arg(long, value_name = "VOLTS", required_if_eq("winding", "old"))]
    rated: Option<String>,
    /// What the insulation is
    #[arg(long, value_enum)]
    insulation: InsulationArg,
}

impl OpenMotor {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let reading = bench.reading("ohms", &self.ohms, Function::Megohms)?;
        let at: Quantity<Celsius> = bench.read("at", &self.at, Function::Celsius)?;
        let winding = match (self.winding, &self.rated) {
            (WindingArg::RandomWound, _) => Winding::RandomWound,
            (WindingArg::FormWound, _) => Winding::FormWound,
            (WindingArg::Old, Some(rated)) => {
                Winding::Old(Volts(rating("rated", rated, Function::VoltsAc)?))
            }
            (WindingArg::Old, None) => {
                return Err(Fail::usage("--winding old needs --rated").into());
            }
        };
        let insulation = match self.insulation {
            InsulationArg::Thermoplastic => Insulation::Thermoplastic,
            InsulationArg::Thermosetting => Insulation::Thermosetting,
        };
        let factor = rule::to_40(at.value, insulation)?;
        let verdict = if reading.shown == Shown::Overload {
            let mut limit = match winding {
                Winding::RandomWound => RANDOM_WOUND.limit(),
                Winding::FormWound => FORM_WOUND.limit(),
                Winding::Old(volts) => {
                    let mut limit = OLD.limit();
                    // One megohm for each kilovolt.
                    limit.lower = limit.lower.map(|base| base + 1000.0 * volts.get());
                    limit
                }
            };
            // The limit as it would read at this temperature: the display's range is held to it.
            limit.lower = limit.lower.map(|ohms| ohms / factor.get());
            overloaded(bench, &reading, limit)
        } else {
            let ohms = Quantity::read(&reading, Function::Megohms, Circuit::Dead, bench.table())
                .map_err(|why| Stop::Void("ohms", why))?;
            rule::open_motor(ohms, at.value, winding, insulation)?
        };
        Ok(
            Answer::new("Insulation to the frame after one minute, corrected to 40 Cel.")
                .found(
                    "correction",
                    super::number::digits(factor.get()),
                    "factor to 40 Cel",
                    Level::Note,
                    Some(insulation.source()),
                    json!({"value": factor.get(), "unit": "1"}),
                )
                .verdict("ground", "Ohm", verdict)
                .caution(CAUTION),
        )
    }
}

fn overloaded(bench: &Bench, reading: &ohmtrail_core::reading::Reading, limit: Limit) -> Verdict {
    Verdict::read(
        reading,
        reading.function,
        Circuit::Dead,
        bench.table(),
        limit,
        &limit.bands(),
    )
}

/// `check large-hermetic`.
#[derive(Debug, clap::Args)]
pub struct LargeHermetic {
    /// The resistance after 10 s, tester of 500 V
    at_10_s: String,
    /// The resistance after 60 s
    at_60_s: String,
}

impl LargeHermetic {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let first = bench.read("at-10-s", &self.at_10_s, Function::Megohms)?;
        let second = bench.read("at-60-s", &self.at_60_s, Function::Megohms)?;
        let v = rule::large_hermetic(first, second)?;
        let (level, words) = if v.rises {
            (Level::Good, "The insulation does not fall under test.")
        } else {
            (
                Level::Check,
                "The insulation falls under test: stop, and find out why.",
            )
        };
        Ok(Answer::new(words)
            .verdict("at-10-s", "Ohm", v.at_10_s)
            .verdict("at-60-s", "Ohm", v.at_60_s)
            .found(
                "ratio",
                super::number::digits(v.ratio.get()),
                "60 s over 10 s, at least 1",
                level,
                Some(LARGE_HERMETIC.source),
                json!({"value": v.ratio.get(), "unit": "1"}),
            )
            .caution(CAUTION))
    }
}
