-- 0017 job_sheets (sqlite)
--
-- Steps and checks of the work at the conveyor: templates that a lead edits, the sheet of an order, and what was noted at each step.

-- +goose Up

CREATE TABLE job_templates (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    order_kind TEXT NOT NULL,
    form TEXT NOT NULL,
    bond TEXT NOT NULL,
    steps TEXT,
    edition BIGINT NOT NULL,
    changed TEXT NOT NULL,
    saved_by BIGINT NOT NULL,
    saved_at BIGINT NOT NULL
);
CREATE UNIQUE INDEX job_templates_current ON job_templates (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX job_templates_rows ON job_templates (id, known_from);
CREATE UNIQUE INDEX job_templates_of ON job_templates (order_kind, form, bond) WHERE known_to IS NULL AND valid_to IS NULL;

CREATE TABLE job_sheets (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    order_id BIGINT NOT NULL,
    template_id BIGINT NOT NULL,
    edition BIGINT NOT NULL,
    isolation TEXT NOT NULL,
    permit TEXT NOT NULL,
    steps TEXT
);
CREATE UNIQUE INDEX job_sheets_current ON job_sheets (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX job_sheets_rows ON job_sheets (id, known_from);
CREATE UNIQUE INDEX job_sheets_order ON job_sheets (order_id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX job_sheets_plant ON job_sheets (plant_id);

CREATE TABLE job_entries (
    id INTEGER PRIMARY KEY,
    plant_id BIGINT NOT NULL,
    order_id BIGINT NOT NULL,
    step_key TEXT NOT NULL,
    state TEXT NOT NULL,
    value REAL,
    note TEXT NOT NULL,
    person_id BIGINT NOT NULL,
    at BIGINT NOT NULL,
    entered_at BIGINT NOT NULL,
    client_id TEXT NOT NULL,
    known_from BIGINT NOT NULL
);
-- this index takes each entry once, however often it is sent
CREATE UNIQUE INDEX job_entries_client ON job_entries (plant_id, client_id);
CREATE INDEX job_entries_order ON job_entries (order_id, id);
