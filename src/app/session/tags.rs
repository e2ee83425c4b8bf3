//! Worn tags: a fresh one takes the place of the old.

use super::{Here, Session, Work};
use crate::app::answer::Answer;
use crate::app::error::AppError;
use crate::app::lookup::{self, Scanned};
use crate::domain::event::{TagBound, TagRetired};
use crate::domain::ids::{Thing, ThingKind};
use crate::domain::tag::Tag;

impl<W: Work> Session<W> {
    pub(super) fn begin_replacing(&mut self) -> Answer {
        // A pack that lies here without a tag that can be read: whatever tags of ours it wore are replaced.
        let at_hand = || self.work.at_hand().map(|pack| (String::new(), Thing::from(pack)));
        match self.last.clone().or_else(at_hand) {
            Some((text, thing)) => {
                self.replacing = Some((text, thing));
                Answer::done(format!("the {}'s tag is to be replaced", thing.kind))
                    .next("stick the fresh tag on and scan it")
            }
            None => Answer::unclear(
                "no thing was scanned yet",
                "scan the worn tag or another code of the thing, then REPLACE",
            ),
        }
    }

    pub(super) fn replace(
        &mut self,
        here: &mut Here<'_>,
        (old, thing): (String, Thing),
        text: &str,
        scanned: Scanned,
    ) -> Result<Answer, AppError> {
        match scanned {
            Scanned::Fresh(tag) if lookup::kind_for(tag.kind()) == Some(thing.kind) => {
                retag(here, thing, &old, text)?;
                self.last = Some((text.to_owned(), thing));
                self.repeat = Some(thing);
                Ok(Answer::done(format!("the {} now wears {tag}", thing.kind)).and("peel the old tag off"))
            }
            Scanned::Fresh(tag) => {
                self.replacing = Some((old, thing));
                Ok(Answer::unclear(
                    format!("{tag} is made for a {}, and this is a {}", tag.kind(), thing.kind),
                    format!("scan a fresh {} tag", thing.kind),
                ))
            }
            _ => Ok(Answer::unclear(
                "that tag is in use; nothing was replaced",
                "scan REPLACE again, then a fresh tag",
            )),
        }
    }
}

/// Binds a fresh tag to a thing, and retires the worn one if it was a tag of ours, else all tags of ours that it wore.
///
/// # Errors
/// A fault of the ledger.
pub fn retag(here: &mut Here<'_>, thing: Thing, old: &str, fresh: &str) -> Result<(), AppError> {
    let mut worn: Vec<String> = Vec::new();
    if old.parse::<Tag>().is_ok() {
        worn.push(old.to_owned());
    } else {
        let codes = match thing.kind {
            ThingKind::Pack => here.ledger.facts::<crate::domain::pack::PackFacts>(thing)?.map(|f| f.codes),
            ThingKind::Player => {
                here.ledger.facts::<crate::domain::facts::PlayerFacts>(thing)?.map(|f| f.codes)
            }
            _ => None,
        };
        worn.extend(codes.unwrap_or_default().into_iter().filter(|code| code.parse::<Tag>().is_ok()));
    }
    let mut events = vec![TagBound { code: fresh.to_owned(), thing }.into()];
    events.extend(worn.into_iter().map(|code| TagRetired { code, thing }.into()));
    here.desk.record(here.ledger, events)?;
    Ok(())
}
