-- 0006 imports (sqlite)
--
-- Lists brought in, and how their headings were read.

-- +goose Up

CREATE TABLE imports (
    id INTEGER PRIMARY KEY,
    plant_id BIGINT NOT NULL,
    customer_id BIGINT NOT NULL,
    file_name TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    at BIGINT NOT NULL,
    by_id BIGINT NOT NULL,
    mapping TEXT,
    counts TEXT,
    refused TEXT,
    known_from BIGINT NOT NULL
);
CREATE INDEX imports_file ON imports (sha256);

CREATE TABLE import_mappings (
    id INTEGER PRIMARY KEY,
    customer_id BIGINT NOT NULL,
    name TEXT NOT NULL,
    mapping TEXT NOT NULL,
    saved_at BIGINT NOT NULL,
    saved_by BIGINT NOT NULL
);
CREATE UNIQUE INDEX import_mappings_name ON import_mappings (customer_id, name);
