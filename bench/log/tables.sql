-- The tables of the log. Never edit what has been released: a later version adds a change in schema.py.
-- Every table and column carries its description as a comment, which also becomes a row of `description`.
-- AUTOINCREMENT everywhere: a number is given once, even where damage has taken the row that had it.
-- An empty line parts two statements. `salvage` counts on the order of the tables.

CREATE TABLE migration (migration_key INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, applied_wall_s REAL NOT NULL) STRICT;

CREATE TABLE description (table_name TEXT NOT NULL, column_name TEXT NOT NULL, words TEXT NOT NULL, PRIMARY KEY (table_name, column_name)) STRICT, WITHOUT ROWID;

INSERT INTO description (table_name, column_name, words) VALUES
  ('description', '', 'what every table and column of this log means'),
  ('description', 'column_name', 'the column; empty for the table itself'),
  ('description', 'table_name', 'the table'),
  ('description', 'words', 'what it means'),
  ('migration', '', 'how the tables came to be, in order'),
  ('migration', 'applied_wall_s', 'wall clock when it ran, seconds since 1970-01-01 UTC'),
  ('migration', 'migration_key', 'order in which it ran'),
  ('migration', 'name', 'name of the change');

CREATE TABLE boot ( -- one row for each time a program opened the log to write
  boot_key INTEGER PRIMARY KEY AUTOINCREMENT, -- number of the opening
  boot_id TEXT NOT NULL, -- the machine's boot identity: monotonic times compare only within one
  program TEXT NOT NULL, -- name and version of the program that wrote
  process_id INTEGER NOT NULL, -- its process number
  last_ticket INTEGER NOT NULL, -- the last act it committed, so that none is done twice
  monotonic_ns INTEGER NOT NULL, -- nanoseconds of the machine's monotonic clock
  wall_s REAL NOT NULL, -- wall clock, seconds since 1970-01-01 UTC; wrong unless synced
  clock_synced INTEGER NOT NULL -- 1 if the wall clock could be believed then
) STRICT;

CREATE TABLE gear ( -- copies of the user's gear as checks used it, each kept once
  gear_key INTEGER PRIMARY KEY AUTOINCREMENT, -- number of the copy
  sha256 TEXT NOT NULL UNIQUE, -- hash of gear_json
  gear_json TEXT NOT NULL -- indicator, travel, caliper, saw, jig, square, leaves; mm and rad
) STRICT;

CREATE TABLE check_run ( -- a check that was begun: one question asked of the saw or a jig
  run_key INTEGER PRIMARY KEY AUTOINCREMENT, -- number of the run, in the order they were begun
  run TEXT NOT NULL UNIQUE, -- its name outside the log
  check_kind TEXT NOT NULL, -- kind of check
  jig TEXT, -- name of the jig
  saw TEXT, -- name of the saw
  options_json TEXT NOT NULL, -- options as chosen; lengths mm, angles rad
  gear_key INTEGER NOT NULL REFERENCES gear, -- the gear it used
  instrument TEXT, -- which indicator read, by its own lasting name
  hold TEXT, -- how the jig was held against the slot walls
  state TEXT NOT NULL CHECK (state IN ('open', 'finished', 'abandoned')), -- where it stands
  boot_key INTEGER NOT NULL REFERENCES boot, -- the opening of the log in which this was recorded
  begun_monotonic_ns INTEGER NOT NULL, -- nanoseconds of the machine's monotonic clock
  begun_wall_s REAL NOT NULL, -- wall clock, seconds since 1970-01-01 UTC; wrong unless synced
  begun_clock_synced INTEGER NOT NULL -- 1 if the wall clock could be believed then
) STRICT;

CREATE TABLE event ( -- everything that happened, in the order in which it was recorded
  event_key INTEGER PRIMARY KEY AUTOINCREMENT, -- order of recording; holds even when the wall clock jumps
  run_key INTEGER REFERENCES check_run, -- the check it belongs to, if any
  kind TEXT NOT NULL, -- what happened
  data_json TEXT NOT NULL, -- its particulars; mm, rad, s
  boot_key INTEGER NOT NULL REFERENCES boot, -- the opening of the log in which this was recorded
  monotonic_ns INTEGER NOT NULL, -- nanoseconds of the machine's monotonic clock
  wall_s REAL NOT NULL, -- wall clock, seconds since 1970-01-01 UTC; wrong unless synced
  clock_synced INTEGER NOT NULL -- 1 if the wall clock could be believed then
) STRICT;

CREATE TABLE trace ( -- paired travel and reading of one sweep, spot or width, in the order they came
  trace_key INTEGER PRIMARY KEY AUTOINCREMENT, -- number of the trace
  sha256 BLOB NOT NULL UNIQUE, -- hash of all that follows, so that each is kept once
  placement TEXT NOT NULL, -- how the reference and the indicator stood
  push INTEGER NOT NULL, -- 1 if the travel grew, 0 for a pull-back
  sweep TEXT NOT NULL, -- the sweep's own name in the evidence
  seat TEXT, -- which seating of the reference; null where every sweep is freshly seated
  hold TEXT, -- how the jig was held
  readings INTEGER NOT NULL, -- number of pairs
  travel_mm_packed BLOB NOT NULL, -- travel in mm, growing away from the operator, packed
  reading_mm_packed BLOB NOT NULL, -- reading in mm, growing as the plunger goes in, packed
  at_s_packed BLOB -- arrival in s, packed; null where unknown
) STRICT;

CREATE TABLE sweep ( -- the sled taken once through its travel, or one spot or width
  sweep_key INTEGER PRIMARY KEY AUTOINCREMENT, -- order of beginning
  sweep TEXT NOT NULL UNIQUE, -- its name outside the log
  run_key INTEGER NOT NULL REFERENCES check_run, -- the check it belongs to
  placement TEXT NOT NULL, -- how the reference and the indicator stood
  gather TEXT NOT NULL, -- sweep, spot or width
  push INTEGER, -- 1 for a push, 0 for a pull-back, null while unknown
  seat TEXT, -- which seating; null where freshly seated
  hold TEXT, -- how the jig was held
  state TEXT NOT NULL CHECK (state IN ('running', 'whole', 'interrupted', 'refused', 'undone')), -- how it ended; only whole ones conclude
  reason TEXT, -- why it was interrupted, refused or undone
  trace_key INTEGER REFERENCES trace, -- what was paired from it, once ended
  wires_json TEXT NOT NULL, -- by instrument: the format and options its raw bytes are read with
  boot_key INTEGER NOT NULL REFERENCES boot, -- the opening of the log in which this was recorded
  started_monotonic_ns INTEGER NOT NULL, -- nanoseconds of the machine's monotonic clock
  started_wall_s REAL NOT NULL, -- wall clock, seconds since 1970-01-01 UTC; wrong unless synced
  started_clock_synced INTEGER NOT NULL, -- 1 if the wall clock could be believed then
  ended_monotonic_ns INTEGER, -- end by the monotonic clock of the same boot; null if never ended
  ended_wall_s REAL -- end by the wall clock, seconds since 1970-01-01 UTC
) STRICT;

CREATE TABLE chunk ( -- bytes of a running sweep as they came; merged into reading by the transaction that ends it
  chunk_key INTEGER PRIMARY KEY AUTOINCREMENT, -- order of arrival
  sweep_key INTEGER NOT NULL REFERENCES sweep, -- the sweep that was running
  instrument TEXT NOT NULL, -- which instrument
  raw BLOB NOT NULL, -- the bytes of the wire
  readings INTEGER NOT NULL, -- records in them
  arrival_us_packed BLOB NOT NULL -- arrival of each record, monotonic microseconds, packed
) STRICT;

CREATE TABLE reading ( -- all that one instrument sent during one sweep
  reading_key INTEGER PRIMARY KEY AUTOINCREMENT, -- number of the row
  sweep_key INTEGER NOT NULL REFERENCES sweep, -- the sweep
  instrument TEXT NOT NULL, -- which instrument
  readings INTEGER NOT NULL, -- records in it
  raw_bytes INTEGER NOT NULL, -- length of the raw bytes
  raw_zlib BLOB NOT NULL, -- the bytes of the wire, zlib
  arrival_us_packed BLOB NOT NULL, -- arrival of each record, monotonic microseconds, packed
  UNIQUE (sweep_key, instrument)
) STRICT;

CREATE TABLE finding ( -- what a check concluded, with all that it was worked out from
  finding_key INTEGER PRIMARY KEY AUTOINCREMENT, -- order of concluding
  finding TEXT NOT NULL UNIQUE, -- its name outside the log
  run_key INTEGER NOT NULL REFERENCES check_run, -- the check that concluded it
  check_kind TEXT NOT NULL, -- kind of check
  jig TEXT, -- name of the jig
  saw TEXT, -- name of the saw
  verdict TEXT, -- inside, outside, cannot-tell; null without a tolerance
  at TEXT NOT NULL, -- time written in the finding, ISO 8601
  finding_json TEXT NOT NULL, -- the finding as scripts see it; mm and rad
  evidence_json TEXT NOT NULL, -- options, leans, taps and what was known; the gear and the traces apart
  gear_key INTEGER NOT NULL REFERENCES gear, -- the gear it was worked out with
  crc32 INTEGER NOT NULL, -- checksum of finding_json followed by evidence_json
  traces_sha256 BLOB NOT NULL, -- hash of its traces' hashes in order, so that none is missed
  superseded_by INTEGER REFERENCES finding, -- the later finding that replaces this one
  boot_key INTEGER NOT NULL REFERENCES boot, -- the opening of the log in which this was recorded
  monotonic_ns INTEGER NOT NULL, -- nanoseconds of the machine's monotonic clock
  wall_s REAL NOT NULL, -- wall clock, seconds since 1970-01-01 UTC; wrong unless synced
  clock_synced INTEGER NOT NULL -- 1 if the wall clock could be believed then
) STRICT;

CREATE TABLE finding_trace ( -- which traces a finding was worked out from, in order
  finding_key INTEGER NOT NULL REFERENCES finding, -- the finding
  position INTEGER NOT NULL, -- place in the evidence, from 0
  trace_key INTEGER NOT NULL REFERENCES trace, -- the trace
  PRIMARY KEY (finding_key, position)
) STRICT;

CREATE TABLE quantity ( -- each quantity of each finding, for charts
  finding_key INTEGER NOT NULL REFERENCES finding, -- the finding
  position INTEGER NOT NULL, -- place in the finding, from 0
  name TEXT NOT NULL, -- name of the quantity
  unit TEXT NOT NULL CHECK (unit IN ('rad', 'mm')), -- unit of value, uncertainty and tolerance
  value_in_unit REAL NOT NULL, -- the value
  uncertainty_in_unit REAL NOT NULL, -- expanded uncertainty at the finding's confidence
  degrees_of_freedom REAL, -- null for infinite
  tolerance_in_unit REAL, -- null where none is set
  verdict TEXT, -- inside, outside, cannot-tell; null without a tolerance
  PRIMARY KEY (finding_key, position)
) STRICT;

CREATE TABLE move ( -- a move that was advised: planned, made, and verified by a later finding
  move_key INTEGER PRIMARY KEY AUTOINCREMENT, -- order of planning
  move TEXT NOT NULL UNIQUE, -- its name outside the log
  finding_key INTEGER NOT NULL REFERENCES finding, -- the finding that advised it
  jig_end TEXT NOT NULL, -- which end to move: left or right
  way TEXT NOT NULL, -- away from or toward the operator
  distance_mm REAL NOT NULL, -- how far, positive
  uncertainty_mm REAL NOT NULL, -- expanded
  move_json TEXT NOT NULL, -- the whole move as advised
  planned_event_key INTEGER NOT NULL REFERENCES event, -- when it was advised
  made_event_key INTEGER REFERENCES event, -- when it was made, and how; null while not
  made_json TEXT, -- what was done: leaves used, shift while tightening; mm
  verified_by INTEGER REFERENCES finding -- the finding that looked afterwards
) STRICT;

CREATE INDEX event_of_run ON event (run_key);

CREATE INDEX sweep_of_run ON sweep (run_key);

CREATE INDEX sweep_running ON sweep (sweep_key) WHERE state = 'running';

CREATE INDEX chunk_of_sweep ON chunk (sweep_key);

CREATE INDEX run_open ON check_run (run_key) WHERE state = 'open';

CREATE INDEX finding_of_run ON finding (run_key);

CREATE INDEX finding_of_jig ON finding (jig, saw, check_kind);

CREATE INDEX move_of_finding ON move (finding_key);

CREATE INDEX event_clock ON event (event_key) WHERE kind = 'clock';
