//! Values as they are typed on the command line.

use crate::belief::Size;
use crate::job::reading::{Asked, Typed, read};
use crate::simulate::Manner;

pub(super) fn size(text: &str) -> Result<Size, String> {
    if text == "all" {
        return Ok(Size::All);
    }
    match text.parse() {
        Ok(n @ 1..=6) => Ok(Size::UpTo(n)),
        _ => Err("a number from 1 to 6, or `all`".to_owned()),
    }
}

pub(super) fn cost(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(c) if c.is_finite() && c >= 0.0 => Ok(c),
        _ => Err("a cost such as 60 or 42.50".to_owned()),
    }
}

pub(super) fn manner(text: &str) -> Result<Manner, String> {
    Manner::from_word(text).ok_or_else(|| {
        let all: Vec<&str> = Manner::ALL.iter().map(|m| m.word()).collect();
        format!("one of {}", all.join(", "))
    })
}

pub(super) fn share(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(p) if (0.0..=1.0).contains(&p) => Ok(p),
        _ => Err("a probability from 0 to 1, such as 0.02".to_owned()),
    }
}

/// A value as it is typed at the bench.
fn value(text: &str, asked: &Asked, such_as: &str) -> Result<f64, String> {
    match read(text, asked) {
        Typed::Value(v) | Typed::Noted { value: v, .. } | Typed::About { value: v }
            if v.is_finite() =>
        {
            Ok(v)
        }
        Typed::TooLittle { says, instead } => Err(format!("says only that {says}; type {instead}")),
        Typed::Doubtful { could_be } => Err(format!(
            "could be {}; write it in full",
            could_be.join(" or ")
        )),
        Typed::Impossible { why } => Err(why),
        _ => Err(format!("a value such as {such_as}")),
    }
}

pub(super) fn volts(text: &str) -> Result<f64, String> {
    value(text, &Asked::line(), "1.8, 1V8 or 412mV")
}

pub(super) fn amps(text: &str) -> Result<f64, String> {
    value(text, &Asked::of("A"), "0.5 or 20mA")
}

pub(super) fn ohms(text: &str) -> Result<f64, String> {
    value(text, &Asked::of("ohm"), "470, 2k2 or 10M")
}

pub(super) fn farads(text: &str) -> Result<f64, String> {
    value(text, &Asked::of("F"), "100p or 0.2nF")
}

pub(super) fn hertz(text: &str) -> Result<f64, String> {
    value(text, &Asked::of("Hz"), "100k or 400kHz")
}

pub(super) fn celsius(text: &str) -> Result<f64, String> {
    value(text, &Asked::of("C"), "25")
}

pub(super) fn rate(text: &str) -> Result<f64, String> {
    value(text, &Asked::of(""), "400k or 1.5G")
}

pub(super) fn plain(text: &str) -> Result<f64, String> {
    value(text, &Asked::of(""), "20")
}
