-- 0004 clocks (sqlite)
--
-- How long things ran: hour meters, readings, planned running and stops.

-- +goose Up

CREATE TABLE meters (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    conveyor_id BIGINT NOT NULL,
    from_at BIGINT NOT NULL,
    why TEXT NOT NULL,
    start_h REAL NOT NULL,
    previous_final_h REAL,
    rolls_over_at_h REAL NOT NULL,
    offset_h REAL NOT NULL,
    resolution_h REAL NOT NULL,
    serial_number TEXT NOT NULL,
    remark TEXT NOT NULL
);
CREATE UNIQUE INDEX meters_current ON meters (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX meters_rows ON meters (id, known_from);
CREATE INDEX meters_plant ON meters (plant_id);
CREATE INDEX meters_conveyor ON meters (conveyor_id);

CREATE TABLE readings (
    conveyor_id BIGINT NOT NULL,
    at BIGINT NOT NULL,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    shown_h REAL NOT NULL,
    approximate BOOLEAN NOT NULL,
    remark TEXT,
    PRIMARY KEY (conveyor_id, at, known_from)
) WITHOUT ROWID;

CREATE TABLE held_readings (
    id INTEGER PRIMARY KEY,
    plant_id BIGINT NOT NULL,
    conveyor_id BIGINT NOT NULL,
    at BIGINT NOT NULL,
    shown_h REAL NOT NULL,
    class TEXT NOT NULL,
    question TEXT NOT NULL,
    origin TEXT NOT NULL,
    entered_at BIGINT NOT NULL,
    entered_by BIGINT NOT NULL,
    known_from BIGINT NOT NULL,
    decision TEXT NOT NULL,
    decided_at BIGINT NOT NULL,
    decided_by BIGINT NOT NULL,
    decided_for TEXT NOT NULL,
    decided_position BIGINT NOT NULL
);
CREATE INDEX held_readings_waiting ON held_readings (plant_id) WHERE decision = '';
CREATE INDEX held_readings_conveyor ON held_readings (conveyor_id, at);

CREATE TABLE production_calendars (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    line_id BIGINT NOT NULL,
    shifts TEXT,
    exceptions TEXT
);
CREATE UNIQUE INDEX production_calendars_current ON production_calendars (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX production_calendars_rows ON production_calendars (id, known_from);
CREATE INDEX production_calendars_plant ON production_calendars (plant_id);

CREATE TABLE stop_windows (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    line_id BIGINT NOT NULL,
    "start" BIGINT NOT NULL,
    "end" BIGINT NOT NULL,
    start_local TEXT NOT NULL,
    end_local TEXT NOT NULL,
    note TEXT NOT NULL,
    withdrawn BOOLEAN NOT NULL
);
CREATE UNIQUE INDEX stop_windows_current ON stop_windows (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX stop_windows_rows ON stop_windows (id, known_from);
CREATE INDEX stop_windows_plant ON stop_windows (plant_id);
