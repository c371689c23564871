//! Cold references from the command line, and what is told of a compressor that cools.

use ohmtrail_daemon::forms::Cooldown;
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
    json!({ "cooldown": Cooldown::of(cooling) })
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
