-- Counts that are kept with the answers, so that a page about a million of them is read from a few thousand rows. They say
-- nothing that the answers don't: `progress check` counts again and compares. All are kept by one trigger, so that whatever
-- writes an answer, here or in a merge, can't forget them.

-- The circumstances of a question (register, spacing, number of choices ...), as text that the program understands.
CREATE TABLE condition (
    id   INTEGER PRIMARY KEY,
    text TEXT NOT NULL UNIQUE CHECK (text <> '')
) STRICT;

ALTER TABLE answer ADD COLUMN condition_id INTEGER REFERENCES condition (id); -- NULL: not told

CREATE TABLE tally (
    learner_id   INTEGER NOT NULL,
    label_id     INTEGER NOT NULL,
    mode         TEXT    NOT NULL,
    condition_id INTEGER NOT NULL,                              -- 0: not told
    given_id     INTEGER NOT NULL,                              -- 0: gave up
    correct      INTEGER NOT NULL,
    asked        INTEGER NOT NULL,
    PRIMARY KEY (learner_id, label_id, mode, condition_id, given_id, correct)
) STRICT, WITHOUT ROWID;

CREATE TABLE day (
    learner_id INTEGER NOT NULL,
    label_id   INTEGER NOT NULL,
    mode       TEXT    NOT NULL,
    day        INTEGER NOT NULL,                                -- since 1 January 1970, UTC
    asked      INTEGER NOT NULL,
    right      INTEGER NOT NULL,
    PRIMARY KEY (learner_id, label_id, mode, day)
) STRICT, WITHOUT ROWID;

-- The same for whole kinds of drill, for a curve over years.
CREATE TABLE day_kind (
    learner_id INTEGER NOT NULL,
    kind       TEXT    NOT NULL,
    mode       TEXT    NOT NULL,
    day        INTEGER NOT NULL,
    asked      INTEGER NOT NULL,
    right      INTEGER NOT NULL,
    PRIMARY KEY (learner_id, kind, mode, day)
) STRICT, WITHOUT ROWID;

ALTER TABLE session ADD COLUMN asked INTEGER NOT NULL DEFAULT 0;
ALTER TABLE session ADD COLUMN right INTEGER NOT NULL DEFAULT 0;

INSERT INTO tally SELECT learner_id, label_id, mode, 0, coalesce(given_id, 0), correct, count(*) FROM answer GROUP BY 1, 2, 3, 5, 6;
INSERT INTO day SELECT learner_id, label_id, mode, asked_at / 86400000, count(*), sum(correct) FROM answer GROUP BY 1, 2, 3, 4;
INSERT INTO day_kind SELECT d.learner_id, l.kind, d.mode, d.day, sum(d.asked), sum(d.right) FROM day AS d JOIN label AS l ON l.id = d.label_id GROUP BY 1, 2, 3, 4;
UPDATE session SET asked = n, right = r FROM (SELECT session_id, count(*) AS n, sum(correct) AS r FROM answer GROUP BY 1) WHERE session_id = id;

CREATE TRIGGER answer_counted AFTER INSERT ON answer BEGIN
    INSERT INTO tally VALUES (new.learner_id, new.label_id, new.mode, coalesce(new.condition_id, 0), coalesce(new.given_id, 0), new.correct, 1)
        ON CONFLICT DO UPDATE SET asked = asked + 1;
    INSERT INTO day VALUES (new.learner_id, new.label_id, new.mode, new.asked_at / 86400000, 1, new.correct)
        ON CONFLICT DO UPDATE SET asked = asked + 1, right = right + excluded.right;
    INSERT INTO day_kind SELECT new.learner_id, kind, new.mode, new.asked_at / 86400000, 1, new.correct FROM label WHERE id = new.label_id -- the WHERE also keeps ON from being read as a join's
        ON CONFLICT DO UPDATE SET asked = asked + 1, right = right + excluded.right;
    UPDATE session SET asked = asked + 1, right = right + new.correct WHERE id = new.session_id;
END;

-- The counts would lie if an answer could be changed or taken away.
CREATE TRIGGER answer_stays BEFORE UPDATE ON answer BEGIN SELECT raise(ABORT, 'answers are never changed'); END;
CREATE TRIGGER answer_kept BEFORE DELETE ON answer BEGIN SELECT raise(ABORT, 'answers are never taken away'); END;

-- Every column that the last answers are read for. Newest first is by asked_at, not id alone: answers merged from another
-- machine get new ids but were not asked today.
DROP INDEX answer_summary;
CREATE INDEX answer_recent ON answer (learner_id, label_id, mode, asked_at DESC, id DESC, correct, given_id, answer_ms, condition_id);
CREATE INDEX answer_of_session ON answer (session_id, number);
CREATE INDEX session_of_learner ON session (learner_id, started_at);
