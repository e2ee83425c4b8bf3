//! A folder of its own, the real binary, a cleared environment.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Output, Stdio};

use jiff::SignedDuration;
use jiff::civil::date;
use packmuster::domain::tag::{Tag, TagKind};
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use tempfile::TempDir;

/// A ledger to play in.
pub(crate) struct Sandbox {
    folder: TempDir,
    /// The clock of the next run: tests pin it, and move it on between runs.
    clock: std::cell::Cell<i64>,
    random: std::cell::RefCell<ChaCha12Rng>,
}

/// A session that is running.
pub(crate) struct Running {
    child: Child,
    input: ChildStdin,
    output: BufReader<ChildStdout>,
    heard: String,
}

impl Running {
    fn send(&mut self, line: &str) {
        // A session that ends early closes its input.
        let _closed = writeln!(self.input, "{line}");
    }

    /// Gives a line, and waits for the first line of its answer.
    pub(crate) fn say(&mut self, line: &str) {
        self.send(line);
        self.output.read_line(&mut self.heard).unwrap();
    }

    /// Waits until it has said something; gives all that was heard till then.
    pub(crate) fn hear(&mut self, words: &str) -> String {
        while !self.heard.contains(words) {
            let read = self.output.read_line(&mut self.heard).unwrap();
            assert!(read > 0, "it ended without `{words}`: {}", self.heard);
        }
        self.heard.clone()
    }

    /// Ends it as a fault of the machine would.
    pub(crate) fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// No more lines: the rest of what it says.
    pub(crate) fn end(self) -> Said {
        let Self { child, input, mut output, mut heard } = self;
        drop(input);
        output.read_to_string(&mut heard).unwrap();
        let mut said = said(child.wait_with_output().unwrap());
        said.out = heard;
        said
    }
}

/// What a run said.
#[derive(Debug)]
pub(crate) struct Said {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Sandbox {
    /// An empty folder.
    pub(crate) fn empty() -> Self {
        Self {
            folder: tempfile::tempdir().unwrap(),
            clock: std::cell::Cell::new(0),
            random: std::cell::RefCell::new(ChaCha12Rng::seed_from_u64(77)),
        }
    }

    /// A folder with a ledger: service limit 650 mAh, new limit 1000 mAh, a Wren and a Kestrel.
    pub(crate) fn started() -> Self {
        let sandbox = Self::empty();
        let said = sandbox.run(&[
            "start",
            "fleet",
            "--service",
            "Testing",
            "--site-name",
            "North",
            "--zone",
            "UTC",
            "--promise",
            "16",
            "--service-limit",
            "650 mAh",
            "--new-limit",
            "1000 mAh",
            "--player-make",
            "Wren",
            "--draw",
            "650 mAh in 16 h",
            "--make",
            "Kestrel 1100",
            "--chemistry",
            "NiMH",
            "--rated",
            "1100",
            "--cells",
            "3",
        ]);
        assert_eq!(said.code, 0, "{said:?}");
        sandbox
    }

    pub(crate) fn path(&self) -> &Path {
        self.folder.path()
    }

    /// A fresh tag, another one each time, the same ones in every run of a test.
    pub(crate) fn tag(&self, kind: TagKind) -> Tag {
        Tag::draw(kind, &mut *self.random.borrow_mut())
    }

    pub(crate) fn command(&self) -> Command {
        let minutes = self.clock.get();
        self.clock.set(minutes + 10);
        let now = date(2026, 11, 2).at(0, 0, 0, 0).saturating_add(SignedDuration::from_mins(minutes));
        let mut command = Command::new(env!("CARGO_BIN_EXE_packmuster"));
        command
            .env_clear()
            .env("PACKMUSTER_CLOCK", format!("{now}Z"))
            .env("PACKMUSTER_SEED", format!("{}", 1000 + self.clock.get()))
            .env("COLUMNS", "80")
            .current_dir(self.path());
        command
    }

    pub(crate) fn run(&self, args: &[&str]) -> Said {
        said(self.command().args(args).stdin(Stdio::null()).output().unwrap())
    }

    /// Runs a session with lines on stdin.
    pub(crate) fn session(&self, args: &[&str], lines: &[&str]) -> Said {
        let mut running = self.begin(args);
        for line in lines {
            running.send(line);
        }
        running.end()
    }

    /// Begins a session that reads lines from stdin.
    pub(crate) fn begin(&self, args: &[&str]) -> Running {
        let mut child = self
            .command()
            .args(args)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let input = child.stdin.take().unwrap();
        let output = BufReader::new(child.stdout.take().unwrap());
        Running { child, input, output, heard: String::new() }
    }

    /// Days go by.
    pub(crate) fn days(&self, days: i64) {
        self.clock.set(self.clock.get() + days * 24 * 60);
    }

    pub(crate) fn is_sound(&self) {
        let said = self.run(&["ledger", "check"]);
        assert_eq!(said.code, 0, "{}", said.out);
    }
}

fn said(output: Output) -> Said {
    Said {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}
