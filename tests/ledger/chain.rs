//! What was changed, dropped, swapped or cut off shows.

use std::path::Path;

use packmuster::domain::tag::TagKind;
use rusqlite::Connection;

use crate::sandbox::Sandbox;

/// A ledger with some history, and its file opened behind packmuster's back with the guards taken off.
fn tampered(change: impl FnOnce(&Connection)) -> (i32, String) {
    let sandbox = Sandbox::started();
    for _ in 0..3 {
        let (player, pack) = (sandbox.tag(TagKind::Player), sandbox.tag(TagKind::Pack));
        let said = sandbox.run(&["intake", player.text(), pack.text(), "corroded"]);
        assert_eq!(said.code, 0, "{said:?}");
    }
    sandbox.is_sound();
    let file = Connection::open(sandbox.path().join("fleet.muster")).unwrap();
    unguard(&file);
    change(&file);
    drop(file);
    let said = sandbox.run(&["ledger", "check"]);
    (said.code, said.out)
}

fn unguard(file: &Connection) {
    for guard in ["changed", "deleted", "replaced"] {
        file.execute_batch(&format!("DROP TRIGGER entry_is_never_{guard}")).unwrap();
    }
}

#[test]
fn an_untouched_ledger_is_sound_even_without_its_guards() {
    let (code, out) = tampered(|_| {});
    assert_eq!((code, out.contains("sound: ")), (0, true), "{out}");
}

#[test]
fn a_changed_byte_shows() {
    let (code, out) = tampered(|file| {
        let changed = file
            .execute("UPDATE entry SET body = replace(body, 'corroded_contacts', 'cut_out_early') WHERE kind = 'finding'", [])
            .unwrap();
        assert!(changed > 0);
    });
    assert_eq!(code, 1);
    assert!(out.contains("(finding) is not what was written"), "{out}");
    for field in ["desk = 'another'", "operator = 'XX'", "recorded = recorded + 1", "clock = clock + 1"] {
        let sql = format!("UPDATE entry SET {field} WHERE number = 9");
        let (code, out) = tampered(|file| assert_eq!(file.execute(&sql, []).unwrap(), 1));
        assert_eq!(code, 1, "{field}: {out}");
        assert!(out.contains("entry 9 ("), "{field}: {out}");
    }
}

#[test]
fn a_dropped_entry_shows() {
    let (code, out) =
        tampered(|file| assert_eq!(file.execute("DELETE FROM entry WHERE number = 9", []).unwrap(), 1));
    assert_eq!(code, 1);
    assert!(out.contains("after entry 8 comes entry 10: entries are missing"), "{out}");
}

#[test]
fn a_swapped_pair_shows() {
    let (code, out) = tampered(|file| {
        file.execute_batch(
            "UPDATE entry SET number = -1 WHERE number = 9;
             UPDATE entry SET number = 9 WHERE number = 10;
             UPDATE entry SET number = 10 WHERE number = -1;",
        )
        .unwrap();
    });
    assert_eq!(code, 1);
    assert!(out.contains("entry 9 (") && out.contains("is not what was written"), "{out}");
}

#[test]
fn a_truncated_tail_shows_against_the_head_and_if_that_is_forged_against_the_projections() {
    let cut = "DELETE FROM entry WHERE number > (SELECT max(number) - 2 FROM entry)";
    let (code, out) = tampered(|file| assert_eq!(file.execute(cut, []).unwrap(), 2));
    assert_eq!(code, 1);
    assert!(out.contains("entries are missing at the end"), "{out}");

    let (code, out) = tampered(|file| {
        file.execute(cut, []).unwrap();
        file.execute(
            "UPDATE writer SET (number, clock, hash) = (SELECT number, clock, hash FROM entry ORDER BY number DESC LIMIT 1)",
            [],
        )
        .unwrap();
    });
    assert_eq!(code, 1);
    assert!(!out.contains("entries are missing at the end"), "{out}");
    assert!(out.contains("the histories hold") && out.contains("are not what its entries give"), "{out}");
}

#[test]
fn a_changed_projection_shows_and_a_rebuild_mends_it() {
    let sandbox = Sandbox::started();
    let (player, pack) = (sandbox.tag(TagKind::Player), sandbox.tag(TagKind::Pack));
    sandbox.run(&["intake", player.text(), pack.text(), "swollen"]);
    let file = Connection::open(sandbox.path().join("fleet.muster")).unwrap();
    let changed =
        file.execute("UPDATE thing SET state = replace(state, 'swollen', 'hot') WHERE kind = 1", []).unwrap();
    assert!(changed > 0);
    drop(file);
    let said = sandbox.run(&["ledger", "check"]);
    assert_eq!(said.code, 1);
    assert!(said.out.contains("the facts of pack"), "{}", said.out);
    assert_eq!(sandbox.run(&["ledger", "rebuild"]).code, 0);
    sandbox.is_sound();
    assert!(sandbox.run(&["judge", pack.text()]).out.contains("swollen"));
}

/// The index of acts decides what `undo` takes back, and that of voided acts what counts.
#[test]
fn a_changed_index_of_acts_shows_and_a_rebuild_mends_it() {
    for (sql, told) in [
        ("UPDATE act SET last = last + 1 WHERE first = 1", "the index of acts has it otherwise"),
        ("UPDATE act SET voids = 1 - voids WHERE first = 1", "the index of acts has it otherwise"),
        ("DELETE FROM act WHERE first = 1", "the index of acts has it otherwise"),
        (
            "INSERT INTO act SELECT x'00', desk, clock, writer, first, last, voids FROM act LIMIT 1",
            "the index holds",
        ),
        ("INSERT INTO voided SELECT act FROM act WHERE first = 1", "1 acts are taken back"),
        ("DELETE FROM voided", "1 acts are taken back"),
    ] {
        let sandbox = Sandbox::started();
        let (player, pack) = (sandbox.tag(TagKind::Player), sandbox.tag(TagKind::Pack));
        sandbox.run(&["intake", player.text(), pack.text(), "corroded", "undo"]);
        sandbox.is_sound();
        let file = Connection::open(sandbox.path().join("fleet.muster")).unwrap();
        assert_eq!(file.execute(sql, []).unwrap(), 1, "{sql}");
        drop(file);
        let said = sandbox.run(&["ledger", "check"]);
        assert_eq!(said.code, 1, "{sql}");
        assert!(said.out.contains(told), "{sql}: {}", said.out);
        assert_eq!(sandbox.run(&["ledger", "rebuild"]).code, 0);
        sandbox.is_sound();
    }
}

#[test]
fn the_guards_stop_update_delete_and_replace() {
    let sandbox = Sandbox::started();
    let file = Connection::open(sandbox.path().join("fleet.muster")).unwrap();
    for (sql, why) in [
        ("UPDATE entry SET desk = 'x' WHERE number = 1", "never changed"),
        ("DELETE FROM entry WHERE number = 1", "never deleted"),
        ("INSERT OR REPLACE INTO entry SELECT * FROM entry WHERE number = 1", "never replaced"),
        ("REPLACE INTO entry SELECT * FROM entry WHERE number = 1", "never replaced"),
    ] {
        let error = file.execute(sql, []).unwrap_err().to_string();
        assert!(error.contains(why), "{sql}: {error}");
    }
    drop(file);
    sandbox.is_sound();
}

#[test]
fn a_newer_a_foreign_and_a_missing_file_are_refused_in_words() {
    let sandbox = Sandbox::started();
    let newer = sandbox.path().join("newer.muster");
    std::fs::copy(sandbox.path().join("fleet.muster"), &newer).unwrap();
    Connection::open(&newer).unwrap().pragma_update(None, "user_version", 99).unwrap();
    std::fs::write(
        sandbox.path().join("text.muster"),
        "no ledger at all, but long enough to look like a file",
    )
    .unwrap();
    Connection::open(sandbox.path().join("other.muster"))
        .unwrap()
        .execute_batch("CREATE TABLE t (x)")
        .unwrap();
    let refused = |name: &str| {
        let said = sandbox.run(&["--ledger", name, "ledger", "check"]);
        assert_eq!(said.code, 2, "{said:?}");
        said.err
    };
    assert!(refused("newer.muster").contains("has schema 99, and this packmuster knows up to 1"));
    assert!(refused("text.muster").contains("is not a packmuster ledger"));
    assert!(refused("other.muster").contains("is not a packmuster ledger"));
    assert!(refused("nowhere.muster").contains("there is no ledger at nowhere.muster"));
    // Several ledgers in the folder, and none named: never a guess.
    let said = sandbox.run(&["review"]);
    assert_eq!(said.code, 2);
    assert!(said.err.contains("this folder has several ledgers"), "{}", said.err);
    assert!(Path::new(&newer).exists());
}
