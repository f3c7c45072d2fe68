-- A series by the words for its subject and quantity.
CREATE TABLE series (
  id INTEGER PRIMARY KEY,
  subject TEXT NOT NULL,
  quantity TEXT NOT NULL,
  UNIQUE (subject, quantity)
) STRICT;

-- Readings not yet packed, by instant first: commits of all series at once then touch one end of the tree.
CREATE TABLE hot (
  t INTEGER NOT NULL,
  series INTEGER NOT NULL,
  v INTEGER NOT NULL,
  epoch INTEGER NOT NULL,
  PRIMARY KEY (t, series)
) STRICT, WITHOUT ROWID;

-- Every further statement about an instant that has a reading.
CREATE TABLE amend (
  series INTEGER NOT NULL,
  t INTEGER NOT NULL,
  rank INTEGER NOT NULL,
  epoch INTEGER NOT NULL,
  revision INTEGER NOT NULL,
  v INTEGER NOT NULL,
  batch INTEGER NOT NULL,
  PRIMARY KEY (series, t, rank, epoch, revision, v)
) STRICT, WITHOUT ROWID;

-- Every statement of an event.
CREATE TABLE event (
  kind TEXT NOT NULL,
  id TEXT NOT NULL,
  rank INTEGER NOT NULL,
  revision INTEGER NOT NULL,
  at INTEGER NOT NULL,
  payload TEXT NOT NULL,
  note TEXT NOT NULL,
  batch INTEGER NOT NULL,
  PRIMARY KEY (kind, id, rank, revision, at, payload, note)
) STRICT, WITHOUT ROWID;

-- When the agent's clock was set, in the order in which that happened.
CREATE TABLE epoch (
  number INTEGER PRIMARY KEY,
  id TEXT NOT NULL UNIQUE,
  at INTEGER NOT NULL
) STRICT;

-- What each source delivered: one row for a file, one for all that a live source ever said.
CREATE TABLE batch (
  id INTEGER PRIMARY KEY,
  source TEXT NOT NULL,
  rank INTEGER NOT NULL,
  note TEXT NOT NULL,
  fresh INTEGER NOT NULL,
  same INTEGER NOT NULL,
  other INTEGER NOT NULL,
  events INTEGER NOT NULL,
  UNIQUE (source, rank, note)
) STRICT;

-- The last revision at which something changed that a local day of a subject reads.
CREATE TABLE touched (
  day TEXT NOT NULL,
  subject TEXT NOT NULL,
  revision INTEGER NOT NULL,
  PRIMARY KEY (day, subject)
) STRICT, WITHOUT ROWID;

-- Counts the transactions that changed something.
CREATE TABLE revision (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  last INTEGER NOT NULL
) STRICT;
INSERT INTO revision VALUES (1, 0);
