package history

// applicationID marks a file as ours (SQLite's application_id): "MWdn".
const applicationID = 0x4d57646e

// migrations lead from each version of the schema to the next; the file's
// user_version says how many of them it has had. One is never changed once
// files exist that have had it.
var migrations = []string{
	`
CREATE TABLE recipe (
	fingerprint TEXT PRIMARY KEY,
	name        TEXT NOT NULL,
	source      TEXT NOT NULL,          -- the file as typed
	parent      TEXT,                   -- the version it was made from
	run         INTEGER,                -- the run it was promoted from
	added_ms    INTEGER NOT NULL
) STRICT;
CREATE TABLE session (
	id       INTEGER PRIMARY KEY,
	began_ms INTEGER NOT NULL,
	ended_ms INTEGER
) STRICT;
CREATE TABLE run (
	id       INTEGER PRIMARY KEY,
	session  INTEGER NOT NULL REFERENCES session,
	recipe   TEXT NOT NULL REFERENCES recipe,
	title    TEXT NOT NULL,
	bench    TEXT NOT NULL,             -- the bench file as typed
	settings TEXT NOT NULL,             -- control.Settings as JSON
	invented INTEGER NOT NULL,
	began_ms INTEGER NOT NULL,
	ended_ms INTEGER,
	state    TEXT NOT NULL CHECK (state IN ('open', 'finished', 'interrupted')),
	note     TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX run_began ON run (began_ms);
CREATE TABLE part (                     -- from one start of the daemon to its end
	id       INTEGER PRIMARY KEY,
	run      INTEGER NOT NULL REFERENCES run,
	program  TEXT NOT NULL,             -- version and processor, for replay
	began_ms INTEGER NOT NULL
) STRICT;
CREATE INDEX part_run ON part (run);
CREATE TABLE block (                    -- cycles, packed
	part   INTEGER NOT NULL REFERENCES part,
	first  INTEGER NOT NULL,            -- number of its first cycle
	cycles INTEGER NOT NULL,
	data   BLOB NOT NULL,
	PRIMARY KEY (part, first)
) STRICT, WITHOUT ROWID;
CREATE TABLE event (
	id       INTEGER PRIMARY KEY,
	run      INTEGER NOT NULL REFERENCES run,
	part     INTEGER NOT NULL REFERENCES part,
	cycle    INTEGER NOT NULL,
	bench_ms INTEGER NOT NULL,
	wall_ms  INTEGER NOT NULL,
	kind     TEXT NOT NULL,
	pot      INTEGER NOT NULL,          -- from 1; 0 is the bench
	text     TEXT NOT NULL
) STRICT;
CREATE INDEX event_run ON event (run);
CREATE TABLE shot (
	id       INTEGER PRIMARY KEY,
	run      INTEGER NOT NULL REFERENCES run,
	part     INTEGER NOT NULL REFERENCES part,
	number   INTEGER NOT NULL,          -- from 1 in its run
	bench_ms INTEGER NOT NULL,
	wall_ms  INTEGER NOT NULL,
	mould    TEXT NOT NULL DEFAULT '',
	note     TEXT NOT NULL DEFAULT '',
	card     TEXT NOT NULL,             -- the shot card as JSON
	UNIQUE (run, number)
) STRICT;
CREATE TABLE fault (                    -- a verdict; 'clean' is one too
	shot    INTEGER NOT NULL REFERENCES shot,
	fault   TEXT NOT NULL,
	where_  TEXT NOT NULL DEFAULT '',   -- colours, boundary or cavity
	day     INTEGER NOT NULL,           -- 0 at demould, later at re-inspection
	wall_ms INTEGER NOT NULL,
	PRIMARY KEY (shot, fault, where_, day)
) STRICT, WITHOUT ROWID;
`,
	`
ALTER TABLE event ADD COLUMN amount TEXT NOT NULL DEFAULT ''; -- as typed
ALTER TABLE event ADD COLUMN c REAL NOT NULL DEFAULT 0;       -- of a new set-point
ALTER TABLE shot ADD COLUMN withdrawn INTEGER NOT NULL DEFAULT 0;
DROP TABLE fault;                       -- nothing ever wrote it
CREATE TABLE fault (                    -- a verdict; 'clean' is one too
	shot    INTEGER NOT NULL REFERENCES shot,
	fault   TEXT NOT NULL,
	colours TEXT NOT NULL,              -- JSON: one, or the two that meet; none is the whole bait
	cavity  TEXT NOT NULL,
	day     INTEGER NOT NULL,           -- 0 at demould, later at a re-inspection
	wall_ms INTEGER NOT NULL,
	PRIMARY KEY (shot, fault, colours, cavity, day)
) STRICT, WITHOUT ROWID;
-- What a list needs of a part, so that it need not read the blocks. For a part
-- that is older than these columns it follows from the pace of the bench.
ALTER TABLE part ADD COLUMN cycles INTEGER NOT NULL DEFAULT 0;
ALTER TABLE part ADD COLUMN bench_ms INTEGER NOT NULL DEFAULT 0;  -- at its last cycle
ALTER TABLE part ADD COLUMN last_ms INTEGER NOT NULL DEFAULT 0;   -- wall time then
ALTER TABLE block ADD COLUMN bench_ms INTEGER NOT NULL DEFAULT 0; -- at its first cycle
UPDATE block SET bench_ms = (first - 1) * 200;
UPDATE part SET cycles = (SELECT coalesce(sum(cycles), 0) FROM block WHERE block.part = part.id);
UPDATE part SET bench_ms = cycles * 200, last_ms = began_ms + cycles * 200;
`,
	`
CREATE TABLE commission (               -- every state that was saved; the newest counts
	id      INTEGER PRIMARY KEY,
	wall_ms INTEGER NOT NULL,
	program TEXT NOT NULL,              -- version
	digest  TEXT NOT NULL,              -- of the hardware in the bench file
	record  TEXT NOT NULL               -- JSON
) STRICT;
`,
	`
ALTER TABLE run ADD COLUMN source TEXT NOT NULL DEFAULT ''; -- its recipe file as typed; '' is that of the version
`,
	`
CREATE TABLE known (                    -- what a run has found out about its pots
	run     INTEGER NOT NULL REFERENCES run,
	pot     TEXT NOT NULL,              -- its name on the bench
	digest  TEXT NOT NULL,              -- of what measures and heats it
	wall_ms INTEGER NOT NULL,
	anew    INTEGER NOT NULL,           -- the run had not gone by what earlier ones had found
	figures TEXT NOT NULL,              -- loop.Known as JSON
	PRIMARY KEY (run, pot)
) STRICT, WITHOUT ROWID;
`,
	`
CREATE TABLE batch (                    -- one potful of plastisol, as typed; '' is not recorded
	id       INTEGER PRIMARY KEY,
	began_ms INTEGER NOT NULL,          -- when the run began that it was made for,
	made_in  INTEGER NOT NULL,          -- and in which pot: it is known by these elsewhere, too
	colour   TEXT NOT NULL,
	base     TEXT NOT NULL,
	lot      TEXT NOT NULL,
	made     TEXT NOT NULL,             -- how much of it was made
	note     TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE TABLE potful (                   -- which batch is in which pot in which run
	run     INTEGER NOT NULL REFERENCES run,
	pot     INTEGER NOT NULL,           -- from 1
	own     INTEGER NOT NULL REFERENCES batch, -- the new one that it began as
	batch   INTEGER NOT NULL REFERENCES batch, -- the one that the maker says it is
	kj      REAL NOT NULL,              -- activation energy of its doses, kJ/mol
	wall_ms INTEGER NOT NULL,           -- when its heat was kept last
	heat    TEXT NOT NULL,              -- what it had in this run, as JSON: seconds at each degree
	PRIMARY KEY (run, pot)
) STRICT, WITHOUT ROWID;
CREATE INDEX potful_batch ON potful (batch);
`,
	`
ALTER TABLE run ADD COLUMN brought_ms INTEGER NOT NULL DEFAULT 0;    -- when it was brought from another history; 0: recorded here
ALTER TABLE run ADD COLUMN brought_from TEXT NOT NULL DEFAULT '';    -- the bench that it was made on, by its name
ALTER TABLE run ADD COLUMN thinned_ms INTEGER NOT NULL DEFAULT 0;    -- when its cycles were thinned; 0: all are there
CREATE TABLE photo (
	id      INTEGER PRIMARY KEY,
	shot    INTEGER NOT NULL REFERENCES shot,
	digest  TEXT NOT NULL,              -- SHA-256 of the file as it was given
	wall_ms INTEGER NOT NULL,           -- when it was attached
	width   INTEGER NOT NULL,           -- pixels
	height  INTEGER NOT NULL,
	picture BLOB NOT NULL,              -- JPEG, encoded anew
	small   BLOB NOT NULL,              -- the same, for a list
	UNIQUE (shot, digest)
) STRICT;
CREATE TABLE seal (                     -- in an archive only
	digest TEXT NOT NULL                -- over every row of the other tables
) STRICT;
` + views,
	`
CREATE TABLE attempt (                  -- a change to a recipe that was accepted, to see whether it helps
	id          INTEGER PRIMARY KEY,
	recipe      TEXT NOT NULL REFERENCES recipe, -- the version that came of it
	before      TEXT NOT NULL REFERENCES recipe, -- the version that was changed
	run         INTEGER NOT NULL,       -- the run and the shot that led to it
	shot        INTEGER NOT NULL,
	fault       TEXT NOT NULL,
	cause       TEXT NOT NULL,          -- the hypothesis it goes by, in words
	kind        TEXT NOT NULL,          -- of change
	colour      TEXT NOT NULL,          -- it concerns; '' is the whole recipe
	change      TEXT NOT NULL,          -- in words
	reason      TEXT NOT NULL,
	accepted_ms INTEGER NOT NULL,
	ended_ms    INTEGER,                -- by a person
	ended_why   TEXT NOT NULL DEFAULT ''
) STRICT;
`,
	`
ALTER TABLE event ADD COLUMN said_from TEXT NOT NULL DEFAULT ''; -- not from the bench's own computer, but from this
` + eventView,
	`
ALTER TABLE event ADD COLUMN said_key TEXT NOT NULL DEFAULT ''; -- the press that it came of, as who sent it calls it
ALTER TABLE event ADD COLUMN takes TEXT NOT NULL DEFAULT '';    -- the press whose note this takes back; 'last': the last one from the same place
CREATE INDEX event_key ON event (run, said_key) WHERE said_key <> '';
`,
	`
CREATE TABLE calibration (              -- what was found out about the error of a probe, and done about it
	id      INTEGER PRIMARY KEY,
	wall_ms INTEGER NOT NULL,
	program TEXT NOT NULL,              -- version
	probe   TEXT NOT NULL,              -- by role and pot
	digest  TEXT NOT NULL,              -- stands for its channel and device
	kind    TEXT NOT NULL CHECK (kind IN ('point', 'in force', 'taken back', 'changed')),
	record  TEXT NOT NULL               -- JSON
) STRICT;
ALTER TABLE part ADD COLUMN corrected TEXT NOT NULL DEFAULT ''; -- what calibrations added to readings, in words; '' is nothing
`,
	`
CREATE TABLE relay (                    -- how often relays before heaters were told to close
	bench      TEXT NOT NULL,           -- its name
	place      TEXT NOT NULL,           -- its coil: device and address
	fitted     TEXT NOT NULL,           -- the day it was fitted, as typed; '' is not said
	pot        TEXT NOT NULL,           -- its name on the bench
	operations INTEGER NOT NULL,        -- counted, a closing and the opening after it as one
	since_ms   INTEGER NOT NULL,        -- when counting began
	wall_ms    INTEGER NOT NULL,        -- when it closed last
	PRIMARY KEY (bench, place, fitted)
) STRICT, WITHOUT ROWID;
`,
}
