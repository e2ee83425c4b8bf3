//! The facts about every kind of thing, and the one fold that makes them from events.

mod fold;

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use serde_json::Error as JsonError;

use super::carton::{SamplePlan, drawn_packs};
use super::event::{Event, Scope, Service};
use super::ids::{
    CartonId, LoanId, LotId, MakeId, PackId, PlaceId, PlayerId, PlayerMakeId, RideId, RunId, SlotId, Thing,
    ThingKind,
};
use super::make::{PackMake, PlayerMake};
use super::moment::Moment;
use super::pack::PackFacts;
use super::pick::PickLine;
use super::tag::TagKind;
use super::twist::Twist;
use super::units::{MilliampHours, PlayHours};
use super::verdict::Verdict;
use super::waste::Condition;

/// What a tag or foreign code names.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct CodeFacts {
    /// The thing that it names or last named.
    pub thing: Option<Thing>,
    /// True once it stopped naming it.
    pub retired: bool,
}

/// A player.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct PlayerFacts {
    /// Tags and foreign codes that name it.
    pub codes: Vec<String>,
    /// Its make.
    pub make: Option<PlayerMakeId>,
    /// The ride that is open in it, and the pack.
    pub ride: Option<(RideId, PackId)>,
    /// The loan that it is on, the pack it began with, since when, and when it is due.
    pub loan: Option<(LoanId, PackId, Moment, Date)>,
    /// Loans begun.
    pub loans: u32,
    /// Since when, and at which desk, it lies there with its intake begun and not finished.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub arrived: Option<(Moment, String)>,
    /// Since when it is written off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub written_off: Option<Moment>,
}

/// A slot of the bench.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct SlotFacts {
    /// Tags that name it.
    pub codes: Vec<String>,
    /// What people call it.
    pub name: String,
    /// The run that is open in it: run, pack, since when.
    pub run: Option<(RunId, PackId, Moment)>,
    /// Readings taken in it.
    pub readings: u32,
    /// Runs that ended without a reading.
    pub no_results: u32,
    /// Of those, the ones in a row since the last reading or service.
    #[serde(default)]
    pub failures: u32,
    /// When it was last serviced, and what was done: readings before that say nothing of its bias now.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serviced: Option<(Service, Moment)>,
    /// The makes that it takes; every make when empty.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub takes: Vec<MakeId>,
}

/// A place.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct PlaceFacts {
    /// Tags that name it.
    pub codes: Vec<String>,
    /// What people call it.
    pub name: String,
    /// The verdict whose packs it takes.
    pub tray: Option<Verdict>,
}

/// A person at the bench.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct OperatorFacts {
    /// Tags that name them.
    pub codes: Vec<String>,
    /// Initials.
    pub initials: String,
    /// May overrule the judge.
    pub may_overrule: bool,
}

/// A lot.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct LotFacts {
    /// Its make.
    pub make: Option<MakeId>,
    /// Its name.
    pub name: String,
    /// The supplier's reference.
    pub supplier_ref: String,
    /// When it was received.
    pub received: Option<Moment>,
    /// Cartons opened.
    pub cartons: u32,
    /// Packs entered.
    pub packs: u32,
}

/// A carton, with what its sample needs.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct CartonFacts {
    /// Its identity, from which its sample is drawn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<CartonId>,
    /// Its lot.
    pub lot: Option<LotId>,
    /// Its name.
    pub name: String,
    /// How many packs it should hold.
    pub size: u32,
    /// Packs entered from it.
    pub packs: u32,
    /// True once somebody said that no more packs are in it.
    #[serde(default)]
    pub closed: bool,
    /// How it is sampled, where that was settled when it was opened; else by the policy.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plan: Option<SamplePlan>,
    /// Its packs, by the place, from 1, at which they came out of it.
    #[serde(default)]
    pub places: BTreeMap<PackId, u32>,
    /// The first reading of each of its packs that was read while new.
    pub readings: BTreeMap<PackId, MilliampHours>,
    /// Those of its packs on which something dangerous was seen while new.
    #[serde(default)]
    pub dangerous: BTreeSet<PackId>,
}

impl CartonFacts {
    /// How many packs it holds, as far as is known: those entered, and those still to come out of an open one.
    pub fn holds(&self) -> u32 {
        if self.closed { self.packs } else { self.size.max(self.packs) }
    }

    /// Its packs in the order in which they are drawn as its sample; nothing for those that are still to come.
    pub fn drawn(&self) -> Vec<Option<PackId>> {
        self.id.map(|id| drawn_packs(id.uuid(), self.holds(), &self.places)).unwrap_or_default()
    }
}

/// A loan.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct LoanFacts {
    /// The player.
    pub player: Option<PlayerId>,
    /// The pack that it began with.
    pub pack: Option<PackId>,
    /// When it began.
    pub began: Option<Moment>,
    /// When it is due.
    pub due: Option<Date>,
    /// When it was due at first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first_due: Option<Date>,
    /// When it ended.
    pub ended: Option<Moment>,
    /// Why the judge was overruled for it.
    pub overruled: Option<String>,
    /// How often it was renewed.
    #[serde(default)]
    pub renewals: u32,
    /// The last complaint: after how many hours it stopped, if known, and when that was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub complaint: Option<(Option<PlayHours>, Moment)>,
    /// When it was written off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub written_off: Option<Moment>,
}

/// A safety notice.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct NoticeFacts {
    /// What it covers.
    pub scope: Scope,
    /// The verdict that it gives at least.
    pub verdict: Option<Verdict>,
    /// What it says.
    pub text: String,
    /// True once it was lifted.
    pub lifted: bool,
}

/// A site.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct SiteFacts {
    /// Its name.
    pub name: String,
    /// Its time zone, an IANA name.
    pub zone: String,
    /// Copies of the ledger that have written for it.
    pub writers: u32,
}

/// The policy in force.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct PolicyFacts {
    /// Its text.
    pub text: String,
    /// When it was adopted.
    pub adopted: Option<Moment>,
}

/// The model of the fleet.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct ModelFacts {
    /// Its text: JSON.
    pub text: String,
    /// When it was learnt.
    pub learnt: Option<Moment>,
}

/// A scanning position.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct DeskFacts {
    /// How its scanner twists what it types.
    pub twist: Twist,
}

/// A picture from a watched folder.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct PictureFacts {
    /// When it was taken in.
    pub taken: Option<Moment>,
}

/// A study of the bench.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct StudyFacts {
    /// Its name.
    pub name: String,
    /// Packs that are read in every slot.
    pub packs: Vec<PackId>,
    /// The slots.
    pub slots: Vec<SlotId>,
    /// How often each pack is read in each slot.
    pub repeats: u32,
    /// What the order of its visits follows from.
    pub seed: u64,
    /// Readings count from here on.
    pub planned: Option<Moment>,
}

/// Dead packs that leave together.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct ConsignmentFacts {
    /// Its name.
    pub name: String,
    /// Who takes it.
    pub handler: String,
    /// When it was opened.
    pub opened: Option<Moment>,
    /// Its packs: their condition, and the number of their box.
    pub packs: BTreeMap<PackId, (Condition, u32)>,
    /// When it left.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left: Option<Moment>,
    /// The carrier's number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<String>,
}

/// A roll call of a place.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct MusterFacts {
    /// The place.
    pub place: Option<PlaceId>,
    /// When it began.
    pub began: Option<Moment>,
    /// Packs that were seen, and whether they were expected.
    pub seen: BTreeMap<PackId, bool>,
    /// When it ended.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ended: Option<Moment>,
    /// Packs that should have been there.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<PackId>,
}

/// A list of packs that are to go out.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct PickFacts {
    /// Its name.
    pub name: String,
    /// Its lines, in the order in which they are fetched.
    pub lines: Vec<PickLine>,
    /// When it was made.
    pub made: Option<Moment>,
}

/// Tags that were printed together.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct PrintingFacts {
    /// What they are for.
    pub kind: Option<TagKind>,
    /// Their codes, in the order of the positions.
    pub codes: Vec<String>,
    /// They had been printed before.
    pub again: bool,
    /// The sheet or roll.
    pub sheet: String,
    /// The first position.
    pub start: u32,
    /// When.
    pub printed: Option<Moment>,
}

macro_rules! facts {
    ($($kind:ident($facts:ty)),* $(,)?) => {
        /// The facts about one thing.
        #[derive(Debug, Clone, PartialEq, Eq)]
        #[expect(missing_docs, reason = "each kind is documented at its facts")]
        #[expect(clippy::large_enum_variant, reason = "nearly all things are packs: a box would cost them all")]
        pub enum Facts {
            $($kind($facts)),*
        }

        impl Facts {
            /// A thing of which nothing is known yet.
            pub fn unknown(kind: ThingKind) -> Self {
                match kind {
                    $(ThingKind::$kind => Self::$kind(Default::default())),*
                }
            }

            /// The facts as JSON, for the projection.
            ///
            /// # Errors
            /// When a value has no JSON form; no fact has such a value.
            pub fn to_json(&self) -> Result<String, JsonError> {
                match self {
                    $(Self::$kind(facts) => serde_json::to_string(facts)),*
                }
            }

            /// Reads facts of a kind from the projection.
            ///
            /// # Errors
            /// When the text is not what [`Facts::to_json`] writes.
            pub fn from_json(kind: ThingKind, text: &str) -> Result<Self, JsonError> {
                match kind {
                    $(ThingKind::$kind => serde_json::from_str(text).map(Self::$kind)),*
                }
            }
        }

        $(
            impl TryFrom<Facts> for $facts {
                type Error = ();

                fn try_from(facts: Facts) -> Result<Self, ()> {
                    match facts {
                        Facts::$kind(facts) => Ok(facts),
                        _ => Err(()),
                    }
                }
            }
        )*
    };
}

facts!(
    Code(CodeFacts),
    Pack(PackFacts),
    Player(PlayerFacts),
    Slot(SlotFacts),
    Place(PlaceFacts),
    Operator(OperatorFacts),
    Make(Option<PackMake>),
    PlayerMake(Option<PlayerMake>),
    Lot(LotFacts),
    Carton(CartonFacts),
    Loan(LoanFacts),
    Notice(NoticeFacts),
    Site(SiteFacts),
    Policy(PolicyFacts),
    Desk(DeskFacts),
    Picture(PictureFacts),
    Model(ModelFacts),
    Study(StudyFacts),
    Consignment(ConsignmentFacts),
    Muster(MusterFacts),
    Pick(PickFacts),
    Printing(PrintingFacts),
);

impl Facts {
    /// The name under which people look the thing up, where it has one.
    pub fn name(&self) -> Option<&str> {
        let name = match self {
            Self::Slot(facts) => &facts.name,
            Self::Place(facts) => &facts.name,
            Self::Operator(facts) => &facts.initials,
            Self::Make(facts) => &facts.as_ref()?.name,
            Self::PlayerMake(facts) => &facts.as_ref()?.name,
            Self::Lot(facts) => &facts.name,
            Self::Carton(facts) => &facts.name,
            Self::Study(facts) => &facts.name,
            Self::Consignment(facts) => &facts.name,
            Self::Pick(facts) => &facts.name,
            Self::Site(facts) => &facts.name,
            Self::Pack(facts) => facts.serial.as_ref()?,
            _ => return None,
        };
        (!name.is_empty()).then_some(name.as_str())
    }

    /// Folds one event of the thing in. Total: an event that says nothing about the thing changes nothing.
    pub fn apply(&mut self, thing: Thing, event: &Event) {
        match self {
            Self::Pack(facts) => facts.apply(PackId::new(thing.id), event),
            Self::Code(facts) => fold::code(facts, event),
            Self::Player(facts) => fold::player(facts, event),
            Self::Slot(facts) => fold::slot(facts, event),
            Self::Carton(facts) => fold::carton(facts, event),
            Self::Lot(facts) => fold::lot(facts, event),
            Self::Loan(facts) => fold::loan(facts, event),
            Self::Place(facts) => match event {
                Event::PlaceAdded(e) => {
                    facts.name.clone_from(&e.name);
                    facts.tray = e.tray;
                }
                _ => fold::codes(&mut facts.codes, event),
            },
            Self::Operator(facts) => match event {
                Event::OperatorEnrolled(e) => {
                    facts.initials.clone_from(&e.initials);
                    facts.may_overrule = e.may_overrule;
                }
                _ => fold::codes(&mut facts.codes, event),
            },
            Self::Make(facts) => {
                if let Event::MakeDeclared(e) = event {
                    *facts = Some(e.spec.clone());
                }
            }
            Self::PlayerMake(facts) => {
                if let Event::PlayerMakeDeclared(e) = event {
                    *facts = Some(e.spec.clone());
                }
            }
            Self::Notice(facts) => match event {
                Event::NoticeIssued(e) => {
                    facts.scope = e.scope.clone();
                    facts.verdict = Some(e.verdict);
                    facts.text.clone_from(&e.text);
                }
                Event::NoticeLifted(_) => facts.lifted = true,
                _ => {}
            },
            Self::Site(facts) => match event {
                Event::SiteOpened(e) => {
                    facts.name.clone_from(&e.name);
                    facts.zone.clone_from(&e.zone);
                }
                Event::WriterOpened(_) => facts.writers = facts.writers.saturating_add(1),
                _ => {}
            },
            Self::Picture(facts) => {
                if let Event::PictureTaken(e) = event {
                    facts.taken = Some(e.at);
                }
            }
            Self::Consignment(facts) => fold::consignment(facts, event),
            Self::Muster(facts) => fold::muster(facts, event),
            Self::Pick(facts) => fold::pick(facts, event),
            Self::Printing(facts) => fold::printing(facts, event),
            Self::Study(facts) => {
                if let Event::StudyPlanned(e) = event {
                    *facts = StudyFacts {
                        name: e.name.clone(),
                        packs: e.packs.clone(),
                        slots: e.slots.clone(),
                        repeats: e.repeats,
                        seed: e.seed,
                        planned: Some(e.at),
                    };
                }
            }
            Self::Desk(facts) => {
                if let Event::ScannerTuned(e) = event {
                    facts.twist.clone_from(&e.twist);
                }
            }
            Self::Model(facts) => {
                if let Event::ModelLearnt(e) = event {
                    *facts = ModelFacts { text: e.text.clone(), learnt: Some(e.at) };
                }
            }
            Self::Policy(facts) => {
                if let Event::PolicyAdopted(e) = event {
                    *facts = PolicyFacts { text: e.text.clone(), adopted: Some(e.at) };
                }
            }
        }
    }
}
