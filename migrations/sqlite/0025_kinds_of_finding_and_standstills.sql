-- 0025 kinds_of_finding_and_standstills (sqlite)
--
-- Kinds of finding with what each grade means, which a lead edits; standstills that nobody planned, with their two times.

-- +goose Up

CREATE TABLE finding_kinds (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    name TEXT NOT NULL,
    name_key TEXT NOT NULL,
    grade_words TEXT,
    quantity TEXT NOT NULL,
    left_out BOOLEAN NOT NULL
);
CREATE UNIQUE INDEX finding_kinds_current ON finding_kinds (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX finding_kinds_rows ON finding_kinds (id, known_from);
CREATE UNIQUE INDEX finding_kinds_name ON finding_kinds (name_key) WHERE known_to IS NULL AND valid_to IS NULL;

-- until_at NULL: it still stands. splice_id 0: no splice let go
CREATE TABLE standstills (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    conveyor_id BIGINT NOT NULL,
    from_at BIGINT NOT NULL,
    until_at BIGINT,
    cause TEXT NOT NULL,
    splice_id BIGINT NOT NULL,
    order_id BIGINT NOT NULL,
    worked_h REAL,
    left_out BOOLEAN NOT NULL,
    text TEXT NOT NULL,
    client_id TEXT NOT NULL,
    entered_by BIGINT NOT NULL
);
CREATE UNIQUE INDEX standstills_current ON standstills (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX standstills_rows ON standstills (id, known_from);
CREATE INDEX standstills_plant ON standstills (plant_id, from_at);
