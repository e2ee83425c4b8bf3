//! What a scanner's settings do to what it types: the trial of the command card, and undoing it.

use super::{Here, Session, Work};
use crate::app::answer::Answer;
use crate::app::desk::Desk;
use crate::app::error::AppError;
use crate::app::input::Input;
use crate::domain::event::ScannerTuned;
use crate::domain::facts::DeskFacts;
use crate::domain::ids::Thing;
use crate::domain::twist::Twist;
use crate::ledger::{Ledger, LedgerError};

impl<W: Work> Session<W> {
    /// What a line says, with the twist of this desk's scanner undone where only that makes sense of it.
    ///
    /// What a person types by hand comes straight, so that is tried first.
    pub(super) fn understand(
        &mut self,
        ledger: &mut Ledger,
        desk: &Desk,
        line: &str,
    ) -> Result<Input, LedgerError> {
        let input = Input::read(line);
        if !matches!(input, Input::Slip(_) | Input::Other(_)) {
            return Ok(input);
        }
        if self.twist.is_none() {
            let facts: Option<DeskFacts> = ledger.facts(Thing::desk(&desk.name))?;
            self.twist = Some(facts.unwrap_or_default().twist);
        }
        let twist = self.twist.clone().unwrap_or_default();
        if twist.is_straight() || !twist.can_be_undone() {
            return Ok(input);
        }
        let undone = Input::read(&twist.undo(line));
        Ok(match (&input, &undone) {
            (_, Input::Slip(_) | Input::Blank) => input,
            // Words with spaces are typed by somebody; a code without any comes from the scanner.
            (Input::Other(words), Input::Other(_)) if words.contains(char::is_whitespace) => input,
            _ => undone,
        })
    }

    /// The trial of the command card: says what the scanner's settings do to its text, and undoes it for this desk.
    pub(super) fn trial(&mut self, here: &mut Here<'_>, twist: &Twist) -> Result<Answer, AppError> {
        let known: Option<DeskFacts> = here.ledger.facts(Thing::desk(&here.desk.name))?;
        if known.unwrap_or_default().twist != *twist {
            let event = ScannerTuned { desk: here.desk.name.clone(), twist: twist.clone() };
            here.desk.record(here.ledger, vec![event.into()])?;
        }
        self.twist = Some(twist.clone());
        if twist.is_straight() {
            return Ok(Answer::done("the scanner types every character right"));
        }
        let mut answer = Answer::no("this scanner's settings change what it types");
        answer.text.extend(twist.faults().into_iter().map(|fault| fault.words().to_owned()));
        Ok(if twist.can_be_undone() {
            let text = format!("until then it is undone for desk `{}`: go on scanning", here.desk.name);
            answer.and(text).next("mend it, then scan the trial again")
        } else {
            answer.next("mend it, then scan the trial again; until then, press Enter after each scan")
        })
    }
}
