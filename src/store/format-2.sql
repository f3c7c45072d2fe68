-- The first statement about an instant may come from a file: it gets its rank. What format 1 holds was read live.
CREATE TABLE ranked (
  t INTEGER NOT NULL,
  series INTEGER NOT NULL,
  v INTEGER NOT NULL,
  rank INTEGER NOT NULL,
  epoch INTEGER NOT NULL,
  PRIMARY KEY (t, series)
) STRICT, WITHOUT ROWID;
INSERT INTO ranked SELECT t, series, v, 0, epoch FROM hot;
DROP TABLE hot;
ALTER TABLE ranked RENAME TO hot;

-- Texts by the SHA-256 of their bytes.
CREATE TABLE document (
  hash TEXT PRIMARY KEY,
  text TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- Which text was in force under a path since which revision.
CREATE TABLE in_force (
  kind TEXT NOT NULL,
  path TEXT NOT NULL,
  revision INTEGER NOT NULL,
  hash TEXT NOT NULL REFERENCES document (hash),
  PRIMARY KEY (kind, path, revision)
) STRICT, WITHOUT ROWID;
