//! The disk format: the names of kinds and fields, pinned. A rename in the code must not change what is stored.

use jiff::civil::date;
use packmuster::domain::carton::{SamplePlan, SampleStep, Severity};
use packmuster::domain::event::{
    ActVoided, Basis, CartonClosed, CartonOpened, Charged, Complained, ConsignmentLeft, ConsignmentOpened,
    Entrance, EntryCorrected, Event, FindingSeen, Installed, LoanBegan, LoanEnded, LoanMoved, LoanWrittenOff,
    LotReceived, MakeDeclared, Method, ModelLearnt, MusterBegan, MusterEnded, NoticeIssued, NoticeLifted,
    OperatorEnrolled, Origin, Overruled, PackAdded, PackConsigned, PackFound, PackPlaced, PackRetired,
    PackSeen, PackUnconsigned, PacksJoined, PickListed, PictureTaken, PlaceAdded, PlayerAdded, PlayerArrived,
    PlayerMakeDeclared, PolicyAdopted, ReadingTaken, Removed, RestoredHead, RoundDone, RunBegan, RunEnded,
    ScannerTuned, Scope, Service, SiteOpened, SlotAdded, SlotServiced, SlotTakes, StudyPlanned, TagBound,
    TagRetired, TagsPrinted, Use, UseCounted, VerdictGiven, WriterOpened,
};
use packmuster::domain::facts::Facts;
use packmuster::domain::finding::{Finding, NoResult};
use packmuster::domain::ids::{
    ActId, CartonId, ConsignmentId, LoanId, LotId, MakeId, MusterId, NoticeId, OperatorId, PackId, PickId,
    PlaceId, PlayerId, PlayerMakeId, PrintingId, RideId, RunId, SiteId, SlotId, StudyId, Thing, ThingKind,
    WriterId,
};
use packmuster::domain::make::{Chemistry, PackMake, PlayerMake};
use packmuster::domain::moment::Moment;
use packmuster::domain::pick::PickLine;
use packmuster::domain::position::Position;
use packmuster::domain::tag::TagKind;
use packmuster::domain::twist::Twist;
use packmuster::domain::units::{
    Celsius, Cycles, Draw, Grams, MilliampHours, Milliohms, Millivolts, Minutes, PlayHours,
};
use packmuster::domain::verdict::{Rule, Step, Verdict};
use packmuster::domain::waste::Condition;
use uuid::Uuid;

const PINNED: &str = include_str!("format.txt");

/// One example of every kind, with every field filled.
pub(super) fn examples() -> Vec<Event> {
    let id = |number: u128| Uuid::from_u128(number);
    let at = Moment::from_millis(1_795_582_099_861);
    let (pack, player, slot) = (PackId::new(id(1)), PlayerId::new(id(2)), SlotId::new(id(3)));
    let (ride, loan, run) = (RideId::new(id(4)), LoanId::new(id(5)), RunId::new(id(6)));
    let (make, lot, carton) = (MakeId::new(id(7)), LotId::new(id(8)), CartonId::new(id(9)));
    let (consignment, muster) = (ConsignmentId::new(id(22)), MusterId::new(id(23)));
    let (site, writer) = (SiteId::new(id(10)), WriterId::new(id(11)));
    let used = Use { cycles: Cycles::new(1385), basis: Basis::Counted(PlayHours::new(3750)) };
    let estimated = Use { cycles: Cycles::new(4000), basis: Basis::Estimated { days: 56 } };
    let code = "P7K3Q9M2DXWT8".to_owned();
    let spec = PackMake {
        name: "Kestrel 1100".into(),
        chemistry: Chemistry::NiMh,
        rated: MilliampHours::new(1100),
        nominal: Millivolts::new(3600),
        cells: 3,
        mass: Some(Grams::new(82)),
        end: Millivolts::new(3000),
        max_resistance: Some(Milliohms::new(32_000)),
        form: "slim".into(),
    };
    let player_spec = PlayerMake { name: "Wren".into(), draw: Draw::new(40_625), form: "slim".into() };
    let player_make = PlayerMakeId::new(id(12));
    let sampled = SamplePlan {
        first: SampleStep { take: 8, accept: 0, reject: 2 },
        second: Some(SampleStep { take: 8, accept: 1, reject: 2 }),
        severity: Some(Severity::Tightened),
        k_thousandths: Some(1327),
    };
    let restored = Some(RestoredHead { writer, number: 7, hash: "ab".into() });
    let scope = Scope { make: Some(make), lot: Some(lot), serials: Some(("A1".into(), "A9".into())) };
    vec![
        SiteOpened { site, name: "Skerrow".into(), zone: "Europe/London".into() }.into(),
        WriterOpened { writer, site, restored }.into(),
        PolicyAdopted { text: "a policy".into(), at }.into(),
        ModelLearnt { text: "a model".into(), at }.into(),
        MakeDeclared { make, spec }.into(),
        PlayerMakeDeclared { make: player_make, spec: player_spec }.into(),
        OperatorEnrolled { operator: OperatorId::new(id(13)), initials: "EB".into(), may_overrule: true }
            .into(),
        SlotAdded { slot, name: "slot 1".into() }.into(),
        PlaceAdded { place: PlaceId::new(id(14)), name: "ready shelf".into(), tray: Some(Verdict::Fit) }
            .into(),
        LotReceived { lot, make, name: "2026-11".into(), supplier_ref: "PO-1187".into(), at }.into(),
        CartonOpened { carton, lot, name: "2026-11/1".into(), size: 48, plan: Some(sampled) }.into(),
        CartonClosed { carton, packs: 40, at }.into(),
        PlayerAdded { player, make: player_make, entrance: Entrance::Adopted, at }.into(),
        PackAdded {
            pack,
            make,
            origin: Origin::New,
            entrance: Entrance::Received,
            lot: Some(lot),
            carton: Some(carton),
            made: Some(date(2026, 8, 4)),
            serial: Some("A5".into()),
            prior: Some(Cycles::default()),
            at,
        }
        .into(),
        TagBound { code: code.clone(), thing: pack.into() }.into(),
        TagRetired { code, thing: pack.into() }.into(),
        Installed { ride, pack, player, at }.into(),
        Removed { ride, pack, player, used, found: true, at }.into(),
        UseCounted { ride, pack, was: estimated, used }.into(),
        LoanBegan { loan, player, pack, due: date(2027, 1, 20), at }.into(),
        LoanEnded { loan, player, pack, at }.into(),
        PlayerArrived { player, desk: "two".into(), at }.into(),
        PackFound { pack, at }.into(),
        PackPlaced { pack, place: PlaceId::new(id(14)), at }.into(),
        LoanMoved { loan, player, pack, was: date(2027, 1, 20), due: date(2027, 2, 20), renewed: true, at }
            .into(),
        Complained { loan, player, pack, after: Some(PlayHours::new(600)), at }.into(),
        LoanWrittenOff { loan, player, pack, at }.into(),
        FindingSeen { pack, finding: Finding::CorrodedContacts, carton: Some(carton), at }.into(),
        SlotServiced { slot, work: Service::Adapter, at }.into(),
        SlotTakes { slot, makes: vec![make] }.into(),
        StudyPlanned {
            study: StudyId::new(id(21)),
            name: "autumn".into(),
            packs: vec![pack],
            slots: vec![slot],
            repeats: 2,
            seed: 7,
            at,
        }
        .into(),
        RunBegan { run, slot, pack, at }.into(),
        RunEnded { run, slot, pack, reason: NoResult::PowerCut, at }.into(),
        ReadingTaken {
            pack,
            slot: Some(slot),
            run: Some(run),
            carton: Some(carton),
            capacity: MilliampHours::new(812),
            method: Method::Discharge,
            resistance: Some(Milliohms::new(9500)),
            temperature: Some(Celsius::new(231)),
            took: Some(Minutes::new(410)),
            at,
        }
        .into(),
        RoundDone { pack, slot: Some(slot), cycles: 3, at }.into(),
        Charged { pack, at }.into(),
        VerdictGiven {
            pack,
            step: Step::Bench,
            verdict: Verdict::Recondition,
            reasons: vec![(Rule::Capacity, Verdict::Recondition), (Rule::Reported, Verdict::Measure)],
            policy: "a6d30a06fd5aaf20".into(),
            at,
        }
        .into(),
        Overruled { pack, loan, verdict: Verdict::Measure, reason: "short loan".into(), at }.into(),
        NoticeIssued {
            notice: NoticeId::new(id(15)),
            scope,
            verdict: Verdict::Isolate,
            text: "cells may leak".into(),
            at,
        }
        .into(),
        NoticeLifted { notice: NoticeId::new(id(15)), at }.into(),
        PackRetired { pack, at }.into(),
        ConsignmentOpened { consignment, name: "autumn".into(), handler: "Ferry Metals".into(), at }.into(),
        PackConsigned { consignment, pack, condition: Condition::Damaged, number: 2, at }.into(),
        PackUnconsigned { consignment, pack, at }.into(),
        ConsignmentLeft { consignment, packs: vec![pack], reference: Some("W-88".into()), at }.into(),
        MusterBegan { muster, place: PlaceId::new(id(14)), at }.into(),
        PackSeen { muster, place: PlaceId::new(id(14)), pack, player: Some(player), expected: false, at }
            .into(),
        MusterEnded { muster, place: PlaceId::new(id(14)), present: 3, missing: vec![pack], at }.into(),
        PickListed {
            pick: PickId::new(id(24)),
            name: "ferry".into(),
            lines: vec![PickLine { pack, make: player_make, player: Some(player), due: date(2027, 1, 20) }],
            at,
        }
        .into(),
        TagsPrinted {
            printing: PrintingId::new(id(25)),
            kind: TagKind::Pack,
            codes: vec!["P7K3Q9M2DXWT8".into()],
            again: true,
            sheet: "a4-65".into(),
            start: 9,
            at,
        }
        .into(),
        EntryCorrected {
            writer,
            number: 12,
            stands: Position { clock: 9, writer, number: 12 },
            what: "reading".into(),
            reason: "mistyped".into(),
            things: vec![pack.into()],
        }
        .into(),
        PacksJoined { keep: pack, gone: PackId::new(id(17)), holders: vec![player.into()], at }.into(),
        ScannerTuned {
            desk: "two".into(),
            twist: Twist { prefix: "]C1".into(), suffix: "#".into(), typed: "ZY".into(), meant: "YZ".into() },
        }
        .into(),
        PictureTaken { digest: "ab12".into(), desk: "two".into(), at }.into(),
        ActVoided { act: ActId::new(id(16)), things: vec![pack.into(), Thing::POLICY] }.into(),
    ]
}

#[test]
fn every_kind_stands_on_disk_as_it_always_did() {
    let examples = examples();
    let kinds: Vec<&str> = examples.iter().map(Event::kind).collect();
    assert_eq!(kinds, Event::KINDS, "one example of every kind, in the order of the list");
    let text: Vec<String> =
        examples.iter().map(|event| format!("{} {}", event.kind(), event.to_json().unwrap())).collect();
    let text = text.join("\n") + "\n";
    assert_eq!(text, PINNED, "the disk format changed");
}

#[test]
fn what_is_written_reads_back() {
    for line in PINNED.lines() {
        let (kind, body) = line.split_once(' ').unwrap();
        let event = Event::from_json(kind, body).unwrap().unwrap();
        assert_eq!(event.to_json().unwrap(), body);
        // The version in front of a stored body is passed over.
        let versioned = format!("{{\"v\":1,{}", body.get(1..).unwrap());
        assert_eq!(Event::from_json(kind, &versioned).unwrap().unwrap(), event);
    }
    assert!(Event::from_json("a kind of tomorrow", "{}").is_none());
    assert!(Event::from_json("charge", "{}").unwrap().is_err());
}

#[test]
fn facts_read_back_from_their_projection() {
    for kind in ThingKind::ALL {
        let thing = Thing { kind, id: Uuid::from_u128(1) };
        let mut facts = Facts::unknown(kind);
        for event in examples() {
            facts.apply(thing, &event);
        }
        assert_eq!(Facts::from_json(kind, &facts.to_json().unwrap()).unwrap(), facts, "{kind}");
    }
}
