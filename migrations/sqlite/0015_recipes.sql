-- 0015 recipes (sqlite)
--
-- How splices are pressed, and how each one was. A recipe's editions are rows of their own times; a press record names the edition
-- it was judged by and keeps the judgement as it was told then.

-- +goose Up

CREATE TABLE recipes (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    name TEXT NOT NULL,
    name_key TEXT NOT NULL,
    form TEXT NOT NULL,
    bond TEXT NOT NULL,
    specifications TEXT,
    thinnest_m REAL,
    thickest_m REAL,
    "values" TEXT,
    edition BIGINT NOT NULL,
    changed TEXT NOT NULL,
    saved_by BIGINT NOT NULL,
    saved_at BIGINT NOT NULL,
    withdrawn BOOLEAN NOT NULL
);
CREATE UNIQUE INDEX recipes_current ON recipes (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX recipes_rows ON recipes (id, known_from);
CREATE UNIQUE INDEX recipes_edition ON recipes (id, edition) WHERE known_to IS NULL;

CREATE TABLE press_records (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    splice_id BIGINT NOT NULL,
    order_id BIGINT NOT NULL,
    recipe_id BIGINT NOT NULL,
    edition BIGINT NOT NULL,
    press TEXT NOT NULL,
    pressed_at BIGINT NOT NULL,
    attachment_id BIGINT NOT NULL,
    cycle BIGINT NOT NULL,
    figures TEXT,
    notices TEXT,
    verdict TEXT NOT NULL,
    reason TEXT NOT NULL,
    reason_by BIGINT NOT NULL,
    follow_up_id BIGINT NOT NULL,
    recorded_by BIGINT NOT NULL,
    recorded_at BIGINT NOT NULL,
    withdrawn BOOLEAN NOT NULL
);
CREATE UNIQUE INDEX press_records_current ON press_records (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX press_records_rows ON press_records (id, known_from);
CREATE INDEX press_records_splice ON press_records (splice_id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX press_records_recipe ON press_records (recipe_id, edition) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX press_records_plant ON press_records (plant_id);
