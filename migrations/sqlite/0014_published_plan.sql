-- 0014 published_plan (sqlite)
--
-- Where in its stop an order is placed: from when, who works as what, with which kit, and whether a plan may move it. Orders placed
-- before have the stop and the people alone. What a person published as a plan, plant by plant; and what a planner has moved
-- and not published, which is no fact and stands outside the journal.

-- +goose Up

ALTER TABLE orders ADD COLUMN placed_start BIGINT;
ALTER TABLE orders ADD COLUMN placed_crew TEXT;
ALTER TABLE orders ADD COLUMN placed_tools TEXT;
ALTER TABLE orders ADD COLUMN locked BOOLEAN;

CREATE TABLE plans (
    id BIGINT PRIMARY KEY,
    plant_id BIGINT NOT NULL,
    with_id BIGINT NOT NULL,
    published_at BIGINT NOT NULL,
    published_by BIGINT NOT NULL,
    base BIGINT NOT NULL,
    cost BIGINT NOT NULL,
    bound BIGINT NOT NULL,
    seed BIGINT NOT NULL,
    steps BIGINT NOT NULL,
    case_digest TEXT NOT NULL,
    changes TEXT,
    known_from BIGINT NOT NULL
);
CREATE INDEX plans_plant ON plans (plant_id, published_at);

CREATE TABLE plan_drafts (
    id BIGINT PRIMARY KEY,
    person_id BIGINT NOT NULL,
    plant_id BIGINT NOT NULL,
    at BIGINT NOT NULL,
    moves TEXT
);
CREATE UNIQUE INDEX plan_drafts_of ON plan_drafts (person_id, plant_id);
