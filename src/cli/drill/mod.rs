//! `drill`: a round on a hidden case, and how trainees come on.
mod command;
mod read;
mod say;

use command::{Command as Typed, HELP};

use super::args::{Command, Format};
use super::ask::{Ask, Reply, asker};
use super::check::load;
use super::config::Config;
use super::error::{Failure, Result};
use super::stores::{open_store, read_store, read_store_if_any};
use super::terminal::Terminal;
use crate::drill::{
    Cause, DrillError, Kept, Level, Logged, Move, Order, Round, Task, Told, debrief, progress,
    table,
};
use crate::plan::Act;
use crate::report;
use crate::rulebase::Rulebase;
use crate::store::{Store, StoreError};

/// Who works where no trainee is named.
const NOBODY: &str = "guest";

impl From<DrillError> for Failure {
    fn from(e: DrillError) -> Self {
        Failure::no(e.to_string())
    }
}

/// `drill`.
pub(super) fn run(config: &Config, command: &Command, terminal: &mut Terminal) -> Result {
    let Command::Drill {
        trainee,
        level,
        area,
        kind,
        seed,
        round,
        progress: of,
        table: all,
    } = command
    else {
        return Ok(());
    };
    let json = config.format == Format::Json;
    if *all {
        let view = table(&rounds(config)?);
        return match json {
            true => terminal.form("halfsplit-drill-table", &view),
            false => terminal.print(&report::trainees_text(&view, terminal.width)),
        };
    }
    if let Some(name) = of {
        let view = progress(name.trim(), &rounds(config)?);
        if view.rounds.is_empty() {
            return Err(Failure::no(format!("`{name}` has begun no round"))
                .help("`halfsplit drill --table` lists who has"));
        }
        return match json {
            true => terminal.form("halfsplit-drill-progress", &view),
            false => terminal.print(&report::progress_text(&view, terminal.width)),
        };
    }
    if json && round.is_none() {
        return Err(Failure::Usage(
            "a round is asked for in text; `--round N --format json` gives one that is over"
                .to_owned(),
        ));
    }
    let mut rules = load(config)?;
    // The drill's bench has everything, so that a round is the same in every shop.
    rules.without.clear();
    if let Some(id) = round {
        return resume(config, &rules, *id, json, terminal);
    }
    let trainee = trainee.as_deref().map_or(NOBODY, str::trim);
    if trainee.is_empty() {
        return Err(Failure::Usage("the trainee's name is empty".to_owned()));
    }
    let costs = config.settings.costs;
    let order = Order {
        trainee: trainee.to_owned(),
        level: Level::try_from(*level).map_err(Failure::no)?,
        seed: match seed {
            Some(seed) => *seed,
            None => rounds_of(config, trainee)? + 1,
        },
        area: area.clone(),
        kind: kind.clone(),
        meter: config.first_meter(),
        rate: costs.rate,
        unmended: costs.give_up,
    };
    let task = Task::draw(&rules, &order)?;
    let mut store = open_store(config)?;
    let id = store.begin_round(&order, &rules.fingerprint)?;
    let kept = store.round(id)?;
    play(&rules, store, &task, &kept, terminal)
}

/// Every round in the store.
fn rounds(config: &Config) -> Result<Vec<Kept>> {
    let store = read_store_if_any(config)?;
    Ok(store.map_or_else(|| Ok(Vec::new()), |s| s.rounds())?)
}

/// How many rounds a trainee has begun.
fn rounds_of(config: &Config, trainee: &str) -> Result<u64> {
    match config.store()?.exists() {
        true => Ok(read_store(config)?.rounds_of(trainee)?),
        false => Ok(0),
    }
}

/// Goes on with a round, or tells again what came of it.
fn resume(
    config: &Config,
    rules: &Rulebase,
    id: i64,
    json: bool,
    terminal: &mut Terminal,
) -> Result {
    let store = read_store_if_any(config)?;
    let kept = store.map_or(Err(StoreError::NoRound(id)), |s| s.round(id))?;
    if kept.rules != rules.fingerprint {
        return Err(Failure::no(format!(
            "the rules have changed since round {id} was begun, so it would not be the same round"
        ))
        .help("begin a new one with `halfsplit drill`"));
    }
    let task = Task::draw(rules, &kept.order)?;
    let Some(ended) = &kept.ended else {
        if json {
            return Err(Failure::no(format!("round {id} is not over yet"))
                .help("go on with it without --format json"));
        }
        return play(rules, open_store(config)?, &task, &kept, terminal);
    };
    let mut round = Round::new(&task);
    for what in &kept.moves {
        round.take(what)?;
    }
    let (view, _) = debrief(id, &round, &ended.concluded, ended.gave_up)?;
    match json {
        true => terminal.form("halfsplit-drill-round", &view),
        false => terminal.print(&report::debrief_text(&view, terminal.width)),
    }
}

fn play(
    rules: &Rulebase,
    store: Store,
    task: &Task,
    kept: &Kept,
    terminal: &mut Terminal,
) -> Result {
    let mut asker = asker()?;
    let mut round = Round::new(task);
    for what in &kept.moves {
        round.take(what)?;
    }
    let ended = Session {
        id: kept.round,
        last: kept.last,
        rules,
        store,
        round,
        ask: asker.as_mut(),
        terminal,
        at: None,
        asked: Vec::new(),
    }
    .run();
    ended.and_then(|()| asker.all_taken())
}

/// Whether the round goes on.
enum Flow {
    On,
    Leave,
    Over,
}

struct Session<'a, 'io> {
    id: i64,
    /// Number of the last event in the store.
    last: i64,
    rules: &'a Rulebase,
    store: Store,
    round: Round<'a>,
    ask: &'io mut dyn Ask,
    terminal: &'io mut Terminal,
    /// The step that is taken up.
    at: Option<Act>,
    /// Causes that a number stands for, where a list was shown last.
    asked: Vec<Cause>,
}

impl Session<'_, '_> {
    fn run(mut self) -> Result {
        let head = say::head(self.id, &self.round);
        self.say(&head)?;
        let list = say::groups(&self.round);
        self.say(&list)?;
        self.say("Type ? for help.")?;
        loop {
            let prompt = match self.at {
                Some(_) => "Enter does it (or ?) > ",
                None => "step, bench, conclude (or ?) > ",
            };
            let line = match self.ask.ask(self.terminal, prompt)? {
                Reply::Line(line) => line,
                Reply::Ended | Reply::Interrupted => {
                    self.ask.may_end();
                    return self.leave();
                }
            };
            match self.take(&line) {
                Ok(Flow::On) => {}
                Ok(Flow::Leave) => return self.leave(),
                Ok(Flow::Over) => return Ok(()),
                Err(Failure::No { message, help }) => {
                    self.ask.refuse();
                    self.say(&format!("Not taken: {message}"))?;
                    if let Some(help) = help {
                        self.say(&help)?;
                    }
                }
                Err(e) => return Err(e),
            }
        }
    }

    fn leave(&mut self) -> Result {
        let id = self.id;
        self.say(&format!(
            "Round {id} is left unfinished; `halfsplit drill --round {id}` goes on with it."
        ))
    }

    fn say(&mut self, text: &str) -> Result {
        self.terminal.say(text)
    }

    /// Takes one line.
    fn take(&mut self, line: &str) -> Result<Flow> {
        let is_step = |typed: &str| read::steps(&self.round, typed).is_ok();
        match Typed::parse(line, is_step)? {
            Typed::Enter => match self.at {
                Some(act) => self.act(act)?,
                None => self.say("Take up a step by its number or name; `list` shows them.")?,
            },
            Typed::Help => self.say(HELP)?,
            Typed::Step(typed) => self.choose(typed)?,
            Typed::Do("") => match self.at {
                Some(act) => self.act(act)?,
                None => return Err(Failure::no("no step is taken up; name one, such as `do 3`")),
            },
            Typed::Do(typed) => {
                if let Some(act) = self.find(typed)? {
                    self.show(act)?;
                    self.act(act)?;
                }
            }
            Typed::List(words) => self.list(words)?,
            Typed::Bench => {
                let text = say::bench(&self.round);
                self.say(&text)?;
            }
            Typed::Bring(name) => self.change_bench(name, Move::Bring)?,
            Typed::Undo(name) => self.change_bench(name, Move::Undo)?,
            Typed::Suspects(word) => self.suspects(word)?,
            Typed::Explain => {
                let act = self.at.ok_or_else(|| Failure::no("no step is taken up"))?;
                let text = say::explain(&self.round, act);
                self.say(&text)?;
            }
            Typed::Hint => {
                let told = self.enter(&Move::Hint)?;
                let text = say::hint(&self.round, &told);
                self.say(&text)?;
            }
            Typed::Trail => {
                let text = say::trail(&self.round);
                self.say(&text)?;
            }
            Typed::Conclude(what) => return self.conclude(what),
            Typed::GiveUp => {
                self.end(&[], true)?;
                return Ok(Flow::Over);
            }
            Typed::Quit => return Ok(Flow::Leave),
        }
        Ok(Flow::On)
    }

    /// Does what the trainee does, and keeps it.
    fn enter(&mut self, what: &Move) -> Result<Told> {
        let told = self.round.take(what)?;
        let event = Logged::Did(what.clone());
        self.last = self
            .store
            .append_round(self.id, self.last, &event, &self.rules.fingerprint)?;
        Ok(told)
    }

    /// Takes up a step.
    fn choose(&mut self, typed: &str) -> Result {
        if let Some(act) = self.find(typed)? {
            self.at = Some(act);
            self.show(act)?;
        }
        Ok(())
    }

    /// A step by number or name; where several fit they are listed.
    fn find(&mut self, typed: &str) -> Result<Option<Act>> {
        let fits = read::steps(&self.round, typed)?;
        if let [one] = fits.as_slice() {
            return Ok(Some(*one));
        }
        let text = say::list(&self.round, &fits);
        self.say(&text)?;
        Ok(None)
    }

    fn show(&mut self, act: Act) -> Result {
        let text = say::step(&self.round, act);
        self.say(&text)
    }

    fn act(&mut self, act: Act) -> Result {
        let m = self.round.model();
        let what = match act {
            Act::Test(t) => Move::Test(m.tests[t].id.clone()),
            Act::Remedy(r) => Move::Remedy(m.remedies[r].id.clone()),
        };
        self.at = None;
        let told = self.enter(&what)?;
        let text = say::told(&self.round, act, &told);
        self.say(&text)
    }

    fn list(&mut self, word: &str) -> Result {
        let text = match word {
            "" => say::groups(&self.round),
            word => match read::listed(&self.round, word).as_slice() {
                [] => {
                    return Err(Failure::no(format!("no step has `{word}` in its words"))
                        .help("`list` shows the groups"));
                }
                some => say::list(&self.round, some),
            },
        };
        self.say(&text)
    }

    /// Brings a bench condition about, or undoes it.
    fn change_bench(&mut self, name: &str, how: fn(String) -> Move) -> Result {
        let id = read::condition(&self.round, name)?;
        let told = self.enter(&how(id))?;
        let text = say::brought(&self.round, &told);
        self.say(&text)
    }

    fn suspects(&mut self, word: &str) -> Result {
        let found = read::suspects(&self.round, word);
        if found.is_empty() {
            return Err(Failure::no(format!(
                "nothing that may be wrong has `{word}` in it"
            )));
        }
        let text = say::suspects(&self.round, &found);
        self.asked = found;
        self.say(&text)
    }

    fn conclude(&mut self, typed: &str) -> Result<Flow> {
        if typed.is_empty() {
            return Err(Failure::no("say what it was, such as `conclude cable`")
                .help("`suspects WORD` lists what may be wrong; `give up` ends without a cause"));
        }
        let mut all = Vec::new();
        for part in typed.split('+').map(str::trim).filter(|p| !p.is_empty()) {
            let fits = read::causes(&self.round, &self.asked, part)?;
            match fits.as_slice() {
                [one] => all.push(one.clone()),
                many => {
                    let text = say::suspects(&self.round, many);
                    self.asked = many.to_vec();
                    self.say(&format!(
                        "`{part}` could be one of these; conclude with its number:\n{text}"
                    ))?;
                    return Ok(Flow::On);
                }
            }
        }
        if all.is_empty() {
            return Err(Failure::no("say what it was between the +"));
        }
        self.end(&all, false)?;
        Ok(Flow::Over)
    }

    fn end(&mut self, concluded: &[Cause], gave_up: bool) -> Result {
        let (view, ended) = debrief(self.id, &self.round, concluded, gave_up)?;
        let event = Logged::Ended(ended);
        self.store
            .append_round(self.id, self.last, &event, &self.rules.fingerprint)?;
        self.terminal.line("")?;
        let text = report::debrief_text(&view, self.terminal.width);
        self.terminal.print(&text)
    }
}
