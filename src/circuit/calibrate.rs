//! Bending a circuit to what good boards read.
//!
//! Of each value some is not known of the model (what junction it is), and some
//! differs from board to board. A reading of a good board of the model tells of
//! the former. The values are moved as little as that takes, each by how little
//! is known of it, until the circuit reads the same (the likeliest values under
//! independent normal spreads; Gauss-Newton, as in an iterated Kalman update).
//! What remains unknown is that of a Gaussian given the reading: along one
//! direction less is unknown, by as much as the meter and the difference between
//! boards let the reading tell. That keeps together what was read together: two
//! junctions side by side are known in sum, each by itself hardly better than
//! before.
//!
//! Which of several junctions leads is no small matter, and a circuit is bent by
//! straight lines: so it may be bent in several [ways](leans).

use nalgebra::{DMatrix, DVector};
use thiserror::Error;

use super::edit::Edit;
use super::meter::{Meter, Mode, offset};
use super::network::{Element, Network, NetworkError, Node};
use super::predict::{Scale, Spread};
use super::solve::{Parameter, SolveError, Solver};
use super::told::Told;

/// Why a circuit cannot be bent to a reading.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum CalibrateError {
    /// No operating point on the way.
    #[error(transparent)]
    Solve(#[from] SolveError),
    /// Nothing that is unknown of the circuit makes it read so.
    #[error(
        "nothing that is unknown of the circuit makes it read {wanted:.4}; it comes to {reads:.4}"
    )]
    OutOfReach {
        /// The reading asked for.
        wanted: f64,
        /// The nearest it comes.
        reads: f64,
    },
    /// It would take values that the circuit does not have.
    #[error("it takes values {deviations:.1} standard deviations off to read {wanted:.4}")]
    Unlikely {
        /// The reading asked for.
        wanted: f64,
        /// How far the values would be off together.
        deviations: f64,
    },
}

impl From<NetworkError> for CalibrateError {
    fn from(e: NetworkError) -> Self {
        CalibrateError::Solve(SolveError::Edit(e))
    }
}

/// A reading of a good board.
#[derive(Clone, Debug)]
pub struct GoodReading<'a> {
    /// The meter it was read with.
    pub meter: &'a Meter,
    /// How the circuit was when it was read.
    pub edits: Vec<Edit>,
    /// Where red was.
    pub red: Node,
    /// Where black was.
    pub black: Node,
    /// What the meter was set to.
    pub mode: Mode,
    /// What it showed, volt or ohm.
    pub value: f64,
    /// How far each value of that board may be from the model's, as standard
    /// deviation in the order of the spreads.
    pub apart: Vec<f64>,
}

/// A circuit bent to what good boards read.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibrated {
    /// The circuit.
    pub network: Network,
    /// What the readings have told, one after the other.
    pub told: Vec<Told>,
}

/// The values may be this many standard deviations off together. Common
/// practice, no source: far enough for the odd board, not for a wrong place or
/// a fault.
const MOST_OFF: f64 = 4.0;
/// A good reading that is not met within this many standard deviations of what
/// it can tell is out of reach. Common practice, no source.
const MET: f64 = 3.0;
/// How much more the bending counts than the readings' own doubt: so much that a
/// single reading is met to the last digit, and two that differ in the middle.
const FIRM: f64 = 0.01;
/// Steps of the search.
const STEPS: usize = 60;
/// A step that moves no value by more than this is none.
const CLOSE: f64 = 1e-10;
/// The most that a logarithm moves in one of them.
const STRIDE: f64 = 3.0;

/// One reading at one state of the circuit, on the scale of its mode.
struct At {
    reads: f64,
    slopes: Vec<f64>,
    /// Variance of what it can tell.
    doubt: f64,
}

fn at(solver: &mut Solver, spreads: &[Spread], r: &GoodReading) -> Result<At, SolveError> {
    let scale = Scale::of(r.mode);
    let mut measured = r.meter.measure(solver, &r.edits, r.red, r.black, r.mode)?;
    let (reads, slope, meter) = scale.of_measured(&measured);
    let gradient = measured.gradient();
    let slopes: Vec<f64> = spreads
        .iter()
        .map(|s| slope * gradient.of(s.element, s.parameter))
        .collect();
    let apart = slopes.iter().zip(&r.apart);
    // That board's meter was off by its own.
    let meters = meter.powi(2) + (slope * offset(r.mode)).powi(2);
    Ok(At {
        reads,
        doubt: meters + apart.map(|(h, a)| (h * a).powi(2)).sum::<f64>(),
        slopes,
    })
}

/// How far the values of a circuit may be moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reach {
    /// Only what is unknown of the model, and no further than is likely.
    Likely,
    /// As far as the readings take: the rules are wrong about this board.
    Any,
}

/// The circuit with its values moved, each in the unit of its spread.
///
/// # Errors
/// If a value is not physical then.
pub fn moved(network: &Network, spreads: &[Spread], by: &[f64]) -> Result<Network, NetworkError> {
    let mut out = network.clone();
    for (spread, by) in spreads.iter().zip(by).filter(|m| *m.1 != 0.0) {
        let Some(mut element) = out.element(spread.element).copied() else {
            continue;
        };
        match (&mut element, spread.parameter) {
            (Element::Resistor { ohms, .. }, Parameter::Resistance) => *ohms *= by.exp(),
            (Element::Source { volts, .. }, Parameter::Volts) => *volts += by,
            (Element::Junction { junction, .. }, Parameter::Saturation) => {
                junction.saturation *= by.exp();
            }
            _ => continue,
        }
        out.set(spread.element, element)?;
    }
    Ok(out)
}

/// Bends a circuit until it reads what good boards read. `shared` is how little
/// each value is known of the model, as standard deviation in the order of the
/// spreads: what is 0 there stays as it is, unless it may be moved by any amount.
///
/// # Errors
/// If nothing makes the circuit read so, or nothing likely does.
pub fn calibrate(
    network: &Network,
    spreads: &[Spread],
    shared: &[f64],
    readings: &[GoodReading],
    reach: Reach,
) -> Result<Calibrated, CalibrateError> {
    let wanted: Vec<f64> = readings
        .iter()
        .map(|r| Scale::of(r.mode).to(r.value))
        .collect();
    let known = DVector::from_iterator(spreads.len(), shared.iter().map(|s| s * s));
    let prior = match reach {
        Reach::Likely => known.clone(),
        Reach::Any => known.zip_map(
            &DVector::from_iterator(spreads.len(), spreads.iter().map(|s| s.deviation.powi(2))),
            f64::max,
        ),
    };
    let reads = |network: &Network| -> Result<Vec<At>, SolveError> {
        let mut solver = Solver::new(network)?;
        let all = readings.iter().map(|r| at(&mut solver, spreads, r));
        all.collect()
    };
    let mut by = DVector::zeros(spreads.len());
    let mut bent = network.clone();
    let mut now = reads(&bent)?;
    if let Some((r, a)) = (readings.iter().zip(&now)).find(|(_, a)| !a.reads.is_finite()) {
        return Err(CalibrateError::OutOfReach {
            wanted: r.value,
            reads: a.reads,
        });
    }
    for _ in 0..STEPS {
        let slopes = DMatrix::from_fn(now.len(), spreads.len(), |k, i| now[k].slopes[i]);
        let spread = DMatrix::from_fn(spreads.len(), now.len(), |i, k| prior[i] * slopes[(k, i)]);
        let mut squares = &slopes * &spread;
        for (k, a) in now.iter().enumerate() {
            squares[(k, k)] += FIRM * a.doubt;
        }
        let miss = DVector::from_fn(now.len(), |k, _| wanted[k] - now[k].reads);
        let toward = miss + &slopes * &by;
        let Some(pull) = squares.lu().solve(&toward) else {
            break;
        };
        let way = spread * pull - &by;
        let longest = way.amax();
        // What is unlikely of the values and of what they make the circuit read, with
        // the doubt as it is here.
        let off = |by: &DVector<f64>, at: &[At]| -> f64 {
            let moved = by.iter().zip(prior.iter()).filter(|(_, p)| **p > 0.0);
            let moved: f64 = moved.map(|(b, p)| b * b / p).sum();
            let missed = at.iter().zip(&now).zip(&wanted);
            let missed = missed.map(|((a, n), w)| (a.reads - w).powi(2) / (FIRM * n.doubt));
            moved + missed.sum::<f64>()
        };
        // Where another junction takes over a straight line goes too far, to and fro.
        let least = off(&by, &now);
        let mut share = (STRIDE / longest).min(1.0);
        let next = loop {
            let stride = share * longest;
            if stride.is_nan() || stride < CLOSE {
                break None;
            }
            let there = &by + &way * share;
            let network = moved(network, spreads, there.as_slice())?;
            let reads = reads(&network).ok();
            let reads = reads.filter(|all| all.iter().all(|a| a.reads.is_finite()));
            match reads {
                Some(at) if off(&there, &at) < least => break Some((there, network, at)),
                _ => share *= 0.5,
            }
        };
        let Some(next) = next else { break };
        (by, bent, now) = next;
    }
    for ((r, a), wanted) in readings.iter().zip(&now).zip(&wanted) {
        if (a.reads - wanted).abs() > MET * a.doubt.sqrt() {
            return Err(CalibrateError::OutOfReach {
                wanted: r.value,
                reads: Scale::of(r.mode).from(a.reads),
            });
        }
    }
    let off = (by.iter().zip(shared))
        .filter(|(_, s)| **s > 0.0)
        .map(|(b, s)| (b / s).powi(2));
    let deviations = off.sum::<f64>().sqrt();
    let unlikely = reach == Reach::Likely && deviations > MOST_OFF;
    if let Some(r) = readings.last().filter(|_| unlikely) {
        return Err(CalibrateError::Unlikely {
            wanted: r.value,
            deviations,
        });
    }
    Ok(Calibrated {
        network: bent,
        told: told(spreads, &known, &now),
    })
}

/// A circuit in which one of several junctions conducts more than the others.
#[derive(Clone, Debug, PartialEq)]
pub struct Lean {
    /// The circuit.
    pub network: Network,
    /// What is left unknown of its values then.
    pub spreads: Vec<Spread>,
    /// How little of each is known of the model then.
    pub shared: Vec<f64>,
}

/// At most so many junctions may each be the one.
const LEANS: usize = 3;
/// A junction that moves the readings by less than this, as a share of what the
/// first does, is none of them.
const MOVES: f64 = 0.1;
/// What leaning makes up of a junction's standard deviation; the rest is left to
/// each lean: together they are as unknown as before.
const LEANING: f64 = 0.8;

/// The ways in which junctions that move the readings may differ: each in turn
/// conducts more than the others. None where there are not two.
///
/// # Errors
/// If the circuit cannot be solved.
pub fn leans(
    network: &Network,
    spreads: &[Spread],
    shared: &[f64],
    readings: &[GoodReading],
) -> Result<Vec<Lean>, CalibrateError> {
    let mut solver = Solver::new(network)?;
    let mut moves = vec![0.0; spreads.len()];
    for r in readings {
        let at = at(&mut solver, spreads, r)?;
        let by = at.slopes.iter().zip(shared).map(|(h, s)| (h * s).powi(2));
        moves.iter_mut().zip(by).for_each(|(m, by)| *m += by);
    }
    let mut junctions: Vec<usize> = (0..spreads.len())
        .filter(|i| spreads[*i].parameter == Parameter::Saturation && moves[*i] > 0.0)
        .collect();
    junctions.sort_by(|a, b| moves[*b].total_cmp(&moves[*a]));
    let least = junctions.first().map_or(0.0, |i| moves[*i] * MOVES * MOVES);
    junctions.retain(|i| moves[*i] >= least);
    junctions.truncate(LEANS);
    let others = junctions.len().saturating_sub(1) as f64;
    if others == 0.0 {
        return Ok(Vec::new());
    }
    let mut left = (spreads.to_vec(), shared.to_vec());
    for i in &junctions {
        let leaning = (LEANING * shared[*i]).powi(2);
        left.0[*i].deviation = (spreads[*i].deviation.powi(2) - leaning).max(0.0).sqrt();
        left.1[*i] = (shared[*i].powi(2) - leaning).max(0.0).sqrt();
    }
    let lean = |most: &usize| {
        // No more in the middle than before, and as far apart.
        let up = LEANING * others.sqrt();
        let by = DVector::from_fn(spreads.len(), |i, _| match junctions.contains(&i) {
            true if i == *most => up * shared[i],
            true => -up / others * shared[i],
            false => 0.0,
        });
        Ok(Lean {
            network: moved(network, spreads, by.as_slice())?,
            spreads: left.0.clone(),
            shared: left.1.clone(),
        })
    };
    junctions.iter().map(lean).collect()
}

/// What one reading after the other tells.
fn told(spreads: &[Spread], prior: &DVector<f64>, readings: &[At]) -> Vec<Told> {
    let mut told: Vec<Told> = Vec::new();
    let mut known: Vec<Vec<f64>> = Vec::new();
    for r in readings {
        let slopes = &r.slopes;
        let along = |u: &[f64]| -> f64 { u.iter().zip(slopes).map(|(a, b)| a * b).sum() };
        // How the values go with the reading, by what those before it left.
        let mut left: Vec<f64> = slopes.iter().zip(prior).map(|(h, p)| h * p).collect();
        for u in &known {
            let by = along(u);
            left.iter_mut().zip(u).for_each(|(l, u)| *l -= by * u);
        }
        let size = (along(&left) + r.doubt).sqrt();
        if size > 0.0 {
            left.iter_mut().for_each(|l| *l /= size);
            let own = |(u, s): (&f64, &Spread)| u / s.deviation.max(f64::MIN_POSITIVE);
            let mut direction: Vec<f64> = left.iter().zip(spreads).map(own).collect();
            told.iter().for_each(|t| t.undo(&mut direction));
            told.push(Told::new(direction));
            known.push(left);
        }
    }
    told
}
