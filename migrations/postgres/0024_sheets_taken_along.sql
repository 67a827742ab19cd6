-- 0024 sheets_taken_along (postgres)
--
-- Job sheets noted on a device without a network: by whose device an entry came and at what time by its clock; signatures as they came in, and the
-- numbers people sign with on a device that several use. Entries from before keep NULL: they were made on a screen.

-- +goose Up

ALTER TABLE job_entries ADD COLUMN device_id BIGINT;
ALTER TABLE job_entries ADD COLUMN device_at BIGINT;
ALTER TABLE job_entries ADD COLUMN offset_us BIGINT;
ALTER TABLE job_entries ADD COLUMN sent_offset_us BIGINT;
CREATE INDEX job_entries_device ON job_entries (plant_id, device_id);

CREATE TABLE job_signatures (
    id BIGINT PRIMARY KEY,
    plant_id BIGINT NOT NULL,
    order_id BIGINT NOT NULL,
    client_id TEXT NOT NULL,
    person_id BIGINT NOT NULL,
    sent_by BIGINT NOT NULL,
    device_id BIGINT NOT NULL,
    device_at BIGINT NOT NULL,
    offset_us BIGINT,
    sent_offset_us BIGINT NOT NULL,
    arrived_at BIGINT NOT NULL,
    began_at BIGINT NOT NULL,
    done_at BIGINT NOT NULL,
    hours DOUBLE PRECISION NOT NULL,
    note TEXT NOT NULL,
    made TEXT,
    counted TEXT,
    number_right BOOLEAN NOT NULL,
    state TEXT NOT NULL,
    why TEXT NOT NULL,
    decided_by BIGINT NOT NULL,
    decided_at BIGINT,
    decided_why TEXT NOT NULL,
    known_from BIGINT NOT NULL
);
-- this index takes each signature once, however often it is sent
CREATE UNIQUE INDEX job_signatures_client ON job_signatures (plant_id, client_id);
CREATE INDEX job_signatures_waiting ON job_signatures (plant_id, state);
CREATE INDEX job_signatures_order ON job_signatures (order_id);

CREATE TABLE person_pins (
    id BIGINT PRIMARY KEY,
    person_id BIGINT NOT NULL,
    pin_hash TEXT NOT NULL,
    made_at BIGINT NOT NULL,
    known_from BIGINT NOT NULL,
    known_to BIGINT
);
CREATE UNIQUE INDEX person_pins_current ON person_pins (person_id) WHERE known_to IS NULL;
