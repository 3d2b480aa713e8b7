"""The part of the schema that came with format 3 of the build file: the routes, and a floor out of a drawing."""

from __future__ import annotations

ROUTE_SCHEMA = """
CREATE TABLE drawn_floor (  -- one row when the brief names a drawing of the hall, else none
  number  INTEGER PRIMARY KEY CHECK (number = 0),
  outline TEXT NOT NULL,  -- corners of the floor (JSON)
  areas   TEXT NOT NULL   -- areas of the drawing: name, kind and corners of each (JSON)
) STRICT;

-- The routes of the newest version of the plan. No row anywhere when its brief has neither robots nor a crew.

CREATE TABLE route (  -- one row, or none
  version       INTEGER PRIMARY KEY REFERENCES plan (version),  -- the newest
  front         TEXT NOT NULL,     -- how the laying advances
  lower_bound_m REAL NOT NULL,     -- no plan for these robots and docks drives less
  driven_m      REAL NOT NULL,     -- by robots
  laying_s      REAL NOT NULL,     -- when the last trip has ended
  at_risk       REAL NOT NULL,     -- mean number of dominoes that would go if a piece of the newest tile fell
  layable_most  INTEGER NOT NULL,  -- no order lays more steps than that
  trapped       TEXT NOT NULL,     -- steps that cannot be laid, each with the steps in its way (JSON)
  left_out      TEXT NOT NULL      -- steps given up so that the others can be laid (JSON)
) STRICT;

CREATE TABLE model (
  number      INTEGER PRIMARY KEY,   -- place in the brief, from 0
  name        TEXT NOT NULL UNIQUE,
  description TEXT NOT NULL          -- shape and motion (JSON)
) STRICT;

CREATE TABLE robot (  -- and people, each by name
  number INTEGER PRIMARY KEY,              -- from 0
  name   TEXT NOT NULL UNIQUE,
  model  INTEGER REFERENCES model (number)  -- NULL: a person
) STRICT;

CREATE TABLE step (
  number      INTEGER PRIMARY KEY,                -- from 0, without gaps; tiles first
  kind        TEXT NOT NULL CHECK (kind IN ('tile', 'gap', 'stack', 'line')),
  tile        INTEGER REFERENCES tile (number),   -- a stack has the one it stands on; NULL for none
  after       INTEGER REFERENCES step (number),   -- that must be done before it; NULL for none
  x_m         REAL NOT NULL,                      -- middle of its dominoes
  y_m         REAL NOT NULL,
  dominoes    INTEGER NOT NULL,
  place       INTEGER UNIQUE CHECK (place >= 1),  -- in the laying order, from 1; NULL: cannot be laid
  model       INTEGER REFERENCES model (number),  -- that sets it down; NULL: a person, or cannot be laid
  turn_deg    INTEGER CHECK (turn_deg IN (0, 180)),  -- of the tray against the fall
  stand_x_m   REAL,                               -- where the robot stands then, or the person kneels
  stand_y_m   REAL,
  stand_yaw_rad REAL,
  leave_x_m   REAL,                               -- where it has left the step in a straight line
  leave_y_m   REAL,
  layer       INTEGER,                            -- way of moving from there on
  CHECK ((place IS NULL) = (stand_x_m IS NULL))
) STRICT;

CREATE TABLE trip (
  number   INTEGER PRIMARY KEY,                       -- from 0, without gaps
  robot    INTEGER NOT NULL REFERENCES robot (number),
  dock     INTEGER,                                   -- place in the brief, from 0; NULL for none
  start_s  REAL NOT NULL,
  end_s    REAL NOT NULL,
  driven_m REAL NOT NULL                              -- 0 for people on foot
) STRICT;

CREATE TABLE trip_step (  -- steps done on each trip
  trip  INTEGER NOT NULL REFERENCES trip (number),
  place INTEGER NOT NULL,  -- in the order in which they are done, from 0
  step  INTEGER NOT NULL REFERENCES step (number),
  PRIMARY KEY (trip, place)
) STRICT, WITHOUT ROWID;

CREATE TABLE waypoint (  -- between two of them, x, y and yaw change evenly with time
  number  INTEGER PRIMARY KEY,                       -- from 0, without gaps, trip by trip
  trip    INTEGER NOT NULL REFERENCES trip (number),
  phase   TEXT NOT NULL,                             -- what is being done
  step    INTEGER REFERENCES step (number),          -- NULL for none
  t_s     REAL NOT NULL,                             -- since the laying began
  x_m     REAL NOT NULL,                             -- middle of the tray opening, or of the person
  y_m     REAL NOT NULL,
  yaw_rad REAL NOT NULL                              -- of the robot's x axis
) STRICT;

CREATE VIEW step_named AS
SELECT step.number, step.place, step.kind, step.tile, robot.name AS robot, trip_step.trip, step.dominoes,
       step.x_m, step.y_m, step.turn_deg
FROM step
LEFT JOIN trip_step ON trip_step.step = step.number
LEFT JOIN trip ON trip.number = trip_step.trip
LEFT JOIN robot ON robot.number = trip.robot;
"""
