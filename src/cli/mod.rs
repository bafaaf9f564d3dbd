//! The command line: what can be typed, and the way from there to the library.
mod args;
mod ask;
mod bypass;
mod check;
mod closing;
mod complaint;
mod config;
mod demo;
mod drill;
mod error;
mod explain;
mod hear;
mod intake;
mod job;
mod jobs;
mod line;
mod output;
mod replay;
mod shop;
mod shop_file;
mod show;
mod simulate;
mod stores;
mod sum;
mod terminal;
mod text;
mod tree;
mod walk;

use std::io::Write;
use std::process::ExitCode;

use clap::{CommandFactory, Parser};

pub use args::Args;
use args::{Command, Format, JobCommand, RulesCommand};
use config::Config;
pub use config::Environment;
pub use error::{Failure, Result};
pub use terminal::Terminal;

use crate::units::short;

/// Runs the program on the arguments of the process.
pub fn main() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(a) => a,
        Err(e) => {
            // Help and version go to standard output and are no failure.
            if !e.use_stderr() {
                let _ = e.print();
                return ExitCode::SUCCESS;
            }
            let plain = e.render().to_string();
            let told = short(&plain);
            if told == plain {
                let _ = e.print();
            } else {
                anstream::eprint!("{told}");
            }
            return ExitCode::from(2);
        }
    };
    let environment = Environment::of_process();
    let mut terminal = Terminal::new(environment.columns);
    match run(&args, &environment, &mut terminal) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => failure.report(),
    }
}

/// The manual page: the program, then each of its commands.
fn manual(out: &mut Vec<u8>) -> std::io::Result<()> {
    fn commands(of: &clap::Command, out: &mut Vec<u8>) -> std::io::Result<()> {
        for c in of.get_subcommands().filter(|c| c.get_name() != "help") {
            let man = clap_mangen::Man::new(c.clone());
            writeln!(
                out,
                ".SH \"{}\"",
                c.get_bin_name().unwrap_or_default().to_uppercase()
            )?;
            writeln!(
                out,
                "{}",
                c.get_about().map(ToString::to_string).unwrap_or_default()
            )?;
            man.render_synopsis_section(out)?;
            man.render_options_section(out)?;
            commands(c, out)?;
        }
        Ok(())
    }
    let mut all = Args::command();
    all.build();
    clap_mangen::Man::new(Args::command()).render(out)?;
    commands(&all, out)
}

/// Runs one command.
///
/// # Errors
/// With the message and the exit code that the failure calls for.
pub fn run(args: &Args, environment: &Environment, terminal: &mut Terminal) -> Result {
    let config = &Config::resolve(args, environment)?;
    let drawn = matches!(
        &args.command,
        Some(Command::Trail { .. } | Command::Tree { .. } | Command::Job(JobCommand::Line { .. }))
    );
    if args.format == Format::Svg && !drawn {
        return Err(Failure::Usage(
            "only `job line`, `trail` and `tree` have a picture; take text or json".to_owned(),
        ));
    }
    if args.new && args.command.is_some() {
        return Err(Failure::Usage(
            "`--new` is for the walk, which is `halfsplit` without a command".to_owned(),
        ));
    }
    match &args.command {
        Some(Command::Rules(RulesCommand::Check { paths })) => {
            check::check(config, paths, terminal)
        }
        Some(Command::Rules(RulesCommand::Schema)) => check::schema(terminal),
        Some(Command::Rules(RulesCommand::Explain { id, kind })) => {
            explain::explain(config, id.as_deref(), kind.as_deref(), terminal)
        }
        Some(Command::Rules(RulesCommand::Hear { text, kind, model })) => {
            hear::hear(config, text, kind, model.as_deref(), terminal)
        }
        Some(Command::Replay { case, network }) => replay::replay(config, case, *network, terminal),
        Some(Command::Jobs { words, state }) => {
            jobs::jobs(config, words, state.as_deref(), terminal)
        }
        Some(Command::Job(job)) => job::job(config, job, terminal),
        Some(Command::Shop) => shop::show(config, terminal),
        Some(Command::Trail {
            job,
            reader,
            html,
            out,
        }) => jobs::trail(config, *job, *reader, *html, out.as_deref(), terminal),
        Some(tree @ Command::Tree { .. }) => tree::tree(config, tree, terminal),
        Some(simulate @ Command::Simulate { .. }) => simulate::run(config, simulate, terminal),
        Some(drill @ Command::Drill { .. }) => drill::run(config, drill, terminal),
        Some(Command::Export { job, out }) => jobs::export(config, *job, out.as_deref(), terminal),
        Some(Command::Import { case }) => jobs::import(config, case, terminal),
        Some(Command::Sum(which)) => sum::sum(config, which, terminal),
        Some(Command::Demo { name }) => demo::demo(config, name.as_deref(), terminal),
        Some(Command::Completions { shell }) => {
            let mut out = Vec::new();
            clap_complete::generate(*shell, &mut Args::command(), "halfsplit", &mut out);
            terminal.print(&String::from_utf8_lossy(&out))
        }
        Some(Command::Man) => {
            let mut out = Vec::new();
            manual(&mut out).map_err(Failure::io)?;
            terminal.print(&String::from_utf8_lossy(&out))
        }
        None => walk::walk(config, terminal),
    }
}
