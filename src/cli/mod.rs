//! The terminal: arguments in, presentation out. One file per command; no rule lives here.

mod ahead;
mod bench;
mod bind;
mod consignment;
mod context;
mod correct;
mod demo;
mod discharge;
mod dispatch;
mod error;
mod import;
mod intake;
mod join;
mod judge;
mod ledger;
mod loan;
mod make;
mod model;
mod muster;
mod notice;
mod operator;
mod output;
mod paper;
mod pick;
mod place;
mod plan;
mod player_make;
mod policy;
mod progress;
mod receive;
mod review;
mod rounds;
mod sampling;
mod scan;
mod session;
mod shell;
mod show;
mod site;
mod slot;
mod start;
mod study;
mod tags;
mod undo;
mod waiting;
mod waste;
mod watch;

use std::ffi::OsString;

use clap::{ArgMatches, Args as _, FromArgMatches};

use context::{Context, Globals};
use error::CliError;

/// Exit codes: 0 done, or yes; 1 the answer is no; 2 usage or bad input; 3 a fault of packmuster or the machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Exit {
    /// Done, or yes.
    Yes,
    /// The answer is no.
    No,
    /// Usage or bad input.
    Bad,
    /// A fault.
    Fault,
}

impl Exit {
    /// The number that the shell sees.
    pub const fn code(self) -> u8 {
        match self {
            Self::Yes => 0,
            Self::No => 1,
            Self::Bad => 2,
            Self::Fault => 3,
        }
    }
}

/// A command: how its arguments are defined, and what runs with them.
struct Command {
    name: &'static str,
    define: fn(clap::Command) -> clap::Command,
    read: fn(&mut ArgMatches) -> Result<Job, clap::Error>,
}

/// What runs once the world is there.
type Job = Box<dyn FnOnce(&mut Context) -> Result<Exit, CliError>>;

macro_rules! command {
    ($name:literal, $args:ty, |$context:ident, $given:ident| $run:expr) => {
        Command {
            name: $name,
            define: <$args as clap::Args>::augment_args,
            read: |matches| {
                let $given = <$args as FromArgMatches>::from_arg_matches_mut(matches)?;
                Ok(Box::new(move |$context| $run))
            },
        }
    };
}

/// Every command, in the order of the help.
const COMMANDS: &[Command] = &[
    command!("start", start::Args, |context, args| start::run(context, args)),
    command!("site", site::Args, |context, args| site::run(context, args)),
    command!("policy", policy::Args, |context, args| policy::run(context, args)),
    command!("make", make::Args, |context, args| make::run(context, args)),
    command!("player-make", player_make::Args, |context, args| player_make::run(context, args)),
    command!("operator", operator::Args, |context, args| operator::run(context, args)),
    command!("slot", slot::Args, |context, args| slot::run(context, args)),
    command!("study", study::Args, |context, args| study::run(context, &args)),
    command!("place", place::Args, |context, args| place::run(context, args)),
    command!("receive", receive::Args, |context, args| receive::run(context, args)),
    command!("bind", bind::Args, |context, args| bind::run(context, &args)),
    command!("intake", intake::Args, |context, args| intake::run(context, args)),
    command!("bench", bench::Args, |context, args| bench::run(context, &args)),
    command!("dispatch", dispatch::Args, |context, args| dispatch::run(context, &args)),
    command!("plan", plan::Args, |context, args| plan::run(context, &args)),
    command!("discharge", discharge::Args, |context, args| discharge::run(context, &args)),
    command!("scan", scan::Args, |context, args| scan::run(context, &args)),
    command!("waiting", waiting::Args, |context, args| waiting::run(context, &args)),
    command!("muster", muster::Args, |context, args| muster::run(context, &args)),
    command!("judge", judge::Args, |context, args| judge::run(context, &args)),
    command!("undo", undo::Args, |context, args| undo::run(context, args)),
    command!("loan", loan::Args, |context, args| loan::run(context, args)),
    command!("join", join::Args, |context, args| join::run(context, &args)),
    command!("correct", correct::Args, |context, args| correct::run(context, &args)),
    command!("show", show::Args, |context, args| show::run(context, &args)),
    command!("review", review::Args, |context, args| review::run(context, &args)),
    command!("model", model::Args, |context, args| model::run(context, &args)),
    command!("ahead", ahead::Args, |context, args| ahead::run(context, &args)),
    command!("pick", pick::Args, |context, args| pick::run(context, &args)),
    command!("sampling", sampling::Args, |context, args| sampling::run(context, &args)),
    command!("rounds", rounds::Args, |context, args| rounds::run(context, &args)),
    command!("waste", waste::Args, |context, args| waste::run(context, &args)),
    command!("consignment", consignment::Args, |context, args| consignment::run(context, &args)),
    command!("notice", notice::Args, |context, args| notice::run(context, args)),
    command!("tags", tags::Args, |context, args| tags::run(context, args)),
    command!("import", import::Args, |context, args| import::run(context, &args)),
    command!("ledger", ledger::Args, |context, args| ledger::run(context, args)),
    command!("demo", demo::Args, |context, args| demo::run(context, &args)),
    command!("completions", shell::Completions, |context, args| shell::completions(context, &args)),
    command!("man", shell::Man, |context, args| shell::man(context, &args)),
];

/// The command line as a definition, for help, completions and man pages.
pub fn definition() -> clap::Command {
    define(|_command| true)
}

/// The definition with those commands that are wanted.
fn define(wanted: impl Fn(&Command) -> bool) -> clap::Command {
    let top = clap::Command::new("packmuster")
        .about(
            "Keeps a fleet of lent-out rechargeable packs in order: every player that goes out carries a pack that \
             keeps its promise",
        )
        .version(env!("CARGO_PKG_VERSION"))
        .propagate_version(true)
        .subcommand_required(true)
        .arg_required_else_help(true)
        .after_help(
            "Begin with `packmuster start`. Every command has its own --help with an example.\n\
             Exit codes: 0 done or yes, 1 the answer is no, 2 bad input, 3 a fault.",
        );
    COMMANDS.iter().filter(|command| wanted(command)).fold(Globals::augment_args(top), |top, command| {
        top.subcommand((command.define)(clap::Command::new(command.name)))
    })
}

/// Reads the arguments of this process.
///
/// Defining every command takes longer than a scan, so those that the arguments do not name are left out at first. What
/// does not read that way, help and mistakes among it, is read again with all of them.
fn read(arguments: &[OsString]) -> Result<(Globals, Job), clap::Error> {
    let named = |command: &Command| arguments.iter().any(|argument| argument == command.name);
    let parse = |definition: clap::Command| definition.try_get_matches_from(arguments);
    let mut matches = parse(define(named)).or_else(|_short| parse(definition()))?;
    let globals = Globals::from_arg_matches_mut(&mut matches)?;
    let chosen = matches.remove_subcommand();
    let found = chosen.and_then(|(name, given)| {
        COMMANDS.iter().find(|command| command.name == name).map(|command| (command, given))
    });
    let (command, mut given) =
        found.ok_or_else(|| clap::Error::new(clap::error::ErrorKind::MissingSubcommand))?;
    Ok((globals, (command.read)(&mut given)?))
}

/// Runs the program with the arguments and the world of this process; returns the exit code.
pub fn run() -> u8 {
    let arguments: Vec<OsString> = std::env::args_os().collect();
    let (globals, job) = match read(&arguments) {
        Ok(read) => read,
        Err(error) => {
            // Help and version are answers on stdout; the rest is bad usage on stderr.
            let _broken_pipe = error.print();
            return if error.use_stderr() { Exit::Bad.code() } else { Exit::Yes.code() };
        }
    };
    let mut context = match Context::from_process(globals) {
        Ok(context) => context,
        Err(error) => return context::report(&error),
    };
    match job(&mut context) {
        Ok(exit) => exit.code(),
        Err(error) => context::report(&error),
    }
}

/// Tells an answer, as text or JSON.
fn tell(context: &Context, answer: &crate::app::answer::Answer) -> Result<(), CliError> {
    if context.globals.json {
        return output::json(answer);
    }
    let lines: Vec<String> = answer.lines().iter().map(|line| output::wrap(line, context.width)).collect();
    output::lines(&lines)
}
