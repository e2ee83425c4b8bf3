//! What people see and decide at the bench: findings, runs without a result, reasons for overruling.

use std::fmt;

use serde::{Deserialize, Serialize};

/// Something that a person saw on a pack, or a borrower said of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Finding {
    /// The case bulges.
    Swollen,
    /// Something runs or has dried out of it.
    Leaking,
    /// Case or wrap is broken.
    Cracked,
    /// Hot to the touch at rest.
    Hot,
    /// Contacts are green, white or brown.
    CorrodedContacts,
    /// It stopped well before its promise on its last loan.
    CutOutEarly,
}

impl Finding {
    /// Every finding.
    pub const ALL: [Self; 6] =
        [Self::Swollen, Self::Leaking, Self::Cracked, Self::Hot, Self::CorrodedContacts, Self::CutOutEarly];

    /// The words for people.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Swollen => "swollen",
            Self::Leaking => "leaking",
            Self::Cracked => "cracked",
            Self::Hot => "hot",
            Self::CorrodedContacts => "corroded contacts",
            Self::CutOutEarly => "cut out early",
        }
    }

    /// True for what can hurt somebody: the usual cautions are shown beside it.
    pub const fn is_dangerous(self) -> bool {
        matches!(self, Self::Swollen | Self::Leaking | Self::Cracked | Self::Hot)
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// The usual cautions for a damaged pack, in a few words.
pub const CAUTIONS: &str = "Do not charge, press or open it. Move it away from people and from things that burn. \
Tape the terminals and keep it apart, in a closed container that suits it. Ask a trained person. Local rules, \
your safety officer and the licensed carrier decide.";

/// Why a run ended without a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NoResult {
    /// The power went off.
    PowerCut,
    /// The slot reported an error.
    SlotError,
    /// The slot would not take the pack.
    Refused,
    /// Somebody took it out early.
    TakenOut,
}

impl NoResult {
    /// True where slot or pack may be at fault.
    pub const fn may_be_the_slot(self) -> bool {
        matches!(self, Self::SlotError | Self::Refused)
    }
}

impl fmt::Display for NoResult {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::PowerCut => "power cut",
            Self::SlotError => "slot error",
            Self::Refused => "pack refused",
            Self::TakenOut => "taken out early",
        })
    }
}

/// The reasons for overruling that stand on the command card. Others are typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reason {
    /// There is no other pack for this player.
    NoOtherPack,
    /// The loan is short enough for what the pack holds.
    ShortLoan,
    /// The borrower was told and agrees.
    BorrowerTold,
    /// The pack was measured elsewhere and the paper is at hand.
    MeasuredElsewhere,
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NoOtherPack => "no other pack",
            Self::ShortLoan => "short loan",
            Self::BorrowerTold => "borrower was told",
            Self::MeasuredElsewhere => "measured elsewhere",
        })
    }
}
