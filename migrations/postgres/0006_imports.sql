-- 0006 imports (postgres)
--
-- Lists brought in, and how their headings were read.

-- +goose Up

CREATE TABLE imports (
    id BIGINT PRIMARY KEY,
    plant_id BIGINT NOT NULL,
    customer_id BIGINT NOT NULL,
    file_name TEXT COLLATE "C" NOT NULL,
    sha256 TEXT COLLATE "C" NOT NULL,
    at BIGINT NOT NULL,
    by_id BIGINT NOT NULL,
    mapping TEXT COLLATE "C",
    counts TEXT COLLATE "C",
    refused TEXT COLLATE "C",
    known_from BIGINT NOT NULL
);
CREATE INDEX imports_file ON imports (sha256);

CREATE TABLE import_mappings (
    id BIGINT PRIMARY KEY,
    customer_id BIGINT NOT NULL,
    name TEXT COLLATE "C" NOT NULL,
    mapping TEXT COLLATE "C" NOT NULL,
    saved_at BIGINT NOT NULL,
    saved_by BIGINT NOT NULL
);
CREATE UNIQUE INDEX import_mappings_name ON import_mappings (customer_id, name);
