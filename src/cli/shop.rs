//! `shop`: what this shop wants of every job, kept beside the store.

use std::io::Read;
use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use super::args::{Args, Format};
use super::error::{Failure, Result};
use super::terminal::Terminal;
use crate::rulebase::{DONOR_PARTS, Rulebase, nearest, read_yaml};
use crate::store::Store;
use crate::units::number;

/// The largest shop file that is read, in bytes: some hundred times a usual one.
const LARGEST: usize = 64 << 10;

/// The preferences of a shop, as its file has them.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", default)]
struct ShopFile {
    /// Name of the shop.
    #[serde(skip_serializing_if = "Option::is_none")]
    shop: Option<String>,
    /// Cost of an hour at the bench.
    #[serde(skip_serializing_if = "Option::is_none")]
    rate: Option<f64>,
    /// What it costs when a job ends unmended.
    #[serde(skip_serializing_if = "Option::is_none")]
    unmended: Option<f64>,
    /// What there is not: tools by name, or `donor parts`.
    without: Vec<String>,
    /// Whether what a step may break counts three times.
    careful: bool,
    /// Whether the customer waits, so that minutes count twice.
    waiting: bool,
    /// The meter on the bench.
    #[serde(skip_serializing_if = "Option::is_none")]
    meter: Option<String>,
}

/// Where the file is, and whether it was asked for by name.
pub(super) fn place(args: &Args) -> Option<(PathBuf, bool)> {
    if let Some(path) = &args.shop {
        return Some((path.clone(), true));
    }
    // Beside the store, where everything else of the shop is.
    let store = Store::place(args.store.as_deref()).ok()?;
    Some((store.with_file_name("shop.yaml"), false))
}

fn read(args: &Args) -> Result<ShopFile> {
    let Some((path, asked_for)) = place(args) else {
        return Ok(ShopFile::default());
    };
    let name = path.display().to_string();
    let mut bytes = Vec::new();
    let read =
        std::fs::File::open(&path).and_then(|f| f.take(LARGEST as u64 + 1).read_to_end(&mut bytes));
    match read {
        Ok(_) => {}
        Err(e) if e.kind() == std::io::ErrorKind::NotFound && !asked_for => {
            return Ok(ShopFile::default());
        }
        Err(e) => return Err(Failure::no(format!("cannot read {name}: {e}"))),
    }
    if bytes.len() > LARGEST {
        return Err(Failure::no(format!(
            "{name} is larger than {} kB, so it is no shop file; name another with --shop FILE",
            LARGEST >> 10
        )));
    }
    let text =
        String::from_utf8(bytes).map_err(|_| Failure::no(format!("{name} is no text in UTF-8")))?;
    let file: ShopFile = read_yaml(&name, text).map_err(|e| Failure::not_a("shop file", &e))?;
    for (key, value) in [("rate", file.rate), ("unmended", file.unmended)] {
        if value.is_some_and(|v| !(v.is_finite() && v >= 0.0)) {
            return Err(Failure::no(format!(
                "{name}: `{key}` has to be a sum of money, 0 or more"
            )));
        }
    }
    Ok(file)
}

/// The arguments, with what the shop's file says where they say nothing.
///
/// # Errors
/// If there is a file that cannot be read.
pub(super) fn filled(args: &Args) -> Result<Args> {
    let file = read(args)?;
    let mut args = args.clone();
    args.rate = args.rate.or(file.rate);
    args.unmended = args.unmended.or(file.unmended);
    args.shop_meter = file.meter;
    args.without.extend(file.without);
    args.careful |= file.careful;
    args.waiting |= file.waiting;
    Ok(args)
}

/// Refuses a tool that the rules do not know: it would silently rule out nothing.
///
/// # Errors
/// If there is one.
pub(super) fn known(args: &Args, rules: &Rulebase) -> Result {
    if args.without.is_empty() {
        return Ok(());
    }
    let tools = rules.tools();
    for typed in &args.without {
        let names = || tools.iter().map(String::as_str).chain([DONOR_PARTS]);
        if !names().any(|t| t.eq_ignore_ascii_case(typed.trim())) {
            let help = match nearest(typed, names()) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!(
                    "it can be `{DONOR_PARTS}` or a tool of the rules: {}",
                    tools.join(", ")
                ),
            };
            return Err(
                Failure::no(format!("no step needs `{typed}`, so it rules out nothing")).help(help),
            );
        }
    }
    Ok(())
}

#[derive(Serialize)]
struct ShopView {
    file: Option<String>,
    rate: f64,
    unmended: f64,
    without: Vec<String>,
    careful: bool,
    waiting: bool,
    meter: Option<String>,
}

/// `shop`: what holds now, and where to write it down.
pub(super) fn show(args: &Args, terminal: &mut Terminal) -> Result {
    let costs = args.settings().costs;
    let view = ShopView {
        file: place(args).map(|p| p.0.display().to_string()),
        rate: costs.rate,
        unmended: costs.give_up,
        without: args.without.clone(),
        careful: costs.careful,
        waiting: costs.waiting,
        meter: args.meter_at_first(),
    };
    if args.format == Format::Json {
        return terminal.form("halfsplit-shop", &view);
    }
    let yes_no = |b: bool| if b { "yes" } else { "no" };
    let list = |all: &[String]| match all.is_empty() {
        true => "nothing; all that the rules ask for is there".to_owned(),
        false => all.join(", "),
    };
    terminal.print(&format!(
        "An hour at the bench costs {}; a job that ends unmended costs {}.\n\
         Not here (`without`): {}.\n\
         Careful, what a step may break counts three times: {}.\n\
         The customer waits, minutes count twice: {}.\n\
         Meter: {}.\n\
         To keep this for every job, write it into {}:\n\n{}",
        number(view.rate),
        number(view.unmended),
        list(&view.without),
        yes_no(view.careful),
        yes_no(view.waiting),
        view.meter.as_deref().unwrap_or("the first of the rules"),
        view.file.as_deref().unwrap_or("a file given by --shop"),
        sample(&view)
    ))
}

fn sample(view: &ShopView) -> String {
    let file = ShopFile {
        shop: None,
        rate: Some(view.rate),
        unmended: Some(view.unmended),
        without: view.without.clone(),
        careful: view.careful,
        waiting: view.waiting,
        meter: view.meter.clone(),
    };
    serde_yaml::to_string(&file).unwrap_or_default()
}
