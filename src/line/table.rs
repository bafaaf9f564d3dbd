//! What the meter would read at every point, in every mode, under every fault
//! of a line: the table to hold beside the board.

use rayon::prelude::*;

use super::forecast::probes;
use super::wiring::{Wired, Wiring, meter_mode};
use crate::circuit::edit::Edit;
use crate::circuit::fault::variants;
use crate::circuit::meter::{Meter, Reading};
use crate::circuit::solve::{SolveError, Solver};
use crate::rulebase::{Harm, Line, MeterMode};

/// Readings of a line, each fault at its middle size.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// Per mode (as in [`MeterMode::ALL`]) and point: the reading of the good
    /// line, then that of each effect of a fault that is predicted, in the order of the
    /// line.
    pub readings: Vec<Vec<Vec<Reading>>>,
}

impl Table {
    /// Works out all readings, on as many cores as there are.
    ///
    /// # Errors
    /// If the line cannot be solved.
    pub fn new(line: &Line, wired: &Wired, meter: &Meter) -> Result<Self, SolveError> {
        // Either state of the line with its faults, reduced to its ports once.
        let reduce = |wiring: &Wiring| -> Result<(Vec<Vec<Edit>>, Solver), SolveError> {
            let mut edits: Vec<Vec<Edit>> = vec![Vec::new()];
            for effect in line.faults.iter().filter(|e| e.harm != Harm::Strange) {
                let mut sizes = variants(&wiring.harm(line, effect.harm)?);
                let middle = sizes.len() / 2;
                edits.push(sizes.swap_remove(middle).edits);
            }
            Ok((edits, Solver::new(&wiring.network)?))
        };
        let (on, off) = rayon::join(|| reduce(&wired.on), || reduce(&wired.off));
        let (on, off) = (on?, off?);
        // One row of readings per mode and point; the modes take unlike times.
        let points = line.points.len();
        let rows: Vec<Vec<Reading>> = (0..MeterMode::ALL.len() * points)
            .into_par_iter()
            .with_max_len(1)
            .map(|row| {
                let (_, mode) = MeterMode::ALL[row / points];
                let (edits, solver) = match mode {
                    MeterMode::Volts => &on,
                    MeterMode::Diode | MeterMode::Ohms => &off,
                };
                let mut solver = solver.clone();
                let node = wired.for_mode(mode).nodes[line.points[row % points].node];
                let (red, black) = probes(node, mode);
                let mode = meter_mode(mode);
                let read = |e: &Vec<Edit>| meter.read(&mut solver, e, red, black, mode);
                edits.iter().map(read).collect()
            })
            .collect::<Result<_, _>>()?;
        let mut rows = rows.into_iter();
        let readings = MeterMode::ALL
            .iter()
            .map(|_| rows.by_ref().take(points).collect())
            .collect();
        Ok(Table { readings })
    }
}
