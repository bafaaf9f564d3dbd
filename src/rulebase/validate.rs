//! From the raw form to the typed one, collecting every problem.
//!
//! Each file here reads one section of the rule files. They share
//! [`validator`], and what stands on it: [`names`], [`numbers`], [`patterns`].
//!
//! | rule file | sections |
//! | --- | --- |
//! | bench | [`bench`], [`gates`], [`mistaken`] |
//! | line | [`template`] of [`parts`] between [`nodes`], with [`values`] |
//! | meters | [`meters`] |
//! | pack | [`pack`]: [`items`], [`functions`], [`lines`] with [`harms`] in [`harm_words`], [`symptoms`], [`pack_tests`], [`remedies`] |
//! | device | [`devices`], [`wired`], [`good`] |

mod alike;
mod bench;
mod coverage;
mod devices;
mod functions;
mod gates;
mod good;
mod harm_words;
mod harms;
mod items;
mod lines;
mod links;
mod manner;
mod measures;
mod meters;
mod mistaken;
mod named;
mod names;
mod nodes;
mod numbers;
mod pack;
mod pack_tests;
mod part_words;
mod parts;
mod patterns;
mod quantity;
mod remedies;
mod shows;
mod steps;
mod symptoms;
mod template;
mod validator;
mod values;
mod wired;

pub use devices::DEVICE_KINDS;
pub use names::slug;

use super::kept::Kept;
use super::problem::Problem;
use super::raw::{AnyFile, RawBench, RawDevice, RawLine, RawMeters, RawPack};
use super::source::SourceFile;
use super::typed::Rulebase;
use crate::bench::Bench;
use named::Named;
use validator::Validator;

/// Turns the raw files into a rule base; `complete` says that none is missing
/// that others may refer to. Whatever is wrong is added to
/// `problems`; the rule base is complete only if nothing was.
pub(super) fn validate(
    raw: &[AnyFile],
    files: &[SourceFile],
    complete: bool,
    problems: &mut Vec<Problem>,
) -> Rulebase {
    let raw = Sorted::new(raw);
    let mut v = Validator::new(files, complete, problems);
    let mut bench = Bench::default();
    let mut past = Vec::new();
    let mut hazards = Vec::new();
    for b in &raw.benches {
        v.name_words(&b.words);
        for (id, h) in &b.history {
            past.push((id.value.clone(), v.patterns(&h.hear)));
        }
        for (_, g) in &b.gates {
            hazards.push(v.patterns(&g.hear));
        }
        v.bench(b, &mut bench);
        v.usual_mistakes(b);
        v.gates(b, &mut bench);
    }
    let kinds = v.each_once(Named::Line, &raw.lines, |l| &l.line);
    let templates = kinds.iter().map(|l| v.template(l, &bench)).collect();
    let mut meters = Vec::new();
    for m in &raw.meters {
        v.meters(m, &mut meters);
    }
    let once = v.each_once(Named::Pack, &raw.packs, |p| &p.pack);
    let packs: Vec<_> = once.iter().map(|p| v.pack(p, &bench, &kinds)).collect();
    let mut devices = Vec::new();
    for d in v.each_once(Named::Device, &raw.devices, |d| &d.device) {
        let mut device = v.device(d, &packs);
        device.lines = v.wired(d, &raw.packs, &packs, &kinds, &bench);
        let more = v.device_lines(d, &raw.packs, &packs, &kinds, &bench);
        device.lines.extend(more);
        device.good = v.good_readings(d, &packs, &meters);
        devices.push(device);
    }
    if complete {
        v.only_on(&raw.packs, &raw.devices);
    }
    v.gather_unsourced();
    let sources = v.tally;
    Rulebase {
        packs,
        templates,
        meters,
        devices,
        bench,
        past,
        hazards,
        sources,
        fingerprint: String::new(),
        files: Vec::new(),
        without: Vec::new(),
        kept: Kept::default(),
    }
}

/// The raw files by what they are, each kind in the order of loading.
#[derive(Default)]
struct Sorted<'r> {
    benches: Vec<&'r RawBench>,
    lines: Vec<&'r RawLine>,
    meters: Vec<&'r RawMeters>,
    packs: Vec<&'r RawPack>,
    devices: Vec<&'r RawDevice>,
}

impl<'r> Sorted<'r> {
    fn new(files: &'r [AnyFile]) -> Self {
        let mut sorted = Sorted::default();
        for f in files {
            match f {
                AnyFile::Bench(b) => sorted.benches.push(b),
                AnyFile::Line(l) => sorted.lines.push(l),
                AnyFile::Meters(m) => sorted.meters.push(m),
                AnyFile::Pack(p) => sorted.packs.push(p),
                AnyFile::Device(d) => sorted.devices.push(d),
            }
        }
        sorted
    }
}
