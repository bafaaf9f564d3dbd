//! What the meter would read at every point, in every mode, under every fault
//! of a line: the table to hold beside the board.

use super::forecast::probes;
use super::wiring::{Wired, meter_mode};
use crate::circuit::edit::Edit;
use crate::circuit::fault::variants;
use crate::circuit::meter::{Meter, Reading};
use crate::circuit::solve::{SolveError, Solver};
use crate::rulebase::{Line, MeterMode};

/// Readings of a line, each fault at its middle size.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// Per mode (as in [`MeterMode::ALL`]) and point: the reading of the good
    /// line, then that of each effect of a fault, in the order of the line.
    pub readings: Vec<Vec<Vec<Reading>>>,
}

impl Table {
    /// Works out all readings.
    ///
    /// # Errors
    /// If the line cannot be solved.
    pub fn new(line: &Line, wired: &Wired, meter: &Meter) -> Result<Self, SolveError> {
        let mut readings = Vec::with_capacity(MeterMode::ALL.len());
        let mut off = Solver::new(&wired.off.network)?;
        let mut on = Solver::new(&wired.on.network)?;
        for (_, mode) in MeterMode::ALL {
            let wiring = wired.for_mode(mode);
            let solver = match mode {
                MeterMode::Volts => &mut on,
                MeterMode::Diode | MeterMode::Ohms => &mut off,
            };
            let mut edits: Vec<Vec<Edit>> = vec![Vec::new()];
            for effect in &line.faults {
                let mut sizes = variants(&wiring.harm(line, effect.harm)?);
                let middle = sizes.len() / 2;
                edits.push(sizes.swap_remove(middle).edits);
            }
            let at = meter_mode(mode);
            let rows = line.points.iter().map(|p| {
                let (red, black) = probes(wiring.nodes[p.node], mode);
                let read = |e: &Vec<Edit>| meter.read(solver, e, red, black, at);
                edits.iter().map(read).collect()
            });
            readings.push(rows.collect::<Result<_, SolveError>>()?);
        }
        Ok(Table { readings })
    }
}
