-- 0021 rounds (sqlite)
--
-- Rounds along lines of a plant; how findings came in from phones, by which clock; the phones themselves.

-- +goose Up

CREATE TABLE rounds (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    name TEXT NOT NULL,
    line_ids TEXT,
    remark TEXT NOT NULL
);
CREATE UNIQUE INDEX rounds_current ON rounds (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX rounds_rows ON rounds (id, known_from);
CREATE INDEX rounds_plant ON rounds (plant_id);

CREATE TABLE round_entries (
    id INTEGER PRIMARY KEY,
    plant_id BIGINT NOT NULL,
    round_id BIGINT NOT NULL,
    finding_id BIGINT NOT NULL,
    client_id TEXT NOT NULL,
    revision BIGINT NOT NULL,
    person_id BIGINT NOT NULL,
    device_id BIGINT NOT NULL,
    device_at BIGINT NOT NULL,
    offset_us BIGINT,
    sent_offset_us BIGINT NOT NULL,
    arrived_at BIGINT NOT NULL,
    clock TEXT NOT NULL,
    clock_by BIGINT NOT NULL,
    called_who TEXT NOT NULL,
    called_at BIGINT,
    answered_by BIGINT NOT NULL,
    answered_at BIGINT,
    known_from BIGINT NOT NULL
);
-- this index takes each entry once, however often and from wherever it is sent
CREATE UNIQUE INDEX round_entries_client ON round_entries (plant_id, client_id, revision);
CREATE INDEX round_entries_finding ON round_entries (finding_id);

CREATE TABLE devices (
    id INTEGER PRIMARY KEY,
    client_id TEXT NOT NULL,
    person_id BIGINT NOT NULL,
    name TEXT NOT NULL,
    added_at BIGINT NOT NULL,
    ended_at BIGINT,
    ended_by BIGINT NOT NULL,
    known_from BIGINT NOT NULL
);
CREATE UNIQUE INDEX devices_client ON devices (client_id);
CREATE INDEX devices_person ON devices (person_id);

-- when a phone was heard of last and how far its clock was off: bookkeeping, no fact
CREATE TABLE device_contacts (
    device_id INTEGER PRIMARY KEY,
    at BIGINT NOT NULL,
    offset_us BIGINT NOT NULL
);
