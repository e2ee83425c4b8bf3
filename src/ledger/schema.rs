//! The tables, and the list of migrations.

/// `application_id` of a ledger file: "pkmu".
pub(crate) const APPLICATION_ID: i64 = 0x706b_6d75;

/// The newest schema that this binary knows.
pub(crate) const VERSION: i64 = 1;

/// Schema 1. `entry` is guarded by three triggers; the third is needed since a replacing insert deletes without firing
/// delete triggers.
pub(crate) const CREATE: &str = "
CREATE TABLE entry (
    writer BLOB NOT NULL, number INTEGER NOT NULL,
    clock INTEGER NOT NULL, recorded INTEGER NOT NULL,
    desk TEXT NOT NULL, operator TEXT NOT NULL, act BLOB NOT NULL,
    kind TEXT NOT NULL, body TEXT NOT NULL, hash BLOB NOT NULL,
    PRIMARY KEY (writer, number)
) WITHOUT ROWID, STRICT;
CREATE TRIGGER entry_is_never_changed BEFORE UPDATE ON entry
    BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER entry_is_never_deleted BEFORE DELETE ON entry
    BEGIN SELECT RAISE(ABORT, 'an entry is never deleted'); END;
CREATE TRIGGER entry_is_never_replaced BEFORE INSERT ON entry
    WHEN EXISTS (SELECT 1 FROM entry WHERE writer = NEW.writer AND number = NEW.number)
    BEGIN SELECT RAISE(ABORT, 'an entry is never replaced'); END;

CREATE TABLE writer (
    writer BLOB NOT NULL PRIMARY KEY, site BLOB NOT NULL, own INTEGER NOT NULL,
    number INTEGER NOT NULL, clock INTEGER NOT NULL, hash BLOB NOT NULL
) WITHOUT ROWID, STRICT;
";

/// The projections: dropped and made anew by a rebuild.
///
/// `thing` keeps its rowid, and `state` stands last: rows of a kilobyte in the inner pages of a tree without rowids would
/// make it deep, and a look at the position alone would walk over them.
pub(crate) const PROJECTIONS: &str = "
CREATE TABLE thing (
    kind INTEGER NOT NULL, id BLOB NOT NULL,
    clock INTEGER NOT NULL, writer BLOB NOT NULL, number INTEGER NOT NULL,
    name TEXT, state TEXT NOT NULL,
    UNIQUE (kind, id)
) STRICT;
CREATE INDEX thing_by_name ON thing (kind, name) WHERE name IS NOT NULL;
CREATE TABLE touch (
    kind INTEGER NOT NULL, id BLOB NOT NULL,
    clock INTEGER NOT NULL, writer BLOB NOT NULL, number INTEGER NOT NULL,
    PRIMARY KEY (kind, id, clock, writer, number)
) WITHOUT ROWID, STRICT;
CREATE TABLE act (
    act BLOB NOT NULL PRIMARY KEY, desk TEXT NOT NULL, clock INTEGER NOT NULL,
    writer BLOB NOT NULL, first INTEGER NOT NULL, last INTEGER NOT NULL,
    voids INTEGER NOT NULL
) WITHOUT ROWID, STRICT;
CREATE INDEX act_by_desk ON act (desk, clock);
CREATE TABLE voided (act BLOB NOT NULL PRIMARY KEY) WITHOUT ROWID, STRICT;
";

/// Drops what [`PROJECTIONS`] makes.
pub(crate) const DROP_PROJECTIONS: &str =
    "DROP TABLE thing; DROP TABLE touch; DROP TABLE act; DROP TABLE voided;";
