//! What is done to a device.

use super::FaultId;

/// What a remedy does to the device.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Change {
    /// Faults it clears, each with the chance that it takes.
    pub clears: Vec<(FaultId, f64)>,
    /// Faults it may bring about, each with the chance.
    pub brings: Vec<(FaultId, f64)>,
}

/// What is left, each time, of the chance that a remedy takes that was done
/// before: whether it takes lies mostly in the fault, and only badly done work is
/// worth doing again. Common practice, no source.
const DONE_BEFORE: f64 = 0.2;

impl Change {
    /// The same done once more after so many times.
    pub fn again(&self, times: usize) -> Change {
        let left = DONE_BEFORE.powi(times as i32);
        let clears = self.clears.iter().map(|(f, takes)| (*f, takes * left));
        Change {
            clears: clears.collect(),
            brings: self.brings.clone(),
        }
    }

    /// Whether it clears a fault or may bring it.
    pub fn touches(&self, fault: FaultId) -> bool {
        let of = |all: &[(FaultId, f64)]| all.iter().any(|(f, p)| *f == fault && *p > 0.0);
        of(&self.clears) || of(&self.brings)
    }

    /// The chance that it brings about any fault.
    pub fn breaks(&self) -> f64 {
        1.0 - self.brings.iter().map(|(_, p)| 1.0 - p).product::<f64>()
    }
}
