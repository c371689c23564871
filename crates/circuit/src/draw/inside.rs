//! What lies between a part's terminals, read off its electrical model: every kind is drawn from
//! the elements that it makes, so a new kind has its picture without a line here.

use crate::network::{Element, Node, OPEN_OHMS};
use crate::parts::{Assembly, Contactor, Watches};
use crate::sheet::{PointId, Sheet};
use crate::unit::{Circuit, Drawn};

/// A resistance under this is a joint inside a part, ohms: its two ends are one.
const JOINT_OHMS: f64 = 2e-3;

/// A resistance under this is a contact, ohms; above, something that heats.
const CONTACT_OHMS: f64 = 0.2;

/// What a strand is drawn as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Symbol {
    /// A contact that a coil closes.
    Contact,
    /// A switch that something else than a coil opens.
    Switch,
    /// A bar or jumper.
    Link,
    /// A pole of a circuit breaker.
    Breaker,
    /// A fuse.
    Fuse,
    /// A motor's overload protector.
    Overload,
    /// A coil that moves a contactor, a relay or a valve.
    Coil,
    /// A winding of a motor.
    Winding,
    /// The windings of a transformer.
    Transformer,
    /// A capacitor.
    Capacitor,
    /// A heater or a resistor.
    Resistor,
    /// A source.
    Source,
}

/// The end of a strand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Tip {
    /// A terminal, by its number in the kind.
    Terminal(usize),
    /// A joint inside that no probe reaches.
    Inner(usize),
    /// The middle of the supply, or ground.
    Ground,
}

/// One thing that lies between two tips of a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Strand {
    pub symbol: Symbol,
    pub tips: [Tip; 2],
}

/// Which circuit something belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Level {
    /// Fed by a supply.
    Line,
    /// Behind a transformer, or fed by nothing.
    Control,
}

/// What is inside every part of a sheet, and which circuit every terminal belongs to.
pub(super) struct Insides {
    /// Of each part.
    pub strands: Vec<Vec<Strand>>,
    /// Of each point.
    pub levels: Vec<Level>,
}

impl Insides {
    pub fn of(sheet: &Sheet) -> Self {
        let circuit = Circuit::new(sheet);
        let assembly = circuit.assemble(&Drawn::draw(sheet, 0), &[]);
        let strands = (0..sheet.parts.len())
            .map(|part| strands(sheet, &assembly, part))
            .collect();
        Insides {
            strands,
            levels: levels(sheet, &assembly),
        }
    }

    /// The circuits that a part belongs to: line, control.
    pub fn of_part(&self, sheet: &Sheet, part: usize) -> [bool; 2] {
        let p = &sheet.parts[part];
        let own = |i: usize| self.levels[p.first_point + i];
        let wired = |i: &usize| !p.kind.terminals[*i].bonded;
        let mut has = [false; 2];
        for i in (0..p.kind.terminals.len()).filter(wired) {
            has[usize::from(own(i) == Level::Control)] = true;
        }
        has
    }
}

/// Sets of nodes that are joined.
struct Joined(Vec<usize>);

impl Joined {
    fn root(&self, mut node: usize) -> usize {
        while self.0[node] != node {
            node = self.0[node];
        }
        node
    }

    /// Joins two; the lower number stands for both, so that a terminal does.
    fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b)] = a.min(b);
    }
}

/// The pairs of ends of an element, with what it is drawn as if nothing more is known of it.
fn spans(element: &Element) -> Vec<(Symbol, [Node; 2])> {
    match element {
        Element::Resistor { ends, ohms } if *ohms < CONTACT_OHMS => vec![(Symbol::Switch, *ends)],
        Element::Resistor { ends, .. } => vec![(Symbol::Resistor, *ends)],
        Element::Coil { ends, .. } => vec![(Symbol::Coil, *ends)],
        Element::Capacitor { ends, .. } => vec![(Symbol::Capacitor, *ends)],
        Element::Source { ends, .. } => vec![(Symbol::Source, *ends)],
        Element::Transformer {
            primary, secondary, ..
        } => vec![
            (Symbol::Transformer, *primary),
            (Symbol::Transformer, *secondary),
        ],
        Element::Motor { main, aux, .. } => {
            vec![(Symbol::Winding, *main), (Symbol::Winding, *aux)]
        }
        Element::ThreePhaseMotor { windings, .. } => {
            windings.iter().map(|w| (Symbol::Winding, *w)).collect()
        }
    }
}

fn ohms(element: &Element) -> Option<f64> {
    match element {
        Element::Resistor { ohms, .. } => Some(*ohms),
        _ => None,
    }
}

/// What a device makes of an element: a pole, a breaker, a fuse, an overload.
fn device(assembly: &Assembly, element: usize) -> Option<Symbol> {
    let pole = |c: &Contactor| c.poles.iter().any(|p| p.element == element);
    if assembly.contactors.iter().any(pole) {
        return Some(Symbol::Contact);
    }
    let cut = assembly
        .overcurrent
        .iter()
        .find(|o| o.elements.contains(&element));
    if let Some(o) = cut {
        let blows = o.opens == "blown" || !o.line;
        return Some(if blows { Symbol::Fuse } else { Symbol::Breaker });
    }
    let heats = |watches: &Watches| match watches {
        Watches::Heaters { heaters, .. } => heaters.contains(&element),
        Watches::Lines { .. } => false,
    };
    if assembly
        .motors
        .iter()
        .any(|m| m.protectors.contains(&element))
        || assembly.relays.iter().any(|r| heats(&r.watches))
    {
        return Some(Symbol::Overload);
    }
    let moved = assembly.controls.iter().any(|c| c.element == element)
        || assembly.relays.iter().any(|r| r.contact == element)
        || assembly.start_relays.iter().any(|r| r.contact == element);
    moved.then_some(Symbol::Switch)
}

fn strands(sheet: &Sheet, assembly: &Assembly, part: usize) -> Vec<Strand> {
    let p = &sheet.parts[part];
    let own = |e: &usize| assembly.owners.get(*e) == Some(&part);
    let mut joined = Joined((0..sheet.nodes).collect());
    let inner = |node: usize| node >= sheet.points.len();
    for e in (0..assembly.elements.len()).filter(own) {
        if let Element::Resistor {
            ends: [Some(a), Some(b)],
            ohms,
        } = &assembly.elements[e]
            && *ohms < JOINT_OHMS
            && (inner(*a) || inner(*b))
            && device(assembly, e).is_none()
        {
            joined.join(*a, *b);
        }
    }
    let mut inners: Vec<usize> = Vec::new();
    let mut tip = |node: Node| match node.map(|n| joined.root(n)) {
        None => Tip::Ground,
        Some(n) if inner(n) => {
            let at = inners.iter().position(|i| *i == n).unwrap_or_else(|| {
                inners.push(n);
                inners.len() - 1
            });
            Tip::Inner(at)
        }
        Some(n) => Tip::Terminal(n.saturating_sub(p.first_point)),
    };
    let moves_poles = assembly.contactors.iter().any(|c| c.part == part);
    let turned = assembly.driven.iter().any(|d| d.part == part);
    let plain = |symbol| match symbol {
        // What a contactor has beside its poles is a bar.
        Symbol::Switch if moves_poles => Symbol::Link,
        Symbol::Resistor if turned => Symbol::Winding,
        other => other,
    };
    let mut found = Vec::new();
    for e in (0..assembly.elements.len()).filter(own) {
        let element = &assembly.elements[e];
        let special = device(assembly, e);
        // A fault's way to be, not there while the part is sound.
        if special.is_none() && ohms(element).is_some_and(|o| o >= OPEN_OHMS / 2.0) {
            continue;
        }
        for (symbol, ends) in spans(element) {
            let tips = ends.map(&mut tip);
            let bond = symbol != Symbol::Source && tips.contains(&Tip::Ground);
            if tips[0] != tips[1] && !bond {
                found.push(Strand {
                    symbol: special.unwrap_or_else(|| plain(symbol)),
                    tips,
                });
            }
        }
    }
    found
}

/// Follows the supply through everything that conducts: what a supply reaches is the line circuit.
fn levels(sheet: &Sheet, assembly: &Assembly) -> Vec<Level> {
    let mut joined = Joined((0..sheet.nodes).collect());
    let mut fed: Vec<PointId> = Vec::new();
    for (e, element) in assembly.elements.iter().enumerate() {
        let open = ohms(element).is_some_and(|o| o >= OPEN_OHMS / 2.0);
        if open && device(assembly, e).is_none() {
            continue;
        }
        for (symbol, ends) in spans(element) {
            match ends {
                [Some(a), Some(b)] => joined.join(a, b),
                [Some(a), None] | [None, Some(a)] if symbol == Symbol::Source => fed.push(a),
                _ => {}
            }
            if let (Symbol::Source, [Some(a), Some(_)]) = (symbol, ends) {
                fed.push(a);
            }
        }
    }
    let roots: Vec<usize> = fed.iter().map(|f| joined.root(*f)).collect();
    (0..sheet.points.len())
        .map(|point| {
            if roots.contains(&joined.root(point)) {
                Level::Line
            } else {
                Level::Control
            }
        })
        .collect()
}
