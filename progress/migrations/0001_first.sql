-- Times are Unix milliseconds, UTC. uid columns are the names by which a row is known on every machine; the integer
-- ids are only good inside this file. Merging two files is therefore "insert where the uid is not there yet".

CREATE TABLE learner (
    id   INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE               -- '' is whoever sits at this machine, until somebody is named
) STRICT;

INSERT INTO learner (id, name) VALUES (1, '');

CREATE TABLE session (
    id         INTEGER PRIMARY KEY,
    uid        TEXT    NOT NULL UNIQUE CHECK (length(uid) BETWEEN 1 AND 100),
    learner_id INTEGER NOT NULL REFERENCES learner (id),
    kind       TEXT    NOT NULL CHECK (kind <> ''),             -- of the session; a label has its own
    mode       TEXT    NOT NULL CHECK (mode IN ('ear', 'sight')),
    seed       INTEGER NOT NULL,                                -- 64 bits, two's complement
    source     TEXT    NOT NULL,                                -- the passage asked about, '' if none
    settings   TEXT    NOT NULL CHECK (json_valid(settings)),
    started_at INTEGER NOT NULL,
    ended_at   INTEGER,                                         -- NULL: still going, or cut off
    UNIQUE (id, learner_id)
) STRICT;

CREATE TABLE label (
    id   INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind <> ''),                      -- the kind of drill
    text TEXT NOT NULL CHECK (text <> ''),
    UNIQUE (kind, text)
) STRICT;

CREATE TABLE answer (
    id          INTEGER PRIMARY KEY,
    uid         TEXT    NOT NULL UNIQUE CHECK (length(uid) BETWEEN 1 AND 100),
    session_id  INTEGER NOT NULL,
    learner_id  INTEGER NOT NULL,                               -- the session's, repeated for the index below
    number      INTEGER NOT NULL CHECK (number >= 1),           -- within the session
    question    TEXT    NOT NULL,                               -- the drill's own name for the question, or ''
    mode        TEXT    NOT NULL CHECK (mode IN ('ear', 'sight')),
    label_id    INTEGER NOT NULL REFERENCES label (id),         -- what was right; its kind is the answer's kind
    given_id    INTEGER          REFERENCES label (id),         -- what was said; NULL: gave up
    correct     INTEGER NOT NULL CHECK (correct IN (0, 1)),
    answer_ms   INTEGER NOT NULL CHECK (answer_ms >= 0),        -- thinking time; for a give-up, until giving up
    replays     INTEGER NOT NULL CHECK (replays >= 0),
    asked_at    INTEGER NOT NULL,
    answered_at INTEGER NOT NULL,   -- no CHECK against asked_at: a clock set back must not cost an answer
    detail      TEXT    NOT NULL CHECK (json_valid(detail)),
    FOREIGN KEY (session_id, learner_id) REFERENCES session (id, learner_id),
    CHECK (given_id IS NOT NULL OR correct = 0)
) STRICT;

-- Every column a summary reads, so that it never visits the table. Newest first is by asked_at, not id alone: answers
-- merged from another machine get new ids but were not asked today.
CREATE INDEX answer_summary ON answer (learner_id, label_id, mode, asked_at DESC, id DESC, correct, given_id, answer_ms);
