//! Faults of a circuit, as changes to it.
//!
//! A fault with a size that nobody knows (how leaky, how resistive) is spread
//! evenly over the logarithm of its range and becomes a few weighted
//! [`Variant`]s, the nodes of a quadrature.
//!
//! An open takes the element out altogether, rather than put a large resistance in
//! its place: how large would decide what a floating pin reads. What remains is
//! the insulation of the board, one number for the whole circuit
//! ([`Network::set_board_leakage`]); [`BOARD_LEAKAGE`] is above the top range
//! of a meter, so that an open line reads OL, and it ties a floating pin to
//! ground, so that the pin reads 0 V through a voltmeter.

use super::edit::Edit;
use super::network::{ElementId, Network, NetworkError, Node};
use super::quadrature::gauss_legendre;

/// Insulation of a clean board around one line, ohm. Common practice, no
/// source; a wet or dirty board is a leak, that is a fault.
pub const BOARD_LEAKAGE: f64 = 1e9;

/// A size between two bounds, its logarithm evenly spread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    low: f64,
    high: f64,
}

/// The smallest leak, ohm: what conducts better is a short. Common practice, no
/// source.
const SMALLEST_LEAK: f64 = 5.0;
/// A leak of more than so many times the resistance that is there anyway breaks
/// nothing. Common practice, no source.
const LEAK_BESIDE: f64 = 100.0;
/// The largest leak, ohm: beyond lies the insulation of a clean board. Common
/// practice, no source.
const LARGEST_LEAK: f64 = 100e6;
/// A resistor has changed if it is off by more than this share of its value:
/// twice its usual tolerance. Common practice, no source.
const CHANGED: f64 = 0.1;

impl Range {
    /// A short, ohm: half shorts are as common as hard ones. Common practice, no
    /// source.
    pub const SHORT: Range = Range {
        low: 0.05,
        high: 25.0,
    };
    /// A bad joint or contact, ohm: from hardly worse than a good one to one that
    /// a meter shows as open. Common practice, no source.
    pub const RESISTIVE: Range = Range {
        low: 1.0,
        high: 100e6,
    };
    /// Factor on the saturation current of a damaged junction. A factor of ten is
    /// some 80 mV, so that the junction conducts from 0.3 V lower to 0.3 V higher
    /// than it should. Common practice, no source.
    pub const DAMAGED: Range = Range {
        low: 1e-4,
        high: 1e4,
    };

    /// A leak, ohm, where the healthy circuit has so many ohms between the same
    /// nodes: from 5 ohm to a hundred times that, at least to 500 ohm and at most
    /// to 100 megohm.
    #[must_use]
    pub fn leak(healthy: f64) -> Self {
        let least = LEAK_BESIDE * SMALLEST_LEAK;
        Range {
            low: SMALLEST_LEAK,
            high: (LEAK_BESIDE * healthy).clamp(least, LARGEST_LEAK),
        }
    }

    /// What a resistor of so many ohms has gained where it has gone high, ohm:
    /// from a tenth of its value to an open.
    #[must_use]
    pub fn gone_high(ohms: f64) -> Self {
        let low = CHANGED * ohms;
        Range {
            low,
            high: Range::RESISTIVE.high.max(LEAK_BESIDE * low),
        }
    }

    /// Between two bounds in either order.
    ///
    /// # Errors
    /// If a bound is not above 0 and finite.
    pub fn new(one: f64, other: f64) -> Result<Self, NetworkError> {
        for value in [one, other] {
            if !(value > 0.0 && value.is_finite()) {
                return Err(NetworkError::BadValue {
                    element: "fault".to_owned(),
                    what: "size",
                    value,
                    wanted: "above 0 and finite",
                });
            }
        }
        Ok(Range {
            low: one.min(other),
            high: one.max(other),
        })
    }

    /// Just one size.
    ///
    /// # Errors
    /// As [`new`](Self::new).
    pub fn exactly(size: f64) -> Result<Self, NetworkError> {
        Range::new(size, size)
    }

    /// Lower bound.
    #[must_use]
    pub fn low(&self) -> f64 {
        self.low
    }

    /// Upper bound.
    #[must_use]
    pub fn high(&self) -> f64 {
        self.high
    }

    fn width(&self) -> f64 {
        (self.high / self.low).ln()
    }
}

/// A fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fault {
    /// An element does not connect: an open part, a lifted pin, a torn trace,
    /// a missing pull-up, a blown clamp.
    Open(ElementId),
    /// Two nodes are joined that should not be, or a part is shorted.
    Short {
        /// One node.
        a: Node,
        /// The other.
        b: Node,
        /// Ohm.
        ohms: Range,
    },
    /// Current flows beside the way it should.
    Leaky {
        /// One node.
        a: Node,
        /// The other.
        b: Node,
        /// Ohm.
        ohms: Range,
    },
    /// An element has too much resistance: a bad joint, a tarnished contact.
    Resistive {
        /// The element: a resistor, source or junction.
        element: ElementId,
        /// Ohm on top of its own.
        ohms: Range,
    },
    /// A junction that is damaged towards either side but still a junction.
    Damaged {
        /// The junction.
        element: ElementId,
        /// Factor on its saturation current.
        saturation: Range,
    },
}

impl Fault {
    /// A short across an element.
    ///
    /// # Errors
    /// If the network does not have the element.
    pub fn short_across(network: &Network, id: ElementId) -> Result<Self, NetworkError> {
        let (a, b) = ends(network, id)?;
        let ohms = Range::SHORT;
        Ok(Fault::Short { a, b, ohms })
    }

    /// A leak across an element.
    ///
    /// # Errors
    /// If the network does not have the element.
    pub fn leak_across(
        network: &Network,
        id: ElementId,
        ohms: Range,
    ) -> Result<Self, NetworkError> {
        let (a, b) = ends(network, id)?;
        Ok(Fault::Leaky { a, b, ohms })
    }

    /// Natural logarithm of how many times the largest size is the smallest; 0
    /// where there is no unknown size.
    #[must_use]
    pub fn span(&self) -> f64 {
        self.range().map_or(0.0, |r| r.width())
    }

    /// The change, its size at a share of the way from the smallest (0) to the
    /// largest (1) on a logarithmic scale.
    #[must_use]
    pub fn at(&self, share: f64) -> Edit {
        let size = |r: Range| r.low * (r.width() * share).exp();
        self.edit(self.range().map_or(0.0, size))
    }

    fn range(&self) -> Option<Range> {
        match *self {
            Fault::Open(_) => None,
            Fault::Short { ohms, .. } | Fault::Leaky { ohms, .. } => Some(ohms),
            Fault::Resistive { ohms, .. } => Some(ohms),
            Fault::Damaged { saturation, .. } => Some(saturation),
        }
    }

    fn edit(&self, size: f64) -> Edit {
        match *self {
            Fault::Open(element) => Edit::Remove { element },
            Fault::Short { a, b, .. } | Fault::Leaky { a, b, .. } => {
                Edit::Bridge { a, b, ohms: size }
            }
            Fault::Resistive { element, .. } => Edit::InSeries {
                element,
                ohms: size,
            },
            Fault::Damaged { element, .. } => Edit::Saturation {
                element,
                factor: size,
            },
        }
    }
}

fn ends(network: &Network, id: ElementId) -> Result<(Node, Node), NetworkError> {
    let element = network.element(id).ok_or(NetworkError::UnknownElement {
        element: id.index(),
        wanted: "an element",
    })?;
    Ok(element.ends())
}

/// How far the logarithm of an edit's size reaches below and above where it
/// was put.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reach {
    /// Which of the edits.
    pub edit: usize,
    /// To the lower end of its cell, 0 or below.
    pub down: f64,
    /// To the upper end, 0 or above.
    pub up: f64,
}

/// One size of each fault, with its share of all sizes.
#[derive(Clone, Debug, PartialEq)]
pub struct Variant {
    /// Share; all variants of a set of faults add up to 1.
    pub weight: f64,
    /// The changes, one for each fault in order.
    pub edits: Vec<Edit>,
    /// Reach of those sizes that are not exact.
    pub reaches: Vec<Reach>,
}

/// Width of the logarithm of a size that one step of it may stand for, where
/// sizes are gone through finely and coarsely: factors of about three and thirty.
const STEP: (f64, f64) = (1.2, 3.4);

/// Sizes of one fault, of so wide a logarithm: 8 and more for a single unknown
/// size, fewer each when several are unknown, since all combinations are taken.
fn order(unknown: usize, width: f64) -> usize {
    let enough = (width / STEP.0).ceil() as usize;
    match unknown {
        0 | 1 => enough.clamp(8, 16),
        2 => (enough / 2).clamp(4, 6),
        3 => 3,
        4..=6 => 2,
        _ => 1,
    }
}

/// How finely unknown sizes are gone through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Grain {
    /// For a reading that was taken.
    Fine,
    /// For one that is only predicted: one size, or an odd number of them, since
    /// the middle size decides whether most can be seen.
    Coarse,
}

/// The variants of some faults that are present together. No fault at all is
/// one variant without edits.
#[must_use]
pub fn variants(faults: &[Fault]) -> Vec<Variant> {
    variants_of(faults, Grain::Fine)
}

/// The same as fine as asked for.
#[must_use]
pub fn variants_of(faults: &[Fault], grain: Grain) -> Vec<Variant> {
    let is_unknown = |f: &&Fault| f.range().is_some_and(|r| r.width() > 0.0);
    let unknown = faults.iter().filter(is_unknown).count();
    let sizes = |width: f64| match grain {
        Grain::Fine => order(unknown, width),
        Grain::Coarse => {
            let most = order(unknown, width).min((width / STEP.1).ceil() as usize | 1);
            (most - 1) | 1
        }
    };
    let mut all = vec![Variant {
        weight: 1.0,
        edits: Vec::new(),
        reaches: Vec::new(),
    }];
    for (i, fault) in faults.iter().enumerate() {
        let Some(range) = fault.range() else {
            all.iter_mut().for_each(|v| v.edits.push(fault.edit(0.0)));
            continue;
        };
        let width = range.width();
        if width == 0.0 {
            let edit = fault.edit(range.low);
            all.iter_mut().for_each(|v| v.edits.push(edit));
            continue;
        }
        let rule = gauss_legendre(sizes(width));
        all = all
            .iter()
            .flat_map(|before| {
                rule.iter().map(move |cell| {
                    let mut variant = before.clone();
                    variant.weight *= cell.weight;
                    let size = range.low * (width * cell.node).exp();
                    variant.edits.push(fault.edit(size));
                    variant.reaches.push(Reach {
                        edit: i,
                        down: width * (cell.low - cell.node),
                        up: width * (cell.high - cell.node),
                    });
                    variant
                })
            })
            .collect();
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_add_up_and_cells_fill_the_range() {
        let mut net = Network::new();
        let a = net.node("a");
        let leak = Fault::Leaky {
            a,
            b: Node::GROUND,
            ohms: Range::leak(50.0),
        };
        for count in 0..4 {
            let all = variants(&vec![leak; count]);
            let sum: f64 = all.iter().map(|v| v.weight).sum();
            assert!((sum - 1.0).abs() < 1e-12);
            assert!(all.iter().all(|v| v.edits.len() == count));
        }
        let one = variants(&[leak]);
        let reach: f64 = one
            .iter()
            .map(|v| v.reaches[0].up - v.reaches[0].down)
            .sum();
        assert!((reach - 1000.0_f64.ln()).abs() < 1e-12);
    }

    #[test]
    fn impossible_sizes_are_refused() {
        assert!(Range::new(0.0, 1.0).is_err());
        assert!(Range::exactly(f64::NAN).is_err());
        assert!(Range::new(10.0, 1.0).is_ok_and(|r| r.low() == 1.0 && r.high() == 10.0));
    }
}
