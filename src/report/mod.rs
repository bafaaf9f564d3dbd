//! Reports: the trail of a job, as something to print, send or file.
//!
//! Two readers are served. The *bench* report is for colleagues, a month later
//! or learning the trade: every step, what was suspected after it, and why the
//! next one was advised. The *customer* report says in plain words what was
//! told, what was wrong, done, shown to work, checked and left undone, and
//! nothing else: no probabilities, no identifiers, no remarks. The two are made from different sheets
//! (`sheet`), so that what a customer must not read is not there to be printed.
//!
//! All text in a trail was typed by someone. It is cleaned once, when the sheet
//! is made (`words`), and escaped by whatever writes it: the templates escape
//! by themselves, [`markdown`](markdown()) escapes every character that could
//! make structure.
//!
//! | file | what it makes |
//! | --- | --- |
//! | `templates/trail_base.html` | the look of both pages |
//! | `templates/trail_bench.html` | the bench page |
//! | `templates/trail_customer.html` | the customer's page |
//! | `templates/course.svg` | the course of the belief, alone or in the bench page |
//! | `templates/line.svg` | a line with what is known of it, alone or in the bench page |
//! | `templates/simulation.svg` | what simulated jobs cost, and whether what is shown is true |
//! | `templates/tree.svg`, `templates/tree.html` | a plan as a tree, alone and on a page for the wall |

mod drill;
mod line;
mod markdown;
mod plot;
mod sheet;
mod simulation;
mod svg;
#[cfg(test)]
mod tests;
mod tree;
mod words;

use askama::Template;

use crate::job::line::LineView;
use crate::job::trail::Trail;
use crate::job::tree::TreeView;
use crate::simulate::{Comparison, SimulationView};
pub use drill::{debrief_text, progress_text, trainees_text};
use line::Picture;
use sheet::{BenchSheet, CustomerSheet};
use svg::{Course, Room};
pub(crate) use words::turns_direction;

/// Who is going to read a report.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Audience {
    /// Colleagues: everything, with probabilities and reasons.
    Bench,
    /// The owner of the device: what was checked, done and shown to work.
    Customer,
}

/// The trail as Markdown (CommonMark, no raw HTML, no tables).
pub fn markdown(trail: &Trail, audience: Audience) -> String {
    match audience {
        Audience::Bench => markdown::bench(&BenchSheet::new(trail)),
        Audience::Customer => markdown::customer(&CustomerSheet::new(trail)),
    }
}

/// The trail as one HTML page that needs nothing else: no scripts, no links,
/// styles inside. It prints on A4 and reads on a phone.
pub fn html(trail: &Trail, audience: Audience) -> Result<String, askama::Error> {
    match audience {
        Audience::Bench => {
            let courses = if svg::has_course(trail) {
                vec![
                    Course::new(trail, Room::Page),
                    Course::new(trail, Room::Phone),
                ]
            } else {
                Vec::new()
            };
            BenchPage {
                sheet: BenchSheet::new(trail),
                courses,
                lines: (trail.lines.iter().enumerate())
                    .map(|(n, l)| (l.entries, Picture::new(l, &format!("line-{}", n + 1))))
                    .collect(),
            }
            .render()
        }
        Audience::Customer => CustomerPage {
            sheet: CustomerSheet::new(trail),
        }
        .render(),
    }
}

/// The course of the belief as an SVG of its own, 720 wide. For the bench.
pub fn course(trail: &Trail) -> Result<String, askama::Error> {
    CoursePicture {
        course: Course::new(trail, Room::Page),
    }
    .render()
}

/// A line of a job in plain characters, within so many columns and never wider
/// than 60.
pub fn line_text(line: &LineView, columns: usize) -> String {
    line::text(line, columns)
}

/// A line of a job as an SVG of its own, 480 wide. For the bench.
pub fn line_picture(line: &LineView) -> Result<String, askama::Error> {
    LinePicture {
        line: Picture::new(line, "line"),
    }
    .render()
}

/// A plan in plain characters.
pub fn tree_text(tree: &TreeView, columns: usize) -> String {
    tree::text(tree, columns)
}

/// A plan as an SVG of its own.
pub fn tree_picture(tree: &TreeView) -> Result<String, askama::Error> {
    TreePicture {
        tree: tree::Picture::new(tree),
    }
    .render()
}

/// A plan as one HTML page that needs nothing else, for A4 across.
pub fn tree_html(tree: &TreeView) -> Result<String, askama::Error> {
    TreePage {
        tree: tree::Picture::new(tree),
    }
    .render()
}

/// What a simulation came to, in plain characters.
pub fn simulation_text(simulation: &SimulationView, columns: usize) -> String {
    simulation::text(simulation, columns)
}

/// What two sets of rules came to on the same cases, in plain characters.
pub fn comparison_text(comparison: &Comparison, columns: usize) -> String {
    simulation::comparison(comparison, columns)
}

/// What jobs cost with each way of working, and whether what the advice shows is
/// true, as an SVG of its own.
pub fn simulation_picture(simulation: &SimulationView) -> Result<String, askama::Error> {
    SimulationPicture {
        plot: plot::Plot::new(simulation),
    }
    .render()
}

#[derive(Template)]
#[template(path = "simulation.svg")]
struct SimulationPicture {
    plot: plot::Plot,
}

#[derive(Template)]
#[template(path = "tree.svg")]
struct TreePicture {
    tree: tree::Picture,
}

#[derive(Template)]
#[template(path = "tree.html")]
struct TreePage {
    tree: tree::Picture,
}

#[derive(Template)]
#[template(path = "trail_bench.html")]
struct BenchPage {
    sheet: BenchSheet,
    /// The same course twice, for paper and for a phone; the style shows one.
    courses: Vec<Course>,
    /// The lines that were read, each with the number of the entry after which
    /// it is shown.
    lines: Vec<(usize, Picture)>,
}

#[derive(Template)]
#[template(path = "trail_customer.html")]
struct CustomerPage {
    sheet: CustomerSheet,
}

#[derive(Template)]
#[template(path = "course.svg")]
struct CoursePicture {
    course: Course,
}

#[derive(Template)]
#[template(path = "line.svg")]
struct LinePicture {
    line: Picture,
}
