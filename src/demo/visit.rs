//! One visit to a workshop: returns are taken in, results entered, slots filled, players sent out, all by scans.

mod bench;

use std::cell::Cell;
use std::rc::Rc;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

use crate::app::answer::{Answer, Outcome};
use crate::app::desk::Desk;
use crate::app::dispatch::Dispatch;
use crate::app::intake::{Intake, Makes};
use crate::app::receive::{Delivery, Receive};
use crate::app::session::{Here, Session, Work};
use crate::app::{people, setup};
use crate::domain::moment::{Moment, day_after, days_between};
use crate::domain::tag::{Tag, TagKind};
use crate::domain::verdict::{Rule, Verdict};
use crate::ledger::Ledger;

use super::error::DemoError;
use super::scenario::{Lot, Scenario};
use super::sim::{Pack, Player, Slot, Workshop};

/// The world, the ledger, and the people between them.
pub(super) struct World {
    pub(super) scenario: Scenario,
    pub(super) ledger: Ledger,
    pub(super) clock: Rc<Cell<Moment>>,
    pub(super) desk: Desk,
    pub(super) packs: Vec<Pack>,
    pub(super) shops: Vec<Workshop>,
    pub(super) operators: Vec<Tag>,
    random: ChaCha12Rng,
    zone: TimeZone,
}

impl World {
    /// Begins the ledger with sites, makes, trays and people.
    pub(super) fn begin(scenario: Scenario, path: &std::path::Path) -> Result<Self, DemoError> {
        let zone = crate::domain::moment::zone(&scenario.zone)
            .ok_or_else(|| DemoError::Scenario(format!("`{}` is no time zone", scenario.zone)))?;
        let first = Moment::start_of(scenario.first_day, &zone).plus_millis(8 * 3_600_000);
        let clock = Rc::new(Cell::new(first));
        let looks = Rc::clone(&clock);
        let seed = ChaCha12Rng::seed_from_u64(scenario.seed);
        let mut desk = Desk::new("office", seed, Box::new(move || looks.get()));
        let missing = || DemoError::Scenario("a site, a make and a player make are needed".to_owned());
        let site = scenario.site.first().ok_or_else(missing)?;
        let beginning = setup::Beginning {
            site: site.name.clone(),
            zone: scenario.zone.clone(),
            policy: super::scenario::POLICY.to_owned(),
            player: scenario.player_make.first().ok_or_else(missing)?.spec()?,
            pack: scenario.make.first().ok_or_else(missing)?.spec()?,
        };
        let ledger = setup::begin(path, &mut desk, &beginning)?;
        let random = ChaCha12Rng::seed_from_u64(scenario.seed.wrapping_add(1));
        let shops = scenario.site.iter().map(|_| Workshop::default()).collect();
        let mut world = Self {
            scenario,
            ledger,
            clock,
            desk,
            packs: Vec::new(),
            shops,
            operators: Vec::new(),
            random,
            zone,
        };
        world.furnish()?;
        Ok(world)
    }

    fn furnish(&mut self) -> Result<(), DemoError> {
        let scenario = self.scenario.clone();
        for site in scenario.site.iter().skip(1) {
            self.tick(60);
            setup::open_site(&mut self.ledger, &mut self.desk, &site.name, &scenario.zone)?;
        }
        let names: Vec<String> = scenario.site.iter().map(|site| site.name.clone()).collect();
        self.ledger.write_for(names.first().map(String::as_str))?;
        for make in scenario.player_make.iter().skip(1) {
            setup::declare_player(&mut here(&mut self.ledger, &mut self.desk), make.spec()?)?;
        }
        for make in scenario.make.iter().skip(1) {
            setup::declare_pack(&mut here(&mut self.ledger, &mut self.desk), make.spec()?)?;
        }
        for place in &scenario.place {
            let tag = Tag::draw(TagKind::Place, &mut self.random);
            let mut here = here(&mut self.ledger, &mut self.desk);
            setup::add_place(&mut here, &place.name, Some(place.tray), Some(tag.text()))?;
        }
        for person in &scenario.operator {
            let tag = Tag::draw(TagKind::Operator, &mut self.random);
            let mut here = here(&mut self.ledger, &mut self.desk);
            people::enrol(&mut here, &person.initials, person.may_overrule, Some(tag.text()))?;
            self.operators.push(tag);
        }
        for (place, site) in scenario.site.iter().enumerate() {
            self.ledger.write_for(Some(&site.name))?;
            for number in 1..=site.slots {
                let tag = Tag::draw(TagKind::Slot, &mut self.random);
                let name = format!("{} {number}", site.name);
                setup::add_slot(&mut here(&mut self.ledger, &mut self.desk), &name, Some(tag.text()))?;
                let bias = super::sim::bell(&mut self.random, 12);
                if let Some(shop) = self.shops.get_mut(place) {
                    shop.slots.push(Slot { tag, bias, holds: None });
                }
            }
            self.add_players(place);
        }
        Ok(())
    }

    /// Players stand in the world from the start; the ledger adopts each when it is first scanned.
    fn add_players(&mut self, place: usize) {
        let Some(site) = self.scenario.site.get(place).cloned() else { return };
        let first = self.scenario.first_day;
        let mut left = site.adopted;
        for (make, count) in site.players.iter().enumerate() {
            for _ in 0..*count {
                let tag = Tag::draw(TagKind::Player, &mut self.random);
                let adopted = left > 0 && self.random.random_range(0..3) == 0;
                let (pack, out) = if adopted {
                    left -= 1;
                    let pack = self.old_pack(make);
                    let back = day_after(first, self.random.random_range(0..40));
                    (Some(pack), Some((first, back)))
                } else {
                    (None, None)
                };
                if let Some(shop) = self.shops.get_mut(place) {
                    shop.players.push(Player { tag, make, pack, out, unlabelled: true });
                }
            }
        }
    }

    /// A pack that was in use before the ledger began.
    fn old_pack(&mut self, make: usize) -> usize {
        let tag = Tag::draw(TagKind::Pack, &mut self.random);
        let made = day_after(self.scenario.first_day, -self.random.random_range(500..1800));
        let rated = self.rated(make);
        let mut pack = Pack::draw(&mut self.random, tag, make, rated, made, 100);
        for _ in 0..self.random.random_range(2..9) {
            pack.use_up(&mut self.random, 12_000, 44_000, rated);
        }
        self.packs.push(pack);
        self.packs.len() - 1
    }

    fn rated(&self, make: usize) -> i64 {
        self.scenario.make.get(make).map_or(1000, |make| i64::from(make.rated_mah))
    }

    /// Goes through every day before the demo's.
    pub(super) fn live(&mut self, mut progress: impl FnMut(u64)) -> Result<(), DemoError> {
        let (first, last) = (self.scenario.first_day, self.scenario.demo_day);
        let mut day = first;
        while day < last {
            // One transaction a day: each act is a savepoint of its own, and the day costs one sync.
            self.ledger.gather()?;
            self.day(day)?;
            self.ledger.release()?;
            progress(u64::try_from(days_between(first, day)).unwrap_or(0));
            day = day_after(day, 1);
        }
        Ok(())
    }

    fn day(&mut self, day: Date) -> Result<(), DemoError> {
        for place in 0..self.shops.len() {
            let turn = (days_between(self.scenario.first_day, day) + i64::try_from(place).unwrap_or(0)) % 7;
            let name = self.scenario.site.get(place).map(|site| site.name.clone()).unwrap_or_default();
            let lots: Vec<Lot> =
                self.scenario.lot.iter().filter(|lot| lot.day == day && lot.site == name).cloned().collect();
            if lots.is_empty() && turn != 0 && turn != 3 {
                continue;
            }
            let hour = 9 + i64::try_from(place).unwrap_or(0);
            self.clock.set(Moment::start_of(day, &self.zone).plus_millis(hour * 3_600_000));
            self.ledger.write_for(Some(&name))?;
            self.desk.name = format!("{name} desk");
            let turn = self.random.random_range(0..self.operators.len().max(1));
            let operator = self.operators.get(turn).copied();
            for lot in lots {
                self.receive(place, &lot)?;
            }
            self.intake(place, day, operator)?;
            self.bench(place, day, operator)?;
            self.dispatch(place, day, operator)?;
        }
        Ok(())
    }

    fn receive(&mut self, place: usize, lot: &Lot) -> Result<(), DemoError> {
        let make = self.scenario.make.iter().position(|make| make.name == lot.make).unwrap_or(0);
        let delivery = Delivery {
            make: Some(lot.make.clone()),
            lot: lot.name.clone(),
            supplier_ref: lot.reference.clone(),
            cartons: lot.cartons,
            count: lot.count,
            made: Some(lot.made),
        };
        let (work, _) = Receive::begin(&mut here(&mut self.ledger, &mut self.desk), &delivery)?;
        let mut session = Session::new(work);
        for _ in 0..lot.cartons * lot.count {
            let tag = Tag::draw(TagKind::Pack, &mut self.random);
            let rated = self.rated(make);
            self.packs.push(Pack::draw(&mut self.random, tag, make, rated, lot.made, lot.fade));
            self.scan(&mut session, tag.text())?;
            if let Some(shop) = self.shops.get_mut(place) {
                shop.measure.push_back(self.packs.len() - 1);
            }
        }
        Ok(())
    }

    fn intake(&mut self, place: usize, day: Date, operator: Option<Tag>) -> Result<(), DemoError> {
        let Some(shop) = self.shops.get(place) else { return Ok(()) };
        let back: Vec<usize> = (0..shop.players.len())
            .filter(|&n| {
                shop.players.get(n).is_some_and(|player| player.out.is_some_and(|(_, back)| back <= day))
            })
            .collect();
        for number in back {
            self.take_in(place, number, day, operator)?;
        }
        Ok(())
    }

    /// A session that adopts things of a make.
    pub(super) fn intake_session(&self, make: usize) -> Session<Intake> {
        let pack = self.scenario.make.get(make).map(|make| make.name.clone());
        let player = self.scenario.player_make.get(make).map(|make| make.name.clone());
        Session::new(Intake::new(Makes { pack, player }))
    }

    fn take_in(
        &mut self,
        place: usize,
        number: usize,
        day: Date,
        operator: Option<Tag>,
    ) -> Result<(), DemoError> {
        let Some((player, pack)) = self.come_back(place, number, day) else { return Ok(()) };
        let mut session = self.intake_session(player.make);
        if let Some(operator) = operator {
            self.scan(&mut session, operator.text())?;
        }
        self.scan(&mut session, player.tag.text())?;
        if !player.unlabelled && self.random.random_range(0..2) == 0 {
            let days = player.out.map_or(0, |(since, _)| days_between(since, day));
            let hours = days * self.random.random_range(80..320) / 100;
            self.scan(&mut session, &format!("{} h", hours.max(1)))?;
        }
        let Some(tag) = self.packs.get(pack).map(|pack| pack.tag) else { return Ok(()) };
        let mut answer = self.scan(&mut session, tag.text())?;
        if let Some(word) = self.finding(pack, player.make, day) {
            answer = self.scan(&mut session, word)?;
        }
        self.sort(place, pack, &answer);
        Ok(())
    }

    /// The world's part of a return: the pack is used up, the player stands at the bench.
    pub(super) fn come_back(&mut self, place: usize, number: usize, day: Date) -> Option<(Player, usize)> {
        let player = self.shops.get(place)?.players.get(number)?.clone();
        let pack = player.pack?;
        let days = player.out.map_or(0, |(since, _)| days_between(since, day));
        let hundredths = days * self.random.random_range(80..320);
        let rated = self.rated(player.make);
        self.packs.get_mut(pack)?.use_up(&mut self.random, hundredths, 45_000, rated);
        let standing = self.shops.get_mut(place)?.players.get_mut(number)?;
        standing.pack = None;
        standing.out = None;
        standing.unlabelled = false;
        Some((player, pack))
    }

    fn finding(&mut self, pack: usize, make: usize, day: Date) -> Option<&'static str> {
        let weak = self.packs.get(pack)?.capacity_mah(day) < self.rated(make) * 58 / 100;
        match self.random.random_range(0..1000) {
            0..3 => Some("swollen"),
            3..5 => Some("leaking"),
            5..7 => Some("cracked"),
            7..30 => Some("corroded"),
            30..600 if weak => Some("cutout"),
            _ => None,
        }
    }

    fn dispatch(&mut self, place: usize, day: Date, operator: Option<Tag>) -> Result<(), DemoError> {
        let empty: Vec<usize> = self
            .shops
            .get(place)
            .map(|shop| {
                (0..shop.players.len())
                    .filter(|&n| shop.players.get(n).is_some_and(|player| player.out.is_none()))
                    .collect()
            })
            .unwrap_or_default();
        // Not everything that could go out is asked for.
        let wanted = empty.into_iter().filter(|_| self.random.random_range(0..100) < 70).collect::<Vec<_>>();
        for number in wanted {
            self.send(place, number, day, operator)?;
        }
        Ok(())
    }

    /// The next fit pack for a player.
    pub(super) fn fit_for(&mut self, place: usize, make: usize) -> Option<usize> {
        let packs = &self.packs;
        let shop = self.shops.get_mut(place)?;
        let found =
            shop.fit.iter().position(|&pack| packs.get(pack).is_some_and(|pack| pack.make == make))?;
        Some(shop.fit.remove(found))
    }

    fn send(
        &mut self,
        place: usize,
        number: usize,
        day: Date,
        operator: Option<Tag>,
    ) -> Result<(), DemoError> {
        let Some(player) = self.shops.get(place).and_then(|shop| shop.players.get(number)).cloned() else {
            return Ok(());
        };
        let Some(pack) = self.fit_for(place, player.make) else { return Ok(()) };
        let Some(tag) = self.packs.get(pack).map(|pack| pack.tag) else { return Ok(()) };
        if player.unlabelled {
            // A player that never came back is scanned in empty before it can go out.
            let mut session = self.intake_session(player.make);
            self.scan(&mut session, player.tag.text())?;
        }
        let choice = self.random.random_range(0..self.scenario.loan_days.len().max(1));
        let days = self.scenario.loan_days.get(choice).copied().unwrap_or(60);
        let mut session = Session::new(Dispatch::default());
        if let Some(operator) = operator {
            self.scan(&mut session, operator.text())?;
        }
        self.scan(&mut session, &format!("{days} days"))?;
        self.scan(&mut session, tag.text())?;
        let answer = self.scan(&mut session, player.tag.text())?;
        if answer.outcome == Outcome::Yes {
            let late = self.random.random_range(-self.scenario.late_days / 2..=self.scenario.late_days);
            let back = day_after(day, i64::from(days) + late);
            if let Some(player) = self.shops.get_mut(place).and_then(|shop| shop.players.get_mut(number)) {
                player.pack = Some(pack);
                player.out = Some((day, back));
                player.unlabelled = false;
            }
        } else {
            self.sort(place, pack, &answer);
        }
        Ok(())
    }

    /// Puts a pack into the tray that the answer names.
    fn sort(&mut self, place: usize, pack: usize, answer: &Answer) {
        if let Some(told) = &answer.verdict {
            let carton = told.reasons.first().is_some_and(|reason| reason.rule == Rule::Carton);
            let verdict = if carton && told.capacity_mah.is_none() { Verdict::Measure } else { told.verdict };
            self.put(place, pack, verdict);
        }
    }

    fn put(&mut self, place: usize, pack: usize, verdict: Verdict) {
        let Some(shop) = self.shops.get_mut(place) else { return };
        match verdict {
            Verdict::Fit => shop.fit.push(pack),
            Verdict::Measure => shop.measure.push_back(pack),
            Verdict::Recondition => shop.recondition.push_back(pack),
            Verdict::Wait => shop.waiting.push(pack),
            Verdict::Recycle | Verdict::Isolate => {}
        }
    }

    /// Scans one line at the desk, half a minute later.
    pub(super) fn scan<W: Work>(
        &mut self,
        session: &mut Session<W>,
        line: &str,
    ) -> Result<Answer, DemoError> {
        self.tick(20);
        Ok(session.scan(&mut self.ledger, &mut self.desk, line)?)
    }

    fn tick(&mut self, seconds: i64) {
        self.clock.set(self.clock.get().plus_millis(seconds * 1000));
    }
}

fn here<'a>(ledger: &'a mut Ledger, desk: &'a mut Desk) -> Here<'a> {
    Here { ledger, desk }
}
