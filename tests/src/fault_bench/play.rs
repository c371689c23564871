//! One case played to its end: the binary asks, the hands answer, the gates are watched.

use ohmtrail_circuit::bench::Bench;
use ohmtrail_circuit::meter::input_ohms;
use ohmtrail_circuit::operate::{Motion, Unit};
use ohmtrail_circuit::sheet::{Heat, Sheet};
use ohmtrail_circuit::unit::Circuit;
use ohmtrail_core::reading::{Function, Shown};
use ohmtrail_meters::profile::Profile;
use ohmtrail_spice::Ngspice;
use ohmtrail_trail::Displayed;
use serde_json::{Value, json};

use super::case::Case;
use super::dialogue::Dialogue;
use super::hands::{Agreement, Hands};
use super::safety::Safety;

/// A dialogue that asks for more than this does not end.
const MOST_ASKS: u32 = 600;

/// How often one ask is answered again after an error.
const TRIES: u32 = 3;

/// The suspects at one step.
#[derive(Debug, Clone)]
pub struct Step {
    /// The most probable fault set; empty for no fault and for none of these.
    pub faults: Vec<String>,
    /// Its probability.
    pub p: f64,
}

/// What the binary found.
#[derive(Debug, Clone, Default)]
pub struct Found {
    /// The faults named.
    pub faults: Vec<String>,
    /// Sets that it says no check tells from them.
    pub alike: Vec<Vec<String>>,
    /// Their probability.
    pub p: f64,
    /// What it says follows.
    pub consequences: Vec<String>,
}

/// How a case went.
#[derive(Debug, Clone, Default)]
pub struct Played {
    /// The finding; none if the dialogue broke off.
    pub found: Option<Found>,
    /// Why it broke off.
    pub broken: Option<String>,
    /// The suspects after every answer.
    pub steps: Vec<Step>,
    /// Minutes asked for up to the finding.
    pub minutes: f64,
    /// Asks up to the finding.
    pub asks: u32,
    /// Probes that were on a wrong point, dials on a wrong function.
    pub slips: u32,
    /// What was asked for before its gate.
    pub violations: Vec<String>,
    /// What truly followed from what was wrong: `part.blown` and the like.
    pub follows: Vec<String>,
    /// Hermetic compressors whose overload was truly open from heat.
    pub hot: Vec<String>,
    /// How the two solvers compare.
    pub agreement: Agreement,
    /// Operating points that ngspice solved.
    pub solved: u64,
    /// The dialogue, if it was wanted.
    pub transcript: Vec<String>,
}

fn strings(value: &Value) -> Vec<String> {
    let all = value.as_array().into_iter().flatten();
    all.filter_map(|v| v.as_str().map(str::to_owned)).collect()
}

fn found(value: &Value) -> Found {
    let alike = value["alike"].as_array().into_iter().flatten();
    Found {
        faults: strings(&value["faults"]),
        alike: alike.map(strings).collect(),
        p: value["p"].as_f64().unwrap_or(0.0),
        consequences: strings(&value["consequences"]),
    }
}

/// Hermetic compressors whose overload is open from heat, as the unit was found.
fn hot(unit: &Unit<'_>, sheet: &Sheet) -> Vec<String> {
    let found = unit.standing(Heat::AsFound);
    let motors = found.assembly.motors.iter().zip(&found.motion);
    motors
        .filter(|(motor, motion)| {
            sheet.parts[motor.part].kind.name.ends_with("compressor")
                && matches!(motion, Motion::Tripped | Motion::Stalled)
        })
        .map(|(motor, _)| sheet.parts[motor.part].name.clone())
        .collect()
}

/// What the two share: the played case, and whether its dialogue is kept.
struct Table<'p> {
    played: &'p mut Played,
    verbose: bool,
}

impl Table<'_> {
    fn note(&mut self, line: impl FnOnce() -> String) {
        if self.verbose {
            self.played.transcript.push(line());
        }
    }
}

/// Plays a case. With `verbose`, the whole dialogue is kept.
pub fn play(
    sheet: &Sheet,
    case: &Case,
    profile: &Profile,
    ngspice: &mut Ngspice,
    dialogue: &mut Dialogue,
    verbose: bool,
) -> Played {
    let circuit = Circuit::flawed(sheet, case.flaws.clone());
    let unit = Unit::new(&circuit, case.drawn.clone(), &case.faults);
    let mut played = Played {
        follows: unit.consequences(),
        hot: hot(&unit, sheet),
        ..Played::default()
    };
    let mut hands = Hands::new(Bench::with(unit), case, profile, ngspice);
    let mut safety = Safety::new(sheet);
    let mut table = Table {
        played: &mut played,
        verbose,
    };
    let ended = talk(case, &mut hands, dialogue, &mut safety, &mut table);
    played.broken = ended.err();
    played.agreement = hands.agreement.clone();
    played.solved = hands.solved;
    played.violations = safety.violations;
    played
}

fn talk(
    case: &Case,
    hands: &mut Hands<'_, '_>,
    dialogue: &mut Dialogue,
    safety: &mut Safety<'_>,
    table: &mut Table<'_>,
) -> Result<(), String> {
    let say = |dialogue: &mut Dialogue, table: &mut Table<'_>, line: Value| {
        table.note(|| format!("-> {line}"));
        dialogue.say(&line)
    };
    say(dialogue, table, json!({ "complaint": hands.complaint() }))?;
    let mut leads_told = case.zeroed;
    let mut open: Option<Value> = None;
    let mut answered: Option<Value> = None;
    let mut tries = 0;
    loop {
        let line = dialogue.hear()?;
        safety.heard(&line);
        if table.verbose {
            let brief = brief(&line);
            table.note(|| format!("<- {brief}"));
        }
        if let Some(error) = line.get("error") {
            tries += 1;
            let Some(ask) = open.clone() else {
                return Err(format!("refused: {error}"));
            };
            // Answered anew; what cannot be answered is passed over.
            let again = if tries < TRIES {
                answer(&ask, hands, safety, table)
            } else {
                json!({ "id": ask["id"], "skip": "the answer is not taken" })
            };
            say(dialogue, table, again)?;
        } else if let Some(suspects) = line.get("suspects") {
            let first = &suspects[0];
            if table.played.found.is_none() {
                table.played.steps.push(Step {
                    faults: strings(&first["faults"]),
                    p: first["p"].as_f64().unwrap_or(0.0),
                });
            }
        } else if let Some(finding) = line.get("finding") {
            table.played.found = Some(found(finding));
        } else if line.get("left").is_some() {
            return Ok(());
        } else if let Some(ask) = line.get("ask") {
            safety.asked(ask);
            if table.played.found.is_none() {
                table.played.asks += 1;
                table.played.minutes += ask["minutes"].as_f64().unwrap_or(0.0);
            }
            if table.played.asks > MOST_ASKS {
                return Err(format!("no end after {MOST_ASKS} asks"));
            }
            tries = 0;
            if !leads_told && ask["function"] == "ohms" {
                leads_told = true;
                let shown = Displayed::of(Function::Ohms, hands.leads());
                let take = json!({ "take": { "function": "ohms", "points": ["leads", "leads"],
                    "display": shown.digits, "unit": shown.unit } });
                say(dialogue, table, take)?;
            }
            let line = answer(ask, hands, safety, table);
            open = Some(ask.clone());
            answered = Some(line.clone());
            say(dialogue, table, line)?;
        } else if let Some(void) = line.get("void")
            && answered.is_none()
        {
            return Err(format!("void before anything was answered: {void}"));
        }
    }
}

/// The answer to an ask; what could not be done without harm is passed over, and noted.
fn answer(
    ask: &Value,
    hands: &mut Hands<'_, '_>,
    safety: &mut Safety<'_>,
    table: &mut Table<'_>,
) -> Value {
    let id = &ask["id"];
    match ask["do"].as_str().unwrap_or_default() {
        "look" => {
            let what = ask["what"].as_str().unwrap_or_default();
            match hands.look(what) {
                Some(yes) => {
                    safety.looked(what, yes);
                    json!({ "id": id, "answer": if yes { "yes" } else { "no" } })
                }
                None => json!({ "id": id, "skip": "there is nothing of that name" }),
            }
        }
        "act" => {
            let act = ask["act"].as_str().unwrap_or_default();
            let ends = strings(&ask["ends"]);
            safety.acted(act, &ends);
            if let Some(slip) = hands.act(act, &ends) {
                table.note(|| format!("   ({slip})"));
            }
            json!({ "id": id, "done": true })
        }
        "measure" => {
            let name = ask["function"].as_str().unwrap_or_default();
            let Some(function) = Function::by_name(name) else {
                return json!({ "id": id, "skip": "no such function" });
            };
            let points = [0, 1].map(|i| ask["points"][i].as_str().unwrap_or_default().to_owned());
            let low = ask["input"] == "low-impedance";
            match hands.measure(function, &points, input_ohms(low)) {
                Ok(shot) => {
                    safety.read(function, &points);
                    if let Some(slip) = &shot.slip {
                        table.played.slips += 1;
                        table.note(|| format!("   ({slip})"));
                    }
                    let text = Displayed::of(shot.dial, shot.shown);
                    let display = match shot.shown {
                        Shown::Blank => "---".to_owned(),
                        _ => text.digits,
                    };
                    let zeroed = hands.zeroed() && shot.dial == Function::Ohms;
                    let lit = [(zeroed, "relative"), (low, "low-impedance")];
                    let flags: Vec<&str> = lit.iter().filter(|f| f.0).map(|f| f.1).collect();
                    let mut line = json!({ "id": id, "display": display, "unit": text.unit,
                        "flags": flags });
                    if shot.told {
                        line["function"] = json!(shot.dial.name());
                    }
                    line
                }
                Err(harm) => {
                    safety.violations.push(harm.to_string());
                    json!({ "id": id, "skip": harm.to_string() })
                }
            }
        }
        other => json!({ "id": id, "skip": format!("{other} is not known") }),
    }
}

/// A line without what makes it long.
fn brief(line: &Value) -> Value {
    let mut line = line.clone();
    if let Some(finding) = line.get_mut("finding").and_then(Value::as_object_mut) {
        finding.remove("ruled_out");
    }
    if let Some(verdict) = line.get_mut("verdict").and_then(Value::as_object_mut) {
        verdict.retain(|k, _| matches!(k.as_str(), "id" | "class" | "likely" | "shown"));
    }
    line
}
