//! The commands of the command card: what a desk can say without a keyboard.
//!
//! Each command has a tag of its own with an opaque body, fixed for ever, and a word for those who type. Digits build a
//! number; a unit closes it.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::event::Service;
use super::finding::{Finding, NoResult, Reason};
use super::tag::Tag;

/// The text of the scanner trial: every character that a tag or a typed word can hold.
pub const TRIAL: &str = "TRIAL-0123456789-ABCDEFGHIJKLMNOPQRSTUVWXYZ-abcdefghijklmnopqrstuvwxyz";

/// One command.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Command {
    /// One digit of a number.
    Digit(u8),
    /// The decimal mark of a number.
    Point,
    /// Closes a number without a unit, or agrees with what stands on the screen.
    Enter,
    /// Agrees.
    Yes,
    /// Declines.
    No,
    /// Takes the last scan of this desk back.
    Undo,
    /// Ends the session.
    End,
    /// The number is a loan length in weeks.
    Weeks,
    /// The number is a loan length in days.
    Days,
    /// The number is the player's own count of hours played on this loan.
    PlayerHours,
    /// The number is a measured capacity.
    Mah,
    /// The pack has just been charged, in a player or a charger.
    Charged,
    /// The pack has just been through a reconditioning round.
    Round,
    /// The next pack comes from the next carton.
    NextCarton,
    /// The next tag replaces the worn tag of the last thing scanned.
    Replace,
    /// Overrules the last refusal.
    Overrule,
    /// The player came without a pack.
    NoPack,
    /// The tag on the pack cannot be read.
    Unreadable,
    /// Something was done to the last slot.
    Service(Service),
    /// Something that was seen on the last pack.
    Finding(Finding),
    /// The run in the last slot ended without a reading.
    NoResult(NoResult),
    /// Why a refusal is overruled.
    Reason(Reason),
}

struct Row {
    command: Command,
    word: &'static str,
    label: &'static str,
    tag: &'static str,
}

const fn row(command: Command, word: &'static str, label: &'static str, tag: &'static str) -> Row {
    Row { command, word, label, tag }
}

const TABLE: &[Row] = &[
    row(Command::Digit(0), "0", "Digit 0", "C0MWF2SBY7KWZ"),
    row(Command::Digit(1), "1", "Digit 1", "C3K21JB5FHVMX"),
    row(Command::Digit(2), "2", "Digit 2", "CFQQHM1MWSX7G"),
    row(Command::Digit(3), "3", "Digit 3", "CW9ETWCW3CKZ4"),
    row(Command::Digit(4), "4", "Digit 4", "C477SBMWCXJ1T"),
    row(Command::Digit(5), "5", "Digit 5", "C1B4M7GQHTT4R"),
    row(Command::Digit(6), "6", "Digit 6", "CFFPTWY337AEE"),
    row(Command::Digit(7), "7", "Digit 7", "CYHM60VFFC3MW"),
    row(Command::Digit(8), "8", "Digit 8", "C3210YZ622KCN"),
    row(Command::Digit(9), "9", "Digit 9", "CHPQN62CXRAD1"),
    row(Command::Point, "point", "Decimal point", "CMTRTYZTXM072"),
    row(Command::Enter, "enter", "Enter", "CQ71P3SWATAR5"),
    row(Command::Yes, "yes", "Yes", "CGPBF8ZGM3SFN"),
    row(Command::No, "no", "No", "CYQN35QNCGZ86"),
    row(Command::Undo, "undo", "Undo last scan", "CCT4R86ZYDS40"),
    row(Command::End, "end", "End", "C9EENC65DNYH4"),
    row(Command::Weeks, "weeks", "weeks", "C7KTXQC5HNQVC"),
    row(Command::Days, "days", "days", "C9653ND0EQ3GS"),
    row(Command::PlayerHours, "hours", "hours on the player", "CN52P6VDNXAFZ"),
    row(Command::Mah, "mah", "mAh read", "CR9YE3RPQB3VE"),
    row(Command::Charged, "charged", "Charged", "CBZH3GJ8YFFA6"),
    row(Command::Round, "round", "Round done", "CZRWJFTPY70GW"),
    row(Command::NextCarton, "carton", "Next carton", "CN7ZKYKH0QSKN"),
    row(Command::Replace, "replace", "Replace worn tag", "CAC4THSSWQYNY"),
    row(Command::Overrule, "overrule", "Overrule", "CFVK72QG2JFD7"),
    row(Command::NoPack, "nopack", "No pack in it", "CJ6ENNSDX72AS"),
    row(Command::Unreadable, "unreadable", "Tag cannot be read", "C3X3THXQ085W0"),
    row(Command::Finding(Finding::Swollen), "swollen", "Swollen", "CKW2QA6KDFVWZ"),
    row(Command::Finding(Finding::Leaking), "leaking", "Leaking", "CQ3224JG9S8G7"),
    row(Command::Finding(Finding::Cracked), "cracked", "Cracked", "CACKYRPCRS41R"),
    row(Command::Finding(Finding::Hot), "hot", "Hot", "CQN5PER8089T7"),
    row(Command::Finding(Finding::CorrodedContacts), "corroded", "Corroded contacts", "C313CBMVKXYK5"),
    row(Command::Finding(Finding::CutOutEarly), "cutout", "Cut out early", "C97BTQB1T4ZTP"),
    row(Command::NoResult(NoResult::PowerCut), "powercut", "No result: power cut", "C1T7HV2GXPHQV"),
    row(Command::NoResult(NoResult::SlotError), "sloterror", "No result: slot error", "CCD0G81R33SDR"),
    row(Command::NoResult(NoResult::Refused), "refused", "No result: pack refused", "CZYNKPAGQZ18G"),
    row(Command::NoResult(NoResult::TakenOut), "takenout", "No result: taken out early", "CKGPH35TCTG69"),
    row(Command::Service(Service::Serviced), "serviced", "Slot serviced", "C0J9T5JAVKP2S"),
    row(Command::Service(Service::Adapter), "adapter", "Slot: other adapter", "CYF6VNQDZYZQQ"),
    row(Command::Reason(Reason::NoOtherPack), "noother", "No other pack", "CQYH2EE93XV3Y"),
    row(Command::Reason(Reason::ShortLoan), "shortloan", "Short loan", "CABEZ74NYM97Y"),
    row(Command::Reason(Reason::BorrowerTold), "told", "Borrower was told", "C24SG620SWG8Y"),
    row(Command::Reason(Reason::MeasuredElsewhere), "elsewhere", "Measured elsewhere", "CGAPFT41T4YKG"),
];

impl Command {
    /// Every command, in the order of the card.
    pub fn all() -> impl Iterator<Item = Self> {
        TABLE.iter().map(|row| row.command)
    }

    /// The command that a typed word names.
    pub fn from_word(word: &str) -> Option<Self> {
        TABLE.iter().find(|row| row.word.eq_ignore_ascii_case(word.trim())).map(|row| row.command)
    }

    /// The command that a scanned tag names.
    pub fn from_tag(tag: Tag) -> Option<Self> {
        TABLE.iter().find(|row| row.tag == tag.text()).map(|row| row.command)
    }

    fn row(self) -> Option<&'static Row> {
        TABLE.iter().find(|row| row.command == self)
    }

    /// The word that a person may type instead.
    pub fn word(self) -> &'static str {
        self.row().map_or("", |row| row.word)
    }

    /// What the card prints beside the tag.
    pub fn label(self) -> &'static str {
        self.row().map_or("", |row| row.label)
    }

    /// The tag on the card. `None` only for a digit above nine.
    pub fn tag(self) -> Option<Tag> {
        self.row().and_then(|row| row.tag.parse().ok())
    }
}

impl fmt::Display for Command {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn every_command_has_a_valid_tag_and_a_word_of_its_own() {
        let mut seen = HashSet::new();
        for command in Command::all() {
            let tag = command.tag().unwrap();
            assert_eq!(Command::from_tag(tag), Some(command));
            assert_eq!(Command::from_word(&command.word().to_uppercase()), Some(command));
            assert!(seen.insert(tag.text().to_owned()) && seen.insert(command.word().to_owned()));
        }
    }
}
