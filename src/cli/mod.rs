//! The terminal: arguments in, presentation out. One file per command; no rule lives here.

mod bench;
mod bind;
mod context;
mod demo;
mod dispatch;
mod error;
mod import;
mod intake;
mod judge;
mod ledger;
mod make;
mod notice;
mod operator;
mod output;
mod paper;
mod place;
mod player_make;
mod policy;
mod progress;
mod receive;
mod review;
mod session;
mod shell;
mod show;
mod site;
mod slot;
mod start;
mod tags;
mod undo;

use clap::{CommandFactory, Parser, Subcommand};

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

/// Keeps a fleet of lent-out rechargeable packs in order: every player that goes out carries a pack that keeps its promise.
#[derive(Debug, Parser)]
#[command(
    name = "packmuster",
    version,
    propagate_version = true,
    after_help = "Begin with `packmuster start`. Every command has its own --help with an example.\n\
                  Exit codes: 0 done or yes, 1 the answer is no, 2 bad input, 3 a fault."
)]
pub struct Cli {
    #[command(flatten)]
    globals: Globals,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Start(start::Args),
    Site(site::Args),
    Policy(policy::Args),
    Make(make::Args),
    PlayerMake(player_make::Args),
    Operator(operator::Args),
    Slot(slot::Args),
    Place(place::Args),
    Receive(receive::Args),
    Bind(bind::Args),
    Intake(intake::Args),
    Bench(bench::Args),
    Dispatch(dispatch::Args),
    Judge(judge::Args),
    Undo(undo::Args),
    Show(show::Args),
    Review(review::Args),
    Notice(notice::Args),
    Tags(tags::Args),
    Import(import::Args),
    Ledger(ledger::Args),
    Demo(demo::Args),
    Completions(shell::Completions),
    Man(shell::Man),
}

/// The command line as a definition, for help, completions and man pages.
pub fn definition() -> clap::Command {
    Cli::command()
}

/// Runs the program with the arguments and the world of this process; returns the exit code.
pub fn run() -> u8 {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            // Help and version are answers on stdout; the rest is bad usage on stderr.
            let _broken_pipe = error.print();
            return if error.use_stderr() { Exit::Bad.code() } else { Exit::Yes.code() };
        }
    };
    let mut context = match Context::from_process(cli.globals) {
        Ok(context) => context,
        Err(error) => return context::report(&error),
    };
    match dispatch_command(&mut context, cli.command) {
        Ok(exit) => exit.code(),
        Err(error) => context::report(&error),
    }
}

fn dispatch_command(context: &mut Context, command: Command) -> Result<Exit, CliError> {
    match command {
        Command::Start(args) => start::run(context, args),
        Command::Site(args) => site::run(context, args),
        Command::Policy(args) => policy::run(context, args),
        Command::Make(args) => make::run(context, args),
        Command::PlayerMake(args) => player_make::run(context, args),
        Command::Operator(args) => operator::run(context, args),
        Command::Slot(args) => slot::run(context, args),
        Command::Place(args) => place::run(context, args),
        Command::Receive(args) => receive::run(context, args),
        Command::Bind(args) => bind::run(context, &args),
        Command::Intake(args) => intake::run(context, args),
        Command::Bench(args) => bench::run(context, &args),
        Command::Dispatch(args) => dispatch::run(context, &args),
        Command::Judge(args) => judge::run(context, &args),
        Command::Undo(args) => undo::run(context, args),
        Command::Show(args) => show::run(context, &args),
        Command::Review(args) => review::run(context, &args),
        Command::Notice(args) => notice::run(context, args),
        Command::Tags(args) => tags::run(context, args),
        Command::Demo(args) => demo::run(context, &args),
        Command::Completions(args) => shell::completions(context, &args),
        Command::Man(args) => shell::man(context, &args),
        Command::Import(args) => import::run(context, &args),
        Command::Ledger(args) => ledger::run(context, args),
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
