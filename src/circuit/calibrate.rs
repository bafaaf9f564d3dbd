//! Bending a circuit to what a good board reads.

use super::edit::Edit;
use super::meter::{Meter, Mode};
use super::network::{ElementId, Node};
use super::solve::{Parameter, SolveError, Solver};
use thiserror::Error;

/// Why a circuit cannot be bent to a reading.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum CalibrateError {
    /// No operating point on the way.
    #[error(transparent)]
    Solve(#[from] SolveError),
    /// No junction of any strength gives this reading.
    #[error(
        "no strength of the junction gives {wanted}; it reaches from {lowest:.4} to {highest:.4}"
    )]
    OutOfReach {
        /// The reading asked for.
        wanted: f64,
        /// Lowest reading that can be had.
        lowest: f64,
        /// Highest reading that can be had.
        highest: f64,
    },
}

/// Factors tried on the saturation current: twelve decades either way.
const SPAN: f64 = 27.6;

/// The factor on a junction's saturation current at which the meter reads
/// `wanted` (volt or ohm, before OL).
///
/// A reading falls as the junction gets stronger, so there is one at most; it
/// is found by Newton's method between bounds that close in.
///
/// # Errors
/// If no factor gives the reading, or the circuit cannot be solved.
pub fn saturation_factor(
    solver: &mut Solver,
    meter: &Meter,
    junction: ElementId,
    red: Node,
    black: Node,
    mode: Mode,
    wanted: f64,
) -> Result<f64, CalibrateError> {
    let mut at = |log: f64| -> Result<(f64, f64), SolveError> {
        let bent = Edit::Saturation {
            element: junction,
            factor: log.exp(),
        };
        let mut measured = meter.measure(solver, &[bent], red, black, mode)?;
        let value = measured.value();
        let slope = measured.gradient().of(junction, Parameter::Saturation);
        Ok((value - wanted, slope))
    };
    let (mut low, mut high) = (-SPAN, SPAN);
    let (first, _) = at(low)?;
    let (last, _) = at(high)?;
    if first.is_nan() || last.is_nan() || first.signum() == last.signum() {
        return Err(CalibrateError::OutOfReach {
            wanted,
            lowest: wanted + first.min(last),
            highest: wanted + first.max(last),
        });
    }
    let mut log = 0.0;
    for _ in 0..200 {
        let (miss, slope) = at(log)?;
        if miss.signum() == first.signum() {
            low = log;
        } else {
            high = log;
        }
        let newton = log - miss / slope;
        let next = if newton > low && newton < high {
            newton
        } else {
            0.5 * (low + high)
        };
        if (next - log).abs() < 1e-10 {
            return Ok(next.exp());
        }
        log = next;
    }
    Ok(log.exp())
}
