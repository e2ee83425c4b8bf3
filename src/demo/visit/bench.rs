//! The world's evenings at the bench: results entered, packs that wait looked at again, slots filled.

use jiff::civil::Date;
use rand::RngExt;

use super::{Slot, World};
use crate::app::bench::Bench;
use crate::app::judging::{self, Ask};
use crate::app::lookup::{self, Scanned};
use crate::app::session::Session;
use crate::demo::error::DemoError;
use crate::domain::ids::PackId;
use crate::domain::tag::Tag;
use crate::domain::verdict::{Rule, Step};

impl World {
    pub(super) fn bench(&mut self, place: usize, day: Date, operator: Option<Tag>) -> Result<(), DemoError> {
        let mut session = Session::new(Bench::default());
        if let Some(operator) = operator {
            self.scan(&mut session, operator.text())?;
        }
        let slots = self.shops.get(place).map(|shop| shop.slots.clone()).unwrap_or_default();
        for (number, slot) in slots.iter().enumerate() {
            self.settle(&mut session, place, number, slot, day)?;
        }
        self.revisit(&mut session, place)?;
        for number in 0..slots.len() {
            self.fill(&mut session, place, number)?;
        }
        Ok(())
    }

    fn settle(
        &mut self,
        session: &mut Session<Bench>,
        place: usize,
        number: usize,
        slot: &Slot,
        day: Date,
    ) -> Result<(), DemoError> {
        let Some((pack, round)) = slot.holds else { return Ok(()) };
        self.scan(session, slot.tag.text())?;
        if round {
            self.scan(session, "round")?;
            if let Some(pack) = self.packs.get_mut(pack) {
                pack.round();
            }
            self.hold(place, number, Some((pack, false)));
            return Ok(());
        }
        let answer = if self.random.random_range(0..120) == 0 {
            self.scan(session, "powercut")?
        } else {
            let Some(real) = self.packs.get(pack).cloned() else { return Ok(()) };
            let read = real.read(&mut self.random, day, slot.bias);
            let resistance = real.resistance(&mut self.random, day);
            let text = format!("{read} mAh {}.{:02} mOhm", resistance / 100, resistance % 100);
            let answer = self.scan(session, &text)?;
            if answer.verdict.is_none() { self.scan(session, "yes")? } else { answer }
        };
        self.hold(place, number, None);
        self.sort(place, pack, &answer);
        Ok(())
    }

    fn hold(&mut self, place: usize, number: usize, holds: Option<(usize, bool)>) {
        if let Some(slot) = self.shops.get_mut(place).and_then(|shop| shop.slots.get_mut(number)) {
            slot.holds = holds;
        }
    }

    /// Packs that wait are looked at again: some want a charge, some waited for their carton.
    fn revisit(&mut self, session: &mut Session<Bench>, place: usize) -> Result<(), DemoError> {
        let waiting =
            self.shops.get_mut(place).map(|shop| std::mem::take(&mut shop.waiting)).unwrap_or_default();
        for pack in waiting {
            let Some(tag) = self.packs.get(pack).map(|pack| pack.tag) else { continue };
            let Scanned::Known(thing) = lookup::scanned(&mut self.ledger, tag.text())? else { continue };
            let ask = Ask {
                pack: PackId::new(thing.id),
                step: Step::Look,
                player: None,
                due: None,
                now: self.clock.get(),
            };
            let (ruling, _) = judging::look(&mut self.ledger, ask)?;
            let charge = ruling.reasons.first().is_some_and(|reason| reason.rule == Rule::Charge);
            if charge {
                self.scan(session, tag.text())?;
                let answer = self.scan(session, "charged")?;
                self.sort(place, pack, &answer);
            } else {
                self.put(place, pack, ruling.verdict);
            }
        }
        Ok(())
    }

    fn fill(&mut self, session: &mut Session<Bench>, place: usize, number: usize) -> Result<(), DemoError> {
        let Some(shop) = self.shops.get_mut(place) else { return Ok(()) };
        let Some(slot) = shop.slots.get(number).filter(|slot| slot.holds.is_none()).cloned() else {
            return Ok(());
        };
        // Every third free slot goes to a round, as long as both trays hold something.
        let rounds_turn = number % 3 == 2 || shop.measure.is_empty();
        let next = match (rounds_turn, shop.recondition.pop_front()) {
            (true, Some(pack)) => Some((pack, true)),
            (_, back) => {
                if let Some(pack) = back {
                    shop.recondition.push_front(pack);
                }
                shop.measure.pop_front().map(|pack| (pack, false))
            }
        };
        let Some((pack, round)) = next else { return Ok(()) };
        let Some(tag) = self.packs.get(pack).map(|pack| pack.tag) else { return Ok(()) };
        self.scan(session, slot.tag.text())?;
        self.scan(session, tag.text())?;
        self.hold(place, number, Some((pack, round)));
        Ok(())
    }
}
