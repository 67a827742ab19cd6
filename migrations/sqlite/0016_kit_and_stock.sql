-- 0016 kit_and_stock (sqlite)
--
-- What crews work with and bring back, with the wear of it; what they use up, as a ledger of lots.

-- +goose Up

-- Presses, cutters, templates, thermometers, gauges. customer_id: whose it is (0 the service company); home_plant_id 0 is the depot.
CREATE TABLE kit (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    home_plant_id BIGINT NOT NULL,
    name TEXT NOT NULL,
    name_key TEXT NOT NULL,
    class TEXT NOT NULL,
    goes_with_id BIGINT NOT NULL,
    serial TEXT NOT NULL,
    working_width_m REAL NOT NULL,
    max_temperature_c REAL NOT NULL,
    mobile BOOLEAN NOT NULL,
    hired_from TEXT NOT NULL,
    in_use_from_day TEXT NOT NULL,
    in_use_until_day TEXT NOT NULL,
    remark TEXT NOT NULL
);
CREATE UNIQUE INDEX kit_current ON kit (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX kit_rows ON kit (id, known_from);
CREATE INDEX kit_owner ON kit (customer_id);

-- When kit is not to be had, and why.
CREATE TABLE kit_aways (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    kit_id BIGINT NOT NULL,
    from_at BIGINT NOT NULL,
    to_at BIGINT NOT NULL,
    why TEXT NOT NULL,
    where_words TEXT NOT NULL,
    cancelled BOOLEAN NOT NULL
);
CREATE UNIQUE INDEX kit_aways_current ON kit_aways (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX kit_aways_rows ON kit_aways (id, known_from);
CREATE INDEX kit_aways_kit ON kit_aways (kit_id) WHERE known_to IS NULL AND valid_to IS NULL;

-- Counters of wear with their limits; a new part gets new ones.
CREATE TABLE kit_counters (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    kit_id BIGINT NOT NULL,
    counts TEXT NOT NULL,
    part TEXT NOT NULL,
    in_use BOOLEAN NOT NULL,
    wear_limit REAL NOT NULL,
    per_job REAL NOT NULL,
    class TEXT NOT NULL,
    source TEXT NOT NULL,
    fitted_at BIGINT NOT NULL,
    ended_at BIGINT NOT NULL,
    ended_why TEXT NOT NULL
);
CREATE UNIQUE INDEX kit_counters_current ON kit_counters (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX kit_counters_rows ON kit_counters (id, known_from);
CREATE INDEX kit_counters_kit ON kit_counters (kit_id) WHERE known_to IS NULL AND valid_to IS NULL;

-- What moved a counter: a signed job, or a person with a reason. Never changed.
CREATE TABLE kit_counts (
    id INTEGER PRIMARY KEY,
    customer_id BIGINT NOT NULL,
    kit_id BIGINT NOT NULL,
    counter_id BIGINT NOT NULL,
    quantity REAL NOT NULL,
    at BIGINT NOT NULL,
    entered_at BIGINT NOT NULL,
    order_id BIGINT NOT NULL,
    person_id BIGINT NOT NULL,
    reason TEXT NOT NULL,
    known_from BIGINT NOT NULL
);
CREATE INDEX kit_counts_counter ON kit_counts (counter_id);
CREATE INDEX kit_counts_order ON kit_counts (order_id);

-- Calibrations with the day the next is due.
CREATE TABLE calibrations (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    kit_id BIGINT NOT NULL,
    on_day TEXT NOT NULL,
    due_day TEXT NOT NULL,
    certificate TEXT NOT NULL,
    attachment_id BIGINT NOT NULL,
    class TEXT NOT NULL,
    source TEXT NOT NULL,
    withdrawn BOOLEAN NOT NULL,
    withdrawn_why TEXT NOT NULL,
    calibrated_for TEXT NOT NULL
);
CREATE UNIQUE INDEX calibrations_current ON calibrations (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX calibrations_rows ON calibrations (id, known_from);
CREATE INDEX calibrations_kit ON calibrations (kit_id) WHERE known_to IS NULL AND valid_to IS NULL;

-- What is kept in stock, in its own unit. Quantities of stock are whole thousandths of it.
CREATE TABLE stock_items (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    name TEXT NOT NULL,
    name_key TEXT NOT NULL,
    kind TEXT NOT NULL,
    unit TEXT NOT NULL,
    critical BOOLEAN NOT NULL,
    shelf_life_days BIGINT NOT NULL,
    lead_time_days BIGINT NOT NULL,
    service_level REAL NOT NULL,
    pack_quantity BIGINT NOT NULL,
    specification_id BIGINT NOT NULL,
    width_m REAL NOT NULL,
    mass_kg_per_unit REAL NOT NULL,
    cost_per_unit REAL NOT NULL,
    class TEXT NOT NULL,
    source TEXT NOT NULL,
    remark TEXT NOT NULL,
    ended BOOLEAN NOT NULL
);
CREATE UNIQUE INDEX stock_items_current ON stock_items (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX stock_items_rows ON stock_items (id, known_from);
CREATE INDEX stock_items_owner ON stock_items (customer_id);

-- What came together and ages together, in one place. plant_id 0 is the depot of customer_id (0 the service company).
CREATE TABLE stock_lots (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    plant_id BIGINT NOT NULL,
    item_id BIGINT NOT NULL,
    lot TEXT NOT NULL,
    good_until TEXT NOT NULL,
    opened_day TEXT NOT NULL,
    shelf TEXT NOT NULL,
    width_m REAL NOT NULL,
    cut_from_id BIGINT NOT NULL,
    quarantined TEXT NOT NULL
);
CREATE UNIQUE INDEX stock_lots_current ON stock_lots (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX stock_lots_rows ON stock_lots (id, known_from);
CREATE INDEX stock_lots_place ON stock_lots (plant_id, item_id);

-- The ledger: lines are added, never changed. What is on hand of a lot is the sum of its lines.
CREATE TABLE stock_movements (
    id INTEGER PRIMARY KEY,
    customer_id BIGINT NOT NULL,
    plant_id BIGINT NOT NULL,
    item_id BIGINT NOT NULL,
    lot_id BIGINT NOT NULL,
    quantity BIGINT NOT NULL,
    why TEXT NOT NULL,
    posting_id BIGINT NOT NULL,
    at BIGINT NOT NULL,
    entered_at BIGINT NOT NULL,
    order_id BIGINT NOT NULL,
    supply_id BIGINT NOT NULL,
    person_id BIGINT NOT NULL,
    reason TEXT NOT NULL,
    known_from BIGINT NOT NULL
);
CREATE INDEX stock_movements_lot ON stock_movements (lot_id);
CREATE INDEX stock_movements_place ON stock_movements (plant_id, at);
CREATE INDEX stock_movements_order ON stock_movements (order_id);

-- How an item is kept at a place, where that differs from the item's own figures.
CREATE TABLE stock_policies (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    plant_id BIGINT NOT NULL,
    item_id BIGINT NOT NULL,
    lead_time_days BIGINT NOT NULL,
    service_level REAL NOT NULL,
    fixed_point BIGINT NOT NULL,
    spare BIGINT NOT NULL,
    class TEXT NOT NULL,
    source TEXT NOT NULL,
    ended BOOLEAN NOT NULL
);
CREATE UNIQUE INDEX stock_policies_current ON stock_policies (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX stock_policies_rows ON stock_policies (id, known_from);
CREATE UNIQUE INDEX stock_policies_place ON stock_policies (customer_id, plant_id, item_id) WHERE known_to IS NULL AND valid_to IS NULL;

-- Orders to suppliers, each for one place.
CREATE TABLE supply_orders (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    plant_id BIGINT NOT NULL,
    item_id BIGINT NOT NULL,
    number BIGINT NOT NULL,
    quantity BIGINT NOT NULL,
    received BIGINT NOT NULL,
    state TEXT NOT NULL,
    ordered_day TEXT NOT NULL,
    expected_day TEXT NOT NULL,
    supplier TEXT NOT NULL,
    reference TEXT NOT NULL,
    remark TEXT NOT NULL,
    asked_by BIGINT NOT NULL
);
CREATE UNIQUE INDEX supply_orders_current ON supply_orders (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX supply_orders_rows ON supply_orders (id, known_from);
CREATE INDEX supply_orders_place ON supply_orders (plant_id, state) WHERE known_to IS NULL AND valid_to IS NULL;
