//! A desk: who scans where, with the clock and randomness that are handed in.

use rand_chacha::ChaCha12Rng;

use crate::domain::event::Event;
use crate::domain::ids::{ActId, OperatorId, Thing};
use crate::domain::moment::Moment;
use crate::ledger::{Act, Ledger, LedgerError, Pen, Receipt};

/// The person at the desk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Operator {
    /// Who.
    pub id: OperatorId,
    /// Initials.
    pub initials: String,
    /// May overrule the judge.
    pub may_overrule: bool,
}

/// One scanning position.
pub struct Desk {
    /// Its name.
    pub name: String,
    /// Who scans, if they said so.
    pub operator: Option<Operator>,
    /// Where identities and sessions of randomness come from.
    pub random: ChaCha12Rng,
    clock: Box<dyn Fn() -> Moment>,
    acts: u64,
}

impl Desk {
    /// Sets up a desk.
    pub fn new(name: impl Into<String>, random: ChaCha12Rng, clock: Box<dyn Fn() -> Moment>) -> Self {
        Self { name: name.into(), operator: None, random, clock, acts: 0 }
    }

    /// Now, by the clock that was handed in.
    pub fn now(&self) -> Moment {
        (self.clock)()
    }

    /// How many acts this desk has recorded.
    pub const fn acts(&self) -> u64 {
        self.acts
    }

    /// An act of this desk, now.
    pub fn act(&mut self, events: Vec<Event>) -> Act {
        let now = self.now();
        Act {
            id: ActId::draw(now, &mut self.random),
            now,
            desk: self.name.clone(),
            operator: self.operator.as_ref().map(|operator| operator.initials.clone()).unwrap_or_default(),
            events,
        }
    }

    /// Records events as one act. Nothing is written when there are none.
    ///
    /// # Errors
    /// A fault of the ledger.
    pub fn record(
        &mut self,
        ledger: &mut Ledger,
        events: Vec<Event>,
    ) -> Result<Option<Receipt>, LedgerError> {
        if events.is_empty() {
            return Ok(None);
        }
        let events = told_of_joined(ledger, events)?;
        let act = self.act(events);
        let receipt = ledger.record(&act)?;
        self.acts += 1;
        Ok(Some(receipt))
    }

    /// Records events as one act, entry by entry: for acts too long to be held in memory.
    ///
    /// # Errors
    /// What `work` returns, or a fault of the ledger; nothing is written then.
    pub fn record_each<T, E: From<LedgerError>>(
        &mut self,
        ledger: &mut Ledger,
        work: impl FnOnce(&mut Ledger, &mut Self, &mut Pen) -> Result<T, E>,
    ) -> Result<T, E> {
        let act = self.act(Vec::new());
        let done = ledger.record_each(act, |ledger, pen| work(ledger, self, pen))?;
        self.acts += 1;
        Ok(done)
    }
}

/// Tells events about a record that was joined of the record that it belongs to: somebody may have had it in hand when another
/// desk joined it.
pub(super) fn told_of_joined(ledger: &mut Ledger, events: Vec<Event>) -> Result<Vec<Event>, LedgerError> {
    let mut told = Vec::with_capacity(events.len());
    for mut event in events {
        if !matches!(event, Event::PacksJoined(_) | Event::EntryCorrected(_) | Event::ActVoided(_)) {
            for pack in event.things().into_iter().filter_map(Thing::pack) {
                let keep = ledger.joined_to(pack)?;
                if keep != pack {
                    event = event.told_of(pack.uuid(), keep.uuid()).map_err(|source| LedgerError::Json {
                        what: format!("a {} entry", event.kind()),
                        source,
                    })?;
                }
            }
        }
        told.push(event);
    }
    Ok(told)
}
