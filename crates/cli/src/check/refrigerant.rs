//! The refrigerant side: saturation, superheat, subcooling, and the target of a fixed orifice.

use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::reading::Function;
use ohmtrail_core::refrigerant::{
    self as rule, ATMOSPHERE, Metering, Point, Refrigerant, SATURATION, TARGET,
};
use ohmtrail_core::rules::RuleError;
use ohmtrail_core::units::{Celsius, Kelvins, Pascals};

use super::Stop;
use super::answer::Answer;
use super::input::{Bench, rating};
use super::number::show;
use crate::fail::Fail;

/// Whoever opens the circuit.
pub(super) const CERTIFIED: &str = "the refrigerant circuit is opened only by those who are certified for it; venting is unlawful in many places; local codes come first";
/// What the numbers do not say.
pub(super) const ALONE: &str = "one number proves no charge: airflow first, steady for a quarter of an hour, and the maker's data come first";

pub(super) fn refrigerant(text: &str) -> Result<Refrigerant, String> {
    Refrigerant::by_name(text).ok_or_else(|| {
        let known = Refrigerant::ALL.map(Refrigerant::name);
        format!("not known here: one of {}", known.join(", "))
    })
}

/// How high the place is.
#[derive(Debug, Clone, Copy, clap::Args)]
pub(super) struct Altitude {
    /// Metres above the sea; gauges and moist air go by it
    #[arg(
        long,
        value_name = "METRES",
        default_value_t = 0.0,
        allow_hyphen_values = true
    )]
    altitude: f64,
}

impl Altitude {
    /// The air's pressure there.
    pub(super) fn air(self) -> Result<Quantity<Pascals>, Fail> {
        rule::standard_air(self.altitude)
            .map_err(|_| Fail::input("--altitude: -500 to 11000 metres above the sea".to_owned()))
    }
}

/// A pressure as a gauge shows it, or absolute.
#[derive(Debug, clap::Args)]
struct Pressure {
    /// Which refrigerant, such as R-410A
    #[arg(long, value_name = "NAME", value_parser = refrigerant)]
    refrigerant: Refrigerant,
    /// The pressure, such as 820kPa or 8.2bar, as the gauge shows it
    #[arg(long, value_name = "PASCALS", allow_hyphen_values = true)]
    gauge: Option<String>,
    /// The absolute pressure, in place of what a gauge shows
    #[arg(
        long,
        value_name = "PASCALS",
        conflicts_with = "gauge",
        required_unless_present = "gauge"
    )]
    absolute: Option<String>,
    #[command(flatten)]
    altitude: Altitude,
}

impl Pressure {
    fn read(&self, bench: &mut Bench) -> Result<Quantity<Pascals>, Stop> {
        match (&self.gauge, &self.absolute) {
            (Some(text), _) => {
                let gauge = bench.read("gauge", text, Function::Pascals)?;
                Ok(rule::absolute(gauge, self.altitude.air()?)?)
            }
            (None, Some(text)) => bench.read("absolute", text, Function::Pascals),
            (None, None) => Err(Fail::usage("give --gauge or --absolute").into()),
        }
    }

    /// What is to be said besides.
    fn ends(&self, answer: Answer, absolute: Quantity<Pascals>) -> Answer {
        let class = self.refrigerant.safety_class();
        let answer = if self.gauge.is_some() {
            let (value, u) = (absolute.value.get(), absolute.u);
            answer.number(
                "absolute",
                "with the air at that altitude",
                value,
                u,
                "Pa",
                ATMOSPHERE,
            )
        } else {
            answer
        };
        answer.caution(CERTIFIED).caution(class.words())
    }
}

/// `check saturation`.
#[derive(Debug, clap::Args)]
pub struct Saturation {
    #[command(flatten)]
    pressure: Pressure,
}

impl Saturation {
    /// Computes; nothing is judged.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let p = self.pressure.read(bench)?;
        let name = self.pressure.refrigerant;
        let bubble = rule::temperature(name, Point::Bubble, p)?;
        let dew = rule::temperature(name, Point::Dew, p)?;
        let answer = Answer::new(format!(
            "{} at {} absolute begins to boil at {} and has all boiled at {}.",
            name.name(),
            show(p.value.get(), "Pa"),
            show(bubble.value.get(), "Cel"),
            show(dew.value.get(), "Cel")
        ))
        .number(
            "bubble",
            "where it begins to boil",
            bubble.value.get(),
            bubble.u,
            "Cel",
            SATURATION,
        )
        .number(
            "dew",
            "where it has all boiled",
            dew.value.get(),
            dew.u,
            "Cel",
            SATURATION,
        );
        Ok(self.pressure.ends(answer, p))
    }
}

/// `check superheat` and `check subcooling`.
#[derive(Debug, clap::Args)]
pub struct Line {
    #[command(flatten)]
    pressure: Pressure,
    /// The line's temperature, such as 12.3Cel
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true)]
    line: String,
}

type Computed = Result<Quantity<Kelvins>, RuleError>;

/// What a line is held against.
struct Side {
    name: &'static str,
    line: &'static str,
    /// How far a quantity of kelvins is from what, when it is over zero.
    far: &'static str,
    /// When it is not.
    wrong: &'static str,
    compute: fn(Refrigerant, Quantity<Pascals>, Quantity<Celsius>) -> Computed,
}

impl Line {
    /// Superheat: computed; nothing is judged.
    pub fn superheat(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let side = Side {
            name: "superheat",
            line: "suction",
            far: "above the dew point",
            wrong: "The suction line is below the dew point.",
            compute: rule::superheat,
        };
        let (answer, superheat) = self.judge(bench, &side)?;
        Ok(match rule::liquid_in_suction(superheat) {
            Some(liquid) => answer.caution(liquid.words()),
            None => answer,
        })
    }

    /// Subcooling: computed; nothing is judged.
    pub fn subcooling(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let side = Side {
            name: "subcooling",
            line: "liquid",
            far: "below the bubble point",
            wrong: "The liquid line is above the bubble point: vapour is in it, or a value is wrong.",
            compute: rule::subcooling,
        };
        Ok(self.judge(bench, &side)?.0)
    }

    fn judge(&self, bench: &mut Bench, side: &Side) -> Result<(Answer, Quantity<Kelvins>), Stop> {
        let p = self.pressure.read(bench)?;
        let line: Quantity<Celsius> = bench.read("line", &self.line, Function::Celsius)?;
        let found = (side.compute)(self.pressure.refrigerant, p, line)?;
        let (value, u) = (found.value.get(), found.u);
        // Within its expanded uncertainty of zero it says neither.
        let words = if value < -2.0 * u {
            side.wrong.to_owned()
        } else {
            format!(
                "The {} line is {} {}.",
                side.line,
                show(value, "K"),
                side.far
            )
        };
        let answer = Answer::new(words).number(side.name, side.far, value, u, "K", SATURATION);
        Ok((self.pressure.ends(answer.caution(ALONE), p), found))
    }
}

/// `check target-superheat`.
#[derive(Debug, clap::Args)]
pub struct Target {
    /// Wet bulb of the return air, such as 19.4Cel
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true)]
    wet_bulb: String,
    /// Dry bulb outdoors, such as 35.0Cel
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true)]
    outdoor: String,
    #[command(flatten)]
    altitude: Altitude,
}

impl Target {
    /// Computes; nothing is judged.
    pub fn judge(&self, _: &mut Bench) -> Result<Answer, Stop> {
        let celsius = |name, text| rating(name, text, Function::Celsius).map(Celsius);
        let wet = celsius("wet-bulb", &self.wet_bulb)?;
        let outdoor = celsius("outdoor", &self.outdoor)?;
        let air = self.altitude.air()?.value;
        let target = rule::provable(outdoor, wet, Metering::FixedOrifice)
            .and_then(|()| rule::target_superheat(wet, outdoor, air));
        let answer = match target {
            Ok(target) => Answer::new(format!(
                "A fixed orifice is charged to a superheat of {} in this weather, near the sea.",
                show(target.get(), "K")
            ))
            .number(
                "target",
                "superheat of a fixed orifice",
                target.get(),
                0.0,
                "K",
                TARGET,
            ),
            Err(why) => Answer::void(why.words().to_owned()),
        };
        Ok(answer.caution(ALONE).caution(CERTIFIED))
    }
}
