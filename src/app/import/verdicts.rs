//! Counting what the judge says of many packs now, without telling why.

use std::collections::{BTreeMap, HashMap};

use crate::app::judging;
use crate::domain::facts::CartonFacts;
use crate::domain::ids::{CartonId, PackId};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::verdict::{Step, Verdict};
use crate::ledger::{Ledger, LedgerError};
use crate::policy::judge::{Case, Question, judge};

/// Counts packs by verdict; every verdict is there, most often with some count.
///
/// # Errors
/// A fault of the ledger.
pub(super) fn count(
    ledger: &mut Ledger,
    packs: &[PackId],
    now: Moment,
) -> Result<BTreeMap<Verdict, u64>, LedgerError> {
    let settings = ledger.settings()?.clone();
    let zone = ledger.zone().clone();
    let question = Question { step: Step::Look, now, zone: &zone, due: None };
    let mut cartons: HashMap<CartonId, Option<CartonFacts>> = HashMap::new();
    let mut counts: BTreeMap<Verdict, u64> = Verdict::ALL.into_iter().map(|verdict| (verdict, 0)).collect();
    for &id in packs {
        let Some(pack) = ledger.facts::<PackFacts>(id.into())? else { continue };
        if let Some(carton) = pack.carton
            && !cartons.contains_key(&carton)
        {
            cartons.insert(carton, ledger.facts(carton.into())?);
        }
        let sight = judging::sight(&settings, (id, &pack), None, now);
        let case = Case {
            id,
            pack: &pack,
            make: pack.make.and_then(|make| settings.makes.get(&make)),
            carton: pack.carton.and_then(|carton| cartons.get(&carton)).and_then(Option::as_ref),
            notices: &settings.notices,
            players: &settings.players,
            target: None,
            foresight: judging::foresight(sight.as_ref()),
        };
        let ruling = judge(&case, &settings.policy, &question);
        let count = counts.entry(ruling.verdict).or_insert(0);
        *count += 1;
    }
    Ok(counts)
}
