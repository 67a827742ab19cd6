-- 0005 orders (sqlite)
--
-- What raises work, what was raised, and how far each rule was looked at.

-- +goose Up

CREATE TABLE rules (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    plant_id BIGINT NOT NULL,
    name TEXT NOT NULL,
    "scope" TEXT,
    "trigger" TEXT,
    template TEXT,
    class TEXT NOT NULL,
    source TEXT NOT NULL,
    saved_by BIGINT NOT NULL,
    starts_at BIGINT NOT NULL,
    "off" BOOLEAN NOT NULL,
    edit_version BIGINT NOT NULL
);
CREATE UNIQUE INDEX rules_current ON rules (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX rules_rows ON rules (id, known_from);
CREATE INDEX rules_plant ON rules (plant_id) WHERE known_to IS NULL AND valid_to IS NULL;

CREATE TABLE occurrences (
    id INTEGER PRIMARY KEY,
    plant_id BIGINT NOT NULL,
    rule_id BIGINT NOT NULL,
    target_kind TEXT NOT NULL,
    target_id BIGINT NOT NULL,
    cycle TEXT NOT NULL,
    withdrawal_no BIGINT NOT NULL,
    due_at BIGINT NOT NULL,
    due_day TEXT NOT NULL,
    planned_local TEXT NOT NULL,
    raised_at BIGINT NOT NULL,
    order_id BIGINT NOT NULL,
    joined BOOLEAN NOT NULL,
    why TEXT NOT NULL,
    "values" TEXT NOT NULL,
    not_before TEXT NOT NULL,
    known_from BIGINT NOT NULL
);
-- this index raises each once
CREATE UNIQUE INDEX occurrences_key ON occurrences (rule_id, target_kind, target_id, cycle, withdrawal_no);
CREATE INDEX occurrences_plant ON occurrences (plant_id, raised_at);
CREATE INDEX occurrences_orders ON occurrences (order_id);

CREATE TABLE rule_progress (
    rule_id BIGINT NOT NULL,
    plant_id BIGINT NOT NULL,
    through BIGINT NOT NULL,
    PRIMARY KEY (rule_id, plant_id)
);

CREATE TABLE orders (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    number BIGINT NOT NULL,
    kind TEXT NOT NULL,
    state TEXT NOT NULL,
    conveyor_id BIGINT NOT NULL,
    belt_id BIGINT NOT NULL,
    splice_id BIGINT NOT NULL,
    title TEXT NOT NULL,
    reason TEXT NOT NULL,
    rule_id BIGINT NOT NULL,
    finding_id BIGINT NOT NULL,
    latest_day TEXT NOT NULL,
    put_off_by BIGINT NOT NULL,
    put_off_why TEXT NOT NULL,
    work_hours REAL NOT NULL,
    crew BIGINT NOT NULL,
    window_id BIGINT NOT NULL,
    placed_people TEXT,
    placed_kit TEXT NOT NULL,
    raised_at BIGINT NOT NULL,
    raised_by BIGINT NOT NULL,
    accepted_at BIGINT NOT NULL,
    accepted_by BIGINT NOT NULL,
    placed_at BIGINT NOT NULL,
    placed_by BIGINT NOT NULL,
    started_at BIGINT NOT NULL,
    started_by BIGINT NOT NULL,
    done_at BIGINT NOT NULL,
    done_by BIGINT NOT NULL,
    done_hours REAL NOT NULL,
    done_note TEXT NOT NULL,
    signed_at BIGINT NOT NULL,
    signed_by BIGINT NOT NULL,
    withdrawn_at BIGINT NOT NULL,
    withdrawn_by BIGINT NOT NULL,
    withdrawn_why TEXT NOT NULL,
    in_error BOOLEAN NOT NULL,
    holds_until TEXT NOT NULL,
    edit_version BIGINT NOT NULL
);
CREATE UNIQUE INDEX orders_current ON orders (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX orders_rows ON orders (id, known_from);
CREATE UNIQUE INDEX orders_number ON orders (plant_id, number) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX orders_said ON orders (number) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX orders_state ON orders (plant_id, state, latest_day) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX orders_conveyor ON orders (conveyor_id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX orders_due ON orders (state, latest_day) WHERE known_to IS NULL AND valid_to IS NULL;

CREATE TABLE order_events (
    id INTEGER PRIMARY KEY,
    plant_id BIGINT NOT NULL,
    order_id BIGINT NOT NULL,
    "what" TEXT NOT NULL,
    at BIGINT NOT NULL,
    entered_at BIGINT NOT NULL,
    person_id BIGINT NOT NULL,
    "before" TEXT NOT NULL,
    "after" TEXT NOT NULL,
    why TEXT NOT NULL,
    known_from BIGINT NOT NULL
);
CREATE INDEX order_events_order ON order_events (order_id, id);
CREATE INDEX order_events_plant ON order_events (plant_id, entered_at);

CREATE TABLE job_runs (
    id INTEGER PRIMARY KEY,
    job TEXT NOT NULL,
    due_at BIGINT NOT NULL,
    started_at BIGINT NOT NULL,
    ended_at BIGINT NOT NULL,
    plants BIGINT NOT NULL,
    raised BIGINT NOT NULL,
    joined BIGINT NOT NULL,
    reminders BIGINT NOT NULL,
    error TEXT NOT NULL
);
CREATE UNIQUE INDEX job_runs_job ON job_runs (job, due_at);
