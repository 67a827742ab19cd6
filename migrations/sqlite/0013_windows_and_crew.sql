-- 0013 windows_and_crew (sqlite)
--
-- Stops for single conveyors, with the plant's answer and where they come from; stops that come again; who can be sent to work
-- with which tickets; ways between plants; what a kind of work takes. Old stops get nothing here and count as agreed.

-- +goose Up

ALTER TABLE stop_windows ADD COLUMN conveyor_ids TEXT;
ALTER TABLE stop_windows ADD COLUMN answer TEXT;
ALTER TABLE stop_windows ADD COLUMN source TEXT;

-- Stops that come again by a rule of RFC 5545. Of one occurrence a row of stop_windows stands only once something is said of it.
CREATE TABLE stop_recurrences (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    line_id BIGINT NOT NULL,
    conveyor_ids TEXT,
    rule TEXT NOT NULL,
    start_local TEXT NOT NULL,
    end_local TEXT NOT NULL,
    keeps TEXT NOT NULL,
    until_day TEXT NOT NULL,
    exceptions TEXT,
    note TEXT NOT NULL,
    withdrawn BOOLEAN NOT NULL,
    answer TEXT,
    calendar_uid TEXT NOT NULL
);
CREATE UNIQUE INDEX stop_recurrences_current ON stop_recurrences (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX stop_recurrences_rows ON stop_recurrences (id, known_from);
CREATE INDEX stop_recurrences_plant ON stop_recurrences (plant_id);

-- Conveyors isolated together. Old conveyors are in none: isolated by themselves, in a time nobody has given.
CREATE TABLE isolation_groups (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    name TEXT NOT NULL,
    name_key TEXT NOT NULL,
    point TEXT NOT NULL,
    isolate_min BIGINT NOT NULL,
    restart_min BIGINT NOT NULL,
    setup_cost REAL NOT NULL,
    conveyor_ids TEXT
);
CREATE UNIQUE INDEX isolation_groups_current ON isolation_groups (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX isolation_groups_rows ON isolation_groups (id, known_from);
CREATE INDEX isolation_groups_plant ON isolation_groups (plant_id);

-- The company's catalogue of tickets.
CREATE TABLE qualifications (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    name TEXT NOT NULL,
    name_key TEXT NOT NULL,
    order_kinds TEXT,
    splice_kinds TEXT,
    valid_months BIGINT NOT NULL,
    remark TEXT NOT NULL
);
CREATE UNIQUE INDEX qualifications_current ON qualifications (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX qualifications_rows ON qualifications (id, known_from);

-- Who holds which ticket from when to when; in the chain of the person's customer.
CREATE TABLE person_qualifications (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    person_id BIGINT NOT NULL,
    qualification_id BIGINT NOT NULL,
    from_day TEXT NOT NULL,
    until_day TEXT NOT NULL,
    certificate_no TEXT NOT NULL,
    certificate_id BIGINT NOT NULL
);
CREATE UNIQUE INDEX person_qualifications_current ON person_qualifications (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX person_qualifications_rows ON person_qualifications (id, known_from);
CREATE INDEX person_qualifications_person ON person_qualifications (person_id);

-- Who can be sent to work, from where, when in a week, at what cost.
CREATE TABLE crew_members (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    person_id BIGINT NOT NULL,
    home_plant_id BIGINT NOT NULL,
    working_week TEXT,
    callout_cost REAL NOT NULL
);
CREATE UNIQUE INDEX crew_members_current ON crew_members (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX crew_members_rows ON crew_members (id, known_from);
CREATE INDEX crew_members_person ON crew_members (person_id);

-- Whole days on which somebody is not there.
CREATE TABLE absences (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    person_id BIGINT NOT NULL,
    from_day TEXT NOT NULL,
    until_day TEXT NOT NULL,
    why TEXT NOT NULL
);
CREATE UNIQUE INDEX absences_current ON absences (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX absences_rows ON absences (id, known_from);
CREATE INDEX absences_person ON absences (person_id);

-- Ways between plants, 0 for the depot; of the company. A way that is not given is not known.
CREATE TABLE travel_times (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    from_plant_id BIGINT NOT NULL,
    to_plant_id BIGINT NOT NULL,
    minutes BIGINT NOT NULL
);
CREATE UNIQUE INDEX travel_times_current ON travel_times (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX travel_times_rows ON travel_times (id, known_from);

-- What a kind of work takes: time, people, kit, stock.
CREATE TABLE work_templates (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    order_kind TEXT NOT NULL,
    form TEXT NOT NULL,
    bond TEXT NOT NULL,
    duration_min BIGINT NOT NULL,
    crew TEXT,
    kit TEXT,
    stock TEXT,
    isolation BOOLEAN NOT NULL,
    class TEXT NOT NULL,
    source TEXT NOT NULL
);
CREATE UNIQUE INDEX work_templates_current ON work_templates (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX work_templates_rows ON work_templates (id, known_from);
