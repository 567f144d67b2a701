-- Whether claims are heard. A try is one row of answers about one claim, ended by a verdict; the evidence for a claim runs
-- over all its tries, so none is ever taken away. Tries of two files can be merged like answers, by their uid.

CREATE TABLE ear_claim (
    id        INTEGER PRIMARY KEY,
    key       TEXT NOT NULL UNIQUE CHECK (length(key) BETWEEN 1 AND 100), -- of what sounds there, the place and the statement
    passage   TEXT NOT NULL,                                              -- the rest is for reading: the title or file,
    place     TEXT NOT NULL,
    statement TEXT NOT NULL CHECK (statement <> ''),
    form      TEXT NOT NULL
) STRICT;

CREATE TABLE ear_try (
    id         INTEGER PRIMARY KEY,
    uid        TEXT    NOT NULL UNIQUE CHECK (length(uid) BETWEEN 1 AND 100),
    claim_id   INTEGER NOT NULL REFERENCES ear_claim (id),
    learner_id INTEGER NOT NULL REFERENCES learner (id),
    seed       INTEGER NOT NULL,                                          -- 64 bits, two's complement
    began_at   INTEGER NOT NULL,
    verdict    TEXT    NOT NULL CHECK (verdict IN ('', 'heard', 'not heard', 'undecided')), -- '': still going, or cut off
    decided_at INTEGER,                                                   -- of the verdict
    CHECK ((verdict = '') = (decided_at IS NULL))
) STRICT;

CREATE INDEX ear_try_claim ON ear_try (claim_id, learner_id, began_at, id);

CREATE TABLE ear_answer (
    id          INTEGER PRIMARY KEY,
    uid         TEXT    NOT NULL UNIQUE CHECK (length(uid) BETWEEN 1 AND 100),
    try_id      INTEGER NOT NULL REFERENCES ear_try (id),
    number      INTEGER NOT NULL CHECK (number >= 1),                     -- within the try
    task        TEXT    NOT NULL CHECK (task IN ('which of two', 'yes or no')),
    expected    TEXT    NOT NULL CHECK (expected <> ''),
    given       TEXT    NOT NULL,                                         -- '': gave up
    correct     INTEGER NOT NULL CHECK (correct IN (0, 1)),
    answer_ms   INTEGER NOT NULL CHECK (answer_ms >= 0),
    replays     INTEGER NOT NULL CHECK (replays >= 0),
    asked_at    INTEGER NOT NULL,
    answered_at INTEGER NOT NULL,
    detail      TEXT    NOT NULL CHECK (json_valid(detail)),
    UNIQUE (try_id, number)
) STRICT;
