"""The part of the schema that holds the predicted fall, which came with format 2 of the build file."""

from __future__ import annotations

FALL_SCHEMA = """
-- The predicted fall of the newest version of the plan. No row anywhere before it was predicted.

CREATE TABLE fall (  -- one row, or none
  version         INTEGER PRIMARY KEY REFERENCES plan (version),  -- the newest
  result_sha256   TEXT NOT NULL,  -- of all that was worked out
  program         TEXT NOT NULL,  -- that worked it out
  fallen          INTEGER NOT NULL CHECK (fallen >= 0),
  standing        INTEGER NOT NULL CHECK (standing >= 0),  -- untouched and stalled
  total_s         REAL NOT NULL,  -- until the last one has come to rest
  mean_speed_m_s  REAL NOT NULL,  -- of the fronts
  min_margin      REAL NOT NULL,
  domino_friction REAL NOT NULL,
  floor_friction  REAL NOT NULL,
  slope_rad       REAL NOT NULL,  -- steepest slope of the floor
  downhill_rad    REAL NOT NULL,  -- direction in which the floor goes down
  summary         TEXT NOT NULL   -- figures of the prediction (JSON)
) STRICT;

CREATE TABLE fall_starter (  -- those that touch something
  number               INTEGER PRIMARY KEY,  -- place in the brief, from 0
  name                 TEXT NOT NULL UNIQUE,
  kind                 TEXT NOT NULL,
  strike_height_m      REAL NOT NULL,     -- above the floor
  strike_speed_m_s     REAL NOT NULL,
  omega_rad_s          REAL NOT NULL,     -- it gives each domino it strikes
  release_to_strike_s  REAL NOT NULL,     -- 0 for those whose clock is the strike
  struck               INTEGER NOT NULL CHECK (struck >= 1),  -- dominoes struck together
  least_omega_rad_s    REAL,              -- that fells the first dominoes; NULL when not known or none does
  needed_speed_m_s     REAL,              -- that gives just that; NULL likewise
  needed_ramp_height_m REAL,              -- that gives just that; NULL without a ramp
  needed_release_rad   REAL               -- that gives just that; NULL without a pendulum
) STRICT;

CREATE TABLE fall_domino (
  id          INTEGER PRIMARY KEY REFERENCES domino (id),
  struck_s    REAL,  -- since the first starter let go; NULL when never
  omega_rad_s REAL,  -- just after
  speed_m_s   REAL,  -- of the front where it arrives; NULL where a starter strikes
  striker     INTEGER REFERENCES domino (id),            -- struck it first; NULL for a starter or none
  starter     INTEGER REFERENCES fall_starter (number),  -- struck it first; NULL for a domino or none
  backward    INTEGER NOT NULL CHECK (backward IN (0, 1)),  -- 1: falls against its direction
  margin      REAL,  -- least share of its energy left before it struck the next
  down_s      REAL,  -- when it has come to rest; NULL when it stays up
  state       TEXT NOT NULL CHECK (state IN ('untouched', 'fallen', 'stalled')),
  stood       INTEGER CHECK (stood >= 0),  -- trials in which it stayed up; NULL without trials
  CHECK ((struck_s IS NULL) = (state = 'untouched')),
  CHECK (struck_s IS NOT NULL OR (striker IS NULL AND starter IS NULL)),
  CHECK (struck_s IS NULL OR striker IS NOT NULL OR starter IS NOT NULL)
) STRICT;

CREATE TABLE fall_finding (
  number    INTEGER PRIMARY KEY,  -- order in which they are told, from 0
  code      TEXT NOT NULL,        -- in the findings catalogue
  grade     TEXT NOT NULL CHECK (grade IN ('blocks', 'warns', 'notes')),
  place     TEXT NOT NULL,        -- key path in the brief, or a place in the mural or hall
  message   TEXT NOT NULL,
  value     ANY,                  -- what was found: text, number or NULL
  bound     ANY,                  -- what it is held against: text, number or NULL
  next_step TEXT NOT NULL
) STRICT;

CREATE TABLE fall_trial (  -- one row, or none when no falls with drawn errors were tried
  number                 INTEGER PRIMARY KEY CHECK (number = 0),
  trials                 INTEGER NOT NULL CHECK (trials >= 1),
  seed                   INTEGER NOT NULL,  -- of the random numbers
  chance_all_fall        REAL NOT NULL CHECK (chance_all_fall BETWEEN 0 AND 1),
  chance_all_fall_low    REAL NOT NULL,     -- ends of the 95 % interval
  chance_all_fall_high   REAL NOT NULL,
  chance_all_fall_method TEXT NOT NULL,     -- how the interval was made
  mean_standing          REAL NOT NULL CHECK (mean_standing >= 0),
  mean_standing_low      REAL NOT NULL,
  mean_standing_high     REAL NOT NULL,
  mean_standing_method   TEXT NOT NULL,
  chance_no_touch        REAL NOT NULL CHECK (chance_no_touch BETWEEN 0 AND 1),
  chance_no_touch_low    REAL NOT NULL,
  chance_no_touch_high   REAL NOT NULL,
  chance_no_touch_method TEXT NOT NULL,
  largest_seam_error_m   REAL,              -- NULL when there is none
  largest_touch_error_m  REAL               -- NULL when there is none
) STRICT;

CREATE TABLE fall_trial_outcome (
  trial    INTEGER PRIMARY KEY CHECK (trial >= 0),          -- from 0, without gaps
  standing INTEGER NOT NULL CHECK (standing >= 0)           -- dominoes left standing
) STRICT;

CREATE TABLE fall_seam (  -- where a fall crosses from tile to tile; the weakest of them
  place     INTEGER PRIMARY KEY,               -- from 0, weakest first
  tile      INTEGER REFERENCES tile (number),  -- NULL: laid by hand
  next_tile INTEGER REFERENCES tile (number),  -- in the direction of the fall; NULL: laid by hand
  chance    REAL NOT NULL CHECK (chance BETWEEN 0 AND 1),  -- that the fall does not cross as meant
  reason    TEXT NOT NULL,                     -- what is most likely then
  x_m       REAL NOT NULL,                     -- middle of the seam
  y_m       REAL NOT NULL
) STRICT;

CREATE VIEW fall_named AS
SELECT domino_named.*, fall_domino.struck_s, fall_domino.omega_rad_s, fall_domino.speed_m_s,
       fall_domino.striker, fall_starter.name AS starter, fall_domino.backward, fall_domino.margin,
       fall_domino.down_s, fall_domino.state, fall_domino.stood
FROM domino_named
JOIN fall_domino ON fall_domino.id = domino_named.id
LEFT JOIN fall_starter ON fall_starter.number = fall_domino.starter;
"""
