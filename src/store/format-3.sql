-- Months as they were closed, in the order in which that was done; a sequence above 0 restates. The text is the closing
-- as JSON: facts used, documents, figures, by whom, when and why. Each is chained by hash to the one before.
CREATE TABLE closed (
  number INTEGER PRIMARY KEY,
  month TEXT NOT NULL,
  sequence INTEGER NOT NULL,
  previous TEXT NOT NULL,
  hash TEXT NOT NULL,
  text TEXT NOT NULL,
  UNIQUE (month, sequence)
) STRICT;
