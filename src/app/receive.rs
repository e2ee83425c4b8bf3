//! Receiving new stock: a lot and its cartons, then each pack as its fresh tag is scanned.

use jiff::civil::Date;

use crate::domain::command::Command;
use crate::domain::event::{
    CartonClosed, CartonOpened, Entrance, Event, LotReceived, Origin, PackAdded, TagBound,
};
use crate::domain::facts::{CartonFacts, LotFacts};
use crate::domain::ids::{CartonId, LotId, MakeId, PackId, Thing, ThingKind};
use crate::domain::tag::TagKind;
use crate::domain::units::Cycles;
use crate::domain::verdict::Step;

use crate::policy::judge::carton::plan;

use super::answer::{Answer, Outcome};
use super::error::AppError;
use super::intake::kind;
use super::judging::{self, Ask};
use super::lookup::{self, Scanned};
use super::on_pack;
use super::sampling::carton::{Settled, is_drawn, settle};
use super::session::{Amount, Code, Here, Work};

/// What is received.
#[derive(Debug, Clone)]
pub struct Delivery {
    /// The make of all its packs.
    pub make: Option<String>,
    /// The lot's name.
    pub lot: String,
    /// The supplier's reference.
    pub supplier_ref: String,
    /// Cartons in it; without cartons the packs come loose.
    pub cartons: u32,
    /// Packs in each carton.
    pub count: u32,
    /// The maker's date, if it is on the carton.
    pub made: Option<Date>,
}

/// A receiving session.
#[derive(Debug, Clone)]
pub struct Receive {
    make: MakeId,
    lot: LotId,
    lot_name: String,
    made: Option<Date>,
    cartons: Vec<(CartonId, String, u32, u32)>,
    carton: usize,
    pack: Option<Thing>,
    entered: u32,
}

impl Receive {
    /// Enters the lot and its cartons, or takes up a lot that is there already.
    ///
    /// # Errors
    /// When the make is not clear, the lot is there with another make, or a fault of the ledger.
    pub fn begin(here: &mut Here<'_>, delivery: &Delivery) -> Result<(Self, Answer), AppError> {
        let make = lookup::make(here.ledger, delivery.make.as_deref())?;
        match here.ledger.named(ThingKind::Lot, &delivery.lot)?.first() {
            Some(&lot) => Self::take_up(here, lot, make, delivery),
            None => Self::open(here, make, delivery),
        }
    }

    fn open(here: &mut Here<'_>, make: MakeId, delivery: &Delivery) -> Result<(Self, Answer), AppError> {
        if delivery.cartons > 0 && delivery.count == 0 {
            return Err(AppError::input(
                "cartons of 0 packs",
                "give --count, the number of packs in each carton",
            ));
        }
        let now = here.desk.now();
        let lot = LotId::draw(now, &mut here.desk.random);
        let mut events: Vec<Event> = vec![
            LotReceived {
                lot,
                make,
                name: delivery.lot.clone(),
                supplier_ref: delivery.supplier_ref.clone(),
                at: now,
            }
            .into(),
        ];
        let mut cartons = Vec::new();
        let settled = match delivery.cartons {
            0 => Settled { plan: None, stopped: false },
            _ => settle(here.ledger, make, delivery.count)?,
        };
        for number in 1..=delivery.cartons {
            // In the order of their numbers, in which they are also sampled.
            let carton = CartonId::draw_nth(now, number, &mut here.desk.random);
            let name = format!("{}/{number}", delivery.lot);
            events.push(
                CartonOpened { carton, lot, name: name.clone(), size: delivery.count, plan: settled.plan }
                    .into(),
            );
            cartons.push((carton, name, delivery.count, 0));
        }
        here.desk.record(here.ledger, events)?;
        let text = format!("lot {}: {} cartons of {} packs", delivery.lot, delivery.cartons, delivery.count);
        let receive = Self {
            make,
            lot,
            lot_name: delivery.lot.clone(),
            made: delivery.made,
            cartons,
            carton: 0,
            pack: None,
            entered: 0,
        };
        let next = receive.prompt();
        let mut answer = Answer::done(text);
        if let Some(plan) = settled.plan.filter(|_| delivery.cartons > 0) {
            let second =
                plan.second.map_or(String::new(), |draw| format!(", and {} more if need be", draw.take));
            let by = plan.severity.map_or_else(
                || "by a plan for its size".to_owned(),
                |severity| format!("by the standard, {severity}"),
            );
            answer = answer.and(format!("each is sampled {by}: {} packs{second}", plan.first.take));
        }
        if settled.stopped {
            answer = answer.and("ten cartons of this make in a row had to be sampled tightened: the supplier has to act first");
        }
        Ok((receive, answer.next(next)))
    }

    fn take_up(
        here: &mut Here<'_>,
        thing: Thing,
        make: MakeId,
        delivery: &Delivery,
    ) -> Result<(Self, Answer), AppError> {
        let facts: LotFacts = here.ledger.facts(thing)?.unwrap_or_default();
        let same = facts.make == Some(make) && facts.supplier_ref == delivery.supplier_ref;
        if !same || facts.cartons != delivery.cartons {
            return Err(AppError::input(
                format!(
                    "lot `{}` is in the ledger already, with another make, reference or number of cartons",
                    facts.name
                ),
                "give the same figures to take it up again, or another --lot",
            ));
        }
        let lot = LotId::new(thing.id);
        let mut cartons = Vec::new();
        for (thing, facts) in here.ledger.all(ThingKind::Carton)? {
            let facts = CartonFacts::try_from(facts).ok().filter(|facts| facts.lot == Some(lot));
            if let Some(facts) = facts {
                let size = if facts.closed { facts.packs } else { facts.size };
                cartons.push((CartonId::new(thing.id), facts.name, size, facts.packs));
            }
        }
        cartons.sort_by(|a, b| (a.1.len(), &a.1).cmp(&(b.1.len(), &b.1)));
        let carton = cartons.iter().position(|(_, _, size, packs)| packs < size).unwrap_or(cartons.len());
        let text = format!("lot {} again: {} packs are in", facts.name, facts.packs);
        let receive = Self {
            make,
            lot,
            lot_name: facts.name,
            made: delivery.made,
            cartons,
            carton,
            pack: None,
            entered: 0,
        };
        let next = receive.prompt();
        Ok((receive, Answer::done(text).next(next)))
    }

    /// How many packs this session has entered.
    pub const fn entered(&self) -> u32 {
        self.entered
    }

    fn add(&mut self, here: &mut Here<'_>, code: &Code) -> Result<Answer, AppError> {
        if self.carton >= self.cartons.len() && !self.cartons.is_empty() {
            return Ok(Answer::no("every carton of this lot is full").next("END, or enter another lot"));
        }
        let lot: LotFacts = here.ledger.facts(self.lot.into())?.unwrap_or_default();
        if lot.received.is_none() {
            return Ok(Answer::no(format!("lot {} was taken back; nothing is entered", self.lot_name))
                .next("END, then enter the lot again"));
        }
        let carton = self.cartons.get_mut(self.carton);
        let now = here.desk.now();
        // Packs of one moment, as from a file, still sort in the order in which they came out of their carton.
        let before = carton.as_ref().map_or(self.entered, |carton| carton.3);
        let pack = PackId::draw_nth(now, before, &mut here.desk.random);
        let mut events: Vec<Event> = vec![
            PackAdded {
                pack,
                make: self.make,
                origin: Origin::New,
                entrance: Entrance::Received,
                lot: Some(self.lot),
                carton: carton.as_ref().map(|carton| carton.0),
                made: self.made,
                serial: None,
                prior: Some(Cycles::default()),
                at: now,
            }
            .into(),
            TagBound { code: code.text.clone(), thing: pack.into() }.into(),
        ];
        let mut text = Vec::new();
        let mut full = false;
        if let Some((carton, name, size, packs)) = carton {
            *packs += 1;
            full = packs >= size;
            text.push(format!("carton {name}: {packs} of {size}"));
            let facts: CartonFacts = here.ledger.facts((*carton).into())?.unwrap_or_default();
            if let Some(rule) = here.ledger.settings()?.policy.rules.carton
                && is_drawn(*carton, *size, &plan(&facts, rule), *packs)
            {
                text.push("of the sample: put it with those to be measured".to_owned());
            }
        }
        let ask = Ask { pack, step: Step::Intake, player: None, due: None, now };
        let (_, told) = judging::with_verdict(here.ledger, ask, &mut events)?;
        here.desk.record(here.ledger, events)?;
        self.entered += 1;
        self.pack = Some(pack.into());
        // The label is bound in the same act, after the verdict was worked out.
        let told = super::answer::Told { pack: lookup::pack_name(here.ledger, pack)?, ..told };
        if full {
            self.carton += 1;
            text.push("that carton is full".to_owned());
        }
        Ok(Answer::verdict(told, text, Outcome::Yes))
    }
}

impl Work for Receive {
    fn code(&mut self, here: &mut Here<'_>, code: Code) -> Result<Answer, AppError> {
        match (kind(&code), code.scanned) {
            (Some(ThingKind::Pack), Scanned::Fresh(_)) => self.add(here, &code),
            (Some(ThingKind::Pack), _) => {
                Ok(Answer::no("this pack is in the ledger already; nothing is entered").next(self.prompt()))
            }
            (Some(other), _) => Ok(Answer::unclear(format!("a {other} is not expected here"), self.prompt())),
            (None, _) => Ok(Answer::unclear("nothing is known by this code", self.prompt())),
        }
    }

    fn amount(&mut self, _here: &mut Here<'_>, _amount: Amount) -> Result<Answer, AppError> {
        Ok(Answer::unclear("a number means nothing here", self.prompt()))
    }

    fn command(&mut self, here: &mut Here<'_>, command: Command) -> Result<Answer, AppError> {
        match command {
            Command::NextCarton => match self.cartons.get(self.carton) {
                Some((carton, name, size, packs)) => {
                    let (carton, packs, at) = (*carton, *packs, here.desk.now());
                    let text = format!("carton {name} is closed with {packs} of {size} packs");
                    here.desk.record(here.ledger, vec![CartonClosed { carton, packs, at }.into()])?;
                    self.carton += 1;
                    Ok(Answer::done(text))
                }
                None => Ok(Answer::unclear("there is no further carton", self.prompt())),
            },
            Command::Finding(finding) => match self.pack.and_then(Thing::pack) {
                Some(pack) => on_pack::seen(here, pack, Step::Intake, finding),
                None => Ok(on_pack::none("stick a tag on the pack and scan it first")),
            },
            _ => Ok(Answer::unclear(format!("`{command}` means nothing here"), self.prompt())),
        }
    }

    /// A foreign code after a pack is bound to it as a further tag.
    fn other(&mut self, here: &mut Here<'_>, text: &str) -> Result<Answer, AppError> {
        let Some(thing) = self.pack else {
            return Ok(Answer::unclear(format!("nothing is known by `{text}`"), self.prompt()));
        };
        here.desk.record(here.ledger, vec![TagBound { code: text.to_owned(), thing }.into()])?;
        let name = lookup::name_of(here.ledger, thing)?;
        Ok(Answer::done(format!("`{text}` is bound to pack {name} as a further code")))
    }

    fn bare(&self, _number: &str) -> Option<Amount> {
        None
    }

    fn picture_order(kind: TagKind) -> u8 {
        match kind {
            TagKind::Pack => 1,
            _ => 3,
        }
    }

    fn prompt(&self) -> String {
        match self.cartons.get(self.carton) {
            Some((_, name, size, packs)) => {
                format!("a fresh tag on a pack of carton {name} ({packs} of {size} in)")
            }
            None if self.cartons.is_empty() => format!("a fresh tag on a pack of lot {}", self.lot_name),
            None => "END: every carton is full".to_owned(),
        }
    }
}
