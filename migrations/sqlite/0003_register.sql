-- 0003 register (sqlite)
--
-- What runs at the plants: conveyors, belts, splices, what was found at them, and the catalogues behind.

-- +goose Up

CREATE TABLE specifications (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    name TEXT NOT NULL,
    name_key TEXT NOT NULL,
    family TEXT NOT NULL,
    carcass TEXT NOT NULL,
    plies BIGINT NOT NULL,
    guide_profile TEXT NOT NULL,
    splice_kinds TEXT,
    "values" TEXT,
    remark TEXT NOT NULL
);
CREATE UNIQUE INDEX specifications_current ON specifications (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX specifications_rows ON specifications (id, known_from);
CREATE UNIQUE INDEX specifications_name ON specifications (name_key) WHERE known_to IS NULL AND valid_to IS NULL;

CREATE TABLE splice_kinds (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    form TEXT NOT NULL,
    bond TEXT NOT NULL,
    "values" TEXT,
    remark TEXT NOT NULL
);
CREATE UNIQUE INDEX splice_kinds_current ON splice_kinds (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX splice_kinds_rows ON splice_kinds (id, known_from);
CREATE UNIQUE INDEX splice_kinds_kind ON splice_kinds (form, bond) WHERE known_to IS NULL AND valid_to IS NULL;

CREATE TABLE conveyors (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    line_id BIGINT NOT NULL,
    tag TEXT NOT NULL,
    tag_key TEXT NOT NULL,
    name TEXT NOT NULL,
    other_names TEXT,
    "position" BIGINT NOT NULL,
    speed_mps REAL NOT NULL,
    speed_max_mps REAL NOT NULL,
    product TEXT NOT NULL,
    product_c REAL,
    wash_down BOOLEAN NOT NULL,
    abrasive BOOLEAN NOT NULL,
    outdoor BOOLEAN NOT NULL,
    centre_distance_m REAL NOT NULL,
    incline_deg REAL NOT NULL,
    take_up_travel_m REAL NOT NULL,
    take_up_kind TEXT NOT NULL,
    pulleys TEXT,
    stop_cost_per_hour REAL NOT NULL,
    isolation_group TEXT NOT NULL,
    access_note TEXT NOT NULL,
    status TEXT NOT NULL,
    retired_at BIGINT NOT NULL,
    retired_earliest TEXT NOT NULL,
    retired_latest TEXT NOT NULL,
    retired_as_written TEXT NOT NULL,
    retired_timed BOOLEAN NOT NULL,
    remark TEXT NOT NULL
);
CREATE UNIQUE INDEX conveyors_current ON conveyors (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX conveyors_rows ON conveyors (id, known_from);
CREATE INDEX conveyors_plant ON conveyors (plant_id);
CREATE UNIQUE INDEX conveyors_tag ON conveyors (plant_id, tag_key) WHERE known_to IS NULL AND valid_to IS NULL;
-- what a search reads: whole in the index, so that a look through the fleet touches no row
CREATE INDEX conveyors_search ON conveyors (tag_key, name, other_names, plant_id, id, tag, known_to, valid_to) WHERE known_to IS NULL AND valid_to IS NULL;

CREATE TABLE belts (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    conveyor_id BIGINT NOT NULL,
    specification_id BIGINT NOT NULL,
    specification TEXT NOT NULL,
    width_m REAL NOT NULL,
    loop_length_m REAL NOT NULL,
    thickness_m REAL NOT NULL,
    working_tension_n_per_m REAL NOT NULL,
    roll_number TEXT NOT NULL,
    fitted_at BIGINT NOT NULL,
    fitted_earliest TEXT NOT NULL,
    fitted_latest TEXT NOT NULL,
    fitted_as_written TEXT NOT NULL,
    fitted_timed BOOLEAN NOT NULL,
    fitted_by_id BIGINT NOT NULL,
    removed BIGINT,
    removed_at BIGINT NOT NULL,
    removed_earliest TEXT NOT NULL,
    removed_latest TEXT NOT NULL,
    removed_as_written TEXT NOT NULL,
    removed_timed BOOLEAN NOT NULL,
    removed_why TEXT NOT NULL,
    take_up_used_m REAL,
    remark TEXT NOT NULL,
    as_typed TEXT
);
CREATE UNIQUE INDEX belts_current ON belts (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX belts_rows ON belts (id, known_from);
CREATE INDEX belts_plant ON belts (plant_id);
CREATE INDEX belts_fitted ON belts (plant_id) WHERE known_to IS NULL AND valid_to IS NULL AND removed IS NULL;
CREATE INDEX belts_conveyor ON belts (conveyor_id);
-- one belt at a time
CREATE UNIQUE INDEX belts_one ON belts (conveyor_id) WHERE known_to IS NULL AND valid_to IS NULL AND removed IS NULL;

CREATE TABLE splices (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    conveyor_id BIGINT NOT NULL,
    belt_id BIGINT NOT NULL,
    number TEXT NOT NULL,
    position_m REAL,
    form TEXT NOT NULL,
    bond TEXT NOT NULL,
    kind_written TEXT NOT NULL,
    finger_pitch_m REAL NOT NULL,
    finger_length_m REAL NOT NULL,
    step_length_m REAL NOT NULL,
    steps BIGINT NOT NULL,
    bias_angle_deg REAL NOT NULL,
    made_at BIGINT NOT NULL,
    made_earliest TEXT NOT NULL,
    made_latest TEXT NOT NULL,
    made_as_written TEXT NOT NULL,
    made_timed BOOLEAN NOT NULL,
    made_by_id BIGINT NOT NULL,
    made_order_id BIGINT NOT NULL,
    made_with TEXT NOT NULL,
    ended BIGINT,
    retired_at BIGINT NOT NULL,
    retired_earliest TEXT NOT NULL,
    retired_latest TEXT NOT NULL,
    retired_as_written TEXT NOT NULL,
    retired_timed BOOLEAN NOT NULL,
    retired_why TEXT NOT NULL,
    failure_mode TEXT NOT NULL,
    retired_order_id BIGINT NOT NULL,
    remark TEXT NOT NULL,
    as_typed TEXT
);
CREATE UNIQUE INDEX splices_current ON splices (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX splices_rows ON splices (id, known_from);
CREATE INDEX splices_plant ON splices (plant_id, made_at);
CREATE INDEX splices_live ON splices (plant_id) WHERE known_to IS NULL AND valid_to IS NULL AND ended IS NULL;
CREATE INDEX splices_conveyor ON splices (conveyor_id);
CREATE INDEX splices_belt ON splices (belt_id);
-- a mark stands once on a belt
CREATE UNIQUE INDEX splices_mark ON splices (belt_id, number) WHERE known_to IS NULL AND valid_to IS NULL AND ended IS NULL AND number <> '';

CREATE TABLE findings (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    conveyor_id BIGINT NOT NULL,
    belt_id BIGINT NOT NULL,
    splice_id BIGINT NOT NULL,
    target TEXT NOT NULL,
    found_at BIGINT NOT NULL,
    found_day TEXT NOT NULL,
    category TEXT NOT NULL,
    grade BIGINT,
    "text" TEXT NOT NULL,
    quantity TEXT NOT NULL,
    measurement REAL,
    measurement_unit TEXT NOT NULL,
    running BOOLEAN,
    found_by_id BIGINT NOT NULL,
    client_id TEXT NOT NULL,
    follow_up_order_id BIGINT NOT NULL,
    refused_by BIGINT NOT NULL,
    refused_why TEXT NOT NULL,
    remark TEXT NOT NULL
);
CREATE UNIQUE INDEX findings_current ON findings (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX findings_rows ON findings (id, known_from);
CREATE INDEX findings_plant ON findings (plant_id, found_at);
CREATE INDEX findings_conveyor ON findings (conveyor_id, found_at);
CREATE INDEX findings_splice ON findings (splice_id, found_at) WHERE splice_id <> 0;
-- sent twice is one finding
CREATE UNIQUE INDEX findings_client ON findings (client_id) WHERE known_to IS NULL AND valid_to IS NULL AND client_id <> '';
