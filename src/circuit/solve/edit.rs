//! Changes of a circuit that a fault or a bench condition makes.

use super::Work;
use crate::circuit::edit::{Edit, TestSource};
use crate::circuit::junction::Diode;
use crate::circuit::law::{Law, Limit, Supply};
use crate::circuit::linear::Linear;
use crate::circuit::network::{Element, ElementId, Network, NetworkError, Node};

/// Adds the port of an edit, or changes the law of the element it touches.
/// Returns the port whose law holds the edit's value.
pub(super) fn place_edit(
    network: &Network,
    linear: &Linear,
    port_of: &[Option<usize>],
    work: &mut Work,
    edit: &Edit,
) -> Result<Option<usize>, NetworkError> {
    let check_nodes = |a: Node, b: Node| match [a, b].into_iter().find(|n| !network.has_node(*n)) {
        Some(node) => Err(NetworkError::UnknownNode {
            element: "edit".to_owned(),
            node: node.index(),
        }),
        None => Ok(()),
    };
    match *edit {
        Edit::Bridge { a, b, ohms } => {
            check_nodes(a, b)?;
            check_value("resistance", ohms, ohms > 0.0 && ohms.is_finite())?;
            work.places.push(linear.across(a, b));
            work.laws.push(Law::Linear { y: ohms, u: 1.0 });
        }
        Edit::Probe { red, black, source } => {
            check_nodes(red, black)?;
            check_source(&source)?;
            work.places.push(linear.across(red, black));
            work.laws.push(Law::Supply(Supply {
                volts: source.volts,
                series: source.series,
                limit: Limit::new(source.volts, source.gives, source.takes),
            }));
        }
        Edit::InSeries { element, ohms } if ohms < f64::INFINITY => {
            check_value("resistance", ohms, ohms >= 0.0)?;
            let known = fitted(network, element, "a resistor, source or junction")?;
            match (known, linear.branch(element), port_of[element.index()]) {
                (Element::Junction { .. }, _, Some(port)) => {
                    if let Law::Junction(diode, _) = &mut work.laws[port] {
                        diode.rs += ohms;
                    }
                    return Ok(Some(port));
                }
                (known, Some(branch), _) => {
                    let source = matches!(known, Element::Source { .. });
                    work.places.push(linear.in_branch(branch, source));
                    work.laws.push(Law::Linear { y: 1.0, u: ohms });
                }
                _ => return Err(unknown(element, "a resistor, source or junction")),
            }
        }
        Edit::Saturation { element, factor } => {
            check_value("factor", factor, factor > 0.0 && factor.is_finite())?;
            let known = fitted(network, element, "a junction")?;
            let (Element::Junction { junction, .. }, Some(port)) =
                (known, port_of[element.index()])
            else {
                return Err(unknown(element, "a junction"));
            };
            if let Law::Junction(diode, _) = &mut work.laws[port] {
                let mut bent = *junction;
                bent.saturation = diode.is * factor;
                bent.series = diode.rs;
                *diode = Diode::new(&bent);
            }
            return Ok(Some(port));
        }
        Edit::InSeries { element, .. } | Edit::Remove { element } => {
            let known = fitted(network, element, "a fitted element")?;
            if work.removed.contains(&element) {
                return Ok(None);
            }
            work.removed.push(element);
            match (known, linear.branch(element), port_of[element.index()]) {
                (Element::Junction { .. } | Element::Mos { .. }, _, Some(port)) => {
                    work.laws[port] = Law::Gone(linear.placeholder(element));
                    return Ok(None);
                }
                (Element::Source { .. }, _, Some(port)) => {
                    // Its port is there already, for its limits.
                    work.laws[port] = Law::Linear { y: 0.0, u: 1.0 };
                    return Ok(None);
                }
                (Element::Current { from, to, amps }, ..) => {
                    work.places.push(linear.across(*from, *to));
                    work.laws.push(Law::Constant(-amps));
                }
                (known, Some(branch), _) => {
                    let source = matches!(known, Element::Source { .. });
                    work.places.push(linear.in_branch(branch, source));
                    work.laws.push(Law::Linear { y: 0.0, u: 1.0 });
                }
                _ => return Ok(None),
            }
        }
    }
    Ok(Some(work.laws.len() - 1))
}

pub(super) fn unknown(element: ElementId, wanted: &'static str) -> NetworkError {
    NetworkError::UnknownElement {
        element: element.index(),
        wanted,
    }
}

pub(super) fn fitted<'a>(
    network: &'a Network,
    id: ElementId,
    wanted: &'static str,
) -> Result<&'a Element, NetworkError> {
    network.element(id).ok_or_else(|| unknown(id, wanted))
}

fn check_value(what: &'static str, value: f64, good: bool) -> Result<(), NetworkError> {
    if good {
        return Ok(());
    }
    Err(NetworkError::BadValue {
        element: "edit".to_owned(),
        what,
        value,
        wanted: "above 0 and finite",
    })
}

fn check_source(source: &TestSource) -> Result<(), NetworkError> {
    check_value("voltage", source.volts, source.volts.is_finite())?;
    let series = source.series;
    check_value(
        "series resistance",
        series,
        series >= 0.0 && series.is_finite(),
    )?;
    check_value("largest current given", source.gives, source.gives >= 0.0)?;
    check_value("largest current taken", source.takes, source.takes >= 0.0)
}
