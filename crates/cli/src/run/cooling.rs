//! Cold references from the command line, and what is told of a compressor that cools.

use ohmtrail_core::cooldown::COVERAGE;
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{PlateEntry, Stamp};
use ohmtrail_visit::{COLD_KEY, Cold, Cooling, Input};
use serde_json::{Value, json};

use super::desk::Desk;
use crate::fail::Fail;

/// What windings had when they were cold.
#[derive(Debug, clap::Args)]
pub struct ColdArgs {
    /// Start to run of a motor when it was cold, and where that comes from, such as
    /// "compressor.S-R=2.90Ohm@25Cel+-0.05 last year's visit" (docs/cooldown.md); may be given again
    #[arg(long, value_name = "PART.S-R=OHMS@CELSIUS[+-U] [FROM]")]
    cold: Vec<String>,
}

impl ColdArgs {
    /// Tells the visit of them.
    pub fn say(&self, desk: &mut Desk<'_>, at: Stamp) -> Result<(), Fail> {
        for text in &self.cold {
            let entry = plate(text).map_err(|e| Fail::input(format!("--cold {text}: {e}")))?;
            desk.say(Input::Plate(entry), at)?;
        }
        Ok(())
    }
}

/// `compressor.S-R=2.90Ohm@25Cel+-0.05 from where` as the plate entry that keeps it.
pub fn plate(text: &str) -> Result<PlateEntry, String> {
    let (point, value) = text
        .split_once('=')
        .ok_or("write it as PART.S-R=OHMS@CELSIUS+-U")?;
    let part = ["S-R", "R-S"]
        .iter()
        .find_map(|pair| point.trim().strip_suffix(pair)?.strip_suffix('.'))
        .ok_or("only start to run can be read behind an open overload: PART.S-R")?;
    Cold::read(value)?;
    Ok(PlateEntry {
        part: part.to_owned(),
        key: COLD_KEY.to_owned(),
        value: value.trim().to_owned(),
        unit: String::new(),
    })
}

/// What is told of it, as a line of the dialogue.
pub fn line(cooling: &Cooling) -> Value {
    let outlook = &cooling.outlook;
    let round = |x: f64, digits: i32| {
        let scale = 10f64.powi(digits);
        (x * scale).round() / scale
    };
    let minutes = |at: Option<Micros>| at.map(|at| round(cooling.minutes_to(at), 1));
    json!({ "cooldown": {
        "part": cooling.part,
        "unread": cooling.unread,
        "advice": outlook.advice,
        "words": cooling.words(),
        "missing": outlook.missing.words().collect::<Vec<_>>(),
        "readings": cooling.readings.len(),
        "winding": outlook.winding.map(|w| json!({
            "celsius": round(w.value.get(), 1), "uncertainty": round(w.u, 1) })),
        "kelvins_per_ohm": outlook.kelvins_per_ohm.map(|k| round(k, 2)),
        "minutes": outlook.window.map(|w| json!({
            "early": minutes(w.early), "middle": minutes(w.middle), "late": minutes(w.late),
            "coverage": COVERAGE })),
        "time_constant": outlook.tau.map(|tau| json!({
            "minutes": round(tau.mean / 60.0, 1), "uncertainty": round(tau.sd / 60.0, 1) })),
        "still_open": outlook.still_open.map(|p| round(p, 6)),
        "at_ambient": outlook.at_ambient,
        "assumed": outlook.assumed,
    } })
}

/// What is told of it at a terminal.
pub fn words(cooling: &Cooling) -> String {
    format!("{}: {}", cooling.part, cooling.words())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cold_reference_is_kept_as_it_was_given() {
        let entry = plate("compressor.S-R=2.90Ohm@25Cel+-0.05 the visit of May").expect("right");
        assert_eq!(
            (entry.part.as_str(), entry.key.as_str()),
            ("compressor", COLD_KEY)
        );
        assert_eq!(entry.value, "2.90Ohm@25Cel+-0.05 the visit of May");
        for bad in [
            "compressor=2.9Ohm@25Cel",
            "compressor.C-R=2.9Ohm@25Cel",
            "compressor.S-R=2.9Ohm",
            "x",
        ] {
            assert!(plate(bad).is_err(), "{bad}");
        }
    }
}
