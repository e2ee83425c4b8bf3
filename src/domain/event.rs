//! Everything that can happen, one enum. A fact is never stored: it is a fold of these.
//!
//! Each kind has a name and a version under which its body stands on disk as JSON. The names of the kinds and of their
//! fields are the disk format: `tests/ledger/format.rs` pins them, so that a rename here cannot change it unseen.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use serde_json::Error as JsonError;
use uuid::Uuid;

use super::carton::SamplePlan;
use super::finding::{Finding, NoResult};
use super::ids::{
    ActId, CartonId, ConsignmentId, LoanId, LotId, MakeId, MusterId, NoticeId, OperatorId, PackId, PickId,
    PlaceId, PlayerId, PlayerMakeId, PrintingId, RideId, RunId, SiteId, SlotId, StudyId, Thing, WriterId,
};
use super::make::{PackMake, PlayerMake};
use super::moment::Moment;
use super::pick::PickLine;
use super::position::Position;
use super::tag::TagKind;
use super::twist::Twist;
use super::units::{Celsius, Cycles, MilliampHours, Milliohms, Minutes, PlayHours};
use super::verdict::{Rule, Step, Verdict};
use super::waste::Condition;

/// Where a pack's life in the service begins, for its limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Origin {
    /// Never dispatched.
    New,
    /// Has been dispatched.
    Service,
}

impl std::fmt::Display for Origin {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::New => "new",
            Self::Service => "service",
        })
    }
}

/// How a thing came into the ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Entrance {
    /// Bought and received.
    Received,
    /// Found in use, history unknown.
    Adopted,
    /// Brought over from an older record.
    Imported,
}

/// How the use of a ride is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Basis {
    /// The player's own count of hours.
    Counted(PlayHours),
    /// It stood on the shelf: no use.
    Unused,
    /// Estimated from the days out.
    Estimated {
        /// Days from installed to removed.
        days: u32,
    },
}

/// What a ride cost its pack.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Use {
    /// Equivalent full cycles.
    pub cycles: Cycles,
    /// Where the figure comes from.
    pub basis: Basis,
}

/// How a capacity was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Method {
    /// A full charge and a discharge to the end voltage in a slot of the bench.
    Discharge,
    /// Taken over from an older record.
    Record,
}

/// What was done to a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Service {
    /// It was cleaned, mended or calibrated.
    Serviced,
    /// It got another adapter.
    Adapter,
}

/// What a safety notice covers; every field that is given must match.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Scope {
    /// A make of pack.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub make: Option<MakeId>,
    /// A lot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<LotId>,
    /// First and last serial number, compared by length, then text.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serials: Option<(String, String)>,
}

macro_rules! events {
    ($(
        $(#[$doc:meta])*
        $variant:ident = $kind:literal {
            $($(#[$attr:meta])* $field:ident: $type:ty),* $(,)?
        } touches |$this:ident| $touches:expr;
    )*) => {
        /// One thing that happened.
        #[derive(Debug, Clone, PartialEq, Eq)]
        #[expect(missing_docs, reason = "each variant is documented at its body")]
        pub enum Event {
            $($variant($variant)),*
        }

        $(
            $(#[$doc])*
            #[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
            #[expect(missing_docs, reason = "the field names are the words of the design")]
            pub struct $variant {
                $($(#[$attr])* pub $field: $type),*
            }

            impl $variant {
                /// The stored name of this kind.
                pub const KIND: &'static str = $kind;
            }

            impl From<$variant> for Event {
                fn from(body: $variant) -> Self {
                    Self::$variant(body)
                }
            }
        )*

        impl Event {
            /// The stored names of all kinds.
            pub const KINDS: &'static [&'static str] = &[$($kind),*];

            /// The stored name of this kind.
            pub const fn kind(&self) -> &'static str {
                match self {
                    $(Self::$variant(_) => $kind),*
                }
            }

            /// The body as JSON, without a version.
            ///
            /// # Errors
            /// When a value has no JSON form; no event has such a value.
            pub fn to_json(&self) -> Result<String, JsonError> {
                match self {
                    $(Self::$variant(body) => serde_json::to_string(body)),*
                }
            }

            /// Reads a body of a kind; `None` for a kind that this version does not know.
            pub fn from_json(kind: &str, body: &str) -> Option<Result<Self, JsonError>> {
                match kind {
                    $($kind => Some(serde_json::from_str(body).map(Self::$variant)),)*
                    _ => None,
                }
            }

            /// The same event, told of another thing: identities are drawn from one space, so one is put for the other.
            ///
            /// # Errors
            /// When a value has no JSON form; no event has such a value.
            pub fn told_of(&self, gone: Uuid, keep: Uuid) -> Result<Self, JsonError> {
                let (gone, keep) = (gone.simple().to_string(), keep.simple().to_string());
                match self {
                    $(Self::$variant(body) => {
                        let text = serde_json::to_string(body)?;
                        if !text.contains(&gone) {
                            return Ok(self.clone());
                        }
                        serde_json::from_str(&text.replace(&gone, &keep)).map(Self::$variant)
                    }),*
                }
            }

            /// The things whose histories this event belongs to.
            pub fn things(&self) -> Vec<Thing> {
                match self {
                    $(Self::$variant($this) => $touches),*
                }
            }
        }
    };
}

fn with(first: &[Thing], more: &[Option<Thing>]) -> Vec<Thing> {
    first.iter().copied().chain(more.iter().flatten().copied()).collect()
}

events! {
    /// A workshop, with its time zone (an IANA name).
    SiteOpened = "site" { site: SiteId, name: String, zone: String }
        touches |e| vec![e.site.into()];

    /// A copy of the ledger begins to write for a site; a restored one names the head that it stands on.
    WriterOpened = "writer" {
        writer: WriterId,
        site: SiteId,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        restored: Option<RestoredHead>,
    } touches |e| vec![e.site.into()];

    /// The service adopts a policy.
    PolicyAdopted = "policy" { text: String, at: Moment }
        touches |_e| vec![Thing::POLICY];

    /// The fleet's model was learnt from all that was read so far; verdicts foretell by the latest one.
    ModelLearnt = "model" { text: String, at: Moment }
        touches |_e| vec![Thing::MODEL];

    /// A make of pack, or new figures for it.
    MakeDeclared = "make" { make: MakeId, spec: PackMake }
        touches |e| vec![e.make.into()];

    /// A make of player, or new figures for it.
    PlayerMakeDeclared = "player_make" { make: PlayerMakeId, spec: PlayerMake }
        touches |e| vec![e.make.into()];

    /// A person at the bench, or new rights for them.
    OperatorEnrolled = "operator" { operator: OperatorId, initials: String, may_overrule: bool }
        touches |e| vec![e.operator.into()];

    /// A slot of the bench.
    SlotAdded = "slot" { slot: SlotId, name: String }
        touches |e| vec![e.slot.into()];

    /// A place, and the verdict whose packs it takes.
    PlaceAdded = "place" {
        place: PlaceId,
        name: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        tray: Option<Verdict>,
    } touches |e| vec![e.place.into()];

    /// Packs bought together.
    LotReceived = "lot" { lot: LotId, make: MakeId, name: String, supplier_ref: String, at: Moment }
        touches |e| vec![e.lot.into()];

    /// A carton of a lot, with the number of packs that it should hold, and how it is sampled where that was settled then.
    CartonOpened = "carton" {
        carton: CartonId,
        lot: LotId,
        name: String,
        size: u32,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        plan: Option<SamplePlan>,
    } touches |e| vec![e.carton.into(), e.lot.into()];

    /// A carton holds no more packs than these, whatever it should hold.
    CartonClosed = "carton_closed" { carton: CartonId, packs: u32, at: Moment }
        touches |e| vec![e.carton.into()];

    /// A player comes into the ledger.
    PlayerAdded = "player" { player: PlayerId, make: PlayerMakeId, entrance: Entrance, at: Moment }
        touches |e| vec![e.player.into()];

    /// A pack comes into the ledger.
    PackAdded = "pack" {
        pack: PackId,
        make: MakeId,
        origin: Origin,
        entrance: Entrance,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        lot: Option<LotId>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        carton: Option<CartonId>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        made: Option<Date>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        serial: Option<String>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        prior: Option<Cycles>,
        at: Moment,
    } touches |e| with(&[e.pack.into()], &[e.lot.map(Into::into), e.carton.map(Into::into)]);

    /// A tag or foreign code is bound to a thing.
    TagBound = "bind" { code: String, thing: Thing }
        touches |e| vec![e.thing, Thing::code(&e.code)];

    /// A worn or lost tag stops naming its thing.
    TagRetired = "unbind" { code: String, thing: Thing }
        touches |e| vec![e.thing, Thing::code(&e.code)];

    /// A pack goes into a player.
    Installed = "install" { ride: RideId, pack: PackId, player: PlayerId, at: Moment }
        touches |e| vec![e.pack.into(), e.player.into()];

    /// A pack comes out of a player, or is found not to be in it.
    Removed = "remove" { ride: RideId, pack: PackId, player: PlayerId, used: Use, found: bool, at: Moment }
        touches |e| vec![e.pack.into(), e.player.into()];

    /// A better figure for the use of a ride, with the figure that it takes the place of.
    UseCounted = "use" { ride: RideId, pack: PackId, was: Use, used: Use }
        touches |e| vec![e.pack.into()];

    /// A player goes to a borrower.
    LoanBegan = "loan" { loan: LoanId, player: PlayerId, pack: PackId, due: Date, at: Moment }
        touches |e| vec![e.loan.into(), e.player.into(), e.pack.into()];

    /// A player comes back from a borrower, with the pack that the loan began with.
    LoanEnded = "return" { loan: LoanId, player: PlayerId, pack: PackId, at: Moment }
        touches |e| vec![e.loan.into(), e.player.into(), e.pack.into()];

    /// A player lies on the desk: its intake has begun. It is finished when its pack is taken in, or is known to be missing.
    PlayerArrived = "arrive" { player: PlayerId, desk: String, at: Moment }
        touches |e| vec![e.player.into()];

    /// A pack turned up by itself: nobody knows in which player it came.
    PackFound = "found" { pack: PackId, at: Moment }
        touches |e| vec![e.pack.into()];

    /// A pack is put into a place.
    PackPlaced = "put" { pack: PackId, place: PlaceId, at: Moment }
        touches |e| vec![e.pack.into(), e.place.into()];

    /// A loan is due on another day: it was renewed, or the date had been wrong.
    LoanMoved = "due" { loan: LoanId, player: PlayerId, pack: PackId, was: Date, due: Date, renewed: bool, at: Moment }
        touches |e| vec![e.loan.into(), e.player.into(), e.pack.into()];

    /// A borrower says that the player on a loan stops too early: after so many hours, if they know.
    Complained = "complaint" {
        loan: LoanId,
        player: PlayerId,
        pack: PackId,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        after: Option<PlayHours>,
        at: Moment,
    } touches |e| vec![e.loan.into(), e.player.into(), e.pack.into()];

    /// A loan that never came back: player and pack are written off, until they turn up.
    LoanWrittenOff = "write_off" { loan: LoanId, player: PlayerId, pack: PackId, at: Moment }
        touches |e| vec![e.loan.into(), e.player.into(), e.pack.into()];

    /// Somebody saw something on a pack. Names the carton while the pack is new: what is wrong with one concerns them all.
    FindingSeen = "finding" {
        pack: PackId,
        finding: Finding,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        carton: Option<CartonId>,
        at: Moment,
    } touches |e| with(&[e.pack.into()], &[e.carton.map(Into::into)]);

    /// A slot was serviced, or got another adapter: what was known of its bias and faults no longer holds.
    SlotServiced = "serviced" { slot: SlotId, work: Service, at: Moment }
        touches |e| vec![e.slot.into()];

    /// The makes that a slot takes; none listed means every make.
    SlotTakes = "slot_takes" { slot: SlotId, makes: Vec<MakeId> }
        touches |e| vec![e.slot.into()];

    /// A study of the bench is planned: each pack is to be read so often in each slot. The order of its visits follows from the seed.
    StudyPlanned = "study" {
        study: StudyId,
        name: String,
        packs: Vec<PackId>,
        slots: Vec<SlotId>,
        repeats: u32,
        seed: u64,
        at: Moment,
    } touches |e| vec![e.study.into()];

    /// A pack goes into a slot.
    RunBegan = "run" { run: RunId, slot: SlotId, pack: PackId, at: Moment }
        touches |e| vec![e.pack.into(), e.slot.into()];

    /// A run ends without a reading.
    RunEnded = "no_result" { run: RunId, slot: SlotId, pack: PackId, reason: NoResult, at: Moment }
        touches |e| vec![e.pack.into(), e.slot.into()];

    /// A measured capacity. Names the carton while the pack is new, so that it counts for the carton's sample.
    ReadingTaken = "reading" {
        pack: PackId,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        slot: Option<SlotId>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        run: Option<RunId>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        carton: Option<CartonId>,
        capacity: MilliampHours,
        method: Method,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        resistance: Option<Milliohms>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        temperature: Option<Celsius>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        took: Option<Minutes>,
        at: Moment,
    } touches |e| with(&[e.pack.into()], &[e.slot.map(Into::into), e.carton.map(Into::into)]);

    /// A reconditioning round: so many full charge/discharge cycles.
    RoundDone = "round" {
        pack: PackId,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        slot: Option<SlotId>,
        cycles: u32,
        at: Moment,
    } touches |e| vec![e.pack.into()];

    /// A pack was charged, in a player or a charger.
    Charged = "charge" { pack: PackId, at: Moment }
        touches |e| vec![e.pack.into()];

    /// A verdict was given, under a policy (the first 16 hex digits of its SHA-256).
    VerdictGiven = "verdict" {
        pack: PackId,
        step: Step,
        verdict: Verdict,
        reasons: Vec<(Rule, Verdict)>,
        policy: String,
        at: Moment,
    } touches |e| vec![e.pack.into()];

    /// Somebody with the right let a pack go out against the judge.
    Overruled = "overrule" {
        pack: PackId,
        loan: LoanId,
        verdict: Verdict,
        reason: String,
        at: Moment,
    } touches |e| vec![e.pack.into(), e.loan.into()];

    /// A safety notice. Every pack that it covers gets at least this verdict.
    NoticeIssued = "notice" { notice: NoticeId, scope: Scope, verdict: Verdict, text: String, at: Moment }
        touches |e| vec![e.notice.into()];

    /// A safety notice is lifted.
    NoticeLifted = "notice_lifted" { notice: NoticeId, at: Moment }
        touches |e| vec![e.notice.into()];

    /// A pack is at its end: from here on it is waste that waits for a recycler.
    PackRetired = "retire" { pack: PackId, at: Moment }
        touches |e| vec![e.pack.into()];

    /// Dead packs are gathered, to leave together for a handler.
    ConsignmentOpened = "consignment" { consignment: ConsignmentId, name: String, handler: String, at: Moment }
        touches |e| vec![e.consignment.into()];

    /// A pack goes into a box of a consignment.
    PackConsigned = "consign" { consignment: ConsignmentId, pack: PackId, condition: Condition, number: u32, at: Moment }
        touches |e| vec![e.pack.into(), e.consignment.into()];

    /// A pack is taken out of a consignment that has not left.
    PackUnconsigned = "unconsign" { consignment: ConsignmentId, pack: PackId, at: Moment }
        touches |e| vec![e.pack.into(), e.consignment.into()];

    /// A consignment leaves with these packs, perhaps under a number of the carrier: none of them ever goes out again.
    ConsignmentLeft = "consignment_left" {
        consignment: ConsignmentId,
        packs: Vec<PackId>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reference: Option<String>,
        at: Moment,
    } touches |e| e.packs.iter().map(|&pack| pack.into()).chain([e.consignment.into()]).collect();

    /// A roll call of a place begins.
    MusterBegan = "muster" { muster: MusterId, place: PlaceId, at: Moment }
        touches |e| vec![e.muster.into(), e.place.into()];

    /// Somebody saw a pack in a place at a roll call, loose or in a player; whether it was expected there.
    PackSeen = "seen" {
        muster: MusterId,
        place: PlaceId,
        pack: PackId,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        player: Option<PlayerId>,
        expected: bool,
        at: Moment,
    } touches |e| vec![e.muster.into(), e.place.into(), e.pack.into()];

    /// A roll call is over: the packs that were there, and those that should have been.
    MusterEnded = "muster_ended" { muster: MusterId, place: PlaceId, present: u32, missing: Vec<PackId>, at: Moment }
        touches |e| e.missing.iter().map(|&pack| pack.into()).chain([e.muster.into(), e.place.into()]).collect();

    /// Packs are listed for loans of a day, in the order in which they are fetched.
    PickListed = "pick" { pick: PickId, name: String, lines: Vec<PickLine>, at: Moment }
        touches |e| vec![e.pick.into()];

    /// Tags were printed, or printed again where some were lost.
    TagsPrinted = "printed" {
        printing: PrintingId,
        kind: TagKind,
        codes: Vec<String>,
        again: bool,
        sheet: String,
        start: u32,
        at: Moment,
    } touches |e| vec![e.printing.into()];

    /// An entry, of a kind by its stored name, was wrong: it no longer counts. What should have stood there is the next entry of
    /// the act, unless that corrects another, and is folded where the wrong one `stands`. Names the things of both.
    EntryCorrected = "correct" {
        writer: WriterId,
        number: u64,
        stands: Position,
        what: String,
        reason: String,
        things: Vec<Thing>,
    } touches |e| e.things.clone();

    /// Two records turned out to be one pack: what was entered for `gone` belongs to `keep`. Names the things that held `gone`.
    PacksJoined = "join" { keep: PackId, gone: PackId, holders: Vec<Thing>, at: Moment }
        touches |e| e.holders.iter().copied().chain([e.keep.into(), e.gone.into()]).collect();

    /// How the scanner of a desk twists what it types, as its trial showed.
    ScannerTuned = "scanner" { desk: String, twist: Twist }
        touches |e| vec![Thing::desk(&e.desk)];

    /// A picture from a watched folder was taken in: its bytes (SHA-256, hex) are not taken in again.
    PictureTaken = "picture" { digest: String, desk: String, at: Moment }
        touches |e| vec![Thing::picture(&e.digest)];

    /// An act is taken back. Names the things that the act touched, so that their histories know.
    ActVoided = "void" { act: ActId, things: Vec<Thing> }
        touches |e| e.things.clone();
}

/// The head of a chain on which a restored copy stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RestoredHead {
    /// Whose chain.
    pub writer: WriterId,
    /// Number of its last entry in the backup.
    pub number: u64,
    /// Hash of that entry, in hex.
    pub hash: String,
}
