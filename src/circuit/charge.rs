//! How long a reading takes to settle because of capacitors.

use super::edit::{Edit, TestSource};
use super::network::{Element, ElementId, Node};
use super::solve::{SolveError, Solver};

/// Resistance that stands for a discharged capacitor, ohm; far below anything
/// that charges it.
const EMPTY: f64 = 1e-3;

/// One capacitor as a source charges it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Charge {
    /// The capacitor.
    pub capacitor: ElementId,
    /// Its capacitance, farad.
    pub farads: f64,
    /// Resistance it is charged through, ohm.
    pub ohms: f64,
    /// Voltage it ends at, volt.
    pub volts: f64,
}

impl Charge {
    /// Time constant R C, second.
    #[must_use]
    pub fn time_constant(&self) -> f64 {
        self.ohms * self.farads
    }

    /// Time until the voltage is within a fraction of its end, second:
    /// `R C ln(1 / within)`.
    #[must_use]
    pub fn seconds(&self, within: f64) -> f64 {
        self.time_constant() * (1.0 / within.clamp(1e-12, 1.0)).ln()
    }
}

/// An estimate for every fitted capacitor, with a source at two points (as a
/// meter puts it there) and all others empty or full at will.
///
/// The resistance is the voltage the capacitor ends at over the current that
/// flows into it while empty. For a linear circuit that is the resistance it
/// sees; for a limited current and for a junction that clamps it is the
/// straight-line charge, which is why it is preferred to a small-signal value.
/// Where nothing charges the capacitor it is the small-signal value.
///
/// The estimates of several capacitors add: their sum is not exceeded by the
/// slowest time constant of an RC network (the bound of open-circuit time
/// constants).
///
/// # Errors
/// If the circuit has no operating point.
pub fn charges(
    solver: &mut Solver,
    edits: &[Edit],
    red: Node,
    black: Node,
    source: TestSource,
) -> Result<Vec<Charge>, SolveError> {
    let capacitors: Vec<_> = solver
        .network()
        .fitted()
        .filter_map(|(id, element)| match *element {
            Element::Capacitor { a, b, farads } => Some((id, a, b, farads)),
            _ => None,
        })
        .collect();
    let mut with: Vec<Edit> = edits.to_vec();
    with.push(Edit::Probe { red, black, source });
    let mut all = Vec::with_capacity(capacitors.len());
    for (capacitor, a, b, farads) in capacitors {
        let mut point = solver.solve(&with)?;
        let volts = point.volts(a) - point.volts(b);
        let small = point.resistance_between(a, b);
        with.push(Edit::Bridge { a, b, ohms: EMPTY });
        let point = solver.solve(&with)?;
        let amps = (point.volts(a) - point.volts(b)) / EMPTY;
        with.pop();
        let ohms = volts / amps - EMPTY;
        let charged = volts.abs() > 1e-3 && ohms.is_finite() && ohms > 0.0;
        all.push(Charge {
            capacitor,
            farads,
            ohms: if charged { ohms } else { small },
            volts,
        });
    }
    Ok(all)
}
