//! Pictures as scans: what they hold comes one tag after the other, and nothing in them is paired by guess.

use std::path::Path;

use super::{Here, Session, Work};
use crate::app::answer::{Answer, count};
use crate::app::desk::Desk;
use crate::app::error::AppError;
use crate::app::lookup::{self, Scanned};
use crate::domain::event::PictureTaken;
use crate::domain::facts::PictureFacts;
use crate::domain::ids::Thing;
use crate::domain::tag::{Tag, TagKind};
use crate::ledger::Ledger;
use crate::scan::picture::{self, Limits};

impl<W: Work> Session<W> {
    /// Answers a picture that may have been answered before: then there is nothing to say.
    ///
    /// What it shows and that it was taken in are one transaction: a picture is taken in wholly or not at all, and once.
    ///
    /// # Errors
    /// A fault of the ledger or of the file; nothing of the picture is entered then.
    pub fn picture_once(
        &mut self,
        ledger: &mut Ledger,
        desk: &mut Desk,
        path: &Path,
        limits: &Limits,
    ) -> Result<Option<Vec<(String, Answer)>>, AppError> {
        let digest = match picture::digest(path, limits) {
            Ok(digest) => digest,
            Err(error) => {
                let answer = Answer::unclear(error.to_string(), error.hint());
                return Ok(Some(vec![(path.display().to_string(), answer)]));
            }
        };
        let known: Option<PictureFacts> = ledger.facts(Thing::picture(&digest))?;
        if known.is_some_and(|facts| facts.taken.is_some()) {
            return Ok(None);
        }
        ledger.transact(|ledger| {
            let answers = self.picture(ledger, desk, path, limits)?;
            let taken = PictureTaken { digest, desk: desk.name.clone(), at: desk.now() };
            desk.record(ledger, vec![taken.into()])?;
            Ok(Some(answers))
        })
    }

    /// Answers a picture: first what it holds, then each of its tags like a scan of its own.
    ///
    /// Operators come first and commands last; between them the order is the work's. A picture that cannot be read is an
    /// answer too.
    ///
    /// # Errors
    /// A fault of the ledger; what was answered before stays.
    pub fn picture(
        &mut self,
        ledger: &mut Ledger,
        desk: &mut Desk,
        path: &Path,
        limits: &Limits,
    ) -> Result<Vec<(String, Answer)>, AppError> {
        let name = path.display().to_string();
        let picture = match picture::read(path, limits) {
            Ok(picture) => picture,
            Err(error) => return Ok(vec![(name, Answer::unclear(error.to_string(), error.hint()))]),
        };
        let (read, unread) = (picture.found.len(), picture.unread.len());
        let tags: Vec<TagKind> = picture
            .found
            .iter()
            .filter_map(|found| found.text.trim().parse::<Tag>().ok())
            .map(|t| t.kind())
            .collect();
        if let Some(several) = unpaired(&tags, unread) {
            let text = format!("{name}: {several} in one picture: which belongs to which is not known");
            let next = "one pair in each picture, or scan them one after the other; nothing was entered";
            return Ok(vec![(name, Answer::unclear(text, next))]);
        }
        let text = format!("{name}: {}", picture.summary());
        let mut texts: Vec<String> =
            picture.found.into_iter().map(|found| found.text.trim().to_owned()).collect();
        // A stable sort: tags of one kind stay in reading order.
        texts.sort_by_key(|text| text.parse::<Tag>().map_or(9, |tag| order::<W>(tag.kind())));
        let head = if unread > 0 || read == 0 {
            Answer::unclear(text, "scan or type the code of what was not read")
        } else {
            Answer::done(text)
        };
        let mut answers = vec![(name, head)];
        let packs = tags.iter().filter(|kind| **kind == TagKind::Pack).count();
        let alone = packs > 1 && !tags.iter().any(|kind| matches!(kind, TagKind::Player | TagKind::Slot));
        for text in texts {
            if alone
                && text.parse::<Tag>().is_ok_and(|tag| tag.kind() == TagKind::Pack)
                && let Some(answer) = self.of_tray(ledger, desk, &text)?
            {
                answers.push((text, answer));
                continue;
            }
            let answer = self.scan(ledger, desk, &text)?;
            let ends = answer.ends;
            answers.push((text, answer));
            if ends {
                break;
            }
        }
        Ok(answers)
    }
}

impl<W: Work> Session<W> {
    /// What this work says of one pack of a tray; `None` when to it a tray is no more than one scan after the other.
    fn of_tray(
        &mut self,
        ledger: &mut Ledger,
        desk: &mut Desk,
        text: &str,
    ) -> Result<Option<Answer>, AppError> {
        ledger.transact(|ledger| match lookup::scanned(ledger, text)? {
            Scanned::Known(thing) => match thing.pack() {
                Some(pack) => self.work.of_tray(&mut Here { ledger, desk }, pack),
                None => Ok(None),
            },
            _ => Ok(None),
        })
    }
}

/// What a picture holds that cannot be paired without a guess: more than one holder with a pack, or one with several packs.
///
/// A tag that was seen and not read may be a pack's too.
fn unpaired(tags: &[TagKind], unread: usize) -> Option<String> {
    let shown = |kind: TagKind| tags.iter().filter(|&&other| other == kind).count();
    let packs = shown(TagKind::Pack);
    [(TagKind::Player, "players"), (TagKind::Slot, "slots")].into_iter().find_map(|(kind, word)| {
        let holders = shown(kind);
        (holders > 0 && packs > 0 && holders + packs + unread > 2).then(|| match (holders, packs) {
            (1, 1) => {
                let unread = count(unread, "tag that cannot be read", "tags that cannot be read");
                format!("a {kind}, a pack and {unread}")
            }
            (1, packs) => format!("a {kind} and {packs} packs"),
            (holders, 1) => format!("{holders} {word} and a pack"),
            (holders, packs) => format!("{holders} {word} and {packs} packs"),
        })
    })
}

fn order<W: Work>(kind: TagKind) -> u8 {
    match kind {
        TagKind::Operator => 0,
        TagKind::Command => 8,
        other => W::picture_order(other),
    }
}
