-- 0010 issued_reports (postgres)
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
    slug TEXT COLLATE "C" NOT NULL,
    title TEXT COLLATE "C" NOT NULL,
    form TEXT COLLATE "C" NOT NULL,
    file_name TEXT COLLATE "C" NOT NULL,
    as_of TEXT COLLATE "C" NOT NULL,
    known_at TEXT COLLATE "C" NOT NULL,
    scope TEXT COLLATE "C" NOT NULL,
    built_at BIGINT NOT NULL,
    made_by_id BIGINT NOT NULL,
    made_by TEXT COLLATE "C" NOT NULL,
    program TEXT COLLATE "C" NOT NULL,
    row_count BIGINT NOT NULL,
    row_digest TEXT COLLATE "C" NOT NULL,
    size_bytes BIGINT NOT NULL,
    file_digest TEXT COLLATE "C" NOT NULL,
    proof TEXT COLLATE "C" NOT NULL
);
CREATE INDEX issued_reports_digest ON issued_reports (file_digest);
CREATE INDEX issued_reports_plant ON issued_reports (plant_id, id);

-- The bytes in pieces of a megabyte, in the order of piece.
CREATE TABLE issued_pieces (
    report_id BIGINT NOT NULL REFERENCES issued_reports (id),
    piece BIGINT NOT NULL,
    bytes BYTEA NOT NULL,
    PRIMARY KEY (report_id, piece)
);
