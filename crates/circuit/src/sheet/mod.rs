//! A sheet: a unit's parts, how their terminals are wired, the points a probe can reach, and the
//! checks a technician can make.

mod checks;
mod error;
mod layers;
mod near;
pub(crate) mod quantity;
mod read;
pub(crate) mod toml;
mod words;

use std::collections::BTreeMap;

use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::reading::Function;
use ohmtrail_core::units::Celsius;
use ohmtrail_words::Glossary;

pub use self::error::{Place, Places, Problem, SheetError};
pub use self::layers::{read_builtin, read_file, read_text};
pub use self::near::did_you_mean;
pub use self::quantity::{read as read_quantity, words as unit_words};
use crate::cable::Cable;
use crate::costs::Costs;
use crate::known::Known;
use crate::parts::{Kind, LookKind};
use crate::priors::Priors;

/// The built-in sheets: name and text.
pub const BUILTIN: &[(&str, &str)] = &[
    (
        "split-heat-pump-1ph",
        include_str!("../sheets/split-heat-pump-1ph.toml"),
    ),
    (
        "split-heat-pump-1ph-hard-start",
        include_str!("../sheets/split-heat-pump-1ph-hard-start.toml"),
    ),
    (
        "split-cooling-1ph",
        include_str!("../sheets/split-cooling-1ph.toml"),
    ),
    (
        "split-cooling-1ph-single",
        include_str!("../sheets/split-cooling-1ph-single.toml"),
    ),
    (
        "split-cooling-1ph-ecm-fan",
        include_str!("../sheets/split-cooling-1ph-ecm-fan.toml"),
    ),
    (
        "control-loop-24v",
        include_str!("../sheets/control-loop-24v.toml"),
    ),
    (
        "electric-furnace-1ph",
        include_str!("../sheets/electric-furnace-1ph.toml"),
    ),
    (
        "electric-furnace-20kw-1ph",
        include_str!("../sheets/electric-furnace-20kw-1ph.toml"),
    ),
    (
        "walk-in-cooler-1ph",
        include_str!("../sheets/walk-in-cooler-1ph.toml"),
    ),
    (
        "walk-in-cooler-defrost-1ph",
        include_str!("../sheets/walk-in-cooler-defrost-1ph.toml"),
    ),
    ("rooftop-3ph", include_str!("../sheets/rooftop-3ph.toml")),
];

/// A point that a probe can reach: a part's terminal or a wire's end. Also the number of its node.
pub type PointId = usize;

/// A fault of the sheet, by number.
pub type FaultId = usize;

/// A part of the unit.
#[derive(Debug, Clone)]
pub struct Part {
    /// Its name.
    pub name: String,
    /// What it is, in words, for this unit.
    pub words: String,
    /// Its kind.
    pub kind: &'static Kind,
    /// Its values, in the order of the kind's parameters, in base units.
    pub values: Vec<f64>,
    /// The parts it depends on besides by wires, in the order of the kind's links.
    pub links: Vec<usize>,
    /// The point of its first terminal.
    pub first_point: PointId,
}

/// A wire between two terminals.
#[derive(Debug, Clone)]
pub struct Wire {
    /// Its name.
    pub name: String,
    /// The terminals at its ends.
    pub terminals: [PointId; 2],
    /// The points of its own two ends.
    pub ends: [PointId; 2],
    /// Its colour or mark.
    pub mark: String,
    /// Whether it is a part's own lead: open, it means the part.
    pub lead_of: Option<usize>,
}

/// A set of wire ends that are lifted together.
#[derive(Debug, Clone)]
pub struct Lift {
    /// Its name.
    pub name: String,
    /// The wire ends.
    pub ends: Vec<PointId>,
    /// Minutes to lift and insulate them.
    pub minutes: f64,
}

/// In which heat of the motors a dead check is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Heat {
    /// As the unit was found.
    AsFound,
    /// After the motors had time to cool.
    Cold,
}

/// What a check of the sheet asks.
#[derive(Debug, Clone)]
pub enum Question {
    /// A measurement.
    Measure {
        /// The meter's function.
        function: Function,
        /// The two points; for amps the wire in the clamp, both ends.
        points: [PointId; 2],
        /// Limits that the sheet states, base units.
        limits: Option<(f64, f64)>,
        /// Volts in the meter's low-impedance mode, where those of a floating conductor collapse.
        low_impedance: bool,
    },
    /// A look.
    Look {
        /// The part.
        part: usize,
        /// The look of its kind.
        look: &'static LookKind,
    },
}

/// One thing that can be asked of the unit, in one state of it.
#[derive(Debug, Clone)]
pub struct Check {
    /// What is asked.
    pub question: Question,
    /// Under power, dead, or either.
    pub power: Option<bool>,
    /// The lifted set it needs; `None` is nothing lifted. Looks do not care.
    pub lift: Option<usize>,
    /// The heat of the motors it needs; `None` is either.
    pub heat: Option<Heat>,
    /// Faults that it shows directly: a visit makes one of a fault's direct checks, where it can,
    /// before it finds the fault.
    pub proves: Vec<FaultId>,
    /// Minutes it takes by itself.
    pub minutes: f64,
    /// Why one would ask, in a sentence.
    pub why: String,
}

impl Check {
    /// Whether it is volts in the meter's low-impedance mode.
    #[must_use]
    pub const fn is_low_impedance(&self) -> bool {
        matches!(
            self.question,
            Question::Measure {
                low_impedance: true,
                ..
            }
        )
    }
}

/// A fault that another one brings about.
#[derive(Debug, Clone, Copy)]
pub struct Caused {
    /// The cause.
    pub by: FaultId,
    /// What it damages.
    pub fault: FaultId,
    /// How probable that is.
    pub p: f64,
}

/// A fault that cannot be judged while another one stands: a motor that does not start on a failed
/// capacitor may be seized as well, and shows only once the capacitor is replaced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Masked {
    /// The fault that stands before it.
    pub by: FaultId,
    /// The fault that cannot be judged.
    pub fault: FaultId,
}

/// A fault of the sheet.
#[derive(Debug, Clone)]
pub struct Fault {
    /// `part.fault` or `wire.open`.
    pub name: String,
    /// What it is, in words.
    pub words: String,
    /// Relative prior weight.
    pub weight: f64,
    /// The part, or the wire after the parts.
    pub owner: usize,
    /// Its name in the kind.
    pub kind_name: &'static str,
}

/// What a customer reports, as soft evidence on looks.
#[derive(Debug, Clone)]
pub struct Complaint {
    /// Its name.
    pub name: String,
    /// In words.
    pub words: String,
    /// The looks it speaks of (by check number) and what it says of them.
    pub says: Vec<(usize, bool)>,
}

/// What must read dead before the unit is proved dead.
#[derive(Debug, Clone, Default)]
pub struct DeadPlan {
    /// Line-side poles.
    pub line: Vec<PointId>,
    /// Load-side poles, those of each switch's side by themselves.
    pub load: Vec<Vec<PointId>>,
    /// Every other source's poles, by source.
    pub others: Vec<Vec<PointId>>,
    /// Equipment ground.
    pub ground: PointId,
    /// Pairs that a capacitor can hold charged.
    pub capacitors: Vec<[PointId; 2]>,
}

/// Minutes that a change of the unit's state takes.
#[derive(Debug, Clone, Copy)]
pub struct Minutes {
    /// Opening, locking, proving dead and discharging.
    pub off: f64,
    /// Making ready and closing the breaker.
    pub on: f64,
    /// Waiting until motors are cold.
    pub cool: f64,
}

/// A sheet that was read and checked.
#[derive(Debug, Clone)]
pub struct Sheet {
    /// Its name.
    pub name: String,
    /// What it describes.
    pub title: String,
    /// BLAKE3 of its text (and of the sheets it is based on).
    pub hash: [u8; 32],
    /// The parts.
    pub parts: Vec<Part>,
    /// The wires.
    pub wires: Vec<Wire>,
    /// Every point: its name and what it is.
    pub points: Vec<(String, String)>,
    /// Wires that run side by side.
    pub cables: Vec<Cable>,
    /// Sets of wire ends that are lifted together.
    pub lifts: Vec<Lift>,
    /// Everything that can be asked.
    pub checks: Vec<Check>,
    /// Every fault.
    pub faults: Vec<Fault>,
    /// Faults that others bring about.
    pub caused: Vec<Caused>,
    /// Faults that cannot be judged while others stand.
    pub masked: Vec<Masked>,
    /// What customers report.
    pub complaints: Vec<Complaint>,
    /// What must read dead.
    pub dead: DeadPlan,
    /// Where its tables are written.
    pub places: Places,
    /// What changes of state take.
    pub minutes: Minutes,
    /// What is held probable before anything is measured. [`Sheet::set_priors`] replaces it.
    pub priors: Priors,
    /// What it costs to be wrong.
    pub costs: Costs,
    /// What is known of the unit's own parts: [`Sheet::learn`] adds to it.
    pub(crate) known: Vec<Known>,
    /// The temperature of the air around the unit as it was measured; none before it was.
    pub measured_air: Option<Quantity<Celsius>>,
    /// What it says in languages other than English.
    pub glossary: Glossary,
    /// How many nodes the network has, inner ones included.
    pub nodes: usize,
    /// The first inner node of each part.
    pub internals: Vec<usize>,
    pub(crate) point_index: BTreeMap<String, PointId>,
}

impl Sheet {
    /// Replaces the priors, and with them the weights of the faults.
    pub fn set_priors(&mut self, priors: Priors) {
        for fault in &mut self.faults {
            fault.weight = match self.parts.get(fault.owner) {
                Some(part) => priors.weight(part.kind.name, fault.kind_name),
                None => Some(priors.wire_open),
            }
            .unwrap_or(fault.weight);
        }
        self.priors = priors;
    }

    /// The point of that name.
    #[must_use]
    pub fn point(&self, name: &str) -> Option<PointId> {
        self.point_index.get(name).copied()
    }

    /// The name of a point.
    #[must_use]
    pub fn point_name(&self, point: PointId) -> &str {
        self.points.get(point).map_or("?", |(name, _)| name)
    }

    /// The fault of that name.
    #[must_use]
    pub fn fault(&self, name: &str) -> Option<FaultId> {
        self.faults.iter().position(|f| f.name == name)
    }

    /// Under which condition a fault shows that comes and goes; none if it is there all the time.
    #[must_use]
    pub fn shows(&self, fault: FaultId) -> Option<&'static str> {
        let fault = self.faults.get(fault)?;
        let part = self.parts.get(fault.owner)?;
        let own = part.kind.faults.iter().find(|f| f.name == fault.kind_name);
        own?.shows
    }

    /// The fault of the same place that is there at all times, if only heat tells this one from it.
    #[must_use]
    pub fn always(&self, fault: FaultId) -> Option<FaultId> {
        let hot = self.faults.get(fault)?;
        let part = self.parts.get(hot.owner)?;
        let own = part.kind.faults.iter().find(|f| f.name == hot.kind_name);
        let always = own?.always?;
        self.faults
            .iter()
            .position(|f| f.owner == hot.owner && f.kind_name == always)
    }

    /// The name of a look check, `part.look`.
    #[must_use]
    pub fn look_name(&self, part: usize, look: &LookKind) -> String {
        format!("{}.{}", self.parts[part].name, look.name)
    }

    /// The check that asks that look.
    #[must_use]
    pub fn look(&self, name: &str) -> Option<usize> {
        self.checks.iter().position(|c| match &c.question {
            Question::Look { part, look } => self.look_name(*part, look) == name,
            Question::Measure { .. } => false,
        })
    }

    /// Whether a point touches a terminal of a capacitor, lifted or not.
    #[must_use]
    pub fn wire_of_end(&self, point: PointId) -> Option<&Wire> {
        self.wires.iter().find(|w| w.ends.contains(&point))
    }
}
