//! Identities: UUID newtypes for everything that lives on while its tags wear out, and [`Thing`], the key of a history.

use std::fmt;

use rand::Rng;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use uuid::{Builder, Uuid};

use super::moment::Moment;

macro_rules! identity {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(#[serde(with = "uuid::serde::simple")] Uuid);

        impl $name {
            /// Takes a UUID as this identity.
            pub const fn new(uuid: Uuid) -> Self {
                Self(uuid)
            }

            /// The UUID behind it.
            pub const fn uuid(self) -> Uuid {
                self.0
            }

            /// Draws a new identity: a UUIDv7 (RFC 9562) of the moment and randomness that are handed in.
            pub fn draw(now: Moment, random: &mut impl Rng) -> Self {
                Self(draw_v7(now, random))
            }

            /// Draws one of many identities of the same moment: they sort in the order of `nth`.
            ///
            /// RFC 9562, 6.2, method 1: a counter (26 bits) stands behind the time, and 48 random bits behind it.
            pub fn draw_nth(now: Moment, nth: u32, random: &mut impl Rng) -> Self {
                Self(draw_nth_v7(now, nth, random))
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{}", self.0)
            }
        }
    )*};
}

identity!(
    /// A pack, for life.
    PackId,
    /// A player.
    PlayerId,
    /// A slot of the bench.
    SlotId,
    /// A place.
    PlaceId,
    /// A person at the bench.
    OperatorId,
    /// A make of pack.
    MakeId,
    /// A make of player.
    PlayerMakeId,
    /// Packs bought together.
    LotId,
    /// A carton of a lot.
    CartonId,
    /// A pack's time in one player.
    RideId,
    /// A player's time with a borrower.
    LoanId,
    /// A pack's stay in a slot.
    RunId,
    /// A safety notice.
    NoticeId,
    /// A study of the bench.
    StudyId,
    /// Dead packs that leave together for a recycler.
    ConsignmentId,
    /// A roll call of a place.
    MusterId,
    /// A list of packs that are to go out.
    PickId,
    /// Tags that were printed together.
    PrintingId,
    /// A workshop.
    SiteId,
    /// A copy of a ledger that can write.
    WriterId,
    /// All the entries of one scan.
    ActId,
);

fn draw_v7(now: Moment, random: &mut impl Rng) -> Uuid {
    let mut bytes = [0_u8; 10];
    random.fill_bytes(&mut bytes);
    Builder::from_unix_timestamp_millis(u64::try_from(now.millis()).unwrap_or(0), &bytes).into_uuid()
}

fn draw_nth_v7(now: Moment, nth: u32, random: &mut impl Rng) -> Uuid {
    let mut bytes = [0_u8; 10];
    random.fill_bytes(&mut bytes);
    // Version and variant take the high bits of the first and third byte, so the counter leaves them free.
    let counter = [(nth >> 22) & 0x0F, (nth >> 14) & 0xFF, (nth >> 8) & 0x3F, nth & 0xFF];
    for (to, from) in bytes.iter_mut().zip(counter) {
        *to = u8::try_from(from).unwrap_or(0);
    }
    Builder::from_unix_timestamp_millis(u64::try_from(now.millis()).unwrap_or(0), &bytes).into_uuid()
}

/// What a thing is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ThingKind {
    /// A tag or foreign code.
    Code,
    /// A pack.
    Pack,
    /// A player.
    Player,
    /// A slot.
    Slot,
    /// A place.
    Place,
    /// An operator.
    Operator,
    /// A make of pack.
    Make,
    /// A make of player.
    PlayerMake,
    /// A lot.
    Lot,
    /// A carton.
    Carton,
    /// A loan.
    Loan,
    /// A safety notice.
    Notice,
    /// A site.
    Site,
    /// The policy in force.
    Policy,
    /// A scanning position.
    Desk,
    /// A picture that was taken in.
    Picture,
    /// The model of the fleet.
    Model,
    /// A study of the bench.
    Study,
    /// Dead packs that leave together.
    Consignment,
    /// A roll call of a place.
    Muster,
    /// A list of packs that are to go out.
    Pick,
    /// Tags that were printed together.
    Printing,
}

impl ThingKind {
    /// Every kind, in the order of their stored numbers.
    pub const ALL: [Self; 22] = [
        Self::Code,
        Self::Pack,
        Self::Player,
        Self::Slot,
        Self::Place,
        Self::Operator,
        Self::Make,
        Self::PlayerMake,
        Self::Lot,
        Self::Carton,
        Self::Loan,
        Self::Notice,
        Self::Site,
        Self::Policy,
        Self::Desk,
        Self::Picture,
        Self::Model,
        Self::Study,
        Self::Consignment,
        Self::Muster,
        Self::Pick,
        Self::Printing,
    ];

    /// The word for people.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Code => "code",
            Self::Pack => "pack",
            Self::Player => "player",
            Self::Slot => "slot",
            Self::Place => "place",
            Self::Operator => "operator",
            Self::Make => "make",
            Self::PlayerMake => "player make",
            Self::Lot => "lot",
            Self::Carton => "carton",
            Self::Loan => "loan",
            Self::Notice => "safety notice",
            Self::Site => "site",
            Self::Policy => "policy",
            Self::Desk => "desk",
            Self::Picture => "picture",
            Self::Model => "model",
            Self::Study => "study",
            Self::Consignment => "consignment",
            Self::Muster => "roll call",
            Self::Pick => "pick list",
            Self::Printing => "printing",
        }
    }
}

impl ThingKind {
    /// The word with its article.
    pub fn one(self) -> String {
        let article = if self == Self::Operator { "an" } else { "a" };
        format!("{article} {}", self.word())
    }
}

impl fmt::Display for ThingKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// One thing with a history of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Thing {
    /// What it is.
    pub kind: ThingKind,
    /// Which one.
    #[serde(with = "uuid::serde::simple")]
    pub id: Uuid,
}

impl Thing {
    /// The policy in force, of which there is one.
    pub const POLICY: Self = Self { kind: ThingKind::Policy, id: Uuid::nil() };

    /// The model of the fleet, of which the latest counts.
    pub const MODEL: Self = Self { kind: ThingKind::Model, id: Uuid::nil() };

    /// The history of a tag or foreign code: known by a digest of its text (UUIDv8 of SHA-256).
    pub fn code(text: &str) -> Self {
        Self { kind: ThingKind::Code, id: digest(text) }
    }

    /// A scanning position, by a digest of its name.
    pub fn desk(name: &str) -> Self {
        Self { kind: ThingKind::Desk, id: digest(name) }
    }

    /// The pack that this thing is, if it is one.
    pub fn pack(self) -> Option<PackId> {
        (self.kind == ThingKind::Pack).then_some(PackId(self.id))
    }

    /// The player that this thing is, if it is one.
    pub fn player(self) -> Option<PlayerId> {
        (self.kind == ThingKind::Player).then_some(PlayerId(self.id))
    }

    /// The place that this thing is, if it is one.
    pub fn place(self) -> Option<PlaceId> {
        (self.kind == ThingKind::Place).then_some(PlaceId(self.id))
    }

    /// The slot that this thing is, if it is one.
    pub fn slot(self) -> Option<SlotId> {
        (self.kind == ThingKind::Slot).then_some(SlotId(self.id))
    }
}

impl Thing {
    /// A picture, by a digest of its bytes in hex.
    pub fn picture(digest_of_bytes: &str) -> Self {
        Self { kind: ThingKind::Picture, id: digest(digest_of_bytes) }
    }
}

fn digest(text: &str) -> Uuid {
    let digest: [u8; 32] = Sha256::digest(text.as_bytes()).into();
    let mut bytes = [0_u8; 16];
    for (to, from) in bytes.iter_mut().zip(digest) {
        *to = from;
    }
    Builder::from_custom_bytes(bytes).into_uuid()
}

macro_rules! things {
    ($($id:ident => $kind:ident),* $(,)?) => {$(
        impl From<$id> for Thing {
            fn from(id: $id) -> Self {
                Self { kind: ThingKind::$kind, id: id.uuid() }
            }
        }
    )*};
}

things!(
    PackId => Pack, PlayerId => Player, SlotId => Slot, PlaceId => Place, OperatorId => Operator, MakeId => Make,
    PlayerMakeId => PlayerMake, LotId => Lot, CartonId => Carton, LoanId => Loan, NoticeId => Notice, SiteId => Site,
    StudyId => Study, ConsignmentId => Consignment, MusterId => Muster, PickId => Pick, PrintingId => Printing,
);

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    #[test]
    fn identities_of_one_moment_sort_in_the_order_of_their_numbers() {
        let mut random = rand_chacha::ChaCha12Rng::seed_from_u64(3);
        let now = Moment::from_millis(1_764_061_200_000);
        let numbers = [0, 1, 255, 256, 16_383, 16_384, 4_194_303, 4_194_304, (1 << 26) - 1];
        let drawn: Vec<PackId> = numbers.iter().map(|&nth| PackId::draw_nth(now, nth, &mut random)).collect();
        assert!(drawn.is_sorted() && drawn.windows(2).all(|pair| pair[0] != pair[1]));
        assert!(drawn.iter().all(|id| id.uuid().get_version_num() == 7));
        assert!(drawn[0] > PackId::draw_nth(now.plus_millis(-1), 99, &mut random));
    }
}
