//! What a meter reads in a small circuit, healthy or with a fault.
//!
//! A [`network::Network`] holds nodes and elements. A [`solve::Solver`] reduces
//! it once to its junctions, transistors and limits, and then solves it quickly
//! with any few changes: a [`fault::Fault`] becomes one or several, and so does
//! the [`meter::Meter`], which is part of the circuit while it measures. A
//! [`predict::Predictor`] turns that into the probability of a reading.
//!
//! | module | what it is for |
//! | --- | --- |
//! | [`network`], [`edit`] | a circuit, and small changes to it |
//! | [`topology`] | is it well posed, and if not, which node or loop |
//! | [`solve`] | operating points, and slopes with every value |
//! | [`meter`] | a meter's modes, ranges, accuracy |
//! | [`fault`], [`quadrature`] | faults as changes, their unknown size as weighted variants |
//! | [`predict`] | distribution of a reading; can it see a fault |
//! | [`likeliest`] | where the unknown values most likely lie, given what was read |
//! | [`joint`] | several readings of one circuit, taken together |
//! | [`calibrate`] | bending a circuit to what good boards read |
//! | [`charge`] | how long capacitors keep a reading from settling |
//!
//! Units are volt, ampere, ohm, farad, second throughout.
//!
//! ```
//! use halfsplit::circuit::fault::{BOARD_LEAKAGE, Fault};
//! use halfsplit::circuit::meter::{Meter, Mode, Reading};
//! use halfsplit::circuit::network::{Junction, Network, Node};
//! use halfsplit::circuit::predict::{Predictor, Spread};
//! use halfsplit::circuit::solve::Solver;
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let mut net = Network::new();
//! let (pin, host) = (net.node("pin"), net.node("host"));
//! let series = net.resistor("series part", pin, host, 22.0)?;
//! let clamp = net.junction("clamp", host, Node::GROUND, Junction::new(1e-9, 1.3))?;
//! net.set_board_leakage(BOARD_LEAKAGE)?;
//!
//! let meter = Meter::handheld();
//! let unknown = [Spread::tolerance(series, 5.0), Spread::unknown_junction(clamp, 2.0)];
//! let mut solver = Solver::new(&net)?;
//! let mut predictor = Predictor::new(&mut solver, &meter, &unknown);
//! let healthy = predictor.predict(&[], pin, Node::GROUND, Mode::Diode)?;
//! let open = predictor.predict(&[Fault::Open(series)], pin, Node::GROUND, Mode::Diode)?;
//! assert_eq!(open.typical(), Reading::OL);
//! assert!(healthy.visibility(&open).is_seen());
//! # Ok(())
//! # }
//! ```

pub mod calibrate;
pub mod charge;
pub mod edit;
pub mod fault;
pub mod joint;
mod junction;
pub mod lattice;
mod law;
pub mod likeliest;
mod linear;
pub mod meter;
mod mos;
pub mod network;
mod normal;
pub mod predict;
pub mod quadrature;
mod small;
pub mod solve;
pub mod told;
pub mod topology;
