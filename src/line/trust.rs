//! What not to trust: bench conditions in which a reading of a line says
//! something else than it seems to, each found by solving the circuit.

#[cfg(test)]
mod tests;

use super::forecast::Probing;
use super::wiring::{Wired, Wiring, meter_mode};
use crate::bench::{BenchState, Power};
use crate::circuit::charge::{Charge, charges};
use crate::circuit::edit::Edit;
use crate::circuit::fault::{Grain, variants_of};
use crate::circuit::meter::{Meter, Mode, Reading};
use crate::circuit::network::Node;
use crate::circuit::predict::{Prediction, Predictor};
use crate::circuit::solve::{SolveError, Solver};
use crate::rulebase::{Harm, Line, MeterMode, PartKind};
use crate::units::{digits, shown};

/// A settling time from which on it is worth a word, second. Common practice,
/// no source.
const WORTH_WAITING: f64 = 1.0;
/// A capacitor that is empty within this time is so before the battery is
/// disconnected and the tips are at the board, second. Common practice, no
/// source.
const SOON_EMPTY: f64 = 60.0;
/// A reading that a capacitor, empty, moves by less than this share does not
/// creep to be noticed. Common practice, no source.
const CREEPS: f64 = 0.02;
/// A reading has settled within this share of its end. Common practice, no
/// source.
const SETTLED: f64 = 0.01;
/// Below this a capacitor counts as empty, volt: it moves no junction. Common
/// practice, no source.
const EMPTY_VOLTS: f64 = 0.05;
/// From this on a voltage at a point whose supply is dead is mistaken for that
/// supply, as a share of the healthy voltage. Common practice, no source.
const MISTAKEN: f64 = 0.25;

/// Why a reading is not to be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// The device is on, in a mode that puts out a current of its own.
    Powered,
    /// The battery or a supply is connected, in such a mode.
    Connected,
    /// The device is off, in volts.
    Unpowered,
    /// A part is plugged in that makes a second path.
    PluggedIn,
    /// A capacitor is charged by the meter.
    Charging,
    /// A capacitor holds its charge from before.
    Charged,
    /// A capacitor in series makes OL the right reading.
    SeriesCapacitor,
    /// Another supply feeds the point.
    BackFed,
}

impl Why {
    /// Whether it is how the device is supplied: such a reading tells nothing
    /// whatever the circuit is.
    pub fn is_power(self) -> bool {
        matches!(self, Why::Powered | Why::Connected | Why::Unpowered)
    }

    /// The word for programs.
    pub fn word(self) -> &'static str {
        match self {
            Why::Powered => "powered",
            Why::Connected => "connected",
            Why::Unpowered => "unpowered",
            Why::PluggedIn => "plugged-in",
            Why::Charging => "charging",
            Why::Charged => "charged",
            Why::SeriesCapacitor => "series-capacitor",
            Why::BackFed => "back-fed",
        }
    }
}

/// A reason not to trust a reading as it is, or not to be misled by it.
#[derive(Clone, Debug, PartialEq)]
pub struct Distrust {
    /// Which.
    pub why: Why,
    /// The reading means nothing; else it means something else than it seems.
    pub invalid: bool,
    /// The physics in a sentence.
    pub says: String,
}

/// Why a reading is not to be trusted that is taken in a bench condition;
/// `wanted` is how the test wants it taken.
///
/// # Errors
/// If the line cannot be solved.
pub fn distrust(
    line: &Line,
    wired: &Wired,
    meter: &Meter,
    wanted: Probing,
    state: BenchState,
    power: Power,
) -> Result<Vec<Distrust>, SolveError> {
    let bench = OnBench {
        line,
        wired,
        meter,
        wanted,
        state,
    };
    match (wanted.mode, power) {
        (MeterMode::Volts, Power::On) => bench.back_fed(),
        (MeterMode::Volts, _) => Ok(vec![Distrust {
            why: Why::Unpowered,
            invalid: true,
            says: "The device is not switched on, so nothing drives this line and no voltage \
                   says anything of it."
                .to_owned(),
        }]),
        (MeterMode::Diode | MeterMode::Ohms, Power::Off) => {
            let mut all = bench.plugged_in()?;
            all.extend(bench.charge()?);
            all.extend(bench.series_capacitor()?);
            Ok(all)
        }
        (_, Power::On) => Ok(vec![bench.powered()?]),
        (_, Power::Connected) => Ok(vec![Distrust {
            why: Why::Connected,
            invalid: true,
            says: "The battery or a supply is still connected: what it keeps alive makes the \
                   reading, not the line, and it can harm the meter."
                .to_owned(),
        }]),
    }
}

struct OnBench<'a> {
    line: &'a Line,
    wired: &'a Wired,
    meter: &'a Meter,
    wanted: Probing,
    state: BenchState,
}

impl OnBench<'_> {
    fn probes(&self, wiring: &Wiring) -> (Node, Node) {
        let node = self.line.points[self.wanted.point].node;
        self.wanted.ends(wiring.nodes[node])
    }

    /// What a good line reads with these contacts open.
    fn good(&self, open: &[usize]) -> Result<Prediction, SolveError> {
        let wiring = self.wired.for_mode(self.wanted.mode);
        let mut solver = Solver::new(&wiring.network)?;
        let mut predictor =
            Predictor::new(&mut solver, self.meter, &wiring.spreads).told(&wiring.told);
        let mut faults = Vec::new();
        for part in open {
            faults.extend(wiring.harm(self.line, Harm::Open(*part))?);
        }
        let (red, black) = self.probes(wiring);
        let mode = meter_mode(self.wanted.mode);
        predictor.predict_variants(&variants_of(&faults, Grain::Coarse), red, black, mode)
    }

    /// What is open in a bench condition, a lifted part too.
    fn open(&self, state: BenchState) -> Vec<usize> {
        let as_wanted = Probing {
            state,
            ..self.wanted
        };
        as_wanted.open(self.line).collect()
    }

    fn edits(&self, wiring: &Wiring) -> Vec<Edit> {
        let open = self.open(self.state);
        let elements = open.iter().flat_map(|p| &wiring.parts[*p]);
        elements
            .map(|element| Edit::Remove { element: *element })
            .collect()
    }

    fn words(&self, reading: Reading) -> String {
        match reading {
            Reading::Value(v) => shown(v, self.wanted.mode.unit()),
            Reading::OL => "OL".to_owned(),
        }
    }

    fn powered(&self) -> Result<Distrust, SolveError> {
        let wiring = &self.wired.on;
        let mut solver = Solver::new(&wiring.network)?;
        let edits = self.edits(wiring);
        let node = wiring.nodes[self.line.points[self.wanted.point].node];
        let volts = self
            .meter
            .read(&mut solver, &edits, node, Node::GROUND, Mode::Volts)?;
        let own = match volts {
            Reading::Value(v) if v.abs() > EMPTY_VOLTS => {
                format!("the {} that it puts on this point makes", shown(v, "V"))
            }
            _ => "what it drives through this line makes".to_owned(),
        };
        Ok(Distrust {
            why: Why::Powered,
            invalid: true,
            says: format!(
                "The device is on: {own} the reading, not the meter's own current, and it can \
                 harm the meter."
            ),
        })
    }

    /// What is plugged in makes a second path: found by taking it out.
    fn plugged_in(&self) -> Result<Vec<Distrust>, SolveError> {
        let open = self.open(self.state);
        let (with, mut all) = (self.good(&open)?, Vec::new());
        for (contact, condition) in &self.line.unplugged {
            if open.contains(contact) {
                continue;
            }
            let mut without = open.clone();
            without.push(*contact);
            let without = self.good(&without)?;
            if !moves(self.wanted.mode, &without, &with) {
                continue;
            }
            let asked_out = self.wanted.state.has(*condition);
            let (with, without) = (with.typical(), without.typical());
            all.push(Distrust {
                why: Why::PluggedIn,
                invalid: asked_out,
                says: format!(
                    "The part is {}plugged in and makes a second path over the {}: a good \
                     line reads {} with it, {} without.",
                    if asked_out { "still " } else { "" },
                    self.line.parts[*contact].name,
                    self.words(with),
                    self.words(without),
                ),
            });
            break;
        }
        Ok(all)
    }

    /// Capacitors take their time, with the meter's current and with what they
    /// hold from before.
    fn charge(&self) -> Result<Vec<Distrust>, SolveError> {
        let wiring = &self.wired.off;
        let has = |p: &PartKind| matches!(p, PartKind::Capacitor(_));
        if !self.line.parts.iter().any(|p| has(&p.kind)) {
            return Ok(Vec::new());
        }
        let mut solver = Solver::new(&wiring.network)?;
        let (edits, (red, black)) = (self.edits(wiring), self.probes(wiring));
        let mode = meter_mode(self.wanted.mode);
        let reads = self.meter.read(&mut solver, &edits, red, black, mode)?;
        let source = self.meter.source(mode, reads);
        let by_meter = charges(&mut solver, &edits, red, black, source)?;
        let mut all = Vec::new();
        // Empty, a capacitor is a short: it counts if that shows.
        let mut creeping: Vec<(&Charge, f64)> = Vec::new();
        for c in &by_meter {
            let Some(element) = solver.network().element(c.capacitor) else {
                continue;
            };
            let (a, b) = element.ends();
            let mut empty = edits.clone();
            empty.push(Edit::Bridge { a, b, ohms: 1e-3 });
            let first = self.meter.read(&mut solver, &empty, red, black, mode)?;
            let shows = match (first, reads) {
                (Reading::Value(a), Reading::Value(b)) => (a - b).abs() > CREEPS * b.abs(),
                (a, b) => a != b,
            };
            if shows {
                // On the way to OL it is a straight line, else it slows down.
                let seconds = match reads {
                    Reading::OL => c.time_constant(),
                    Reading::Value(_) => c.seconds(SETTLED),
                };
                creeping.push((c, seconds));
            }
        }
        let (seconds, largest) = slowest(creeping.into_iter());
        if let Some(c) = largest.filter(|_| seconds > WORTH_WAITING) {
            all.push(Distrust {
                why: Why::Charging,
                invalid: false,
                says: format!(
                    "The meter charges {} first, so the reading creeps for up to {}: wait until \
                     it stands still.",
                    self.capacitor(wiring, c),
                    time(seconds)
                ),
            });
        }
        // What they were charged to while the device was on, and what drains
        // them since.
        let mut on = Solver::new(&self.wired.on.network)?;
        let at = on.solve(&[])?;
        let held: Vec<f64> = self
            .line
            .parts
            .iter()
            .map(|p| {
                let nodes = &self.wired.on.nodes;
                (at.volts(nodes[p.from]) - at.volts(nodes[p.to])).abs()
            })
            .collect();
        let mut drained: Vec<(Charge, f64)> = Vec::new();
        for (p, part) in self
            .line
            .parts
            .iter()
            .enumerate()
            .filter(|p| has(&p.1.kind))
        {
            let Some(c) = by_meter
                .iter()
                .find(|c| wiring.parts[p].contains(&c.capacitor))
            else {
                continue;
            };
            let (a, b) = (wiring.nodes[part.from], wiring.nodes[part.to]);
            let ohms = solver.solve(&edits)?.resistance_between(a, b);
            let left = (held[p] / EMPTY_VOLTS).ln().max(0.0);
            drained.push((*c, ohms * c.farads * left));
        }
        let (seconds, largest) = slowest(drained.iter().map(|(c, s)| (c, *s)));
        if let Some(c) = largest.filter(|_| seconds > SOON_EMPTY) {
            all.push(Distrust {
                why: Why::Charged,
                invalid: false,
                says: format!(
                    "After the device was on, {} holds its charge for some {} and the meter \
                     reads that: discharge it through a resistor first, or wait.",
                    self.capacitor(wiring, c),
                    time(seconds)
                ),
            });
        }
        Ok(all)
    }

    fn capacitor(&self, wiring: &Wiring, c: &Charge) -> String {
        let part = wiring.parts.iter().position(|p| p.contains(&c.capacitor));
        let name = part.map_or("capacitor", |p| self.line.parts[p].name.as_str());
        format!("the {name} ({})", shown(c.farads, "F"))
    }

    /// Where OL is right because a capacitor stands in the way: found by
    /// bridging it.
    fn series_capacitor(&self) -> Result<Vec<Distrust>, SolveError> {
        let wiring = &self.wired.off;
        let mut solver = Solver::new(&wiring.network)?;
        let (mut edits, (red, black)) = (self.edits(wiring), self.probes(wiring));
        let mode = meter_mode(self.wanted.mode);
        let mut read = |edits: &[Edit]| self.meter.read(&mut solver, edits, red, black, mode);
        if read(&edits)? != Reading::OL {
            return Ok(Vec::new());
        }
        for part in &self.line.parts {
            if !matches!(part.kind, PartKind::Capacitor(_)) || part.from == 0 || part.to == 0 {
                continue;
            }
            let (a, b) = (wiring.nodes[part.from], wiring.nodes[part.to]);
            edits.push(Edit::Bridge { a, b, ohms: 1e-3 });
            let bridged = read(&edits)?;
            edits.pop();
            if bridged != Reading::OL {
                return Ok(vec![Distrust {
                    why: Why::SeriesCapacitor,
                    invalid: false,
                    says: format!(
                        "OL is right here: the {} lets no direct current through, so the meter \
                         sees nothing of what lies behind it.",
                        part.name
                    ),
                }]);
            }
        }
        Ok(Vec::new())
    }

    /// Where a point has a voltage though its supply is dead: found by taking
    /// the supply out and leaving what it feeds.
    fn back_fed(&self) -> Result<Vec<Distrust>, SolveError> {
        let wiring = &self.wired.on;
        let rails: Vec<usize> = (0..self.line.parts.len())
            .filter(|p| matches!(self.line.parts[*p].kind, PartKind::Rail { .. }))
            .collect();
        if rails.len() < 2 {
            return Ok(Vec::new());
        }
        let mut solver = Solver::new(&wiring.network)?;
        let (red, black) = self.probes(wiring);
        let plain = self.edits(wiring);
        let mut volts = |dead: &[usize]| -> Result<f64, SolveError> {
            let mut edits = plain.clone();
            for p in dead {
                let part = &self.line.parts[*p];
                let PartKind::Rail { idle, .. } = part.kind else {
                    continue;
                };
                let elements = wiring.parts[*p].iter();
                edits.extend(elements.map(|element| Edit::Remove { element: *element }));
                edits.push(Edit::Bridge {
                    a: wiring.nodes[part.from],
                    b: wiring.nodes[part.to],
                    ohms: idle.typical,
                });
            }
            let read = self
                .meter
                .read(&mut solver, &edits, red, black, Mode::Volts)?;
            Ok(match read {
                Reading::Value(v) => v,
                Reading::OL => f64::INFINITY,
            })
        };
        let whole = volts(&[])?;
        // The point's own supply is the one without which it moves furthest.
        let mut own: Option<(usize, f64)> = None;
        for rail in &rails {
            let fed = volts(&[*rail])?;
            if own.is_none_or(|o| (whole - fed).abs() > (whole - o.1).abs()) {
                own = Some((*rail, fed));
            }
        }
        let Some((dead, fed)) = own.filter(|o| {
            o.1.abs() > MISTAKEN * whole.abs() && (whole - o.1).abs() > CREEPS * whole.abs()
        }) else {
            return Ok(Vec::new());
        };
        for other in rails.iter().filter(|r| **r != dead) {
            if volts(&[dead, *other])?.abs() < 0.5 * fed.abs() {
                let name = |p: usize| &self.line.parts[p].name;
                return Ok(vec![Distrust {
                    why: Why::BackFed,
                    invalid: false,
                    says: format!(
                        "With the {} dead this point would still read some {}, fed over the \
                         line from the {}: a voltage alone does not prove that supply.",
                        name(dead),
                        shown(fed, "V"),
                        name(*other)
                    ),
                }]);
            }
        }
        Ok(Vec::new())
    }
}

/// Whether one good reading lies outside the spread of another.
fn moves(mode: MeterMode, from: &Prediction, to: &Prediction) -> bool {
    match (from.typical(), to.typical()) {
        (Reading::Value(a), Reading::Value(b)) => {
            let by = match mode {
                MeterMode::Ohms => (a / b).ln().abs(),
                MeterMode::Volts | MeterMode::Diode => (a - b).abs(),
            };
            by > from.deviation()
        }
        (a, b) => a != b,
    }
}

/// All times together, which none exceeds, and the capacitor that takes the
/// longest.
fn slowest<'c>(all: impl Iterator<Item = (&'c Charge, f64)>) -> (f64, Option<&'c Charge>) {
    let mut sum = 0.0;
    let mut worst: Option<(&Charge, f64)> = None;
    for (c, seconds) in all {
        sum += seconds;
        if worst.is_none_or(|w| seconds > w.1) {
            worst = Some((c, seconds));
        }
    }
    (sum, worst.map(|w| w.0))
}

fn time(seconds: f64) -> String {
    if seconds < 100.0 {
        format!("{} s", digits(seconds.ceil()))
    } else {
        format!("{} min", digits((seconds / 60.0).ceil()))
    }
}
