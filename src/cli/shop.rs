//! `shop`: what this shop wants of every job, and where it is written down.

use serde::Serialize;

use super::args::Format;
use super::config::Config;
use super::error::{Failure, Result};
use super::shop_file::ShopFile;
use super::terminal::Terminal;
use crate::rulebase::{DONOR_PARTS, Rulebase, nearest};
use crate::units::number;

/// Refuses a tool that the rules do not know: it would silently rule out nothing.
///
/// # Errors
/// If there is one.
pub(super) fn known(config: &Config, rules: &Rulebase) -> Result {
    if config.without.is_empty() {
        return Ok(());
    }
    let tools = rules.tools();
    for typed in &config.without {
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
pub(super) fn show(config: &Config, terminal: &mut Terminal) -> Result {
    let costs = config.settings.costs;
    let view = ShopView {
        file: config.shop.as_ref().map(|p| p.path.display().to_string()),
        rate: costs.rate,
        unmended: costs.give_up,
        without: config.without.clone(),
        careful: costs.careful,
        waiting: costs.waiting,
        meter: config.first_meter(),
    };
    if config.format == Format::Json {
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
