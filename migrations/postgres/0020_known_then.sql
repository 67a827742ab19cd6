-- 0020 known_then (postgres)
--
-- Indexes only, no row changes. A plant as it was known on a day is read off indexes that hold both times of each row, so
-- that rows which a later correction ended or began fall away before they are fetched; orders of a past day are found by
-- their plant, where they were looked for among those of every plant.

-- +goose Up

DROP INDEX conveyors_plant;
CREATE INDEX conveyors_plant ON conveyors (plant_id, known_from, known_to, valid_from, valid_to);
DROP INDEX belts_plant;
CREATE INDEX belts_plant ON belts (plant_id, known_from, known_to, valid_from, valid_to);
CREATE INDEX splices_known ON splices (plant_id, known_from, known_to, valid_from, valid_to);
CREATE INDEX orders_known ON orders (plant_id, known_from, known_to, valid_from, valid_to);
