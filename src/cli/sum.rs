//! `sum`: what a technician works out beside a measurement.

use serde::Serialize;
use serde_json::{Value, json};

use super::args::{Format, JumpedPart, SumCommand};
use super::config::Config;
use super::error::{Failure, Result};
use super::terminal::Terminal;
use crate::circuit::meter::Meter;
use crate::job::reading::{self, Typed};
use crate::job::view::VERSION;
use crate::sums::bus::{self, Sizes, Speed};
use crate::sums::led::{LampString, boost_input};
use crate::sums::physical::NotPhysical;
use crate::sums::thermistor::{Thermistor, ohms_in_divider};
use crate::sums::typec;
use crate::sums::wire::{self, Gauge, Jumper, Reason, Verdict};
use crate::units::{digits, shown};

/// Before a reading on a powered board.
const POWERED: &str =
    "The board is powered: ground clipped first, fine tips, one pin at a time; a slip shorts it.";

/// Before a resistance reading.
const UNPOWERED: &str = "Battery unplugged and supply off before a resistance reading.";

/// What a sum came to.
#[derive(Serialize)]
struct Answer {
    version: u32,
    sum: &'static str,
    says: Vec<String>,
    cautions: Vec<&'static str>,
    #[serde(flatten)]
    figures: Value,
    /// Whether the answer is no.
    #[serde(skip)]
    no: bool,
}

impl Answer {
    fn new(sum: &'static str, says: Vec<String>, figures: Value) -> Self {
        Answer {
            version: VERSION,
            sum,
            says,
            cautions: Vec::new(),
            figures,
            no: false,
        }
    }

    fn with(self, cautions: &[&'static str]) -> Self {
        Answer {
            cautions: cautions.to_vec(),
            ..self
        }
    }
}

impl From<NotPhysical> for Failure {
    fn from(e: NotPhysical) -> Self {
        Failure::Usage(e.to_string())
    }
}

pub(super) fn sum(config: &Config, which: &SumCommand, terminal: &mut Terminal) -> Result {
    let answer = answer(which)?;
    match config.format {
        Format::Json => terminal.json(&answer)?,
        _ => {
            for line in &answer.says {
                terminal.say(line)?;
            }
            for line in &answer.cautions {
                terminal.say(&format!("Caution: {line}"))?;
            }
        }
    }
    if answer.no {
        return Err(Failure::Reported);
    }
    Ok(())
}

fn answer(which: &SumCommand) -> Result<Answer> {
    match *which {
        SumCommand::PullUp {
            supply,
            farads,
            speed,
            ohms,
        } => pull_up(supply, farads, speed, ohms),
        SumCommand::Idle { volts, supply } => idle(volts, supply),
        SumCommand::Jumper {
            part,
            from,
            to,
            bits,
            mm,
            amps,
            awg,
        } => {
            let jumper = Jumper {
                bypassed: part.into(),
                from,
                to,
                rate: bits,
                metres: mm / 1e3,
                amps,
                gauge: Gauge::new(awg)?,
            };
            jump(part, &jumper)
        }
        SumCommand::Cc { volts } => cc(volts),
        SumCommand::DPlus { volts } => d_plus(volts),
        SumCommand::Thermistor {
            ref reading,
            celsius,
            beta,
            r25,
            supply,
            pull_up,
        } => {
            let law = match beta {
                Some(b) => Thermistor::beta(r25, b)?,
                None => Thermistor::common_10k()?,
            };
            let divider = supply.zip(pull_up);
            thermistor(&law, beta.is_none(), reading.as_deref(), celsius, divider)
        }
        SumCommand::Lamps {
            lamps,
            each,
            spread,
            margin,
            amps,
            supply,
        } => {
            let string = LampString {
                lamps,
                each,
                spread,
                margin,
            };
            lamp_string(&string, amps, supply)
        }
        SumCommand::Loading { ohms, input, shown } => loading(ohms, input, shown),
    }
}

fn pull_up(supply: f64, farads: f64, speed: Option<f64>, ohms: Option<f64>) -> Result<Answer> {
    let speeds = match speed {
        None => Speed::ALL.to_vec(),
        Some(hertz) => vec![Speed::reaching(hertz).ok_or_else(|| {
            Failure::no(format!(
                "pull-ups are for up to {}; {} is beyond them",
                shown(Speed::FastPlus.hertz(), "Hz"),
                shown(hertz, "Hz")
            ))
        })?],
    };
    let mut says = Vec::new();
    if let Some(r) = ohms {
        says.push(format!(
            "{} with {} rises in {} (0.3 to 0.7 of {}).",
            shown(r, "ohm"),
            shown(farads, "F"),
            shown(bus::rise_time(r, farads)?, "s"),
            shown(supply, "V")
        ));
    } else {
        says.push(format!(
            "Pull-ups for {} and {}:",
            shown(supply, "V"),
            shown(farads, "F")
        ));
    }
    let mut figures = Vec::new();
    let mut fits = Vec::new();
    for s in speeds {
        let sizes = Sizes::of(s, supply, farads)?;
        let span = if sizes.possible() {
            format!(
                "{} to {}",
                shown(sizes.least, "ohm"),
                shown(sizes.most, "ohm")
            )
        } else {
            format!(
                "none will do, {} at least and {} at most",
                shown(sizes.least, "ohm"),
                shown(sizes.most, "ohm")
            )
        };
        let mut row = json!({
            "hertz": s.hertz(),
            "least_ohms": sizes.least,
            "most_ohms": sizes.most,
        });
        let name = format!("up to {}", shown(s.hertz(), "Hz"));
        let words = match ohms {
            Some(r) => {
                let fit = bus::fit(s, supply, r, farads)?;
                row["fits"] = json!(fit == bus::Fit::Fits);
                fits.push(fit);
                format!("{} ({span})", fit.says())
            }
            None if farads > s.capacitance() => {
                format!("{span}, but {}", bus::Fit::TooMuchCapacitance.says())
            }
            None => span,
        };
        says.push(format!("  {name:<13}  {words}"));
        figures.push(row);
    }
    let figures = json!({
        "supply_volts": supply, "farads": farads, "ohms": ohms, "speeds": figures,
    });
    let mut answer = Answer::new("pull-up", says, figures);
    answer.no = ohms.is_some() && !fits.contains(&bus::Fit::Fits);
    Ok(answer)
}

fn idle(volts: f64, supply: f64) -> Result<Answer> {
    let level = bus::level(volts, supply)?;
    let mut says = vec![
        format!("{} is {}.", shown(volts, "V"), level.says()),
        format!(
            "Low is up to {}, high from {}, on {}.",
            shown(bus::LOW_SHARE * supply, "V"),
            shown(bus::HIGH_SHARE * supply, "V"),
            shown(supply, "V")
        ),
    ];
    if volts > supply * (1.0 + wire::SAME_DOMAIN) {
        says.push("It is above its own supply: see which one the pull-up goes to.".to_owned());
    }
    let figures = json!({
        "volts": volts,
        "supply_volts": supply,
        "level": match level {
            bus::Level::Low => "low",
            bus::Level::Between => "between",
            bus::Level::High => "high",
        },
    });
    Ok(Answer::new("idle", says, figures).with(&[POWERED]))
}

fn jump(part: JumpedPart, jumper: &Jumper) -> Result<Answer> {
    let advice = jumper.advice()?;
    let verdict = advice.reason.verdict();
    let sound = verdict != Verdict::No;
    let mut says = vec![
        format!("{}. {}", verdict.says(), advice.reason.says()),
        format!(
            "{} of AWG {} ({} bare): {}, drops {} at {}; melts at about {}, for long carry no more than {}.",
            shown(jumper.metres, "m"),
            jumper.gauge.awg(),
            shown(jumper.gauge.diameter(), "m"),
            shown(advice.ohms, "ohm"),
            shown(advice.drop, "V"),
            shown(jumper.amps, "A"),
            shown(advice.fusing, "A"),
            shown(jumper.gauge.carries(), "A"),
        ),
    ];
    if advice.reason == Reason::TooThin {
        says.push(match advice.thinnest {
            Some(g) => format!("AWG {} or thicker carries it.", g.awg()),
            None => "No jumper wire carries that.".to_owned(),
        });
    } else if sound && advice.drops_much {
        says.push("The drop is a noticeable share of the supply: shorter or thicker.".to_owned());
    }
    if sound && jumper.rate > 0.0 {
        says.push(wire::PULL_UP_NOTE.to_owned());
    }
    let name = clap::ValueEnum::to_possible_value(&part);
    let figures = json!({
        "part": name.as_ref().map(clap::builder::PossibleValue::get_name),
        "sound": sound,
        "verdict": verdict.word(),
        "awg": jumper.gauge.awg(),
        "ohms": advice.ohms,
        "drop_volts": advice.drop,
        "fusing_amps": advice.fusing,
        "carries_amps": jumper.gauge.carries(),
        "thinnest_awg": advice.thinnest.map(Gauge::awg),
    });
    let mut answer = Answer::new("jumper", says, figures).with(&wire::CAUTIONS);
    answer.no = !sound;
    Ok(answer)
}

fn cc(volts: f64) -> Result<Answer> {
    let found = typec::classify(volts)?;
    let mut says = vec![format!("{} is {}.", shown(volts, "V"), found.says())];
    let read_as = typec::read_as(volts);
    if let (typec::Cc::Between(..), Some(offer)) = (found, read_as) {
        says.push(format!(
            "A part with the usual thresholds takes it for {}.",
            offer.says()
        ));
    }
    for offer in typec::Offer::ALL {
        let (low, high) = offer.window();
        let expected = typec::from_pull_up(5.0, offer.pull_up(), typec::PULL_DOWN)?;
        says.push(format!(
            "  {:<19}  {low:.2} to {high:.2} V, near {expected:.2} V",
            offer.says()
        ));
    }
    let figures = json!({
        "volts": volts,
        "means": match found {
            typec::Cc::Nothing => "nothing",
            typec::Cc::Offers(_) => "offer",
            typec::Cc::Between(..) => "between",
            typec::Cc::Clamped => "clamped",
            typec::Cc::Open => "open",
            typec::Cc::Vbus => "vbus",
        },
        "offer": match found {
            typec::Cc::Offers(o) => Some(o.says()),
            _ => None,
        },
        "read_as": read_as.map(typec::Offer::says),
    });
    Ok(Answer::new("cc", says, figures).with(&[POWERED]))
}

fn d_plus(volts: f64) -> Result<Answer> {
    let found = typec::classify_data(volts)?;
    let (low, high) = typec::DATA_IDLE;
    let says = vec![
        format!("{} is {}.", shown(volts, "V"), found.says()),
        format!("A full-speed device plugged into a host idles at {low:.2} to {high:.2} V."),
    ];
    let figures = json!({
        "volts": volts,
        "means": match found {
            typec::DataLine::Low => "low",
            typec::DataLine::Loaded => "loaded",
            typec::DataLine::Pulled => "pulled-up",
            typec::DataLine::NoHost => "no-host",
            typec::DataLine::TooHigh => "too-high",
        },
    });
    Ok(Answer::new("d-plus", says, figures).with(&[POWERED]))
}

fn thermistor(
    law: &Thermistor,
    by_table: bool,
    reading: Option<&str>,
    celsius: Option<f64>,
    divider: Option<(f64, f64)>,
) -> Result<Answer> {
    let (celsius, ohms, caution) = match (reading, celsius) {
        (Some(text), _) => {
            let (ohms, caution) = thermistor_ohms(text, divider)?;
            (law.celsius(ohms)?, ohms, Some(caution))
        }
        (None, Some(c)) => (c, law.ohms(c)?, None),
        (None, None) => return Err(Failure::Usage("a reading, or --celsius".to_owned())),
    };
    let mut says = vec![match reading {
        Some(_) => format!("{} is {celsius:.1} °C.", shown(ohms, "ohm")),
        None => format!("{celsius:.1} °C is {}.", shown(ohms, "ohm")),
    }];
    says.push(if by_table {
        "By the table of a common 10 kilohm part; others differ, give --r25 and --beta.".to_owned()
    } else {
        "By Beta alone, which is some 3 to 5 % of resistance off at 0 °C.".to_owned()
    });
    let mut figures = json!({"celsius": celsius, "ohms": ohms});
    if let Some((supply, up)) = divider {
        let volts = supply * ohms / (ohms + up);
        says.push(format!(
            "Under {} to {} it stands at {}.",
            shown(up, "ohm"),
            shown(supply, "V"),
            shown(volts, "V")
        ));
        figures["divider_volts"] = json!(volts);
    }
    let answer = Answer::new("thermistor", says, figures);
    Ok(match caution {
        Some(c) => answer.with(&[c]),
        None => answer,
    })
}

/// The resistance that a reading in ohm or, with a divider, in volt tells.
fn thermistor_ohms(text: &str, divider: Option<(f64, f64)>) -> Result<(f64, &'static str)> {
    let wrong = |why: String| Failure::Usage(format!("`{text}`: {why}"));
    let in_ohms = reading::parse(text, "ohm");
    let (typed, caution) = match in_ohms {
        Typed::OtherUnit => (reading::parse(text, "V"), POWERED),
        t => (t, UNPOWERED),
    };
    let v = match typed {
        Typed::Value(v) | Typed::Noted { value: v, .. } if v.is_infinite() => {
            return Err(Failure::no(
                "over limit: the thermistor or the way to it is open; the device takes it for very cold",
            ));
        }
        Typed::Value(v) | Typed::About { value: v } => v,
        Typed::Noted { value, .. } if value > 0.0 && value.is_finite() => value,
        Typed::TooLittle { says, instead } => {
            return Err(wrong(format!("says only that {says}; type {instead}")));
        }
        Typed::Noted { .. } => {
            return Err(Failure::no(
                "shorted: the device takes it for very hot; give the number that the meter shows",
            ));
        }
        Typed::Doubtful { could_be } => {
            return Err(wrong(format!(
                "could be {}; write it in full",
                could_be.join(" or ")
            )));
        }
        Typed::Impossible { why } => return Err(wrong(why)),
        Typed::OtherUnit | Typed::NoNumber | Typed::Reversed { .. } => {
            return Err(wrong(
                "a resistance such as 12k, or a voltage such as 0.9V".to_owned(),
            ));
        }
    };
    if caution == UNPOWERED {
        return Ok((v, caution));
    }
    let Some((supply, up)) = divider else {
        return Err(wrong("a voltage needs --supply and --pull-up".to_owned()));
    };
    Ok((ohms_in_divider(v, supply, up)?, caution))
}

fn lamp_string(string: &LampString, amps: f64, supply: f64) -> Result<Answer> {
    let volts = string.volts()?;
    let taken = boost_input(volts.usual, amps, supply)?;
    let says = vec![
        format!(
            "{} lamps in series need about {} ({} to {}).",
            string.lamps,
            shown(volts.usual, "V"),
            shown(volts.least, "V"),
            shown(volts.most, "V")
        ),
        format!(
            "At {} the boost supply takes at least {} from {}, more with its losses.",
            shown(amps, "A"),
            shown(taken, "A"),
            shown(supply, "V")
        ),
    ];
    let figures = json!({
        "lamps": string.lamps,
        "least_volts": volts.least,
        "usual_volts": volts.usual,
        "most_volts": volts.most,
        "input_amps": taken,
        "hazardous": volts.is_hazardous(),
    });
    Ok(Answer::new("lamps", says, figures).with(&volts.cautions()))
}

fn loading(ohms: f64, input: f64, reads: Option<f64>) -> Result<Answer> {
    if ohms < 0.0 || input <= 0.0 {
        return Err(Failure::Usage(
            "resistances must be above 0, that of the source 0 or more".to_owned(),
        ));
    }
    let mut meter = Meter::handheld();
    meter.volts.input = input;
    let share = meter.volts.share_shown(ohms);
    let off = (1.0 - share) * 100.0;
    let mut says = vec![format!(
        "Behind {} a meter of {} shows {} % too little.",
        shown(ohms, "ohm"),
        shown(input, "ohm"),
        digits(off)
    )];
    let without = reads.map(|v| v / share);
    if let (Some(v), Some(w)) = (reads, without) {
        says.push(format!(
            "It shows {}; without it there are {}.",
            shown(v, "V"),
            shown(w, "V")
        ));
    }
    let figures = json!({
        "source_ohms": ohms, "input_ohms": input, "off_percent": -off,
        "shown_volts": reads, "volts": without,
    });
    Ok(Answer::new("loading", says, figures))
}
