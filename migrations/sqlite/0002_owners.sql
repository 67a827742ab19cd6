-- 0002 owners (sqlite)
--
-- The owner's side: company, customers, contracts, plants and the people named in them.

-- +goose Up

CREATE TABLE companies (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    name TEXT NOT NULL,
    zone TEXT NOT NULL,
    currency TEXT NOT NULL,
    unit_system TEXT NOT NULL
);
CREATE UNIQUE INDEX companies_current ON companies (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX companies_rows ON companies (id, known_from);

CREATE TABLE customers (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    name TEXT NOT NULL,
    name_key TEXT NOT NULL,
    remark TEXT NOT NULL
);
CREATE UNIQUE INDEX customers_current ON customers (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX customers_rows ON customers (id, known_from);
CREATE UNIQUE INDEX customers_name ON customers (name_key) WHERE known_to IS NULL AND valid_to IS NULL;

CREATE TABLE contracts (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    number TEXT NOT NULL,
    from_day TEXT NOT NULL,
    until_day TEXT NOT NULL,
    plant_ids TEXT,
    inspection_rounds TEXT NOT NULL,
    response_hours REAL NOT NULL,
    remark TEXT NOT NULL
);
CREATE UNIQUE INDEX contracts_current ON contracts (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX contracts_rows ON contracts (id, known_from);
CREATE INDEX contracts_customer ON contracts (customer_id) WHERE known_to IS NULL AND valid_to IS NULL;

CREATE TABLE plants (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    customer_id BIGINT NOT NULL,
    name TEXT NOT NULL,
    name_key TEXT NOT NULL,
    zone TEXT NOT NULL,
    unit_system TEXT NOT NULL,
    currency TEXT NOT NULL,
    site_rules TEXT NOT NULL,
    access_hours TEXT NOT NULL,
    visitor_needs TEXT NOT NULL,
    settings_asked BOOLEAN NOT NULL,
    remark TEXT NOT NULL
);
CREATE UNIQUE INDEX plants_current ON plants (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX plants_rows ON plants (id, known_from);
CREATE INDEX plants_customer ON plants (customer_id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX plants_name ON plants (name_key) WHERE known_to IS NULL AND valid_to IS NULL;

CREATE TABLE contacts (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    person_id BIGINT NOT NULL,
    duty TEXT NOT NULL,
    phone TEXT NOT NULL,
    email TEXT NOT NULL
);
CREATE UNIQUE INDEX contacts_current ON contacts (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX contacts_rows ON contacts (id, known_from);
CREATE INDEX contacts_plant ON contacts (plant_id);

CREATE TABLE lines (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    name TEXT NOT NULL,
    name_key TEXT NOT NULL,
    "position" BIGINT NOT NULL
);
CREATE UNIQUE INDEX lines_current ON lines (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX lines_rows ON lines (id, known_from);
CREATE INDEX lines_plant ON lines (plant_id);
CREATE UNIQUE INDEX lines_name ON lines (plant_id, name_key) WHERE known_to IS NULL AND valid_to IS NULL;

CREATE TABLE people (
    id INTEGER PRIMARY KEY,
    customer_id BIGINT NOT NULL,
    name TEXT NOT NULL,
    name_key TEXT NOT NULL,
    role TEXT NOT NULL,
    known_from BIGINT NOT NULL
);
CREATE UNIQUE INDEX people_name ON people (name_key, customer_id);

CREATE TABLE grants (
    id INTEGER PRIMARY KEY,
    person_id BIGINT NOT NULL,
    role TEXT NOT NULL,
    customer_id BIGINT NOT NULL,
    plant_id BIGINT NOT NULL,
    known_from BIGINT NOT NULL,
    known_to BIGINT
);
CREATE INDEX grants_person ON grants (person_id);
