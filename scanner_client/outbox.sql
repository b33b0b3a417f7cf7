-- The bench's own file: entries with their ids before anything is sent, and what is needed to answer without the service.

-- name: schema
CREATE TABLE IF NOT EXISTS entries (
    place INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE,
    act INTEGER NOT NULL,
    connector TEXT NOT NULL,
    body BLOB NOT NULL,
    kept_at TEXT NOT NULL,
    status TEXT NOT NULL DEFAULT 'unsent' CHECK (status IN ('unsent', 'sent', 'parked', 'refused')),
    settled_at TEXT,
    acknowledged INTEGER,
    discrepancies TEXT NOT NULL DEFAULT '[]',
    problem BLOB
) STRICT;
CREATE INDEX IF NOT EXISTS entries_by_status ON entries (status, place);
CREATE INDEX IF NOT EXISTS entries_by_connector ON entries (connector);
CREATE TABLE IF NOT EXISTS snapshots (
    connector TEXT PRIMARY KEY,
    body BLOB NOT NULL,
    fetched_at TEXT NOT NULL,
    acknowledged INTEGER NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS marks (
    mark TEXT NOT NULL,
    connector TEXT NOT NULL,
    body BLOB NOT NULL,
    PRIMARY KEY (mark, connector)
) STRICT;
CREATE TABLE IF NOT EXISTS remembered (name TEXT PRIMARY KEY, body BLOB NOT NULL) STRICT;

-- name: body_of
SELECT body FROM entries WHERE id = ?;

-- name: next_act
SELECT coalesce(max(act), 0) + 1 FROM entries;

-- name: keep
INSERT INTO entries (id, act, connector, body, kept_at) VALUES (?, ?, ?, ?, ?);

-- name: of_status
SELECT place, body, kept_at, status, discrepancies, problem FROM entries WHERE status = ? ORDER BY place LIMIT ?;

-- name: settle
UPDATE entries
SET status = ?, settled_at = ?, discrepancies = ?, problem = ?,
    acknowledged = (SELECT coalesce(max(acknowledged), 0) + 1 FROM entries)
WHERE id = ? AND status = 'unsent';

-- name: join
UPDATE entries
SET status = 'sent', connector = ?, settled_at = ?,
    acknowledged = (SELECT coalesce(max(acknowledged), 0) + 1 FROM entries)
WHERE id = ? AND status = 'parked';

-- name: again
UPDATE entries SET status = 'unsent', settled_at = NULL, problem = NULL
WHERE id = ? AND status = 'refused';

-- name: counts
SELECT status, count(*), min(kept_at) FROM entries GROUP BY status;

-- name: last_act
SELECT body FROM entries WHERE act = (SELECT max(act) FROM entries) ORDER BY place;

-- name: acknowledged
SELECT coalesce(max(acknowledged), 0) FROM entries;

-- name: since
SELECT place, body, kept_at, status, discrepancies, problem FROM entries
WHERE connector IN (SELECT value FROM json_each(?))
  AND (status IN ('unsent', 'refused') OR acknowledged > ?)
ORDER BY place;

-- name: referred
SELECT DISTINCT connector FROM entries WHERE status IN ('unsent', 'refused') OR acknowledged > ? ORDER BY connector;

-- name: save_snapshot
INSERT INTO snapshots (connector, body, fetched_at, acknowledged) VALUES (?, ?, ?, ?)
ON CONFLICT (connector) DO UPDATE
SET body = excluded.body, fetched_at = excluded.fetched_at, acknowledged = excluded.acknowledged;

-- name: snapshot
SELECT body, fetched_at, acknowledged FROM snapshots WHERE connector = ?;

-- name: snapshots
SELECT body, fetched_at, acknowledged FROM snapshots ORDER BY connector;

-- name: forget_mark
DELETE FROM marks WHERE mark = ?;

-- name: save_mark
INSERT INTO marks (mark, connector, body) VALUES (?, ?, ?);

-- name: lines_of_mark
SELECT body FROM marks WHERE mark = ? ORDER BY connector;

-- name: marks_of_connector
SELECT mark FROM marks WHERE connector = ? ORDER BY mark;

-- name: remember
INSERT INTO remembered (name, body) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET body = excluded.body;

-- name: remembered
SELECT body FROM remembered WHERE name = ?;
