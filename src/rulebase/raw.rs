//! The rule files as they are written: every key an author may type.
//!
//! These types are read by [`super::decode`] and are also what
//! `halfsplit rules schema` prints. They keep the place of every name and
//! number, so that [`super::validate`] can point at mistakes.
//!
//! Long, because every key of every kind of file stands here, shapes and nothing else.

use schemars::JsonSchema;
use serde::Deserialize;

use super::shape::{Amount, Ends, Entries, Harms, Need};
use super::source::At;

/// A rule file: a pack of one function area, a line template, meters, a device
/// description, or the shop's bench. Which one it is follows from its first
/// key.
#[derive(Debug, JsonSchema)]
#[schemars(untagged)]
#[allow(clippy::large_enum_variant)]
pub enum AnyFile {
    /// A function area.
    Pack(RawPack),
    /// A device description.
    Device(RawDevice),
    /// Bench conditions, cautions and history questions.
    Bench(RawBench),
    /// A kind of electrical line.
    Line(RawLine),
    /// Meters.
    Meters(RawMeters),
}

/// One function area: what can be at fault, what it breaks, how to find out
/// and how to mend it.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawPack {
    /// Identifier of the pack: lower case letters, digits and hyphens.
    pub pack: At<String>,
    /// One sentence on what the pack covers.
    pub about: Option<String>,
    /// What one copy on a device is called (camera, port). With it the pack
    /// may stand on a device several times; what is under `shared` exists once.
    pub unit: Option<String>,
    /// Where the numbers come from that name no source nearer to them.
    pub source: Option<At<String>>,
    /// Of 1000 jobs with a complaint in this area: how many turn out to have
    /// nothing wrong.
    pub nothing_found: Option<At<f64>>,
    /// Of 1000 jobs with a complaint in this area: how many have two or more
    /// independent faults.
    pub two_or_more: Option<At<f64>>,
    /// Lists of words by name, as parts of patterns: a pattern of the pack may
    /// have `{name}` in their place.
    #[serde(default)]
    pub words: Entries<At<String>>,
    /// Words that name the area, as patterns: what is said in the same clause
    /// is said of it, unless another area is named nearer.
    #[serde(default)]
    pub topic: Vec<At<String>>,
    /// The symptom of a complaint that no pack hears. One pack has it: its
    /// symptoms give way to those of every other pack in the same clause.
    pub unheard: Option<At<String>>,
    /// What exists once per unit.
    #[serde(default)]
    pub items: Entries<RawItem>,
    /// What exists once per device, however many units there are.
    #[serde(default)]
    pub shared: Entries<RawItem>,
    /// What the owner or the device can be seen to do, and what it needs.
    #[serde(default)]
    pub functions: Entries<RawFunction>,
    /// Electrical lines of the area, and what its faults do to them.
    #[serde(default)]
    pub lines: Entries<RawUse>,
    /// What customers say.
    #[serde(default)]
    pub symptoms: Entries<RawSymptom>,
    /// What can be done to learn.
    #[serde(default)]
    pub tests: Entries<RawTest>,
    /// What can be done to mend.
    #[serde(default)]
    pub remedies: Entries<RawRemedy>,
    /// By hazard (a gate of the bench), the faults that its check finds.
    #[serde(default)]
    pub hazards: Entries<RawHazard>,
    /// The smallest form: faults with their prior probability (0 to 1).
    #[serde(default)]
    pub faults: Entries<RawPrior>,
    /// The smallest form: yes-or-no observations tied to those faults.
    #[serde(default)]
    pub observations: Entries<RawObservation>,
}

/// Anything that can be at fault.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawItem {
    /// Name on screens. `{unit}` stands for the name of the copy.
    pub name: At<String>,
    /// One of software, setting, part, interconnect, board.
    pub r#where: At<String>,
    /// Fault modes with how many of 1000 jobs they are.
    #[serde(default)]
    pub faults: Entries<RawFault>,
    /// Contacts that are seated anew when this item is fitted.
    #[serde(default)]
    pub mates: Vec<At<String>>,
    /// How the job's history multiplies the odds of every fault of the item.
    #[serde(default)]
    pub history: Entries<At<f64>>,
    /// How the kind of device multiplies them (0: not on this kind).
    #[serde(default)]
    pub kinds: Entries<At<f64>>,
    /// What the item does, in a sentence for a junior.
    pub explain: Option<String>,
    /// Where its numbers come from.
    pub source: Option<At<String>>,
}

/// A way an item fails. A bare number is the rate.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields, transform = or_number)]
pub struct RawFault {
    /// Of 1000 jobs with a complaint in this area.
    pub rate: At<f64>,
    /// Chance that the fault, when there, breaks a need of it at any one try
    /// (default 0.98; less for an intermittent fault).
    pub breaks: Option<At<f64>>,
    /// Name on screens, where the identifier does not read well.
    pub name: Option<String>,
    /// History multipliers of this fault alone.
    #[serde(default)]
    pub history: Entries<At<f64>>,
    /// Multipliers of this fault alone by the kind of device.
    #[serde(default)]
    pub kinds: Entries<At<f64>>,
    /// What it means, in a sentence for a junior.
    pub explain: Option<String>,
    /// Where its rate comes from. Multipliers rest on the source of the item.
    pub source: Option<At<String>>,
}

/// Something the owner or the device can be seen to do.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawFunction {
    /// Name on screens, a statement: "the camera shows a picture".
    pub name: At<String>,
    /// Items, single faults (`module.dead`) or other functions; a weaker need
    /// as `{lens.scratched: 0.6}`.
    pub needs: At<Vec<Need>>,
    /// Where weaker strengths come from.
    pub source: Option<At<String>>,
}

/// What customers say: either the loss of a function or, where no function
/// explains it, direct links.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawSymptom {
    /// Name on screens.
    pub name: At<String>,
    /// The function that is lost.
    pub loses: Option<At<String>>,
    /// How likely each fault shows this symptom (noisy-OR).
    #[serde(default)]
    pub links: Entries<At<f64>>,
    /// Of 1000 jobs with this symptom, in how many nothing is found; without
    /// it, as many as in the whole area.
    pub nothing_found: Option<At<f64>>,
    /// Bench conditions that a device with this symptom does not get into until
    /// something is done about it (a device that does not start).
    #[serde(default)]
    pub rules_out: Vec<At<String>>,
    /// Patterns that recognise it in free text (regular expressions, any case).
    #[serde(default)]
    pub hear: Vec<At<String>>,
    /// Patterns that recognise it only where the area is named by its `topic`.
    #[serde(default)]
    pub hear_in_topic: Vec<At<String>>,
    /// Patterns for the words of the `topic` that `hear-in-topic` has to be said
    /// of; without it, all of them.
    #[serde(default)]
    pub said_of: Vec<At<String>>,
    /// Names of the copies it is for (`scan engine`); without it, all.
    #[serde(default)]
    pub only_on: Vec<At<String>>,
    /// Where its numbers come from.
    pub source: Option<At<String>>,
}

/// Anything done to learn.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawTest {
    /// What to do and look for, as a question. For tests of a function, "yes"
    /// means it works. A measurement of a line can do without.
    pub ask: Option<At<String>>,
    /// ask, look, try, swap, measure or continuity.
    pub kind: Option<At<String>>,
    /// The function that is tried.
    pub tries: Option<At<String>>,
    /// An answer between yes and no: a word, and the fuller function that fails
    /// then though the tried one works.
    #[serde(default)]
    pub partly: Entries<At<String>>,
    /// A known-good part fitted here in place of this item.
    pub swaps_in: Option<At<String>>,
    /// This item tried in a known-good device.
    pub lends: Option<At<String>>,
    /// Items that are out of the picture while trying (another app, a safe start).
    #[serde(default)]
    pub without: Vec<At<String>>,
    /// The line that is measured, where, and what the meter is set to.
    pub measures: Option<RawMeasures>,
    /// Outcomes in order, the healthy one first; each further one lists the
    /// faults that lead to it. Several faults: the furthest outcome wins.
    #[serde(default)]
    pub shows: Entries<RawOutcome>,
    /// Chance of an outcome other than the healthy one with no fault at all.
    pub leak: Option<At<f64>>,
    /// Unit of a measured value (V, ohm, A, C), with `between` in `shows`.
    pub unit: Option<At<String>>,
    /// Minutes it takes, bench conditions not counted.
    pub minutes: Option<At<f64>>,
    /// Chance that the result is right; without it, what the bench says of this
    /// manner of test, else 0.97.
    pub reliability: Option<At<f64>>,
    /// For an outcome, the chance that it is reported though another is true.
    /// One without an entry follows from `reliability` or from the bench.
    #[serde(default)]
    pub mistaken: Entries<At<f64>>,
    /// For a hazard (a gate of the bench), the outcomes that are a sign of it.
    #[serde(default)]
    pub raises: Entries<Vec<At<String>>>,
    /// For a hazard, the value below which a reading is a sign of it, in the
    /// unit of the test.
    #[serde(default)]
    pub raises_below: Entries<At<f64>>,
    /// State the device must be in.
    #[serde(default)]
    pub conditions: Vec<At<String>>,
    /// Tools that are needed.
    #[serde(default)]
    pub tools: Vec<String>,
    /// Cautions shown before it.
    #[serde(default)]
    pub cautions: Vec<At<String>>,
    /// How to do it and why, in a sentence for a junior.
    pub explain: Option<String>,
    /// Names of the copies it is for (`scan engine`); without it, all.
    #[serde(default)]
    pub only_on: Vec<At<String>>,
    /// Symptoms whose complaint it is for; without it, all.
    #[serde(default)]
    pub only_for: Vec<At<String>>,
    /// Tests of the pack that come first, as long as they can be done.
    #[serde(default)]
    pub after: Vec<At<String>>,
    /// Where its numbers come from.
    pub source: Option<At<String>>,
}

/// A measurement of a line against ground.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawMeasures {
    /// Which line of the pack.
    pub line: At<String>,
    /// At which of its points.
    pub at: At<String>,
    /// volts, diode or ohms.
    pub mode: At<String>,
}

/// One outcome of a test.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", default)]
#[schemars(deny_unknown_fields)]
pub struct RawOutcome {
    /// The outcome in plain words.
    pub says: Option<String>,
    /// How likely each fault leads here.
    pub links: Entries<At<f64>>,
    /// Measured values from and to that count as this outcome.
    pub between: Option<At<(f64, f64)>>,
    /// Where these limits come from. Chances rest on the source of the test.
    pub source: Option<At<String>>,
}

/// What it says of the faults of a pack that the check of a hazard finds it.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawHazard {
    /// How likely the check finds the hazard because of each fault.
    pub links: Entries<At<f64>>,
    /// Chance that it finds the hazard with no fault of the pack.
    pub leak: At<f64>,
    /// Where its numbers come from.
    pub source: Option<At<String>>,
}

/// Anything done to mend.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawRemedy {
    /// What is done, as an order: "clean and reseat the connector".
    pub name: At<String>,
    /// Faults or items it clears, with the chance that it takes.
    pub clears: Entries<At<f64>>,
    /// Faults it may bring about, with the chance.
    #[serde(default)]
    pub may_break: Entries<At<f64>>,
    /// True for the plain seating of contacts, which fitting a part that
    /// `mates` with them also does.
    #[serde(default)]
    pub seating: bool,
    /// Parts of lines that it goes round with a wire. On a device where a wire
    /// would do harm at each of them, or that has none of them, the remedy is not
    /// there.
    #[serde(default)]
    pub bridges: Vec<At<String>>,
    /// Minutes it takes, bench conditions not counted.
    pub minutes: Option<At<f64>>,
    /// Cost of parts, in the shop's currency.
    pub parts: Option<At<f64>>,
    /// State the device must be in.
    #[serde(default)]
    pub conditions: Vec<At<String>>,
    /// Tools that are needed.
    #[serde(default)]
    pub tools: Vec<String>,
    /// Cautions shown before it.
    #[serde(default)]
    pub cautions: Vec<At<String>>,
    /// How to do it, in a sentence for a junior.
    pub explain: Option<String>,
    /// Names of the copies it is for (`scan engine`); without it, all.
    #[serde(default)]
    pub only_on: Vec<At<String>>,
    /// Where its numbers come from.
    pub source: Option<At<String>>,
}

/// A fault of the smallest form. A bare number is the prior.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields, transform = or_number)]
pub struct RawPrior {
    /// Probability before anything is seen, 0 to 1.
    pub prior: At<f64>,
    /// Name on screens.
    pub name: Option<String>,
    /// One of software, setting, part, interconnect, board (default part).
    pub r#where: Option<At<String>>,
    /// Where its number comes from.
    pub source: Option<At<String>>,
}

/// A yes-or-no observation of the smallest form: a noisy-OR. A strength is
/// the chance that its fault alone, without the leak, makes it "yes".
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawObservation {
    /// Strength of each fault.
    pub links: Entries<At<f64>>,
    /// Chance of "yes" with none of the faults (default 0).
    pub leak: Option<At<f64>>,
    /// Chance that the answer is right (default 1).
    pub reliability: Option<At<f64>>,
    /// The question on screens.
    pub ask: Option<String>,
    /// Minutes it takes (default 1).
    pub minutes: Option<At<f64>>,
    /// Where its numbers come from.
    pub source: Option<At<String>>,
}

/// A kind of electrical line, as a small circuit.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawLine {
    /// Identifier of the template.
    pub line: At<String>,
    /// One sentence on what it is.
    pub about: Option<String>,
    /// Where its numbers come from.
    pub source: Option<At<String>>,
    /// How fast it is, in bits per second of one wire (`400 kHz`); nothing for a
    /// supply or a slow signal.
    pub rate: Option<At<Amount>>,
    /// What on it a meter cannot show and an oscilloscope can, in a sentence or
    /// two.
    pub scope: Option<String>,
    /// Values by name, which a pack may give anew.
    #[serde(default)]
    pub values: Entries<At<Amount>>,
    /// Its parts, in the order of the path from the connector on.
    pub parts: Entries<RawPart>,
    /// Where a probe can be held, in the order of the path.
    pub points: Entries<RawPoint>,
    /// Contacts that are open while a bench condition holds.
    #[serde(default)]
    pub unplugged: Entries<At<String>>,
    /// The ends of the names of two halves that are built alike, such as
    /// `[-p, -n]` where there are `pad-p` and `pad-n`.
    #[serde(default)]
    pub halves: Vec<At<String>>,
}

/// A part of a line. One key says what it is and between which nodes it lies.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", default)]
#[schemars(deny_unknown_fields)]
pub struct RawPart {
    /// Plug and socket, touching.
    pub contact: Option<At<Ends>>,
    /// A solder joint or ball.
    pub joint: Option<At<Ends>>,
    /// A trace of a flex or board.
    pub trace: Option<At<Ends>>,
    /// A wire or cable.
    pub wire: Option<At<Ends>>,
    /// A resistor in series.
    pub resistor: Option<At<Ends>>,
    /// A ferrite bead.
    pub ferrite: Option<At<Ends>>,
    /// One winding of a filter or choke.
    pub filter: Option<At<Ends>>,
    /// A coil, also that of a loudspeaker.
    pub coil: Option<At<Ends>>,
    /// A fuse.
    pub fuse: Option<At<Ends>>,
    /// A load switch, from its input to its output.
    pub switch: Option<At<Ends>>,
    /// A data switch, from the near side to the far one; the device off, it is open.
    pub data_switch: Option<At<Ends>>,
    /// A resistor up to a supply.
    pub pull_up: Option<At<Ends>>,
    /// A resistor down to ground.
    pub pull_down: Option<At<Ends>>,
    /// A thermistor, to ground unless two nodes are given.
    pub thermistor: Option<At<Ends>>,
    /// A button at rest, to ground unless two nodes are given.
    pub button: Option<At<Ends>>,
    /// A diode, from the node that it leads from.
    pub diode: Option<At<Ends>>,
    /// A clamp, from ground to the node (and on to its `rail`, if it has one).
    pub clamp: Option<At<Ends>>,
    /// A string of light diodes, from its supply on.
    pub led_string: Option<At<Ends>>,
    /// A capacitor, to ground unless two nodes are given.
    pub capacitor: Option<At<Ends>>,
    /// A capacitor in series with the signal.
    pub coupling_capacitor: Option<At<Ends>>,
    /// The pin of a chip, with its two protection junctions and its leak.
    pub host_pin: Option<At<Ends>>,
    /// A transistor that shifts levels, from the lower side to the higher.
    pub shifter: Option<At<Ends>>,
    /// A supply at this node; beside `host-pin` and `clamp` the node of the
    /// supply that they lead to.
    pub rail: Option<At<Ends>>,
    /// Its value, or the name of one under `values`.
    pub is: Option<At<Amount>>,
    /// Of a rail: ohms to ground while the device is off.
    pub idle: Option<At<Amount>>,
    /// Of a rail: the most current that it gives.
    pub gives: Option<At<Amount>>,
    /// Of a rail: forward voltage at 1 mA of all that it feeds, from ground; `none`
    /// for a supply that feeds nothing but this line.
    pub junction: Option<At<Amount>>,
    /// Of a part that a line works without: share of all boards that
    /// have it (default 1).
    pub fitted: Option<At<f64>>,
    /// Of a shifter: the node of its gate.
    pub gate: Option<At<String>>,
    /// Name on screens, where the identifier does not read well.
    pub name: Option<String>,
    /// Whether it protects or limits, so that nothing may bypass it. Fuses,
    /// clamps and coupling capacitors do.
    pub protects: Option<bool>,
    /// Where its numbers come from.
    pub source: Option<At<String>>,
}

/// A place where a probe can be held. A bare text is its name.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields, transform = or_text)]
pub struct RawPoint {
    /// Name on screens.
    pub name: At<String>,
    /// The node, if the point is not called like it.
    pub at: Option<At<String>>,
    /// Minutes to get a probe there (default 1).
    pub minutes: Option<At<f64>>,
}

/// A line of a pack.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawUse {
    /// The template.
    pub line: At<String>,
    /// Name on screens: "control-bus data wire of the {unit}".
    pub name: At<String>,
    /// Values that differ from those of the template.
    #[serde(default)]
    pub with: Entries<At<Amount>>,
    /// What faults of the pack do to it.
    #[serde(default)]
    pub faults: Entries<At<Harms>>,
    /// Lines of this pack that are built alike, so that what one reads tells of
    /// the other.
    #[serde(default)]
    pub siblings: Vec<At<String>>,
    /// Where its numbers come from.
    pub source: Option<At<String>>,
}

/// Meters that are on the bench.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawMeters {
    /// The meters by name.
    pub meters: At<Entries<RawMeter>>,
    /// Where their numbers come from.
    pub source: Option<At<String>>,
}

/// A meter, as its manual describes it.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawMeter {
    /// Name on screens.
    pub name: String,
    /// Ohms of both leads with their contacts.
    pub leads: At<Amount>,
    /// DC volts.
    pub volts: RawVolts,
    /// Diode test.
    pub diode: RawRange,
    /// Resistance ranges, the lowest first.
    pub ohms: At<Vec<RawRange>>,
    /// Where its numbers come from.
    pub source: Option<At<String>>,
}

/// DC volts of a meter.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawVolts {
    /// Input resistance.
    pub input: At<Amount>,
    /// Largest reading.
    pub up_to: At<Amount>,
    /// Worth of the last digit.
    pub digit: At<Amount>,
    /// Per cent of the reading and counts of the last digit: `0.5 % + 2`.
    pub accuracy: At<String>,
}

/// A range in which a meter puts out a current.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawRange {
    /// Largest reading; above it the meter shows OL.
    pub up_to: At<Amount>,
    /// Voltage of the open leads.
    pub open: At<Amount>,
    /// The current that it puts out, if that is constant.
    pub current: Option<At<Amount>>,
    /// The resistance behind the open voltage, if the current is not constant.
    pub series: Option<At<Amount>>,
    /// Worth of the last digit.
    pub digit: At<Amount>,
    /// Per cent of the reading and counts of the last digit: `0.9 % + 3`.
    pub accuracy: At<String>,
}

/// A device: which packs it has and how often.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawDevice {
    /// Identifier of the description.
    pub device: At<String>,
    /// Name on screens.
    pub name: String,
    /// phone, tablet, laptop, handheld or board.
    pub kind: At<String>,
    /// Model this describes; absent for a generic description.
    pub model: Option<String>,
    /// Variant of the model.
    pub variant: Option<String>,
    /// Packs, each with its copies (`[]` for a pack without units).
    pub carries: Entries<Vec<RawCopy>>,
    /// Values that lines of a pack have on this device: pack, line, value.
    #[serde(default)]
    pub lines: Entries<Entries<Entries<At<Amount>>>>,
    /// Lines of a pack that are built otherwise on this device: pack, line.
    #[serde(default)]
    pub wired: Entries<Entries<RawWired>>,
    /// What tests of lines read on a good board of this model: pack, test.
    #[serde(default)]
    pub good_readings: Entries<Entries<RawGood>>,
    /// Where these values come from.
    pub source: Option<At<String>>,
}

/// A line of a pack that is built otherwise on a device.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawWired {
    /// The template in place of that of the pack. It has the points of that one
    /// and may have more.
    pub line: At<String>,
    /// Values that differ from those of the template.
    #[serde(default)]
    pub with: Entries<At<Amount>>,
    /// Faults that do something else here than the pack says.
    #[serde(default)]
    pub faults: Entries<At<Harms>>,
}

/// What a test reads on a good board. A bare value is what it reads.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields, transform = or_text)]
pub struct RawGood {
    /// What it reads, with its unit.
    pub reads: At<Amount>,
    /// The meter it was read with; without it, the first.
    pub meter: Option<At<String>>,
    /// Names of the copies it is for; without it, all.
    #[serde(default)]
    pub only_on: Vec<At<String>>,
    /// Whose board it was.
    pub source: Option<At<String>>,
}

/// One copy of a pack on a device. A bare text is its name.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields, transform = or_text)]
pub struct RawCopy {
    /// Its name on screens: "rear camera".
    pub name: At<String>,
    /// What people also call it, a word or a few each: "back camera". Without
    /// it, the first word of the name.
    #[serde(default)]
    pub also: Vec<At<String>>,
}

/// The bench: conditions, cautions, history questions.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawBench {
    /// A title.
    pub bench: At<String>,
    /// Where its numbers come from.
    pub source: Option<At<String>>,
    /// States a device can be in on the bench.
    #[serde(default)]
    pub conditions: Entries<RawCondition>,
    /// Warnings, named so that tests and remedies can ask for them.
    #[serde(default)]
    pub cautions: Entries<RawCaution>,
    /// Lists of words by name, for the patterns of every file.
    #[serde(default)]
    pub words: Entries<At<String>>,
    /// What to ask about a device's past; packs say how each shifts the odds.
    #[serde(default)]
    pub history: Entries<RawHistory>,
    /// Acts that a hazard forbids, and what a step needs that does them.
    #[serde(default)]
    pub acts: Entries<RawAct>,
    /// Hazards that bar acts until a check shows that they are gone.
    #[serde(default)]
    pub gates: Entries<RawGate>,
    /// How often tests err that say nothing of it, by manner: `try`, `swap` and
    /// `loan` for those that try a function, `ask`, `look`, `measure` and
    /// `continuity` for the others.
    #[serde(default)]
    pub mistaken: Entries<RawMistaken>,
}

/// An act that may do harm: a step does it if it needs one of these.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawAct {
    /// Bench conditions.
    #[serde(default)]
    pub conditions: Vec<At<String>>,
    /// Parts of the names of tools.
    #[serde(default)]
    pub tools: Vec<String>,
}

/// A hazard, and what shows that it is gone.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawGate {
    /// What was seen or said: "smoke or a burnt smell".
    pub name: String,
    /// Acts that are barred.
    pub bars: Vec<At<String>>,
    /// Patterns that raise it in a complaint.
    #[serde(default)]
    pub hear: Vec<At<String>>,
    /// History questions that raise it when ticked.
    #[serde(default)]
    pub history: Vec<At<String>>,
    /// What the check that lifts it is called: "look for burnt parts".
    pub check: String,
    /// The check, as a question.
    pub ask: String,
    /// The outcome that lifts it, in plain words.
    pub clear: String,
    /// The outcome that keeps it up, in plain words.
    pub found: String,
    /// Where the check reads a resistance: above this it is clear, so the reading may
    /// be typed in place of the outcome.
    pub clear_above: Option<At<Amount>>,
    /// Minutes of the check, bench conditions not counted.
    pub minutes: At<f64>,
    /// State the device must be in for the check.
    #[serde(default)]
    pub conditions: Vec<At<String>>,
    /// Tools for the check.
    #[serde(default)]
    pub tools: Vec<String>,
    /// Cautions shown before the check.
    #[serde(default)]
    pub cautions: Vec<At<String>>,
    /// How to do the check and why, in a sentence for a junior.
    pub explain: Option<String>,
    /// Where its numbers come from.
    pub source: Option<At<String>>,
}

/// How often a manner of test errs.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawMistaken {
    /// Chance that the healthy outcome is reported though another is true.
    pub healthy: At<f64>,
    /// Chance that any other is reported though it is not true, shared evenly
    /// among them.
    pub others: At<f64>,
    /// Where its numbers come from.
    pub source: Option<At<String>>,
}

/// A state a device can be in on the bench.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub struct RawCondition {
    /// Name on screens.
    pub name: String,
    /// Minutes to get there.
    pub enter: At<f64>,
    /// Minutes to get back.
    pub leave: At<f64>,
    /// Conditions that must hold first.
    #[serde(default)]
    pub needs: Vec<At<String>>,
    /// Conditions that cannot hold at the same time.
    #[serde(default)]
    pub excludes: Vec<At<String>>,
    /// Where its numbers come from.
    pub source: Option<At<String>>,
}

/// A warning. A bare text is what is shown.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields, transform = or_text)]
pub struct RawCaution {
    /// The text shown before the step.
    pub text: String,
    /// What calls for it: a step that fits any of these carries it by itself.
    #[serde(default, rename = "for")]
    pub called_for: Vec<RawDemand>,
    /// Where it comes from.
    pub source: Option<At<String>>,
}

/// What calls for a caution: all that is stated has to fit.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct RawDemand {
    /// Bench conditions that all hold in the step.
    #[serde(default)]
    pub conditions: Vec<At<String>>,
    /// Tools, each a part of the tool's name: the step needs one of them.
    #[serde(default)]
    pub tools: Vec<String>,
    /// Words of which one stands in the step's name or question, or in the name
    /// of the unit that it is about.
    #[serde(default)]
    pub parts: Vec<String>,
}

/// A question about the device's past. A bare text is the question.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(deny_unknown_fields, transform = or_text)]
pub struct RawHistory {
    /// The question, answered yes or no.
    pub ask: String,
    /// Patterns that tick the question in a complaint, to be confirmed.
    #[serde(default)]
    pub hear: Vec<At<String>>,
}

/// Lets the short form of an entry stand for it: a bare number.
fn or_number(schema: &mut schemars::Schema) {
    or(schema, "number");
}

/// Lets the short form of an entry stand for it: a bare text.
fn or_text(schema: &mut schemars::Schema) {
    or(schema, "string");
}

fn or(schema: &mut schemars::Schema, short: &str) {
    let full = std::mem::take(schema);
    *schema = schemars::json_schema!({ "anyOf": [{ "type": short }, full] });
}
