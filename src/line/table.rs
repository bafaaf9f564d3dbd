//! What the meter would read at every point, in every mode, under every fault
//! of a line: the table to hold beside the board.

use rayon::prelude::*;

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
    /// Works out all readings, on as many cores as there are.
    ///
    /// # Errors
    /// If the line cannot be solved.
    pub fn new(line: &Line, wired: &Wired, meter: &Meter) -> Result<Self, SolveError> {
        let mut setups = Vec::with_capacity(MeterMode::ALL.len());
        for (_, mode) in MeterMode::ALL {
            let wiring = wired.for_mode(mode);
            let mut edits: Vec<Vec<Edit>> = vec![Vec::new()];
            for effect in &line.faults {
                let mut sizes = variants(&wiring.harm(line, effect.harm)?);
                let middle = sizes.len() / 2;
                edits.push(sizes.swap_remove(middle).edits);
            }
            setups.push((mode, wiring, edits, Solver::new(&wiring.network)?));
        }
        // One row of readings per mode and point; the modes take unlike times.
        let points = line.points.len();
        let solvers = || -> Vec<Solver> { setups.iter().map(|s| s.3.clone()).collect() };
        let rows: Vec<Vec<Reading>> = (0..points * setups.len())
            .into_par_iter()
            .with_max_len(1)
            .map_init(solvers, |solvers, row| {
                let (mode, wiring, edits, _) = &setups[row / points];
                let node = wiring.nodes[line.points[row % points].node];
                let (red, black) = probes(node, *mode);
                let solver = &mut solvers[row / points];
                let read = |e: &Vec<Edit>| meter.read(solver, e, red, black, meter_mode(*mode));
                edits.iter().map(read).collect()
            })
            .collect::<Result<_, _>>()?;
        let mut rows = rows.into_iter();
        let readings = setups
            .iter()
            .map(|_| rows.by_ref().take(points).collect())
            .collect();
        Ok(Table { readings })
    }
}
