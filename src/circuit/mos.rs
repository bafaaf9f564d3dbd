//! The square law of a MOS transistor with its body tied to the source.

use super::junction::Diode;
use super::network::{Channel, Mos};

/// A transistor ready for evaluation.
#[derive(Clone, Copy, Debug)]
pub(super) struct Transistor {
    sign: f64,
    threshold: f64,
    gain: f64,
    body: Diode,
}

/// Drain current and its slopes, all from drain to source.
#[derive(Clone, Copy, Debug)]
pub(super) struct Drain {
    /// Whole current, ampere.
    pub(super) amps: f64,
    /// The channel's share, ampere.
    pub(super) channel: f64,
    /// Slope with the gate-source voltage, siemens.
    pub(super) by_gate: f64,
    /// Slope with the drain-source voltage, siemens.
    pub(super) by_drain: f64,
}

impl Transistor {
    pub(super) fn new(mos: &Mos) -> Self {
        let sign = match mos.channel {
            Channel::N => 1.0,
            Channel::P => -1.0,
        };
        Transistor {
            sign,
            threshold: sign * mos.threshold,
            gain: mos.gain,
            body: Diode::new(&mos.body),
        }
    }

    /// Current at a gate-source and drain-source voltage. With drain below
    /// source (in the sense of an N channel) the two change places.
    pub(super) fn drain(&self, gate: f64, drain: f64) -> Drain {
        let (gate, drain) = (self.sign * gate, self.sign * drain);
        let (amps, by_gate, by_drain) = if drain >= 0.0 {
            self.square(gate - self.threshold, drain)
        } else {
            let (amps, over, across) = self.square(gate - drain - self.threshold, -drain);
            (-amps, -over, over + across)
        };
        let (back, back_slope) = self.body.current(-drain);
        Drain {
            amps: self.sign * (amps - back),
            channel: self.sign * amps,
            by_gate,
            by_drain: by_drain + back_slope,
        }
    }

    /// Channel current for an overdrive and a forward voltage, with slopes.
    fn square(&self, over: f64, across: f64) -> (f64, f64, f64) {
        if over <= 0.0 {
            (0.0, 0.0, 0.0)
        } else if across < over {
            (
                self.gain * (over - across / 2.0) * across,
                self.gain * across,
                self.gain * (over - across),
            )
        } else {
            (self.gain * over * over / 2.0, self.gain * over, 0.0)
        }
    }

    /// Limits the drain-source step: at most a volt, and the body diode's own
    /// limit.
    pub(super) fn limit_drain(&self, wanted: f64, from: f64) -> (f64, bool) {
        let (near, cut) = limit_gate(wanted, from);
        let (body, limited) = self.body.limit(-self.sign * near, -self.sign * from);
        (-self.sign * body, cut || limited)
    }
}

/// Limits a control voltage's step to a volt.
pub(super) fn limit_gate(wanted: f64, from: f64) -> (f64, bool) {
    let step = wanted - from;
    if step.abs() > 1.0 {
        (from + step.signum(), true)
    } else {
        (wanted, false)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::network::Junction;

    #[test]
    fn slopes_are_derivatives_in_both_directions_and_polarities() {
        for (channel, threshold) in [(Channel::N, 1.0), (Channel::P, -1.0)] {
            let t = Transistor::new(&Mos {
                channel,
                threshold,
                gain: 0.05,
                body: Junction::new(1e-14, 1.0),
            });
            for gate in [-3.3, -0.4, 0.0, 0.7, 2.5] {
                for forward in [-0.6, -0.3, 0.05, 0.4, 3.0] {
                    let drain = t.sign * forward;
                    let h = 1e-7;
                    let d = t.drain(gate, drain);
                    let g =
                        (t.drain(gate + h, drain).amps - t.drain(gate - h, drain).amps) / (2.0 * h);
                    let s =
                        (t.drain(gate, drain + h).amps - t.drain(gate, drain - h).amps) / (2.0 * h);
                    let near = |a: f64, b: f64| (a - b).abs() <= 1e-5 * b.abs() + 1e-7;
                    assert!(near(g, d.by_gate), "{channel:?} {gate} {drain}");
                    assert!(near(s, d.by_drain), "{channel:?} {gate} {drain}");
                }
            }
        }
    }
}
