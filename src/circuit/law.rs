//! What acts at the ports of the linear part.
//!
//! Every law is a curve with a running parameter `z`: what is seen at the port
//! is `y(z)` and what acts there is `u(z)`, both rising. That covers with the
//! same few lines an exponential (z is the inner junction voltage, so a series
//! resistance needs no extra node), a current limit (a corner, z runs through
//! it), an open (`y = 0`) and a short (`u` free).

use super::junction::Diode;
use super::mos::{Transistor, limit_gate};

/// Conductance across every junction, siemens; what a simulator calls gmin,
/// here too small to be seen by any meter.
pub(super) const GMIN: f64 = 1e-15;

/// A source as the meter or a supply is: a voltage behind a resistance, with
/// limits to its current.
#[derive(Clone, Copy, Debug)]
pub(super) struct Supply {
    pub(super) volts: f64,
    pub(super) series: f64,
    pub(super) limit: Limit,
}

/// Bounds of a current, with the slope that runs `z` on past them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limit {
    pub(super) gives: f64,
    pub(super) takes: f64,
    pub(super) slope: f64,
}

impl Limit {
    pub(super) fn new(volts: f64, gives: f64, takes: f64) -> Self {
        let largest = [gives, takes]
            .into_iter()
            .filter(|a| a.is_finite())
            .fold(1e-6, f64::max);
        Limit {
            gives,
            takes,
            slope: largest / volts.abs().max(1.0),
        }
    }

    /// A step from beyond one bound to beyond the other stops at the first:
    /// what lies between them is as steep as what lies beyond is flat, and a
    /// step that saw nothing of it runs to and fro for ever.
    fn stop(&self, wanted: f64, from: f64) -> (f64, bool) {
        if from > self.gives && wanted < -self.takes {
            (self.gives, true)
        } else if from < -self.takes && wanted > self.gives {
            (-self.takes, true)
        } else {
            (wanted, false)
        }
    }

    /// Delivered current, the drop that the limit adds, and their slopes.
    fn at(&self, z: f64) -> (f64, f64, f64, f64) {
        if z > self.gives {
            (
                self.gives,
                (z - self.gives) / self.slope,
                0.0,
                1.0 / self.slope,
            )
        } else if z < -self.takes {
            (
                -self.takes,
                (z + self.takes) / self.slope,
                0.0,
                1.0 / self.slope,
            )
        } else {
            (z, 0.0, 1.0, 0.0)
        }
    }
}

/// A law.
#[derive(Clone, Copy, Debug)]
pub(super) enum Law {
    /// Sees and draws by a junction's law. The number is the conductance that
    /// stands for it in the linear part, siemens.
    Junction(Diode, f64),
    /// In the place of a junction or transistor that is gone.
    Gone(f64),
    /// Sees a transistor's gate-source voltage. The channel comes next.
    Gate,
    /// Sees the drain-source voltage; its gate is the port before.
    Channel(Transistor, f64),
    /// In a source's branch: its limits.
    Limit(Limit),
    /// `y` and `u` in proportion to `z`: a conductance (1, g), a resistance
    /// (r, 1), a resistance in a branch (1, r), an open branch (0, 1).
    Linear {
        /// Seen per `z`.
        y: f64,
        /// Acting per `z`.
        u: f64,
    },
    /// Draws a fixed current.
    Constant(f64),
    /// Delivers into the port.
    Supply(Supply),
}

/// A law at one `z`.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct At {
    pub(super) y: f64,
    pub(super) u: f64,
    pub(super) dy: f64,
    pub(super) du: f64,
    /// Slope of `u` with the `z` of the port before.
    pub(super) du_before: f64,
}

/// Help on the way to the operating point: sources at a fraction, extra
/// conductance across junctions.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ease {
    pub(super) sources: f64,
    pub(super) conductance: f64,
}

/// The circuit as it is.
pub(super) const PLAIN: Ease = Ease {
    sources: 1.0,
    conductance: 0.0,
};

impl Law {
    pub(super) fn at(&self, z: f64, before: f64, ease: Ease) -> At {
        match self {
            Law::Junction(diode, placeholder) => {
                let rest = GMIN - placeholder + ease.conductance;
                let (i, g) = diode.current(z);
                let (y, dy) = (z + diode.rs * i, 1.0 + diode.rs * g);
                At {
                    y,
                    u: i + rest * y,
                    dy,
                    du: g + rest * dy,
                    du_before: 0.0,
                }
            }
            Law::Gone(placeholder) => At {
                y: z,
                u: -placeholder * z,
                dy: 1.0,
                du: -placeholder,
                du_before: 0.0,
            },
            Law::Gate => At {
                y: z,
                dy: 1.0,
                ..At::default()
            },
            Law::Channel(transistor, placeholder) => {
                let rest = GMIN - placeholder + ease.conductance;
                let drain = transistor.drain(before, z);
                At {
                    y: z,
                    u: drain.amps + rest * z,
                    dy: 1.0,
                    du: drain.by_drain + rest,
                    du_before: drain.by_gate,
                }
            }
            Law::Limit(limit) => {
                let (y, u, dy, du) = limit.at(z);
                At {
                    y,
                    u,
                    dy,
                    du,
                    du_before: 0.0,
                }
            }
            Law::Linear { y, u } => At {
                y: y * z,
                u: u * z,
                dy: *y,
                du: *u,
                du_before: 0.0,
            },
            Law::Constant(u) => At {
                y: z,
                u: u * ease.sources,
                dy: 1.0,
                ..At::default()
            },
            Law::Supply(supply) => {
                let (i, drop, di, ddrop) = supply.limit.at(-z);
                At {
                    y: supply.volts * ease.sources - supply.series * i - drop,
                    u: -i,
                    dy: supply.series * di + ddrop,
                    du: di,
                    du_before: 0.0,
                }
            }
        }
    }

    /// Bounds a step of `z`; says whether it did.
    pub(super) fn limit(&self, wanted: f64, from: f64) -> (f64, bool) {
        match self {
            Law::Junction(diode, _) => diode.limit(wanted, from),
            Law::Channel(transistor, _) => transistor.limit_drain(wanted, from),
            Law::Gate => limit_gate(wanted, from),
            Law::Limit(limit) => limit.stop(wanted, from),
            Law::Supply(supply) => {
                let (to, stopped) = supply.limit.stop(-wanted, -from);
                (-to, stopped)
            }
            _ => (wanted, false),
        }
    }

    /// The step of `z` that counts as none, with so much slack for rounding.
    /// What is still missing after it is its square over twice `n VT`:
    /// picovolts at a junction, and what is in proportion follows that.
    pub(super) fn tolerance(&self, z: f64, slack: f64) -> f64 {
        match self {
            Law::Limit(_) | Law::Supply(_) => 1e-13 * slack + 1e-6 * z.abs(),
            Law::Linear { .. } => 1e-12 * slack + 1e-5 * z.abs(),
            _ => (1e-9 * slack).max(1e-6),
        }
    }
}
