-- 0010 issued_reports (sqlite)
--
-- Reports as they were given out: what they rest on, their digest and their very bytes, so that a file that comes back
-- can be proved and built again. Reports of before are not kept.

-- +goose Up

-- customer_id is whose chain journals it, 0: the company's; plant_id 0: of several plants. made_by_id is the person;
-- made_by says who it was where that is no person (an operator's command). proof is the proof file without names
-- of people.
CREATE TABLE issued_reports (
    id BIGINT PRIMARY KEY,
    known_from BIGINT NOT NULL,
    customer_id BIGINT NOT NULL,
    plant_id BIGINT NOT NULL,
    slug TEXT NOT NULL,
    title TEXT NOT NULL,
    form TEXT NOT NULL,
    file_name TEXT NOT NULL,
    as_of TEXT NOT NULL,
    known_at TEXT NOT NULL,
    scope TEXT NOT NULL,
    built_at BIGINT NOT NULL,
    made_by_id BIGINT NOT NULL,
    made_by TEXT NOT NULL,
    program TEXT NOT NULL,
    row_count BIGINT NOT NULL,
    row_digest TEXT NOT NULL,
    size_bytes BIGINT NOT NULL,
    file_digest TEXT NOT NULL,
    proof TEXT NOT NULL
);
CREATE INDEX issued_reports_digest ON issued_reports (file_digest);
CREATE INDEX issued_reports_plant ON issued_reports (plant_id, id);

-- The bytes in pieces of a megabyte, in the order of piece.
CREATE TABLE issued_pieces (
    report_id BIGINT NOT NULL REFERENCES issued_reports (id),
    piece BIGINT NOT NULL,
    bytes BLOB NOT NULL,
    PRIMARY KEY (report_id, piece)
);
